"""The one way in which an entry gets into the book: what happens inside an append transaction, the same for every store."""

import hashlib
from collections.abc import Sequence
from typing import Any, Final

from sqlalchemy import Connection, Table, func, insert, select, text, update

from fettlebook.book.entries import PROGRAM, Entry, Moment, new_entry, read_entry
from fettlebook.book.kinds import Data, EntryClash
from fettlebook.book.received import Receipt, Refused, seal
from fettlebook.book.stores import tables
from fettlebook.book.stores.head import Head, head_of
from fettlebook.book.tree import TILE, leaf_hash
from fettlebook.errors import Finding, Mendable

SERVER: Final = "server"  # the device that the program itself writes from


class Appending:
    """One append transaction: what is known of the book, and what will be added to it."""

    def __init__(self, connection: Connection, practice: str, now: int, ids: Sequence[str] = ()) -> None:
        self._connection, self._practice, self._now = connection, practice, now
        self._added: dict[Table, list[dict[str, Any]]] = {
            table: [] for table in (tables.entry, tables.entry_subject, tables.clash, tables.node)
        }
        self._head = self._lock()
        self._known = self._among(ids) if ids else {}  # by id: digest of the entry's bytes, its receipt

    def _lock(self) -> Head:
        first = text("INSERT INTO head (practice, size, received, peaks) VALUES (:practice, 0, 0, :peaks) ON CONFLICT DO NOTHING")
        self._connection.execute(first, {"practice": self._practice, "peaks": b""})
        # The row lock (PostgreSQL) or BEGIN IMMEDIATE (SQLite) is what gives one order per practice.
        query = select(tables.head).where(tables.head.c.practice == self._practice).with_for_update()
        return head_of(self._connection.execute(query).one())

    def _among(self, ids: Sequence[str]) -> dict[str, tuple[bytes, Receipt]]:
        e = tables.entry
        query = select(e.c.id, e.c.seq, e.c.received, e.c.digest, e.c.leaf).where(e.c.practice == self._practice, e.c.id.in_(ids))
        rows = self._connection.execute(query)
        return {row.id: (bytes(row.digest), Receipt(row.id, row.seq, row.received, leaf_hash(row.leaf))) for row in rows}

    def place(self, made: Entry, raw: bytes, *, via: str, offset: int) -> Receipt | Refused:
        """Give the entry its place, or its first receipt again, or refuse another content under its id."""
        digest = hashlib.sha256(raw).digest()
        if made.id in self._known:
            before, receipt = self._known[made.id]
            return receipt if before == digest else self._refuse_clash(made, digest, via)
        seq, received = self._head.size + 1, max(self._now, self._head.received + 1)
        leaf = seal(raw, seq=seq, received=received, offset=offset, via=via)
        hashed = leaf_hash(leaf)
        columns = {"id": made.id, "kind": made.kind, "at": made.at, "device": made.device, "n": made.n}
        self._add(tables.entry, columns | {"seq": seq, "received": received, "digest": digest, "leaf": leaf})
        for subject in dict.fromkeys(made.subjects):
            self._add(tables.entry_subject, {"subject": subject, "seq": seq})
        tree, nodes = self._head.tree.grown(hashed)
        for level, number, value in nodes:
            if level and level % TILE == 0:
                self._add(tables.node, {"level": level, "number": number, "hash": value})
        self._head = Head(received, tree)
        receipt = Receipt(made.id, seq, received, hashed)
        self._known[made.id] = (digest, receipt)
        return receipt

    def note(self, data: Data, *, moment: Moment, by: str, subjects: tuple[str, ...], refers_to: str | None) -> Receipt | Refused:
        """Make an entry with the server's next number, and give it its place."""
        e = tables.entry
        highest = select(func.coalesce(func.max(e.c.n), 0)).where(e.c.practice == self._practice, e.c.device == SERVER)
        waiting = sum(row["device"] == SERVER for row in self._added[e])
        n = self._connection.execute(highest).scalar_one() + waiting + 1
        made = new_entry(data, moment=moment, device=SERVER, n=n, by=by, subjects=subjects, refers_to=refers_to)
        raw = made.encode()
        read_entry(raw)  # what goes in can be read again: the same limits for everyone
        return self.place(made, raw, via=SERVER, offset=0)

    def finish(self) -> None:
        """Write what was placed. Nothing is durable before the transaction has been committed."""
        if not self._added[tables.entry]:
            return
        for table, rows in self._added.items():
            if rows:
                self._connection.execute(insert(table), rows)
        h, tree = tables.head, self._head.tree
        new = {"size": tree.size, "received": self._head.received, "peaks": b"".join(tree.hashes)}
        self._connection.execute(update(h).where(h.c.practice == self._practice).values(new))

    def _add(self, table: Table, row: dict[str, Any]) -> None:
        self._added[table].append({"practice": self._practice} | row)

    def _refuse_clash(self, made: Entry, digest: bytes, via: str) -> Refused:
        c = tables.clash
        kept = select(c.c.seq).where(c.c.practice == self._practice, c.c.id == made.id, c.c.digest == digest)
        here = any(row["id"] == made.id and row["digest"] == digest for row in self._added[c])
        if not here and self._connection.execute(kept).first() is None:
            moment = Moment(max(self._now, self._head.received + 1), "UTC")
            said = EntryClash(digest=digest.hex(), via=via)
            placed = self.note(said, moment=moment, by=PROGRAM, subjects=made.subjects, refers_to=made.id)
            assert isinstance(placed, Receipt)  # its id is new
            self._add(c, {"id": made.id, "digest": digest, "seq": placed.seq})
        what = "another content is in the book under this id"
        mend = "Keep both copies and tell whoever looks after the tablets: an id is used once."
        return Refused(made.id, (Finding(what, f"entry {made.id}", mend),))


def readable(given: Entry | bytes) -> tuple[Entry, bytes] | Refused:
    """Return the entry with its bytes, or why it can't go into the book."""
    raw = given.encode() if isinstance(given, Entry) else given
    try:
        made = read_entry(raw)
    except Mendable as error:
        return Refused(given.id if isinstance(given, Entry) else None, error.findings)
    if made.kind == EntryClash.KIND:
        finding = Finding(f"the kind {made.kind}", "entry.kind", "Leave it out; only the store writes this kind.")
        return Refused(made.id, (finding,))
    return made, raw
