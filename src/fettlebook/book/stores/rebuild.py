"""Makes the tables that are read off the entries again, from the sealed bytes alone."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Table, delete, insert, select, update

from fettlebook.book.kinds import EntryClash
from fettlebook.book.received import unseal
from fettlebook.book.stores import tables
from fettlebook.book.stores.head import HEAD, head_of
from fettlebook.book.tree import TILE, Peaks, leaf_hash
from fettlebook.errors import Mendable

_PAGE = 1000


@dataclass(frozen=True, slots=True)
class Rebuilt:
    """How many rows each table has now."""

    subjects: int
    clashes: int
    nodes: int


def rebuild(connection: Connection, practice: str) -> Rebuilt:
    """Drop what was read off the entries (subjects, clashes, hashes of the tree) and make it again, in this transaction.

    Raises
    ------
    Mendable
        The sealed bytes do not give the root that the head has: then nothing is made again, or a damaged book would look whole.
    """
    e, h = tables.entry, tables.head
    for table in (tables.entry_subject, tables.clash, tables.node):
        connection.execute(delete(table).where(table.c.practice == practice))
    tree, counts, since = Peaks(), {"subjects": 0, "clashes": 0, "nodes": 0}, 0
    page = select(e.c.seq, e.c.leaf, e.c.hash).where(e.c.practice == practice).order_by(e.c.seq).limit(_PAGE)
    while rows := connection.execute(page.where(e.c.seq > since)).all():
        since = rows[-1].seq
        subjects: list[dict[str, Any]] = []
        clashes: list[dict[str, Any]] = []
        nodes: list[dict[str, Any]] = []
        for row in rows:
            if not row.leaf:  # pruned: its hash is what stays of it
                tree, grown = tree.grown(bytes(row.hash))
                nodes += _kept(grown)
                continue
            received = unseal(row.leaf)
            made, data = received.entry, received.entry.data
            if received.seq != row.seq:
                raise _not_as_sealed(practice)
            subjects += [{"subject": subject, "seq": row.seq} for subject in dict.fromkeys(made.subjects)]
            if isinstance(data, EntryClash):
                clashes.append({"id": made.refers_to, "digest": bytes.fromhex(data.digest), "seq": row.seq})
            tree, grown = tree.grown(leaf_hash(row.leaf))
            nodes += _kept(grown)
        counts["subjects"] += _put(connection, tables.entry_subject, practice, subjects)
        counts["clashes"] += _put(connection, tables.clash, practice, clashes)
        counts["nodes"] += _put(connection, tables.node, practice, nodes)
    head = connection.execute(select(*HEAD).where(h.c.practice == practice)).first()
    if head is None and tree.size == 0:
        return Rebuilt(0, 0, 0)
    if head is None or head_of(*head).tree != tree:
        raise _not_as_sealed(practice)
    connection.execute(update(h).where(h.c.practice == practice).values(subjects_to=tree.size))
    return Rebuilt(**counts)


def _kept(grown: Iterable[tuple[int, int, bytes]]) -> list[dict[str, Any]]:
    return [{"level": level, "number": n, "hash": value} for level, n, value in grown if level and level % TILE == 0]


def _put(connection: Connection, table: Table, practice: str, rows: Iterable[dict[str, Any]]) -> int:
    full = [{"practice": practice} | row for row in rows]
    if full:
        connection.execute(insert(table), full)
    return len(full)


def _not_as_sealed(practice: str) -> Mendable:
    what = "the entries are not as they were sealed, so nothing was made again from them"
    return Mendable(what, where=f"the book of {practice}", mend="Verify the book to see which; then restore the last backup beside it.")
