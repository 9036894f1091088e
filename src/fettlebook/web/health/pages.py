"""The page that says whether all is in order with the machine that keeps the book."""

from datetime import UTC, datetime
from pathlib import Path

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from fettlebook.book.stores import Store
from fettlebook.said import said
from fettlebook.web.health.backing_up import BackingUp
from fettlebook.web.health.checks import House, look_at
from fettlebook.web.health.looked import Looked, Seen
from fettlebook.web.pages import Pages, saved
from fettlebook.web.saving import csv_of

SIGN = {Seen.GOOD: "full", Seen.LOOK: "peak", Seen.BAD: "broken"}
VERDICT = {Seen.GOOD: "fit", Seen.LOOK: "unproven", Seen.BAD: "unfit"}


def health_routes(pages: Pages, files: tuple[Path, Path, Path], backing_up: BackingUp | None, group_book: Store | None = None) -> APIRouter:
    """Return the routes; `files` are practice file, appointment book and book. `group_book`: the book, where it is a group's."""
    routes = APIRouter()

    def looked() -> list[Looked]:
        house = House(files[0], files[1], files[2], backing_up.folder if backing_up else None, datetime.now(UTC), group_book)
        found = list(look_at(house))
        if backing_up is not None and backing_up.trouble is not None:
            trouble = backing_up.trouble
            found.insert(0, Looked(said("backup"), Seen.BAD, trouble.what, trouble.mend))
        return found

    pages.doctor = looked

    @routes.get("/doctor")
    def _page() -> HTMLResponse:
        return pages.show("doctor.html", looked=looked(), sign=SIGN, verdict=VERDICT, title=said("Is all in order here?"))

    @routes.get("/doctor.csv")
    def _table() -> Response:
        rows = [{"thing": one.thing, "seen": one.seen.value, "line": one.line, "mend": one.mend} for one in looked()]
        return Response(csv_of(rows), media_type="text/csv; charset=utf-8", headers=saved("doctor.csv"))

    return routes
