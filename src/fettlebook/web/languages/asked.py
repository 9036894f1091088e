"""Which language a request is answered in: the device's own choice, else what its browser prefers."""

from http.cookies import CookieError, SimpleCookie
from typing import Final
from urllib.parse import urlsplit

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse
from starlette.datastructures import Headers
from starlette.types import ASGIApp, Receive, Scope, Send

from fettlebook.web.forms import posted
from fettlebook.web.languages.tongue import LANGUAGES, speak_as, tongue_of

COOKIE: Final = "language"
_A_YEAR_S: Final = 365 * 24 * 3600


class Languages:
    """ASGI middleware: sets the language before anything answers. Each request runs in a context of its own, threads included."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] == "http":
            headers = Headers(scope=scope)
            speak_as(tongue_of(_kept(headers.get("cookie", "")), headers.get("accept-language", "")))
        await self._app(scope, receive, send)


def _kept(cookies: str) -> str:
    try:
        kept = SimpleCookie(cookies).get(COOKIE)
    except CookieError:
        return ""
    return kept.value if kept else ""


def language_routes() -> APIRouter:
    """Return the route by which a device chooses its language."""
    router = APIRouter()

    @router.post("/language")
    async def _choose(request: Request) -> RedirectResponse:
        chosen = (await posted(request)).text("language")
        answer = RedirectResponse(_back(request), 303)
        if chosen in LANGUAGES:
            secure = request.url.scheme == "https"
            answer.set_cookie(COOKIE, chosen, max_age=_A_YEAR_S, httponly=True, samesite="lax", secure=secure)
        return answer

    return router


def _back(request: Request) -> str:
    """Return the page that was left, if it was one of ours."""
    left = urlsplit(request.headers.get("referer", ""))
    ours = left.netloc == request.headers.get("host") and left.path.startswith("/") and not left.path.startswith(("//", "/\\"))
    return f"{left.path}?{left.query}" if ours and left.query else left.path if ours else "/"
