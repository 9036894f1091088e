"""An invented practice and its appointment book, for a first look, documentation and tests.

Nothing comes in; the practice file and the appointment book come out as bytes, the same each time. No such practice
exists, no person in it lives, and no number in it is a fact of the trade.
"""

from importlib.resources import files

__all__ = ["book_ics", "practice_text"]


def practice_text() -> bytes:
    """Return the invented practice file (TOML)."""
    return (files(__name__) / "practice.toml").read_bytes()


def book_ics() -> bytes:
    """Return the invented appointment book (iCalendar): a full day on every working day from 2026 on."""
    from fettlebook.demo import book  # noqa: PLC0415 - the calendar library is slow to import, and practice_text needs none

    return book.book_ics()
