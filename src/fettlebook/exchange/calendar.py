"""The appointment book: one day's visits from an iCalendar file, and everything that could not become a visit.

Comes in: the bytes of an RFC 5545 file, the practice, the day, the practice's key. Goes out: visits with an opaque
reference, and findings with line and time. Never: a summary, a name, a description, an address, a UID.

The reference of a visit is `v_` and 20 hexadecimal digits of HMAC-SHA-256 under the practice's key over the digest
of the UID and the instance's original start. It stays when the visit is moved, and is another in another practice.
"""

from datetime import date, timedelta
from typing import Final

from fettlebook.exchange.calendar_day import Book, Counts, DayReader
from fettlebook.exchange.calendar_open import OpenedBook
from fettlebook.practice.model import Practice

__all__ = ["Book", "Counts", "booked_days", "read_book"]

MAX_DAYS: Final = 400


def read_book(data: bytes, file: str, practice: Practice, day: date, key: bytes) -> Book:
    """Return the visits of one day, and every entry that is none, with its line.

    Parameters
    ----------
    data
        The calendar file's bytes, at most 20 MB.
    file
        Its name, as messages shall show it.
    practice
        The practice file; its zone, map, chairs and opening hours are used.
    day
        The day in the practice's zone. A visit belongs to the day on which it begins.
    key
        The practice's secret key, 32 bytes (`fettlebook.exchange.key`).

    Returns
    -------
    Book
        An empty day is an empty book with a note.

    Raises
    ------
    Mendable
        The file is too large, empty, or no calendar; the key has a wrong size; the practice's zone is unknown.
    """
    opened = OpenedBook(data, file, practice, key)
    today = DayReader(opened, day)
    for instance in opened.between(day, day):
        today.take(instance)
    return today.done()


def booked_days(data: bytes, file: str, practice: Practice, first: date, key: bytes, *, days: int) -> tuple[date, ...]:
    """Return the days with at least one visit, from `first` on, among the next `days` (1 to 400)."""
    opened = OpenedBook(data, file, practice, key)
    last = first + timedelta(days=min(max(days, 1), MAX_DAYS) - 1)
    found = set()
    for instance in opened.between(first, last):
        kept = DayReader(opened, first)
        if first <= (day := kept.day_of(instance)) <= last and day not in found:
            kept.day = day
            kept.take(instance)
            if kept.visits:
                found.add(day)
    return tuple(sorted(found))
