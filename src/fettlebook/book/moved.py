"""The mark beside a book that was carried to another machine: here it is read only from then on, so that there are never two of it."""

from datetime import datetime
from pathlib import Path

from fettlebook.book.files import write_private
from fettlebook.errors import Mendable


def mark_beside(book: Path) -> Path:
    """Return where the mark of a book stands: `book.sqlite.moved`."""
    return book.with_name(f"{book.name}.moved")


def mark_moved(book: Path, at: datetime, to: Path) -> None:
    """Write the mark: when, and into which folder."""
    write_private(mark_beside(book), f"This book moved on {at:%Y-%m-%d at %H:%M} into {to}.\n".encode())


def refuse_moved(book: Path) -> None:
    """Raise `Mendable` where this book has moved: what was written here now would be in one of two books."""
    mark = mark_beside(book)
    try:
        if not mark.exists():
            return
    except PermissionError:
        return  # a folder that can't be looked into: what is wrong with it is said when the book itself is opened
    try:
        said = mark.read_text("utf-8", errors="replace").strip()
    except OSError:
        said = "It is not known when."
    mend = f"Go on there. {said:.300} If nobody goes on there and the move was given up, delete {mark.name} beside the book."
    raise Mendable("this book has moved to another machine; here it can only be read", where=str(book), mend=mend)
