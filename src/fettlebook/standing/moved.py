"""When water moved at a chair, as bits: one for each four hours, so that a rest of days shows in years without reading them.

A bit says that water surely moved then. Only what came within a day and stands uncorrected sets one: whoever asks a day later, or at any
time after that, knew of it. Where that is in doubt a bit is missing, which costs a look and no more: a rest that the bits show is looked
at in the facts themselves (`still.py`).
"""

from collections.abc import Iterable
from typing import Any, Final

from fettlebook.standing.older import EVER, Fact

PIECE_MS: Final = 4 * 3_600_000
PROMPT_MS: Final = 24 * 3_600_000  # what came later than this after it happened sets no bit
Outlets = tuple[str, ...]
MovedRow = tuple[str, Outlets | None, int, bytes]  # sort, outlets, the first piece, its bits


def where_moved(says: Any) -> Outlets | bool:
    """Return the outlets at which water moved by what a fact says; True for all of a chair, False for none."""
    outlets: Outlets | None = says.outlets
    if hasattr(says, "outcome"):
        return outlets if says.outcome == "done" and outlets is not None else False
    return True if outlets is None else outlets


class Moved:
    """The bits of one chair, apart for each sort of fact and each list of outlets."""

    __slots__ = ("_bits",)

    def __init__(self, rows: Iterable[MovedRow] = ()) -> None:
        self._bits: dict[tuple[str, Outlets | None], tuple[int, int]] = {  # the first piece, and the bits from there on
            (sort, outlets): (first, int.from_bytes(bits, "little")) for sort, outlets, first, bits in rows
        }

    def rows(self) -> list[MovedRow]:
        """Return all of it as plain values, for the next `Moved`."""
        return [(*key, first, bits.to_bytes(bits.bit_length() // 8 + 1, "little")) for key, (first, bits) in self._bits.items()]

    def add(self, sort: str, fact: Fact) -> None:
        """Set the bit of a fact where it may."""
        where = where_moved(fact.says)
        if where is False or fact.until != EVER or fact.since - fact.happened > PROMPT_MS:
            return
        key, piece = (sort, None if where is True else where), fact.happened // PIECE_MS
        first, bits = self._bits.get(key, (piece, 0))
        if piece < first:
            first, bits = piece, bits << (first - piece)
        self._bits[key] = first, bits | 1 << (piece - first)

    def take_out(self, sort: str, fact: Fact) -> None:
        """Clear the bit of a fact: whether another one would set it again isn't asked."""
        where, piece = where_moved(fact.says), fact.happened // PIECE_MS
        key = sort, None if isinstance(where, bool) else where
        first, bits = self._bits.get(key, (piece, 0))
        if piece >= first and bits >> (piece - first) & 1:
            self._bits[key] = first, bits ^ 1 << (piece - first)

    def together(self, sorts: Iterable[str], only: str | None) -> "Pieces":
        """Return when water moved by any of some sorts, at one outlet or anywhere."""
        wanted = set(sorts)
        found = [
            bits for (sort, outlets), bits in self._bits.items()
            if bits[1] and sort in wanted and (only is None or outlets is None or only in outlets)
        ]  # fmt: skip
        first, union = min((start for start, _ in found), default=0), 0
        for start, bits in found:
            union |= bits << (start - first)
        return Pieces(first, union)


class Pieces:
    """Pieces of time in which water surely moved."""

    __slots__ = ("_bits", "_first")

    def __init__(self, first: int, bits: int) -> None:
        self._first, self._bits = first, bits

    def since_rest(self, moment: int, at_least_ms: int) -> int:
        """Return the end of the last stretch before a moment in which a rest of at least so long may lie.

        At the earliest, the begin of all. From there to the piece of the moment, no rest of that length can lie between two movements.
        """
        pieces = moment // PIECE_MS - self._first  # the piece of the moment itself is left out
        length = at_least_ms // PIECE_MS - 1  # a rest holds at least so many whole pieces, wherever it begins
        if pieces <= 0:
            return moment
        still = ~self._bits & ((1 << pieces) - 1)
        shift = 1
        while shift < length and still:  # a bit that stays has as many set above it, itself counted
            step = min(shift, length - shift)
            still &= still >> step
            shift += step
        if not still:
            return self._first * PIECE_MS
        return (self._first + still.bit_length() - 1 + length) * PIECE_MS
