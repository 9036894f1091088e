"""The page that walks a tablet through trusting the practice's authority: among the others, and alone on a plain port for new tablets."""

from functools import cache
from typing import Any

from fastapi import APIRouter, FastAPI, Request
from fastapi.responses import HTMLResponse, PlainTextResponse, Response
from starlette.exceptions import HTTPException
from starlette.staticfiles import StaticFiles

from fettlebook.exchange.paper.typeset import FONTS
from fettlebook.said import said
from fettlebook.web.guard import Guard
from fettlebook.web.pages import HERE, Pages, saved
from fettlebook.web.tls.served import Served

DER = "application/x-x509-ca-cert"  # what makes Android, iPadOS and Windows offer to install it


def trust_routes(pages: Pages, served: Served | None) -> APIRouter:
    """Return the routes among the other pages: for whoever is in already, and the lead who shows it."""
    routes = APIRouter()

    @routes.get("/trust")
    def _trust(request: Request) -> HTMLResponse:
        if served is None:
            return pages.show("trust_none.html", title=said("Tablets in the house"))
        return pages.show("trust.html", **_shown(served, request), title=said("Let a tablet trust this server"))

    @routes.get("/trust/authority.crt")
    def _authority() -> Response:
        if served is None:
            raise HTTPException(404, "No certificate was made yet.")
        return _file(served)

    return routes


def trust_site(pages: Pages, served: Served) -> FastAPI:
    """Return the plain site: this one page, the certificate, and nothing else."""
    site = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)
    site.mount("/fonts", StaticFiles(directory=FONTS), name="fonts")
    site.mount("/static", StaticFiles(directory=HERE / "static"), name="static")
    site.add_middleware(Guard, fault_page=pages.fault, hosts=served.certificates.hosts)

    @site.get("/")
    def _page(request: Request) -> HTMLResponse:
        return pages.show("trust_site.html", **_shown(served, request), title=said("Let this tablet trust the server"))

    @site.get("/authority.crt")
    def _authority() -> Response:
        return _file(served)

    @site.exception_handler(HTTPException)
    def _http(_: Request, error: HTTPException) -> PlainTextResponse:
        return PlainTextResponse(f"{error.detail}\n", error.status_code, headers=error.headers)

    return site


def _shown(served: Served, request: Request) -> dict[str, Any]:
    return {
        "served": served, "sign": _sign(served.trust_addresses[0]), "kind": _kind(request.headers.get("user-agent", "")),
        "open_at": served.addresses[0],
    }  # fmt: skip


def _file(served: Served) -> Response:
    return Response(served.certificates.authority_der, media_type=DER, headers=saved("fettlebook-authority.crt"))


@cache
def _sign(address: str) -> str:
    import segno  # noqa: PLC0415 - seldom needed

    return segno.make(f"{address}/", error="m").svg_inline(
        scale=6, border=2, omitsize=True, title="The address of the page of trust, to scan"
    )


def _kind(agent: str) -> str:
    """Guess which steps to unfold first; every other kind stands below."""
    for word, kind in (("Android", "android"), ("iPad", "ipad"), ("iPhone", "ipad"), ("Firefox", "firefox"), ("Windows", "windows")):
        if word in agent:
            return kind
    # iPadOS calls itself a Mac since its version 13 [memory]
    return "ipad" if "Macintosh" in agent else "linux" if "Linux" in agent else ""
