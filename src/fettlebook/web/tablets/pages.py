"""What makes the pages a program of the tablet: its manifest, its worker, and the pages for when there is no network."""

from typing import Final

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, JSONResponse, Response

from fettlebook.said import said
from fettlebook.web.pages import Pages
from fettlebook.web.tablets.edition import worker

MANIFEST: Final = {
    "id": "/",
    "name": "fettlebook",
    "short_name": "fettlebook",
    "start_url": "/work",
    "scope": "/",
    "display": "standalone",
    "background_color": "#f5f4ef",
    "theme_color": "#0f5a52",
    "icons": [
        {"src": "/static/icons/mark-192.png", "sizes": "192x192", "type": "image/png"},
        {"src": "/static/icons/mark-512.png", "sizes": "512x512", "type": "image/png"},
        {"src": "/static/icons/mark-maskable-512.png", "sizes": "512x512", "type": "image/png", "purpose": "maskable"},
    ],
}
HELD: Final = said("What this tablet holds")


def tablet_routes(pages: Pages) -> APIRouter:
    """Return the routes; none of them needs a person signed in, and none shows anything of the practice but its name."""
    routes = APIRouter()

    @routes.get("/manifest.webmanifest")
    def _manifest() -> JSONResponse:
        return JSONResponse(MANIFEST, media_type="application/manifest+json", headers={"Cache-Control": "no-cache"})

    @routes.get("/sw.js")
    def _worker() -> Response:
        return Response(worker(), media_type="text/javascript; charset=utf-8", headers={"Cache-Control": "no-cache"})

    @routes.get("/offline")
    def _offline() -> HTMLResponse:
        return pages.show("offline.html", title=said("No network"))

    @routes.get("/held")
    def _held() -> HTMLResponse:
        duties = pages.reading.rulebook.duties
        names = {step.id: step.name for duty in duties for step in duty.steps} | {duty.id: duty.name for duty in duties}
        return pages.show("held.html", names=names, people={one.id: one.name for one in pages.reading.practice.people}, title=HELD)

    return routes
