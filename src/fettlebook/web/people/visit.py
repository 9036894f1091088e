"""What every request passes after the guard: who asks, at which device, may this role do that, does the form carry its token.

It refuses by default. A page needs a person signed in, whatever writes needs a role that may write, and a form or fetch from a
browser that holds a cookie needs the token, which no other site can read. Routes need not think of it; they may ask for more
(`who.must`). Only while nobody has a PIN yet, on this machine alone, pages answer without.

The token belongs to the device, not to the session: a form that was half filled when the session locked is still good after.
"""

import re
from collections.abc import Callable
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Final, Protocol
from urllib.parse import quote, unquote_plus, urlsplit

from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from fettlebook.book.entries import PROGRAM
from fettlebook.web.people import TOKEN
from fettlebook.web.people.kept_forms import KeptForms
from fettlebook.web.people.who import VISIT, SignedIn, What, may

TOKEN_HEADER: Final = "x-fettlebook-token"  # noqa: S105 - the header's name
SAFE: Final = ("GET", "HEAD", "OPTIONS")
NOT_ASKED: Final = ("/static/", "/fonts/", "/minutes.css", "/manifest.webmanifest", "/sw.js")  # the same for everybody
# /arrive and /feed ask for a token of their own: machines and calendars have no cookies.
ANYBODY: Final = ("/sign-in", "/enrol", "/health", "/language", "/trust", "/offline", "/held", "/arrive", "/feed")
ASK_ANOTHER: Final = "Somebody who does the work signs in at this device; what was noted waits in it until then."
DEVICE_ONLY: Final = ("/board", "/lock")  # a device that was let in shows these to whoever stands before it
MINE: Final = ("/sign-out", "/me")  # each role may end its own session and change its own PIN
SET_UP: Final = ("/people", "/devices", "/lead")
HEAD_BYTES: Final = 4096  # the token is a form's first field
_URLENCODED: Final = re.compile(rb"\A(?:[^&]*&)*?" + TOKEN.encode() + rb"=([^&]*)")
_MULTIPART: Final = re.compile(
    rb'\A--[^\r\n]+\r\nContent-Disposition: form-data; name="' + TOKEN.encode() + rb'"\r\n\r\n([^\r\n]*)\r\n', re.IGNORECASE
)


@dataclass(frozen=True, slots=True)
class Visit:
    """A request's place among people and devices.

    `device` is empty where none is known; `token` is what its forms carry, empty where there is no cookie to misuse.
    `free` says that nobody has a PIN yet.
    """

    who: SignedIn | None = None
    device: str = ""
    token: str = ""
    free: bool = False
    locked: str = ""  # whose session waits here to be unlocked
    confirms: Callable[[str, str], bool] | None = None  # tells whether a PIN is a person's, for a second one; None: nobody has a PIN


class Doorkeeper(Protocol):
    """Whoever knows devices, sessions and tokens."""

    def visit(self, request: Request) -> Visit:
        """Return who asks."""

    def token_is_right(self, visit: Visit, given: str) -> bool:
        """Compare a token in constant time."""


NOBODY: Final = Visit(free=True)
_HERE: Final[ContextVar[Visit]] = ContextVar("visit", default=NOBODY)


def here() -> Visit:
    """Return the visit that is being answered; templates ask it."""
    return _HERE.get()


def writer() -> str:
    """Return who an entry is by: whoever is signed in, else the program."""
    who = here().who
    return who.person if who is not None else PROGRAM


