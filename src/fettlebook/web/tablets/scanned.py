"""Where a scanned code leads, when the page that is open has no use for it."""

from typing import Final
from urllib.parse import quote, urlencode

from fastapi import APIRouter
from fastapi.responses import RedirectResponse

from fettlebook.exchange.paper.qr import CardCode, ThingCode, read_code

CODE_MOST: Final = 500


def scan_routes() -> APIRouter:
    """Return the route; a text that is no code of ours gets the page that says so."""
    routes = APIRouter()

    @routes.get("/scan")
    def _scan(code: str) -> RedirectResponse:
        return RedirectResponse(place_of(read_code(code[:CODE_MOST])), 303)

    return routes


def place_of(code: CardCode | ThingCode) -> str:
    """Return the page of what a code stands for."""
    if isinstance(code, CardCode):
        return f"/work?{urlencode({'chair': code.chair, 'duty': code.duty} | ({'step': code.step} if code.step else {}))}"
    name = quote(code.id, safe="")
    match code.thing:
        case "machine":
            return f"/machines/{name}"
        case "load":
            return f"/loads/{name}"
        case "set":
            return f"/loads/pack?unit={name}"
        case "badge":
            return "/sign-in"  # its secret stays out of addresses
        case "chair":
            return f"/standing/chair:{name}"
