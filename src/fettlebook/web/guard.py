"""What every request passes: only this machine's own names, only our own buttons, safe headers, and no traceback outside.

Any web page open in the same browser can send requests here; so a foreign Host (a name that was pointed at this machine) and a
foreign Origin are refused. On loopback only loopback's names are ours; in the house's network those that the certificate names.
There is no Strict-Transport-Security: nothing but the page of trust answers without TLS, and that page must stay reachable.
"""

from collections.abc import Callable
from ipaddress import ip_address
from typing import Final
from urllib.parse import urlsplit

from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from fettlebook.errors import Finding
from fettlebook.web.desk import bug
from fettlebook.web.tablets.edition import HEADER, edition

HEADERS: Final = {
    "Content-Security-Policy": "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; object-src 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",  # not no-referrer: a browser then sends our own forms with the origin null
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    HEADER: edition(),
    "Permissions-Policy": "camera=(self), geolocation=(), microphone=()",
}


def is_loopback(host: str) -> bool:
    """Tell whether a host name or address can only be this machine."""
    if host == "localhost":
        return True
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return False


class Guard:
    """ASGI middleware around all pages."""

    def __init__(self, app: ASGIApp, fault_page: Callable[[Finding], Response], hosts: frozenset[str] = frozenset()) -> None:
        self._app = app
        self._hosts = hosts
        self._fault_page = fault_page

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        started = False

        async def guarded(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                known = {name.lower() for name, _ in message["headers"]}
                extra = [(k.encode(), v.encode()) for k, v in HEADERS.items() if k.lower().encode() not in known]
                if b"cache-control" not in known:
                    extra.append((b"Cache-Control", b"no-store"))
                message["headers"] = [*message["headers"], *extra]
            await send(message)

        refused = _refusal(Request(scope), self._hosts)
        if refused:
            await refused(scope, receive, guarded)
            return
        try:
            await self._app(scope, receive, guarded)
        except Exception as error:
            finding = bug(error, f"answering {scope['method']} {scope['path']}"[:200])
            if not started:
                await self._say(finding)(scope, receive, guarded)

    def _say(self, finding: Finding) -> Response:
        try:
            return self._fault_page(finding)
        except Exception:  # the fault may sit in what every page needs
            return PlainTextResponse(f"This is {finding.what}. {finding.mend}\n", 500)


def _refusal(request: Request, hosts: frozenset[str]) -> Response | None:
    try:
        host = (urlsplit(f"//{request.headers.get('host', '')}").hostname or "").rstrip(".")
    except ValueError:  # brackets that hold no address
        host = ""
    if host not in hosts and (hosts or not is_loopback(host)):
        ours = f"https://{min(hosts)}" if hosts else "http://127.0.0.1"
        return PlainTextResponse(f"This page answers only to this machine's own name: open it as {ours}\n", 421)
    foreign = request.headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none")
    if request.method in ("GET", "HEAD"):
        # a link from elsewhere may open a page; a picture or script address elsewhere may not make the planner work
        foreign = foreign and request.headers.get("sec-fetch-mode") != "navigate"
    elif origin := request.headers.get("origin"):
        foreign = foreign or urlsplit(origin).netloc != request.headers.get("host")
    return PlainTextResponse("Refused: this came from another page.\n", 403) if foreign else None
