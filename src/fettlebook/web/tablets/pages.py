"""What makes the pages a program of the tablet: its manifest, its worker, and the pages for when there is no network."""

from typing import Final

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, JSONResponse, Response

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
        return pages.show("offline.html", title="No network")

    @routes.get("/held")
    def _held() -> HTMLResponse:
        return pages.show("held.html", title="What this tablet holds")

    return routes
