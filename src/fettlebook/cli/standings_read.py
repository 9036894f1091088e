"""What `standing`, `due` and `trace` share: the book folded, a moment as it was typed, a subject as it was typed."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import click

from fettlebook.book.kinds import PracticeFileVersion, to_ms
from fettlebook.book.stores import Store, open_book
from fettlebook.errors import Mendable
from fettlebook.exchange.kept_state import KeptFold
from fettlebook.practice.load import load_practice
from fettlebook.practice.model import Practice
from fettlebook.rules.load import load_rulebook
from fettlebook.standing.asking import read_moment
from fettlebook.standing.basis import Basis
from fettlebook.standing.standings import Standings, View
from fettlebook.times.running import running_times


@dataclass(frozen=True, slots=True)
class Asked:
    """A question to the book: at which moment, by what was known at which."""

    practice: Practice
    store: Store
    standings: Standings
    at: datetime
    known_at: datetime | None  # None: all that is in the book

    @property
    def view(self) -> View:
        """The verdicts of that moment."""
        known = self.standings.state.received if self.known_at is None else to_ms(self.known_at)
        return self.standings.as_of(to_ms(self.at), known)

    @property
    def head(self) -> str:
        """Which moment, known when, in words."""
        at = _said(self.at)
        if self.known_at is None:
            return f"{at}, by all that is in the book now"
        if self.known_at == self.at:
            return f"{at}, by what had been received by then"
        return f"{at}, by what had been received by {_said(self.known_at)}"

    @property
    def title(self) -> str:
        """Whose practice."""
        return f"{self.practice.practice.name}{' (invented)' if self.practice.practice.invented else ''}"


def _said(moment: datetime) -> str:
    return f"{moment.strftime('%a %d %b %Y %H:%M')} ({moment.isoformat()[-6:]})"


@contextmanager
def read_standings(practice_file: str, data: str | None, at: str | None, known_at: str | None) -> Iterator[Asked]:
    """Read practice file and book, and fold the book under the rules of the day that is asked about.

    Raises
    ------
    Mendable
        A file can't be used, there is no such book, or a moment can't be read.
    """
    path = Path(practice_file)
    practice = load_practice(path)
    zone = ZoneInfo(practice.practice.time_zone)
    now = datetime.now(zone)
    moment = now if at is None else read_moment(at, zone, "--at", now)
    known = moment if known_at is None else None if known_at == "now" else read_moment(known_at, zone, "--known-at", now)
    rulebook = load_rulebook(practice, on=moment.date())
    book = book_beside(path, data)
    with open_book(book, practice.practice.id, write=False) as store:
        _say_where_it_differs(store, path)
        fold = KeptFold(store)
        standings = Standings(fold.state, Basis.of(practice, rulebook, running_times(practice, rulebook)))
        yield Asked(practice, store, standings, moment, known)
        fold.keep_up()


def book_beside(practice_file: Path, data: str | None) -> Path:
    """Return the file of the book: as named, or the one beside the practice file; raises `Mendable` where there is none."""
    book = Path(data) if data else practice_file.with_name("book.sqlite")
    if not book.exists():
        mend = f"Name it with --data, or begin one: fettlebook book init {book.name} {practice_file.name}."
        raise Mendable("there is no such book", where=str(book), mend=mend)
    return book


def _say_where_it_differs(store: Store, path: Path) -> None:
    """Verdicts stand on what the book holds: say so where the file beside it was changed since."""
    last = store.latest(PracticeFileVersion.KIND)
    if last is not None and getattr(last.entry.data, "text", None) != path.read_text("utf-8"):
        told = f"{path.name} is not the practice file that the book holds; verdicts stand on the book's."
        click.echo(f"{told} Take it in: fettlebook book renew BOOK {path.name}", err=True)
