"""What the calendar's tests share: a key, a day, and the visits as one reads them."""

from collections.abc import Callable
from datetime import date

from fettlebook.exchange.calendar import Book

KEY = bytes(range(32))
WEDNESDAY = date(2026, 11, 25)
Reader = Callable[..., Book]


def starts(book: Book) -> list[str]:
    """The visits' local starts and ends, as one reads them."""
    return [f"{visit.start:%H:%M}-{visit.end:%H:%M} {visit.chair} {visit.visit_kind}" for visit in book.visits]


def texts(book: Book) -> str:
    return "\n".join(f"{finding.weight} {finding}" for finding in book.findings)
