"""The cookies: which there are, how they are named and kept.

Under TLS their names begin with `__Host-`: a browser then takes them only over TLS, from this very host, for all its pages. On
loopback there is no TLS, and so no such names. No script can read them, and no other site can make a browser send them.
"""

from typing import Final

from starlette.requests import Request
from starlette.responses import Response

DEVICE: Final = "fettlebook-device"
SESSION: Final = "fettlebook-session"
DEVICE_S: Final = 400 * 86_400  # browsers keep no cookie longer


def is_tls(request: Request) -> bool:
    """Tell whether a request came over TLS."""
    return request.url.scheme == "https"


def read(request: Request, cookie: str) -> str:
    """Return what a cookie holds; empty where it was not sent."""
    return request.cookies.get(f"__Host-{cookie}" if is_tls(request) else cookie, "")


def give(response: Response, request: Request, cookie: str, value: str, keep_s: int | None = None) -> None:
    """Let the browser keep a cookie: until it is closed, or `keep_s` seconds."""
    tls = is_tls(request)
    response.set_cookie(
        f"__Host-{cookie}" if tls else cookie, value, max_age=keep_s, path="/", secure=tls, httponly=True, samesite="strict"
    )


def drop(response: Response, request: Request, cookie: str) -> None:
    """Let the browser forget a cookie."""
    give(response, request, cookie, "", 0)
