"""Hashes of whole subtrees, as a store keeps them: at every eighth level, 256 beside each other; all others are made from these."""

from collections.abc import Sequence
from typing import Any, Final

from fettlebook.book.stores.pen import Pen
from fettlebook.book.tree import TILE, leaf_hash, node_hash
from fettlebook.errors import Mendable

_LEAVES: Final = "SELECT seq, leaf, hash FROM entry WHERE practice = ? AND seq > ? AND seq <= ? ORDER BY seq"
_NODES: Final = "SELECT number, hash FROM node WHERE practice = ? AND level = ? AND number >= ? AND number < ? ORDER BY number"


class Tiles:
    """The tree of one practice, read for one proof. Call it with level and number to get the hash of that whole subtree."""

    def __init__(self, pen: Pen, practice: str) -> None:
        self._pen, self._practice = pen, practice
        self._read: dict[tuple[int, int], list[bytes]] = {}

    def __call__(self, level: int, number: int) -> bytes:
        """Return the hash of whole subtree `number` (from 0) at `level`."""
        base = level // TILE * TILE
        count = 1 << (level - base)
        tile, first = divmod(number * count, 1 << TILE)
        hashes = self._tile(base, tile)[first : first + count]
        if len(hashes) < count:
            raise _damaged((number << level) + 1, (number + 1) << level)
        while len(hashes) > 1:
            hashes = [node_hash(hashes[i], hashes[i + 1]) for i in range(0, len(hashes), 2)]
        return hashes[0]

    def _tile(self, level: int, tile: int) -> list[bytes]:
        if (level, tile) not in self._read:
            first, end = tile << TILE, (tile + 1) << TILE
            if level == 0:
                rows = self._pen.rows(_LEAVES, (self._practice, first, end))
                hashes = [leaf_hash(leaf) if leaf else bytes(kept) for _, leaf, kept in rows]  # pruned: its hash is what stays
                first += 1
            else:
                rows = self._pen.rows(_NODES, (self._practice, level, first, end))
                hashes = [bytes(value) for _, value in rows]
            if _numbers(rows) != list(range(first, first + len(rows))):
                raise _damaged((tile << (level + TILE)) + 1, (tile + 1) << (level + TILE))
            self._read[level, tile] = hashes
        return self._read[level, tile]


def _numbers(rows: Sequence[Any]) -> list[int]:
    return [row[0] for row in rows]


def _damaged(first: int, last: int) -> Mendable:
    what = f"entries or hashes are missing between entry {first} and {last}"
    return Mendable(what, where="the book", mend="Verify the book to see which; then restore the last backup beside it.")
