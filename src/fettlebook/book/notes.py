"""Signed notes: a text, an empty line, and one line for each signature. An open format that other programs can check.

Sources
-------
[N] C2SP, signed-note.md: form, key names, key ids, signatures of unknown keys, type 0x01 for Ed25519. read
[E] RFC 8032 section 5.1: Ed25519. secondary
"""

import base64
import binascii
import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from fettlebook.errors import Mendable

ED25519: Final = 0x01  # [N]
NOTE_MOST_BYTES: Final = 100_000
SIGNATURES_MOST: Final = 100  # [N]: at least 16
_NAME: Final = re.compile(r"[^\s+]{1,200}")
_LINE: Final = re.compile(r"— ([^\s+]+) ([A-Za-z0-9+/]+={0,2})")
_CONTROL: Final = re.compile(r"[\x00-\x09\x0b-\x1f]")


@dataclass(frozen=True, slots=True)
class VerifierKey:
    """A public key with its name, as it is printed and handed to an inspector."""

    name: str
    public: bytes

    def __post_init__(self) -> None:
        if not is_key_name(self.name):
            raise Mendable(f"the key name {self.name!r:.80}", where="key name", mend="Give a name without spaces and without '+'.")
        if len(self.public) != 32:
            raise Mendable(f"a public key of {len(self.public)} bytes", where=f"key {self.name}", mend="Give an Ed25519 key (32 bytes).")

    @property
    def key_id(self) -> bytes:
        """Four bytes that tell keys of one name apart; no proof of anything [N]."""
        return hashlib.sha256(self.name.encode() + b"\n" + bytes([ED25519]) + self.public).digest()[:4]

    @property
    def short(self) -> str:
        """Name and id: how a signature names its key."""
        return f"{self.name}+{self.key_id.hex()}"

    def __str__(self) -> str:
        return f"{self.short}+{base64.b64encode(bytes([ED25519]) + self.public).decode()}"


@dataclass(frozen=True, slots=True)
class Signer:
    """A secret key with its name. Its text never shows the secret."""

    name: str
    secret: Ed25519PrivateKey

    @property
    def verifier(self) -> VerifierKey:
        """The public half."""
        return VerifierKey(self.name, self.secret.public_key().public_bytes_raw())

    def __repr__(self) -> str:
        return f"Signer({self.name!r})"


def is_key_name(text: str) -> bool:
    """Tell whether `text` can name a key: no spaces, no plus [N], at most 200 characters."""
    return _NAME.fullmatch(text) is not None and text.isprintable()


def read_verifier_key(text: str) -> VerifierKey:
    """Return the key written as `name+id+base64`; raises `Mendable` where it is none, or its id is not its own."""
    name, _, rest = text.strip().partition("+")
    key_id, _, encoded = rest.partition("+")
    try:
        held = base64.b64decode(encoded, validate=True)
    except (binascii.Error, ValueError):
        held = b""
    if len(held) != 33 or held[0] != ED25519:
        mend = "Copy the whole line: name, eight hexadecimal digits and the key, joined by '+'."
        raise Mendable(f"no Ed25519 key: {text.strip()!r:.120}", where="verifier key", mend=mend)
    key = VerifierKey(name, held[1:])
    if key.key_id.hex() != key_id:
        raise Mendable(f"the id {key_id!r:.20} is not that of this key", where="verifier key", mend="Copy the line again; a sign is wrong.")
    return key


def sign_note(text: str, *signers: Signer) -> str:
    """Return the note: `text` with one signature line per signer.

    Raises
    ------
    Mendable
        `text` does not end its last line, or holds control characters.
    """
    if not text.endswith("\n") or _CONTROL.search(text):
        mend = "End the text with a new line, and leave out control characters."
        raise Mendable("a text that no note can hold", where="note", mend=mend)
    lines = []
    for signer in signers:
        signature = signer.verifier.key_id + signer.secret.sign(text.encode())
        lines.append(f"— {signer.name} {base64.b64encode(signature).decode()}\n")
    return text + "\n" + "".join(lines)


def open_note(note: str, keys: Sequence[VerifierKey]) -> str:
    """Return the text of a note that at least one of `keys` has signed.

    Raises
    ------
    Mendable
        It is no note; none of the keys has signed it; or one has a signature in it that does not hold (the whole note is then refused).

    Notes
    -----
    Signatures of unknown keys are passed over, as the format asks [N]; a text without a known one is never returned.
    """
    text, signatures = _parts(note)
    known = {(key.name, key.key_id): key for key in keys}
    signed = False
    for name, held in signatures:
        key = known.get((name, held[:4]))
        if key is None:
            continue
        try:
            Ed25519PublicKey.from_public_bytes(key.public).verify(held[4:], text.encode())
        except InvalidSignature:
            mend = "Don't trust it: it was changed after signing, or copied wrongly. Compare it with the printed one."
            raise Mendable(f"the signature of {name} does not hold", where="note", mend=mend) from None
        signed = True
    if not signed:
        names = ", ".join(sorted({name for name, _ in signatures}))
        mend = "Use the verifier key that was printed with the first day sheets, or ask who holds it."
        raise Mendable(f"signed by {names}, by none of the keys given", where="note", mend=mend)
    return text


def first_signer(note: str) -> str:
    """Return name and id of the key of a note's first signature, unchecked."""
    _, ((name, held), *_) = _parts(note)
    return f"{name}+{held[:4].hex()}"


def _parts(note: str) -> tuple[str, list[tuple[str, bytes]]]:
    text, gap, below = note.rpartition("\n\n")
    lines = below.split("\n")
    bad = not gap or not below.endswith("\n") or _CONTROL.search(note) or len(note.encode("utf-8", "replace")) > NOTE_MOST_BYTES
    if bad or not 1 <= len(lines) - 1 <= SIGNATURES_MOST:
        raise Mendable("no signed note", where="note", mend="Give it whole: text, empty line, and lines that begin with a dash.")
    found = []
    for line in lines[:-1]:
        match = _LINE.fullmatch(line)
        try:
            held = base64.b64decode(match[2], validate=True) if match else b""
        except (binascii.Error, ValueError):
            held = b""
        if match is None or len(held) < 5:
            raise Mendable(f"no line of a signature: {line!r:.80}", where="note", mend="Copy the note again, whole lines.")
        found.append((match[1], held))
    return text + "\n", found
