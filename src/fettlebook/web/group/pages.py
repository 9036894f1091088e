"""A small site of its own: it reads what the night kept, opens no book, and changes nothing."""

from collections.abc import Callable
from datetime import UTC, datetime

from fastapi import FastAPI
from fastapi.responses import HTMLResponse, JSONResponse, PlainTextResponse, Response
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.exceptions import HTTPException
from starlette.staticfiles import StaticFiles

from fettlebook.errors import Finding
from fettlebook.exchange.group.rows import HOUR_MS, Row
from fettlebook.exchange.paper.typeset import FONTS
from fettlebook.said import Said, said
from fettlebook.web.guard import Guard
from fettlebook.web.languages.asked import Languages, language_routes
from fettlebook.web.languages.templates import speak_in
from fettlebook.web.pages import HERE, saved
from fettlebook.web.saving import csv_of


def group_app(title: str, rows: Callable[[], list[Row]]) -> FastAPI:
    """Return the site; `rows` reads the results anew each time that the page is asked for."""
    app = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)
    templates = Environment(
        loader=FileSystemLoader(HERE / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        extensions=["jinja2.ext.i18n"],
    )
    speak_in(templates)
    app.mount("/fonts", StaticFiles(directory=FONTS), name="fonts")
    app.mount("/static", StaticFiles(directory=HERE / "static"), name="static")
    app.add_middleware(Guard, fault_page=_fault)
    app.add_middleware(Languages)
    app.include_router(language_routes())

    @app.get("/")
    def _page() -> HTMLResponse:
        return HTMLResponse(templates.get_template("group.html").render(title=title, rows=rows(), ago=_ago))

    @app.get("/group.csv")
    def _csv() -> Response:
        table = csv_of([row.as_cells() for row in rows()])
        return Response(table, media_type="text/csv; charset=utf-8", headers=saved("group.csv"))

    @app.get("/group.json")
    def _json() -> JSONResponse:
        return JSONResponse({"practices": [row.as_data() for row in rows()]})

    @app.exception_handler(HTTPException)
    def _http(_: object, error: HTTPException) -> PlainTextResponse:
        return PlainTextResponse(f"{error.detail}\n", error.status_code, headers=error.headers)

    return app


def _ago(at_ms: int | None) -> Said | str:
    """Return how long ago a moment was, in hours or days."""
    if at_ms is None:
        return said("never")
    hours = max(0, round((datetime.now(UTC).timestamp() * 1000 - at_ms) / HOUR_MS))
    return said("{n} h ago", n=hours) if hours < 48 else said("{n} days ago", n=round(hours / 24))


def _fault(finding: Finding) -> Response:
    return PlainTextResponse(f"{finding.what}. {finding.mend}\n", 500)
