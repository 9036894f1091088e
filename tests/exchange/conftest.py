"""The invented demo practice, and a short way to read a calendar text for one day."""

from collections.abc import Callable
from datetime import date
from importlib.resources import files

import pytest
from book_reading import KEY, WEDNESDAY, Reader

from fettlebook.exchange.calendar import Book, read_book
from fettlebook.practice.load import read_practice
from fettlebook.practice.model import Practice


@pytest.fixture(scope="session")
def practice() -> Practice:
    found = read_practice(files("fettlebook.demo").joinpath("practice.toml").read_bytes(), "practice.toml").practice
    assert found is not None
    return found


@pytest.fixture
def read(practice: Practice) -> Reader:
    """Read a calendar text (or bytes) for a day; entries alone are wrapped into a calendar."""

    def reader(text: str | bytes, day: date = WEDNESDAY, *, practice: Practice = practice, key: bytes = KEY) -> Book:
        if isinstance(text, str):
            if "BEGIN:VCALENDAR" not in text:
                text = f"BEGIN:VCALENDAR\nVERSION:2.0\nPRODID:-//invented//test//EN\n{text.strip()}\nEND:VCALENDAR\n"
            text = text.encode()
        book = read_book(text, "book.ics", practice, day, key)
        counts = book.counts
        parts = (counts.visits, counts.not_planned, counts.ignored, counts.cancelled, counts.all_day, counts.not_mapped)
        assert sum(parts) == counts.on_day, "an entry of the day went nowhere"
        return book

    return reader


@pytest.fixture
def zoned(practice: Practice) -> Callable[[str], Practice]:
    """Return the demo practice in another time zone, open at all hours."""

    def move(zone: str) -> Practice:
        head = practice.practice.model_copy(update={"time_zone": zone})
        return practice.model_copy(update={"practice": head})

    return move
