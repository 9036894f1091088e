"""The entries of the book, as they were received: read only, by kind, subject and day, to look at and to save; and one entry whole."""

import json
from collections.abc import Iterator

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response, StreamingResponse
from starlette.exceptions import HTTPException

from fettlebook.book.entries import is_id
from fettlebook.book.kinds import KINDS
from fettlebook.book.received import Received
from fettlebook.book.tree import leaf_hash
from fettlebook.said import said
from fettlebook.web.entry_words import EntryNames, as_row, fields_of, kind_in_words, row_of, value_in_words
from fettlebook.web.kind_names import kind_name
from fettlebook.web.moments import asked
from fettlebook.web.pages import Pages, saved
from fettlebook.web.record import Record
from fettlebook.web.saving import csv_of
from fettlebook.web.standing_pages import Asking

PAGE = 50
MOST_SAVED = 20_000


def entries_routes(pages: Pages, record: Record) -> APIRouter:
    """Return the routes of the book's entries."""
    router, asking = APIRouter(), Asking(pages, record)

    def found(kind: str, about: str, before: int | None, count: int) -> list[Received]:
        kinds, subjects = ([kind] if kind else None), ([about.strip()] if about.strip() else None)
        return record.newest(count, before=before, kinds=kinds, subjects=subjects)

    def names() -> EntryNames:
        return EntryNames(pages.reading.practice, pages.reading.rulebook)

    @router.get("/entries")
    def _entries(kind: str = "", about: str = "", before: int | None = None) -> HTMLResponse:
        shown = found(kind, about, before, PAGE + 1)
        zone = pages.reading.zone
        return asking.show(
            "entries.html", "entries", asked("", "", zone, pages.now), rows=[row_of(one, zone, names()) for one in shown[:PAGE]],
            older=shown[PAGE - 1].seq if len(shown) > PAGE else None, kinds=sorted(KINDS), kind=kind, about=about, before=before,
            size=record.store.head().size, most=MOST_SAVED, kind_in_words=kind_in_words, kind_name=kind_name,
            title=said("Entries of the book"),
        )  # fmt: skip

    @router.get("/entries.csv")
    def _csv(kind: str = "", about: str = "") -> Response:
        rows = [as_row(one, pages.reading.zone) for one in found(kind, about, None, MOST_SAVED)]
        return Response(csv_of(rows), media_type="text/csv; charset=utf-8", headers=saved("entries.csv"))

    @router.get("/entries.jsonl")
    def _jsonl(kind: str = "", about: str = "") -> StreamingResponse:
        def lines() -> Iterator[bytes]:
            for one in found(kind, about, None, MOST_SAVED):
                yield one.leaf + b"\n"

        return StreamingResponse(lines(), media_type="application/jsonl", headers=saved("entries.jsonl"))

    @router.get("/entries/{entry}")
    def _one(entry: str) -> HTMLResponse:
        held = record.store.get(entry) if is_id(entry) else None
        if held is None:
            raise HTTPException(404, said("No such entry in this book."))
        zone = pages.reading.zone
        mended = [row_of(one, zone, names()) for one in record.mended_by(entry)] if record.ready() else []
        return asking.show(
            "entry.html", "entries", asked("", "", zone, pages.now), held=held, row=row_of(held, zone, names()), says=_says(held),
            means=kind_in_words(held.entry.kind), mended=mended, leaf=leaf_hash(held.leaf).hex(), title=said("Entry {seq}", seq=held.seq),
            bytes=json.dumps(json.loads(held.leaf), indent=1, ensure_ascii=False),
        )  # fmt: skip

    return router


def _says(held: Received) -> list[tuple[str, str]]:
    return [(name, value_in_words(value)) for name, value in fields_of(held)]
