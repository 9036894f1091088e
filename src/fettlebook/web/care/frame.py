"""What these pages have in common: how far back is looked, what was found kept until the book or the day changes, tables to save."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, TypeVar

from fastapi.responses import HTMLResponse, Response
from starlette.exceptions import HTTPException

from fettlebook.standing.asking import said_at
from fettlebook.standing.look import Look
from fettlebook.web.pages import Pages, saved
from fettlebook.web.record import Record
from fettlebook.web.saving import csv_of
from fettlebook.web.standing_pages import Asking

CSV: Final = "text/csv; charset=utf-8"
SPANS: Final = (31, 92, 366)  # days back that the page offers
USUAL: Final = 92
MOST_DAYS: Final = 3_660
KEPT: Final = 24
T = TypeVar("T")
Rows = Sequence[Mapping[str, Any]]


@dataclass(slots=True)
class Care:
    """The book that is asked, and what was found in it."""

    pages: Pages
    record: Record
    asking: Asking = field(init=False)
    _kept: dict[tuple[Any, ...], Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.asking = Asking(self.pages, self.record)

    def found(self, what: str, make: Callable[[Look], T]) -> T:
        """Return what `make` finds in the book now, made once for each state of book and practice file and each local day."""
        with self.record.view() as view:
            look = view.look
            key = (what, look.state.seq, look.basis.day_of(look.at), id(look.basis))
            if key not in self._kept:
                while len(self._kept) >= KEPT:
                    del self._kept[next(iter(self._kept))]
                self._kept[key] = look.basis, make(look)  # the basis is kept too, so that its id can't come again
            made: T = self._kept[key][1]
            return made

    def show(self, template: str, part: str, title: str, **values: Any) -> HTMLResponse:
        """Return one of the pages, or the word that the book is still being read."""
        if (waiting := self.asking.waiting()) is not None:
            return waiting
        return self.asking.show(template, "water", self.asking.moment("", ""), part=part, title=title, spans=SPANS, **values)

    def chair(self, name: str) -> str:
        """Return a chair's name; 404 where the practice file has none of that name."""
        if name not in {chair.id for chair in self.pages.reading.practice.chairs}:
            raise HTTPException(404, "No such chair in the practice file.")
        return name


def days_back(days: int) -> int:
    """Return how many days back an address asks for, or raise for the page that says which there are."""
    if not 1 <= days <= MOST_DAYS:
        raise HTTPException(404, f"Days back: 1 to {MOST_DAYS}.")
    return days


def since_of(look: Look, days: int) -> int:
    """Return the moment from which on a page looks [ms]."""
    return look.basis.days_after(look.at, -days)


def table(name: str, rows: Rows) -> Response:
    """Return a table to save."""
    return Response(csv_of(rows), media_type=CSV, headers=saved(f"{name}.csv"))


def moment_of(look: Look, ms: int | None) -> str:
    """Return a moment as a table has it; empty where there is none."""
    return said_at(ms, look.basis.zone) or ""
