"""What `standing`, `due` and `trace` share: the book folded, a moment as it was typed, a subject as it was typed."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import click

from fettlebook.book.kinds import PracticeFileVersion, from_ms, to_ms
from fettlebook.book.stores import Store, open_book
from fettlebook.errors import Mendable
from fettlebook.practice.load import load_practice
from fettlebook.practice.model import Practice
from fettlebook.rules.load import load_rulebook
from fettlebook.standing.standings import KINDS, PRACTICE, Standings, View, fold
from fettlebook.times.running import running_times

FOR_EXAMPLE = "Write it as 2026-03-09T08:00, with an offset (+01:00) in the hour that comes twice when clocks go back."


@dataclass(frozen=True, slots=True)
class Asked:
    """A question to the book: at which moment, by what was known at which."""

    practice: Practice
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
    book = Path(data) if data else path.with_name("book.sqlite")
    if not book.exists():
        raise Mendable(
            "there is no such book",
            where=str(book),
            mend=f"Name it with --data, or begin one: fettlebook book init {book.name} {path.name}.",
        )
    with open_book(book, practice.practice.id, write=False) as store:
        _say_where_it_differs(store, path)
        standings = fold(store.read(), practice, rulebook, running_times(practice, rulebook), original=store.get)
        yield Asked(practice, standings, moment, known)


def _say_where_it_differs(store: Store, path: Path) -> None:
    """Verdicts stand on what the book holds: say so where the file beside it was changed since."""
    last = store.latest(PracticeFileVersion.KIND)
    if last is not None and getattr(last.entry.data, "text", None) != path.read_text("utf-8"):
        told = f"{path.name} is not the practice file that the book holds; verdicts stand on the book's."
        click.echo(f"{told} Take it in: fettlebook book renew BOOK {path.name}", err=True)


def read_moment(text: str, zone: ZoneInfo, where: str, now: datetime) -> datetime:
    """Return a moment as it was typed, on the practice's wall clock; raises `Mendable` where it can't be read or never was."""
    if text == "now":
        return now
    try:
        read = datetime.fromisoformat(text)
    except ValueError:
        raise Mendable(f"{text!r:.60} is no moment", where=where, mend=FOR_EXAMPLE) from None
    if read.tzinfo is not None:
        return read.astimezone(zone)
    local = read.replace(tzinfo=zone)
    if local.astimezone(ZoneInfo("UTC")).astimezone(zone).replace(tzinfo=None) != read:
        mend = f"Clocks went forward then: take {(read + timedelta(hours=1)).isoformat(timespec='minutes')}."
        raise Mendable(f"{text} never was in {zone}", where=where, mend=mend)
    return local


def read_subject(view: View, text: str) -> str:
    """Return a subject as the book writes it, from how a person types it: `chair 1`, `chair 1/turbine`, `exam#3`, `practice`.

    Raises
    ------
    Mendable
        Nothing is called so; where several are, all of them are named.
    """
    if text in ("practice", PRACTICE):
        return PRACTICE
    if text.partition(":")[0] in (*KINDS, "visit", "pack", "person", "sample") and ":" in text:
        return text
    state, basis = view.look.state, view.look.basis
    found = [f"chair:{text}"] if text in basis.chairs else []
    found += [f"machine:{text}"] if text in basis.machines else []
    found += [s for s in view.subjects() if s in (f"outlet:{text}", f"unit:{text}")]
    kinds = ("load", "product", "solution", "visit", "pack", "person", "sample", "unit")
    found += [s for s in (f"{kind}:{text}" for kind in kinds) if s in state.subjects or (s, "steps") in state.streams]
    found = list(dict.fromkeys(found))
    if len(found) == 1:
        return found[0]
    if found:
        raise Mendable(f'several are called "{text}"', where="SUBJECT", mend=f"Write one of: {', '.join(found)}.")
    names = [s for s in view.subjects() if s.startswith(("chair:", "machine:"))]
    raise Mendable(
        f'nothing is called "{text}"', where="SUBJECT", mend=f"Choose one of: practice, {', '.join(names)}; or a load, set, lot."
    )


def said_at(ms: int | None, zone: ZoneInfo) -> str | None:
    """Return a moment for JSON: ISO 8601 on the practice's wall clock, with its offset."""
    return None if ms is None else from_ms(ms, str(zone)).isoformat(timespec="seconds")
