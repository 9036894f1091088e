"""Who is signed in where."""

import hmac
import re
import secrets
from collections.abc import Callable
from typing import Final

from starlette.requests import Request

from fettlebook.practice.model import Practice
from fettlebook.web.people import cookies
from fettlebook.web.people.visit import Visit
from fettlebook.web.people.who import SignedIn

_DEVICE: Final = re.compile(r"open-[0-9a-f]{8}")


class People:
    """Devices and sessions of a practice while nobody has a PIN yet: names are chosen, and only on this machine."""

    def __init__(self, practice: Callable[[], Practice]) -> None:
        self._practice = practice
        self._sessions: dict[str, tuple[str, str]] = {}  # session -> device, person
        self._secret = secrets.token_bytes(32)

    def visit(self, request: Request) -> Visit:
        """Return who asks."""
        device = cookies.read(request, cookies.DEVICE)
        if not _DEVICE.fullmatch(device):
            return Visit(free=True)
        held = self._sessions.get(cookies.read(request, cookies.SESSION))
        who = self._person(held[1], device) if held and held[0] == device else None
        return Visit(who, device, self._token(device), free=True)

    def token_is_right(self, visit: Visit, given: str) -> bool:
        """Compare a token in constant time."""
        return hmac.compare_digest(self._token(visit.device).encode(), given.encode())

    def choose(self, person: str, device: str) -> tuple[str, str] | None:
        """Sign a person in by name; return device and session, or None where the practice has nobody of that name."""
        device = device or f"open-{secrets.token_hex(4)}"
        if self._person(person, device) is None:
            return None
        session = secrets.token_urlsafe(32)
        self._sessions[session] = (device, person)
        return device, session

    def leave(self, session: str) -> None:
        """End a session."""
        self._sessions.pop(session, None)

    def _person(self, person: str, device: str) -> SignedIn | None:
        known = next((one for one in self._practice().people if one.id == person), None)
        return SignedIn(known.id, known.name, known.acts_as, device) if known else None

    def _token(self, device: str) -> str:
        return hmac.digest(self._secret, device.encode(), "sha256").hex()
