"""Where a state is kept between one start and the next, as the fold sees it: rows by name, blobs by place. Files are not its business.

What comes back must be what was put there, byte for byte: whoever keeps it proves that, and raises `NoStateError` where it can't.
"""

from collections.abc import Iterable, Iterator
from typing import Protocol

from fettlebook.errors import Mendable
from fettlebook.standing.older import Place


class NoStateError(Mendable):
    """What was kept can't be taken: damaged, changed by somebody, or not written by this program. The book itself isn't touched by it."""

    def __init__(self, why: str) -> None:
        mend = "Ask again: the book is then read from its first entry. If nobody moved files here, find out who changed this one."
        super().__init__(f"what was kept beside the book is not as it was written ({why})", where="kept state", mend=mend)


class Shelf(Protocol):
    """Rows and blobs that were kept."""

    def row(self, name: str) -> bytes | None:
        """Return the row of this name as it was kept last; None where there is none."""

    def rows(self) -> Iterator[tuple[str, bytes]]:
        """Yield every row."""

    def blob(self, place: Place) -> bytes:
        """Return what was put."""

    def put(self, blob: bytes) -> Place:
        """Put bytes there and return where; only while rows are committed."""

    def commit(self, rows: Iterable[tuple[str, bytes]], head: bytes) -> None:
        """Keep these rows, in place of earlier ones of the same names, and the head; all of them or none."""
