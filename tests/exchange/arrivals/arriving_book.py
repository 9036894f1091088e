"""A book that things arrive for: the demo practice, one load packed for the sterilizer, and a short way to take a file in."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import partial
from importlib.resources import files
from pathlib import Path

from fettlebook.book.door import Door
from fettlebook.book.entries import Moment
from fettlebook.book.kinds import InLoad, LoadPacked, PracticeFileVersion, to_ms
from fettlebook.book.stores import SqliteStore, open_book
from fettlebook.exchange.arrivals.arrived import Arrived, Outcome
from fettlebook.exchange.arrivals.cycle_log import Into
from fettlebook.exchange.arrivals.keeping_up import KeepingUp
from fettlebook.exchange.arrivals.taking import take_in
from fettlebook.practice.load import read_practice
from fettlebook.practice.model import Practice

NOW = to_ms(datetime(2026, 11, 25, 12, tzinfo=UTC))
MINUTE = 60_000


def demo_text() -> str:
    return files("fettlebook.demo").joinpath("practice.toml").read_text("utf-8")


@dataclass
class ArrivingBook:
    store: SqliteStore
    practice: Practice
    aside: Path
    keeping: KeepingUp
    door: Door = field(init=False)

    def __post_init__(self) -> None:
        self.door = Door(self.store)

    def take(self, content: bytes, source: str = "sterilizer 1", *, name: str = "log.csv", ago_min: float = 5, now: int = NOW) -> Outcome:
        arrived = Arrived(content, name, source, round(now - ago_min * MINUTE))
        return take_in(Into(self.store, self.door, self.practice, now), partial(self.keeping.look, now), arrived, self.aside)

    def size(self) -> int:
        return self.store.head().size

    def put_aside(self) -> list[str]:
        return sorted(one.name for one in self.aside.iterdir()) if self.aside.exists() else []


@contextmanager
def arriving_book(folder: Path, change: Callable[[str], str] = lambda text: text) -> Iterator[ArrivingBook]:
    text = change(demo_text())
    practice = read_practice(text.encode(), "practice.toml").practice
    assert practice is not None
    with open_book(folder / "book.sqlite", practice.practice.id) as store:
        early = Moment(NOW - 90 * MINUTE, "Europe/London")
        store.note(PracticeFileVersion.of(text, "practice.toml"), moment=early, subjects=(f"practice:{practice.practice.id}",))
        items = (InLoad(unit="exam#1", pack="p1", form="solid"),)
        packed = LoadPacked(load="L1", machine="sterilizer 1", cycle="wrapped 134", items=items, indicator=True)
        store.note(packed, moment=Moment(NOW - 80 * MINUTE, "Europe/London"), by=practice.people[0].id)
        yield ArrivingBook(store, practice, folder / "book.sqlite.aside", KeepingUp(store, practice))