class Visits:
    """ASGI middleware, inside the guard."""

    def __init__(self, app: ASGIApp, people: Doorkeeper, kept: KeptForms, refused: Callable[[SignedIn, What], Response]) -> None:
        self._app, self._people, self._kept, self._refused = app, people, kept, refused

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http" or _under(scope["path"], NOT_ASKED):
            await self._app(scope, receive, send)
            return
        request = Request(scope, receive)
        visit = self._people.visit(request)
        scope[VISIT] = visit
        set_back = _HERE.set(visit)
        try:
            answer: Response | None = None
            if request.method not in SAFE and visit.token:
                given, receive = await _token_of(request)
                if not self._people.token_is_right(visit, given):
                    answer = _foreign(request)
            answer = answer or await self._refusal(Request(scope, receive), visit)
            await (answer or self._app)(scope, receive, send)
        finally:
            _HERE.reset(set_back)

    async def _refusal(self, request: Request, visit: Visit) -> Response | None:
        path, writes = request.url.path, request.method not in SAFE
        if _under(path, ANYBODY) or (visit.device and _under(path, DEVICE_ONLY)):
            return None
        if visit.who is None:
            if visit.free and not (writes and _under(path, SET_UP)):
                return None
            if visit.locked and writes and (ticket := await self._kept.keep(request, visit.device, visit.locked)):
                return RedirectResponse(f"/sign-in?next=/kept/{ticket}", 303)
            return ask_to_sign_in(request) if visit.device or visit.free else ask_to_enrol(request)
        what = (What.SET_UP if _under(path, SET_UP) else What.NOTE) if writes and not _under(path, MINE) else What.LOOK
        if may(visit.who.role, what):
            return None
        return _told(403, f"{visit.who.name} only reads here", ASK_ANOTHER) if _by_program(request) else self._refused(visit.who, what)


def ask_to_enrol(request: Request) -> Response:
    """Send a device that was not let in to the page for its code; a program gets 401."""
    if _by_program(request):
        return _told(
            401, "this device was not let in", "Let the lead show a code, and type it at /enrol; what was noted waits in the tablet."
        )
    return RedirectResponse("/enrol", 303)


def ask_to_sign_in(request: Request) -> Response:
    """Send whoever is not signed in to the sign-in page, and afterwards back to where it was; a program gets 401."""
    if _by_program(request):
        return _told(401, "nobody is signed in at this device", "Sign in at /sign-in; what was noted waits in the tablet until then.")
    address = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    if request.method not in SAFE:
        came = urlsplit(request.headers.get("referer", ""))
        address = came.path + (f"?{came.query}" if came.query else "") if came.netloc == request.headers.get("host") else "/"
    return RedirectResponse(f"/sign-in?next={quote(address, safe='/')}", 303)


def _by_program(request: Request) -> bool:
    return request.url.path.startswith("/api/")


def _foreign(request: Request) -> Response:
    if _by_program(request):
        return _told(403, "without the token of this device", "Ask /api/who for it, and send it as X-Fettlebook-Token.")
    return PlainTextResponse("Refused: this form is not from a page of this device. Open the page again.\n", 403)


def _told(status: int, what: str, mend: str) -> Response:
    return JSONResponse({"findings": [{"what": what, "where": "sign-in", "mend": mend}]}, status)


def next_of(text: str) -> str:
    """Return a page of this server that an address names; the first page where it names anything else."""
    plain = "".join(sign for sign in text if sign.isprintable())
    return plain if re.fullmatch(r"/(?![/\\]).{0,500}", plain) and "\\" not in plain else "/"


def _under(path: str, starts: tuple[str, ...]) -> bool:
    return any(path == start or path.startswith(start if start.endswith("/") else f"{start}/") for start in starts)


async def _token_of(request: Request) -> tuple[str, Receive]:
    """Return the token that a request brings, and what gives its body again from the start."""
    given = request.headers.get(TOKEN_HEADER)
    if given is not None:
        return given, request.receive
    messages: list[Message] = []
    head, more = b"", True
    while more and len(head) < HEAD_BYTES:
        message = await request.receive()
        messages.append(message)
        head += message.get("body", b"")
        more = message["type"] == "http.request" and message.get("more_body", False)

    async def again() -> Message:
        return messages.pop(0) if messages else await request.receive()

    multipart = request.headers.get("content-type", "").startswith("multipart/form-data")
    found = (_MULTIPART if multipart else _URLENCODED).match(head[:HEAD_BYTES])
    return unquote_plus(found[1].decode("ascii", "replace")) if found else "", again
