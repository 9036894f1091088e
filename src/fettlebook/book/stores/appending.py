"""The one way in which an entry gets into the book: what happens inside an append transaction, the same for every store."""

import hashlib
from collections.abc import Sequence
from typing import Any, Final

from fettlebook.book.entries import PROGRAM, Entry, Moment, new_entry, read_entry
from fettlebook.book.kinds import BookPruned, Data, EntryClash
from fettlebook.book.received import Receipt, Refused, own_bytes, seal
from fettlebook.book.sent import Sent, read_at_once
from fettlebook.book.stores.head import Head, head_of
from fettlebook.book.stores.pen import ENTRY, NODE, NotAsThought, Pen
from fettlebook.book.tree import TILE, Growing, leaf_hash
from fettlebook.errors import Finding, Mendable

SERVER: Final = "server"  # the device that the program itself writes from
_KNOWN_MOST: Final = 250  # ids asked for in one query
_OWN: Final = (EntryClash.KIND, BookPruned.KIND)  # kinds that only the store writes
_CLASH: Final = ("clash", "practice, id, digest, seq")
_HEAD: Final = "UPDATE head SET size = ?, received = ?, peaks = ? WHERE practice = ?"


class Appending:
    """One append transaction: what is known of the book, and what will be added to it."""

    def __init__(self, pen: Pen, practice: str, now: int, ids: Sequence[str] = (), *, lock: str = "", at: Head | None = None) -> None:
        """`at`: where the book is thought to stand, and none of `ids` to be in it; then nothing is asked before it is written."""
        self._pen, self._practice, self._now, self._at = pen, practice, now, at
        self._entries: list[tuple[Any, ...]] = []
        self._clashes: list[tuple[Any, ...]] = []
        self._nodes: list[tuple[Any, ...]] = []
        self._pruned: set[str] = set()
        head = at or self._head(lock)
        self._tree, self._received = Growing(head.tree), head.received
        self._known = self._among(ids) if ids and at is None else {}  # by id: the entry's bytes, its receipt

    @property
    def size(self) -> int:
        """How many entries the book holds with those that were placed."""
        return self._tree.size

    def _head(self, lock: str) -> Head:
        # The row lock (PostgreSQL) or BEGIN IMMEDIATE (SQLite) is what gives one order per practice.
        query = f"SELECT practice, size, received, peaks FROM head WHERE practice = ? {lock}"  # noqa: S608 - lock is the store's own word
        rows = self._pen.rows(query, (self._practice,))
        if not rows:
            first = "INSERT INTO head (practice, size, received, peaks) VALUES (?, 0, 0, ?) ON CONFLICT DO NOTHING"
            self._pen.write(first, (self._practice, b""))
            rows = self._pen.rows(query, (self._practice,))
        return head_of(*rows[0])

    def _among(self, ids: Sequence[str]) -> dict[str, tuple[bytes, Receipt]]:
        known: dict[str, tuple[bytes, Receipt]] = {}
        for begin in range(0, len(ids), _KNOWN_MOST):
            asked = ids[begin : begin + _KNOWN_MOST]
            for entry_id, seq, leaf in self._pen.known(self._practice, asked):
                if not leaf:
                    self._pruned.add(entry_id)
                    continue
                raw, received = own_bytes(bytes(leaf))
                known[entry_id] = (raw, Receipt(entry_id, seq, received, leaf_hash(leaf)))
        return known

    def place(self, made: Entry | Sent, raw: bytes, *, via: str, offset: int) -> Receipt | Refused:
        """Give the entry its place, or its first receipt again, or refuse another content under its id."""
        if made.id in self._pruned:
            mend = "Delete this copy: the entry was in the book, and its term is over."
            return Refused(made.id, (Finding("an entry that was pruned", f"entry {made.id}", mend),))
        if made.id in self._known:
            before, receipt = self._known[made.id]
            return receipt if before == raw else self._refuse_clash(made, hashlib.sha256(raw).digest(), via)
        practice, seq, received = self._practice, self._tree.size + 1, max(self._now, self._received + 1)
        leaf = seal(raw, seq=seq, received=received, offset=offset, via=via)
        hashed = leaf_hash(leaf)
        self._entries.append((practice, seq, made.id, made.kind, made.device, made.n, hashed, leaf))
        for level, number, value in self._tree.add(hashed):
            if level % TILE == 0:
                self._nodes.append((practice, level, number, value))
        self._received = received
        receipt = Receipt(made.id, seq, received, hashed)
        self._known[made.id] = (raw, receipt)
        return receipt

    def note(self, data: Data, *, moment: Moment, by: str, subjects: tuple[str, ...], refers_to: str | None) -> Receipt | Refused:
        """Make an entry with the server's next number, and give it its place."""
        highest = "SELECT coalesce(max(n), 0) FROM entry WHERE practice = ? AND device = ?"
        ((n,),) = self._pen.rows(highest, (self._practice, SERVER))
        n += sum(row[4] == SERVER for row in self._entries) + 1
        made = new_entry(data, moment=moment, device=SERVER, n=n, by=by, subjects=subjects, refers_to=refers_to)
        raw = made.encode()
        read_entry(raw)  # what goes in can be read again: the same limits for everyone
        return self.place(made, raw, via=SERVER, offset=0)

    def finish(self) -> Head:
        """Write what was placed, and return where the book will stand. Nothing is durable before the transaction has been committed."""
        tree = self._tree.peaks()
        stands = Head(self._received, tree)
        if not self._entries:
            return stands
        if self._at is not None:
            self._pen.add_at(self._practice, self._at, stands, self._entries, self._nodes)
            return stands
        for table, rows in ((ENTRY, self._entries), (_CLASH, self._clashes), (NODE, self._nodes)):
            if rows:
                self._pen.insert(*table, rows)
        self._pen.write(_HEAD, (tree.size, self._received, b"".join(tree.hashes), self._practice))
        return stands

    def _refuse_clash(self, made: Entry | Sent, digest: bytes, via: str) -> Refused:
        if self._at is not None:
            raise NotAsThought
        kept = "SELECT 1 FROM clash WHERE practice = ? AND id = ? AND digest = ?"
        here = any(row[1:3] == (made.id, digest) for row in self._clashes)
        if not here and not self._pen.rows(kept, (self._practice, made.id, digest)):
            moment = Moment(max(self._now, self._received + 1), "UTC")
            said = EntryClash(digest=digest.hex(), via=via)
            placed = self.note(said, moment=moment, by=PROGRAM, subjects=made.subjects, refers_to=made.id)
            assert isinstance(placed, Receipt)  # its id is new
            self._clashes.append((self._practice, made.id, digest, placed.seq))
        what = "another content is in the book under this id"
        mend = "Keep both copies and tell whoever looks after the tablets: an id is used once."
        return Refused(made.id, (Finding(what, f"entry {made.id}", mend),))


def readable(given: Entry | bytes) -> tuple[Entry | Sent, bytes] | Refused:
    """Return the entry with its bytes, or why it can't go into the book."""
    raw = given.encode() if isinstance(given, Entry) else given
    if (sent := read_at_once(raw)) is not None and sent.kind not in _OWN:
        return sent, raw
    try:
        made = read_entry(raw)
    except Mendable as error:
        return Refused(given.id if isinstance(given, Entry) else None, error.findings)
    if made.kind in _OWN:
        finding = Finding(f"the kind {made.kind}", "entry.kind", "Leave it out; only the store writes this kind.")
        return Refused(made.id, (finding,))
    return made, raw
