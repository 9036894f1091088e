"""The evidence file by page: choose days and chairs, watch it being made in the background, take the PDF and the bundle away.

What was made lies in a folder of this process and goes with it: the book is what is kept. At most a few are held.
"""

import hashlib
import shutil
import tempfile
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Annotated, Final

from fastapi import APIRouter, Depends
from fastapi.responses import FileResponse, HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.exceptions import HTTPException

from fettlebook.errors import Mendable
from fettlebook.exchange.evidence.bundle import zip_bytes_to
from fettlebook.exchange.evidence.first_page import WORDS, areas_of
from fettlebook.exchange.evidence.make import Made, make_evidence
from fettlebook.exchange.evidence.span import Span, span_of
from fettlebook.said import said
from fettlebook.standing.basis import Basis
from fettlebook.standing.model import worst
from fettlebook.web.bench import Bench, Piece, Tell
from fettlebook.web.forms import Form, posted
from fettlebook.web.languages.tongue import Tongue, tongue
from fettlebook.web.moments import Asked, asked
from fettlebook.web.pages import Pages, saved
from fettlebook.web.record import Record
from fettlebook.web.standing_pages import Asking

HELD_MOST: Final = 4
DAYS: Final = 365
Posted = Annotated[Form, Depends(posted)]


@dataclass(frozen=True, slots=True)
class Shelved:
    """An evidence file that was made, with its zip."""

    made: Made
    packed: Path

    @property
    def name(self) -> str:
        """How the files are called when they are saved."""
        span = self.made.found.span
        return f"evidence-{span.first}-{span.last}"


class Shelf:
    """What was made, by a mark in its address; the oldest goes when there are too many."""

    def __init__(self, pages: Pages, record: Record, bench: Bench) -> None:
        self._pages, self._record, self._bench = pages, record, bench
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        self._spans: OrderedDict[str, Span] = OrderedDict()

    def start(self, span: Span) -> str:
        """Begin to make one, unless it is there or being made; return its mark."""
        size = self._record.store.head().size
        voice = tongue()
        mark = hashlib.sha256(f"{span} {size} {voice.region}".encode()).hexdigest()[:16]
        self._spans[mark] = span
        self._spans.move_to_end(mark)
        while len(self._spans) > HELD_MOST:
            old, _ = self._spans.popitem(last=False)
            self._bench.forget(_key(old))
            shutil.rmtree(self._place() / old, ignore_errors=True)
        self._bench.start(_key(mark), lambda tell: self._make(span, self._place() / mark, tell, voice), where="long")
        return mark

    def piece(self, mark: str) -> Piece:
        """Return what is known of one; raises 404 where it was never asked for, or is gone."""
        piece = self._bench.look(_key(mark)) if mark in self._spans else None
        if piece is None:
            raise HTTPException(404, "This evidence file is not held any more. Make it again: the same book gives the same bytes.")
        return piece

    def span(self, mark: str) -> Span:
        """Return the days of one."""
        return self._spans[mark]

    def shelved(self, mark: str) -> Shelved:
        """Return one that is ready; raises 404 where it isn't."""
        result = self.piece(mark).result
        if not isinstance(result, Shelved):
            raise HTTPException(404, "This evidence file is not ready.")
        return result

    def held(self) -> Sequence[tuple[str, Span]]:
        """Return the marks of those that are ready, newest first."""
        found = [
            (mark, span) for mark, span in self._spans.items() if (p := self._bench.look(_key(mark))) and isinstance(p.result, Shelved)
        ]
        return found[::-1]

    def _place(self) -> Path:
        if self._folder is None:
            self._folder = tempfile.TemporaryDirectory(prefix="fettlebook-evidence-")
        return Path(self._folder.name)

    def _make(self, span: Span, to: Path, tell: Tell, voice: Tongue) -> Shelved:
        reading = self._pages.reading
        book = getattr(self._record.store, "path", None)

        def told(stage: str, done: int, of: int) -> None:
            if not tell.say(stage, done, of):
                raise Mendable(said("it was stopped"), where=said("evidence file"), mend=said("Make it again."))

        shutil.rmtree(to, ignore_errors=True)
        key = Path(f"{book}.key") if isinstance(book, Path) else None
        basis = Basis.of(reading.practice, reading.rulebook, reading.times)
        made = make_evidence(self._record.store, basis, span, to / "bundle", key_file=key, tell=told, voice=voice)
        told("packing", 0, 0)
        packed = to / "bundle.zip"
        zip_bytes_to(made.folder, packed)
        return Shelved(made, packed)


def _key(mark: str) -> str:
    return f"evidence {mark}"


def evidence_routes(pages: Pages, record: Record, bench: Bench) -> APIRouter:
    """Return the routes."""
    router, shelf, asking = APIRouter(), Shelf(pages, record, bench), Asking(pages, record)

    def form_page(form: Form) -> HTMLResponse:
        today = pages.now.date()
        return asking.show(
            "evidence.html", "evidence", _now(), form=form, held=shelf.held(), first=today - timedelta(days=DAYS), last=today,
            chairs=pages.reading.practice.chairs, title=said("Evidence file"),
        )  # fmt: skip

    def _now() -> Asked:
        return asked("", "", pages.reading.zone, pages.now)

    @router.get("/evidence")
    def _form() -> HTMLResponse:
        if (waiting := asking.waiting()) is not None:
            return waiting
        return form_page(Form({}))

    @router.post("/evidence")
    def _begin(form: Posted) -> Response:
        today = pages.now.date()
        first, last = form.day("first", "From"), form.day("last", "To")
        practice = pages.reading.practice
        chairs = [chair.id for n, chair in enumerate(practice.chairs) if form.text(f"chair_{n}")]
        if first is None or last is None or not form.good:
            return form_page(form)
        try:
            span = span_of(practice, first, last, today, chairs if len(chairs) < len(practice.chairs) else ())
        except Mendable as error:
            form.take(error.findings, {"--from": "first", "--to": "last"})
            return form_page(form)
        return RedirectResponse(f"/evidence/{shelf.start(span)}", 303)

    @router.get("/evidence/{mark}")
    def _made(mark: str) -> HTMLResponse:
        piece = shelf.piece(mark)
        span = shelf.span(mark)
        if piece.trouble:
            return pages.mend(piece.trouble)
        done = piece.result if isinstance(piece.result, Shelved) else None
        areas = areas_of(done.made.found, done.made.figures, done.made.seals) if done else ()
        return asking.show(
            "evidence_made.html", "evidence", _now(), mark=mark, span=span, piece=piece, done=done, areas=areas, words=WORDS,
            verdict=worst(one for _, one, _ in areas) if areas else None, title=said("Evidence file"),
        )  # fmt: skip

    @router.get("/evidence/{mark}/progress")
    def _progress(mark: str) -> JSONResponse:
        piece = shelf.piece(mark)
        share = f" {100 * piece.done // piece.of} %" if piece.of else ""
        stage = "" if piece.ended else f"{piece.stage}{share}"
        return JSONResponse({"stage": stage, "version": "made" if piece.ended else "", "trouble": bool(piece.trouble)})

    @router.get("/evidence/{mark}/report.pdf")
    def _report(mark: str) -> FileResponse:
        one = shelf.shelved(mark)
        return FileResponse(one.made.folder / "report.pdf", media_type="application/pdf", headers=saved(f"{one.name}.pdf", inline=True))

    @router.get("/evidence/{mark}/bundle.zip")
    def _bundle(mark: str) -> FileResponse:
        one = shelf.shelved(mark)
        return FileResponse(one.packed, media_type="application/zip", headers=saved(f"{one.name}.zip"))

    return router
