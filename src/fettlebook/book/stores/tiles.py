"""Hashes of whole subtrees, as a store keeps them: at every eighth level, 256 beside each other; all others are made from these."""

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Connection, select

from fettlebook.book.stores import tables
from fettlebook.book.tree import TILE, leaf_hash, node_hash
from fettlebook.errors import Mendable


class Tiles:
    """The tree of one practice, read for one proof. Call it with level and number to get the hash of that whole subtree."""

    def __init__(self, connection: Connection, practice: str) -> None:
        self._connection, self._practice = connection, practice
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
                e = tables.entry
                query = select(e.c.seq, e.c.leaf).where(e.c.practice == self._practice, e.c.seq > first, e.c.seq <= end)
                rows = self._connection.execute(query.order_by(e.c.seq)).all()
                hashes = [leaf_hash(row.leaf) for row in rows]
                first += 1
            else:
                n = tables.node
                query = select(n.c.number, n.c.hash).where(n.c.practice == self._practice, n.c.level == level)
                rows = self._connection.execute(query.where(n.c.number >= first, n.c.number < end).order_by(n.c.number)).all()
                hashes = [bytes(row.hash) for row in rows]
            if _numbers(rows) != list(range(first, first + len(rows))):
                raise _damaged((tile << (level + TILE)) + 1, (tile + 1) << (level + TILE))
            self._read[level, tile] = hashes
        return self._read[level, tile]


def _numbers(rows: Sequence[Any]) -> list[int]:
    return [row[0] for row in rows]


def _damaged(first: int, last: int) -> Mendable:
    what = f"entries or hashes are missing between entry {first} and {last}"
    return Mendable(what, where="the book", mend="Verify the book to see which; then restore the last backup beside it.")
