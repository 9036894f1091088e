"""Where a practice's book stands: its size, its last time of receipt, the tree over all entries."""

from dataclasses import dataclass, field
from typing import Final

from fettlebook.book.stores import tables
from fettlebook.book.tree import HASH_BYTES, Peaks
from fettlebook.errors import Mendable

HEAD: Final = tuple(tables.head.c[name] for name in ("practice", "size", "received", "peaks"))  # what `head_of` takes


@dataclass(frozen=True, slots=True)
class Head:
    """Where a practice's book stands: when the last entry was received [ms since 1970 UTC], and the tree over all entries."""

    received: int = 0
    tree: Peaks = field(default_factory=Peaks)

    @property
    def size(self) -> int:
        """How many entries there are."""
        return self.tree.size

    @property
    def root(self) -> bytes:
        """The hash that stands for all of them."""
        return self.tree.root()


def peaks_in(held: bytes) -> tuple[bytes, ...]:
    """Return the hashes that stand behind each other in `held`."""
    return tuple(held[i : i + HASH_BYTES] for i in range(0, len(held), HASH_BYTES))


def head_of(practice: str, size: int, received: int, peaks: bytes) -> Head:
    """Return what a row of the table says; raises `Mendable` where its hashes don't fit its size."""
    try:
        return Head(received, Peaks(size, peaks_in(bytes(peaks))))
    except ValueError as error:
        mend = "Verify the book; then restore the last backup beside it."
        raise Mendable(str(error), where=f"head of the book of {practice}", mend=mend) from None
