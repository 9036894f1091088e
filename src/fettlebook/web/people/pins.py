"""PINs and badges: what may be one, how it is kept, and how long one waits after a wrong one.

Sources
-------
[A] OWASP ASVS 5.0.0, appendix C (citing RFC 9106): Argon2id with t=2, m=19 MiB, p=1 is enough. read
[L] OWASP ASVS 5.0.0, 6.1.1, 6.3.1: wrong tries are slowed down, and nobody can lock somebody else out everywhere. read

A PIN of six digits is short (ASVS 6.2.1 asks for eight signs of a password): it counts only together with a device that was let in.
"""

import hmac
import re
import threading
from itertools import pairwise
from typing import Final

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from fettlebook.errors import Finding

SHORTEST: Final = 6
LONGEST: Final = 12
BADGE: Final = re.compile(r"[!-~]{8,120}")  # what a scanner types; shorter could be guessed
FREE_TRIES: Final = 3  # [L] a slip of the finger costs nothing
FIRST_WAIT_S: Final = 5
LONGEST_WAIT_S: Final = 3600
_DIGITS: Final = re.compile(r"[0-9]+")
_HASHER: Final = PasswordHasher(time_cost=2, memory_cost=19 * 1024, parallelism=1)  # [A]
_AT_ONCE: Final = threading.BoundedSemaphore(2)  # each takes 19 MiB and a processor
_NOBODY: Final = _HASHER.hash("nobody has this PIN")


def wait_s(tries: int) -> int:
    """Return how long to wait after so many wrong tries in a row [s]: nothing at first, then twice as long each time."""
    return 0 if tries < FREE_TRIES else min(FIRST_WAIT_S * 2 ** min(tries - FREE_TRIES, 20), LONGEST_WAIT_S)


def weak(pin: str) -> Finding | None:
    """Return what is wrong with a new PIN, None where nothing is."""
    if not _DIGITS.fullmatch(pin) or not SHORTEST <= len(pin) <= LONGEST:
        return Finding("a PIN is 6 to 12 digits", "PIN", "Choose digits only, at least six.")
    steps = {(int(b) - int(a)) % 10 for a, b in pairwise(pin)}
    repeated = any(len(pin) % part == 0 and pin == pin[:part] * (len(pin) // part) for part in (1, 2, 3))
    if repeated or steps in ({1}, {9}):
        return Finding("this PIN is among the first that anybody would try", "PIN", "Choose digits without a pattern.")
    return None


def hash_pin(pepper: bytes, person: str, pin: str) -> str:
    """Return what is kept of a PIN."""
    with _AT_ONCE:
        return _HASHER.hash(_peppered(pepper, person, pin))


def pin_is_right(pepper: bytes, person: str, pin: str, kept: str | None) -> bool:
    """Tell whether a PIN is a person's; takes as long where there is no such person or PIN."""
    with _AT_ONCE:
        try:
            right = _HASHER.verify(kept or _NOBODY, _peppered(pepper, person, pin))
        except (VerificationError, InvalidHashError):
            return False
        return right and kept is not None


def badge_digest(pepper: bytes, code: str) -> bytes:
    """Return what is kept of a badge's code."""
    return hmac.digest(pepper, b"badge|" + code.encode(), "sha256")


def _peppered(pepper: bytes, person: str, pin: str) -> str:
    return hmac.digest(pepper, f"pin|{person}|{pin}".encode(), "sha256").hex()
