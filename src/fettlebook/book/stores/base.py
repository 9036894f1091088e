"""What every store can do.

A store is bound to one practice; `of` gives another practice of the same database. Only two things differ between SQLite and
PostgreSQL: how a transaction begins (so that one writer at a time appends to a practice), and what a failure means in words.
"""

import threading
from abc import abstractmethod
from collections import deque
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, suppress
from dataclasses import dataclass
from functools import partial
from typing import Any, Final, Self

from sqlalchemy import Connection, Select, exists, func, select

from fettlebook.book.entries import PROGRAM, Entry, Moment, is_device
from fettlebook.book.kinds import BookPruned, ClockBack, Data
from fettlebook.book.received import Receipt, Received, Refused, own_bytes, unseal
from fettlebook.book.sent import Sent
from fettlebook.book.stores import tables
from fettlebook.book.stores.appending import Appending, readable
from fettlebook.book.stores.beside import BesideEntries
from fettlebook.book.stores.head import HEAD, Head, head_of, peaks_in
from fettlebook.book.stores.pen import Pen
from fettlebook.book.stores.pruning import Prunable, count, drop_files, emptied, numbers_of
from fettlebook.book.stores.quick import AtStart, Quick
from fettlebook.book.stores.sealed import take_sealed
from fettlebook.book.stores.subjects import BEHIND_MOST, after, bring_forward, subjects_in
from fettlebook.book.stores.tiles import Tiles
from fettlebook.book.stores.told import OnAdded, Told
from fettlebook.book.sweep import Salt, Swept, files_in, sweep
from fettlebook.book.sweep import query as query_of
from fettlebook.book.tree import consistency_proof, inclusion_proof, range_hash
from fettlebook.book.verify import Anchor, Beside, Row, Verification, verify_book
from fettlebook.book.words import TextKeys
from fettlebook.errors import Mendable

BATCH_MOST: Final = 500
_ROW: Final = ", ".join(Row._fields)
CLOCK_BACK_MS: Final = 5000
PAGE: Final = 1000  # rows read in one short transaction: a slow reader never holds the log


@dataclass(frozen=True, slots=True)
class Inclusion:
    """Shows that the record with this hash stands at `seq` in the book of the first `size` entries, to whoever has that root."""

    seq: int
    size: int
    leaf_hash: bytes
    hashes: tuple[bytes, ...]


class Store(BesideEntries):
    """The book of one practice. All calls are safe from several threads."""

    _told: Told
    _stands: Head | None = None  # where this store last left the book; None: to be asked
    _in_turn: threading.Lock  # who adds through this store waits here for who is before, not in the database
    _ask_then: tuple[type[Exception], ...]  # what adding without asking may fail with: then it is asked

    @property
    @abstractmethod
    def others_add(self) -> bool:
        """Whether other processes may add entries while this store is open."""

    def on_added(self, tell: OnAdded) -> Callable[[], None]:
        """Have `tell` called with the book's size each time this store has durably added entries; returns what ends that.

        It is called from the thread that added, so it must be quick and must not raise.
        """
        return self._told.add(tell)

    @abstractmethod
    def of(self, practice: str) -> Self:
        """Return the book of another practice in the same database."""

    @abstractmethod
    def text_keys(self) -> TextKeys:
        """Return where the keys of people's words stand."""

    @abstractmethod
    def close(self) -> None:
        """Let go of the database. What was acknowledged is safe without it."""

    @abstractmethod
    def _appending(self) -> AbstractContextManager[tuple[Pen, str]]:
        """Begin what `_writing` begins, for appending alone; gives the pen, and the words that lock a row read with it."""

    @abstractmethod
    def _adding(self) -> AbstractContextManager[tuple[Pen, str]]:
        """Begin a transaction for one `add_at`."""

    @abstractmethod
    def _reading_with_pen(self) -> AbstractContextManager[Pen]:
        """Begin what `_reading` begins, for the driver's own rows."""

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def append(self, entries: Sequence[Entry | bytes], *, now: int, via: str, offset: int = 0) -> list[Receipt | Refused]:
        """Add entries to the book; return only when they are durable.

        Parameters
        ----------
        entries
            Entries, or their canonical bytes as a device sent them; at most 500.
        now
            The receiver's clock [ms since 1970-01-01 UTC]. Each entry is received at `max(now, last + 1)`: the time never
            stands still nor runs back, whatever the clock does.
        via
            The device that sent them.
        offset
            The receiver's clock less the sender's at that moment [ms].

        Returns
        -------
        list
            One result per entry, in order. The good ones are stored even where others are refused. An entry that is in the book
            already gets its first receipt again; other content under a known id is refused, and an `entry.clash` keeps its digest.

        Raises
        ------
        Mendable
            Nothing was stored: the batch is too long, `via` is no device's id, the disk is full, the database doesn't answer.
        """
        if len(entries) > BATCH_MOST:
            raise Mendable(f"{len(entries)} entries at once", where="entries", mend=f"Send at most {BATCH_MOST} at a time.")
        if not is_device(via):
            mend = "Give the id under which the device was enrolled (letters, digits, dots, hyphens; at most 60)."
            raise Mendable(f"{via!r:.80}", where="via", mend=mend)
        read = [readable(given) for given in entries]
        # Nearly always the book stands where this store left it, and what comes is new: then there is nothing to ask.
        if (results := self._append(read, now, via, offset, asking=False)) is None:
            results = self._append(read, now, via, offset, asking=True)
            assert results is not None
        return results

    def _append(
        self, read: Sequence[tuple[Entry | Sent, bytes] | Refused], now: int, via: str, offset: int, *, asking: bool
    ) -> list[Receipt | Refused] | None:
        """Append; without asking, None where the book stands elsewhere than was thought, an entry is in it, or none can say.

        Done again with asking, each entry is found or added: that is what ids are for.
        """
        ids = [r[0].id for r in read if not isinstance(r, Refused)]
        with self._in_turn:
            at, self._stands = None if asking else self._stands, None
            if at is None and not asking:
                return None
            try:
                with self._appending() if asking else self._adding() as (pen, lock):
                    appending = Appending(pen, self.practice, now, ids, lock=lock, at=at)
                    results = [r if isinstance(r, Refused) else appending.place(*r, via=via, offset=offset) for r in read]
                    stands = appending.finish()
            except self._ask_then:
                if asking:
                    raise
                return None
            self._stands = stands
        self._told.added(appending.size)
        return results

    def note(
        self,
        data: Data,
        *,
        moment: Moment,
        by: str = PROGRAM,
        subjects: tuple[str, ...] = (),
        refers_to: str | None = None,
        now: int | None = None,
    ) -> Receipt:
        """Write an entry that the program itself makes, with the server's next number; return when it is durable.

        `moment` comes from the face's clocks and is also the time of receipt, unless `now` is given (what is entered later, from paper).
        Raises `Mendable` where the data can't be an entry.
        """
        with self._appending() as (pen, lock):
            appending = Appending(pen, self.practice, moment.at if now is None else now, lock=lock)
            result = appending.note(data, moment=moment, by=by, subjects=subjects, refers_to=refers_to)
            if isinstance(result, Refused):
                raise Mendable.of(result.findings)
            self._stands = appending.finish()
        self._told.added(appending.size)
        return result

    def note_all(self, said: Sequence[Data], *, moment: Moment, by: str = PROGRAM) -> list[Receipt]:
        """Write several entries as `note` does, in one transaction: all of them, or none where one is refused."""
        with self._appending() as (pen, lock):
            appending = Appending(pen, self.practice, moment.at, lock=lock)
            receipts = []
            for data in said:
                result = appending.note(data, moment=moment, by=by, subjects=(), refers_to=None)
                if isinstance(result, Refused):
                    raise Mendable.of(result.findings)
                receipts.append(result)
            self._stands = appending.finish()
        self._told.added(appending.size)
        return receipts

    def take_sealed(
        self, leaves: Iterable[bytes], *, size: int, root: bytes, files: Iterable[tuple[str, bytes]] = (), notes: Iterable[str] = ()
    ) -> None:
        """Fill this book, which must be empty, with records that were sealed elsewhere; all of them or none.

        Raises `Mendable` where there are entries already, or the records do not give `root`.
        """
        with self._writing() as connection:
            take_sealed(connection, self.practice, leaves, size=size, root=root, files=files, notes=notes)
        self._told.added(size)

    def heed_clock(self, moment: Moment) -> Receipt | None:
        """Write `clock.back` where the clock stands more than 5 s before the last receipt, once for each time; faces call it at the start.

        Work goes on: the time of receipt rises all the same.
        """
        head = self.head()
        if head.received - moment.at <= CLOCK_BACK_MS:
            return None
        last = self.latest(ClockBack.KIND)
        if last is not None and last.seq == head.size:
            return None  # nothing was written since it was said
        return self.note(ClockBack(from_ms=head.received, to_ms=moment.at), moment=moment)

    def read(
        self,
        since: int = 0,
        *,
        kinds: Collection[str] | None = None,
        subjects: Collection[str] | None = None,
        until: int | None = None,
    ) -> Iterator[Received]:
        """Yield entries in the order of receipt: those after `since` and up to `until` (seq), of these kinds and subjects.

        An empty collection gives nothing; None gives all. Corrections and withdrawals are entries like others: whoever judges
        folds them.
        """
        e, s = tables.entry, tables.entry_subject
        query = select(e.c.seq, e.c.leaf).where(e.c.practice == self.practice, func.length(e.c.leaf) > 0)
        if kinds is not None:
            query = query.where(e.c.kind.in_(list(kinds)))
        if until is not None:
            query = query.where(e.c.seq <= until)
        if subjects is not None:
            wanted, to = set(subjects), self._subjects_to()
            about = select(s.c.seq).where(s.c.practice == self.practice, s.c.subject.in_(list(wanted)), s.c.seq <= to)
            for row in self._pages(query.where(e.c.seq.in_(about)), since):
                yield unseal(row.leaf)
            since = max(since, to)
        for row in self._pages(query, since):
            if subjects is None or not wanted.isdisjoint(subjects_in(row.leaf)):
                yield unseal(row.leaf)

    def _pages(self, query: Select[Any], since: int) -> Iterator[Any]:
        e = tables.entry
        while True:
            rows = self._rows(query.where(e.c.seq > since).order_by(e.c.seq).limit(PAGE))
            yield from rows
            if len(rows) < PAGE:
                return
            since = rows[-1].seq

    def catch_up(self) -> None:
        """Read the table of subjects off to the end. No one must: whoever reads looks at what it lacks in the entries themselves."""
        more = True
        while more:
            with self._appending() as (pen, lock):
                more = bring_forward(pen, self.practice, lock)

    def _subjects_to(self) -> int:
        """Return up to which entry the table of subjects was read off; further behind than a few, it is brought forward first."""
        h = tables.head
        query = select(h.c.size, h.c.subjects_to).where(h.c.practice == self.practice)
        found = self._rows(query)
        if found and found[0].size - found[0].subjects_to > BEHIND_MOST:
            with suppress(Mendable):  # opened for reading, or the disk is full: it only takes longer
                self.catch_up()
                found = self._rows(query)
        return found[0].subjects_to if found else 0

    def latest(self, kind: str, subject: str | None = None) -> Received | None:
        """Return the entry of this kind (and about this subject) that was received last; None where there is none."""
        e, s = tables.entry, tables.entry_subject
        query = select(e.c.leaf).where(e.c.practice == self.practice, e.c.kind == kind, func.length(e.c.leaf) > 0)
        if subject is not None:
            to = self._subjects_to()
            if newest := deque(self.read(to, kinds=[kind], subjects=[subject]), maxlen=1):
                return newest[0]
            # Asked for each entry from the newest back: a list of all that a chair ever had would be made first otherwise.
            query = query.where(exists().where(s.c.practice == self.practice, s.c.subject == subject, s.c.seq == e.c.seq)).where(
                e.c.seq <= to
            )
        rows = self._rows(query.order_by(e.c.seq.desc()).limit(1))
        return unseal(rows[0].leaf) if rows else None

    def get(self, entry_id: str) -> Received | None:
        """Return the entry with this id; None where it is not in the book, or was pruned."""
        e = tables.entry
        rows = self._rows(select(e.c.leaf).where(e.c.practice == self.practice, e.c.id == entry_id))
        return unseal(rows[0].leaf) if rows and rows[0].leaf else None

    def prunable(self, before: int) -> Prunable:
        """Return what of the book was received before a moment [ms since 1970 UTC], to be pruned."""
        low, high = 0, self.head().size  # entries 1 to `low` were received before it
        while low < high:
            middle = (low + high + 1) // 2
            low, high = (middle, high) if self._received_at(middle) < before else (low, middle - 1)
        return self.prunable_up_to(low)

    def prunable_up_to(self, last: int, keep: Collection[str] = ()) -> Prunable:
        """Return what would go of the entries up to `last` (seq), where those with an id in `keep` stay."""
        with self._reading() as connection:
            return count(connection, self.practice, last, keep)

    def prune(self, last: int, *, keep: Collection[str] = (), rule: str, moment: Moment, by: str = PROGRAM) -> Receipt | None:
        """Drop the bodies of the entries up to `last` (seq), but those with an id in `keep`, for good. Nothing where none would go.

        Every proof still holds.

        An entry `book.pruned` is durable before the first body goes: what breaks off between is taken up by doing it again. Whether
        verdicts still rest on what goes is for the caller to ask (`exchange.prune`).

        Raises
        ------
        Mendable
            This store may not change rows: a group's database is pruned by its owner.
        """
        with self._reading() as connection:
            found = count(connection, self.practice, last, keep)
        if not found.goes:
            return None
        self._refuse_pruning()
        receipt = self.note(BookPruned(first_seq=1, last_seq=last, rule=rule, kept_count=found.stays), moment=moment, by=by)
        self._empty(last, keep)
        return receipt

    def pruned_numbers(self) -> dict[str, list[tuple[int, int]]]:
        """Return, by device, the stretches of its counter whose entries were pruned: they had come, and say nothing any more."""
        if self.latest(BookPruned.KIND) is None:
            return {}
        with self._reading() as connection:
            return numbers_of(emptied(connection, self.practice))

    @abstractmethod
    def _refuse_pruning(self) -> None:
        """Raise `Mendable` where this store may not empty rows."""

    @abstractmethod
    def _empty(self, last: int, keep: Collection[str]) -> None:
        """Drop the bodies of the entries up to `last`, but those to keep, whose pruning has been noted."""

    def _drop_unnamed_files(self, connection: Connection) -> None:
        e = tables.entry
        held = select(e.c.leaf).where(e.c.practice == self.practice, func.length(e.c.leaf) > 0)
        named = (digest for row in connection.execute(held) if b'"length_bytes":' in row.leaf for digest in _files_of(row.leaf))
        drop_files(connection, self.practice, list(named))

    def _received_at(self, seq: int) -> int:
        e = tables.entry
        rows = self._rows(select(e.c.leaf).where(e.c.practice == self.practice, e.c.seq == seq))
        return own_bytes(bytes(rows[0].leaf))[1] if rows and rows[0].leaf else 0  # pruned: it was early enough

    def head(self) -> Head:
        """Return where the book stands now."""
        rows = self._rows(select(*HEAD).where(tables.head.c.practice == self.practice))
        return head_of(*rows[0]) if rows else Head()

    def root_at(self, size: int) -> bytes:
        """Return the root that the book had when it held `size` entries (1 up to now)."""
        with self._reading_with_pen() as pen:
            self._refuse_size(pen, size)
            return range_hash(0, size, Tiles(pen, self.practice))

    def prove_entry(self, seq: int, size: int | None = None) -> Inclusion:
        """Return the proof that entry `seq` is in the book of the first `size` entries (None: of all there are now).

        Raises
        ------
        Mendable
            There is no such entry or size, or what the proof needs is missing from the book.
        """
        with self._reading_with_pen() as pen:
            size = self._refuse_size(pen, size)
            if not 1 <= seq <= size:
                raise Mendable(f"entry {seq} of {size}", where="seq", mend="Ask for an entry that the book holds at that size.")
            tiles = Tiles(pen, self.practice)
            return Inclusion(seq, size, tiles(0, seq - 1), inclusion_proof(seq - 1, size, tiles))

    def prove_growth(self, old_size: int, size: int | None = None) -> tuple[bytes, ...]:
        """Return the proof that the book of `size` entries (None: all there are now) begins with the book of `old_size`.

        Raises
        ------
        Mendable
            There is no such size, or what the proof needs is missing from the book.
        """
        with self._reading_with_pen() as pen:
            size = self._refuse_size(pen, size)
            if not 1 <= old_size <= size:
                raise Mendable(f"from {old_size} to {size} entries", where="old_size", mend="Ask from a smaller book (at least 1 entry).")
            return consistency_proof(old_size, size, Tiles(pen, self.practice))

    def rows(self, until: int | None = None) -> Iterator[Row]:
        """Yield the rows as they stand, in the order of their seq, without reading what the sealed bytes say."""
        # The driver's own rows: a verification reads every one of millions.
        query = f"SELECT {_ROW} FROM entry WHERE practice = ? AND seq > ? AND seq <= ? ORDER BY seq LIMIT {PAGE}"  # noqa: S608 - our own words
        since, last = 0, until if until is not None else 2**53
        while True:
            with self._reading_with_pen() as pen:
                page = pen.rows(query, (self.practice, since, last))
            yield from map(Row._make, page)
            if len(page) < PAGE:
                return
            since = page[-1][0]

    def _sweep(self, size: int, salt: Salt | None, *, cores: int | None) -> Swept | None:
        """Sweep the records 1 to `size`."""

        def page(since: int, last: int) -> Sequence[Any]:
            with self._reading_with_pen() as pen:
                return pen.rows(query_of(columns=salt is not None), (self.practice, since, last))

        return sweep(page, 1, size, salt)

    def _beside(self, until: int | None, to: int) -> Iterator[Beside]:
        c, last = tables.clash, until if until is not None else 2**53
        with self._reading_with_pen() as pen:  # `to`: what was not read off yet is not wrong in the table
            yield from (("subject", seq, subject) for seq, subject in after(pen, self.practice, to, last))
        # By subject and seq, which is the order of the table's key: no sorting, and pages as elsewhere.
        query = "SELECT subject, seq FROM entry_subject WHERE practice = ? AND (subject, seq) > (?, ?) ORDER BY subject, seq LIMIT ?"
        since: tuple[str, int] = ("", 0)
        while True:
            with self._reading_with_pen() as pen:
                page = pen.rows(query, (self.practice, *since, PAGE))
            yield from (("subject", seq, subject) for subject, seq in page if seq <= min(last, to))
            if len(page) < PAGE:
                break
            since = (page[-1][0], page[-1][1])
        for row in self._rows(select(c.c.seq, c.c.id, c.c.digest).where(c.c.practice == self.practice)):
            if row.seq <= last:
                yield ("clash", row.seq, row.id, bytes(row.digest).hex())

    def verify(
        self,
        *,
        anchors: Sequence[Anchor] = (),
        receipts: Mapping[int, bytes] | None = None,
        sealed_only: bool = False,
        cores: int | None = None,
    ) -> Verification:
        """Find what was changed, left out, put in or moved; also while others write (what is there at the start is looked at).

        First the quick way, which can only find that all agrees; where it doesn't, the careful way, which says what is wrong and where.

        Parameters
        ----------
        anchors
            Roots that left the machine: without one, a book that its owner rewrote whole can't be told from a true one.
        receipts
            Leaf hashes that devices hold, by seq.
        sealed_only
            Hold the sealed bytes against the tree, the files, the anchors and the receipts, and no more: twice as quick. Columns and
            tables that only find entries are not looked at; they can be made again from the sealed bytes.
        cores
            How many processors to use; left out: what the machine has, at most four.
        """
        h, n, e, to = tables.head, tables.node, tables.entry, self._subjects_to()
        last = select(func.coalesce(func.max(e.c.seq), 0)).where(e.c.practice == self.practice).scalar_subquery()
        head = self._rows(select(h.c.size, h.c.received, h.c.peaks, last.label("last")).where(h.c.practice == self.practice))
        size, peaks, highest = (head[0].size, bytes(head[0].peaks), head[0].last) if head else (0, b"", None)
        at = AtStart(size, head[0].received if head else 0, peaks_in(peaks), highest or 0, to)
        if self.latest(BookPruned.KIND) is None:  # the quick way knows bodies only
            quick = Quick(self.practice, at, self._reading_with_pen).whole(
                partial(self._sweep, cores=cores),
                files=self.files() if size else (),
                anchors=anchors,
                receipts=receipts,
                sealed_only=sealed_only,
                at_once=cores != 1,
            )
            if quick is not None:
                return quick
        nodes = self._rows(select(n.c.level, n.c.number, n.c.hash).where(n.c.practice == self.practice))
        return verify_book(
            self.rows(until=highest),
            size=size,
            peaks=peaks_in(peaks),
            nodes={(row.level, row.number): bytes(row.hash) for row in nodes},
            received=head[0].received if head else None,
            beside=self._beside(highest, to),
            files=self.files(),
            anchors=anchors,
            receipts=receipts,
        )

    def _refuse_size(self, pen: Pen, size: int | None) -> int:
        found = pen.rows("SELECT size FROM head WHERE practice = ?", (self.practice,))
        now = int(found[0][0]) if found else 0
        size = now if size is None else size
        if not 1 <= size <= now:
            raise Mendable(f"{size} entries", where="size", mend=f"The book holds {now}: ask for 1 up to that.")
        return size

    def _rows(self, query: Select[Any]) -> Sequence[Any]:
        with self._reading() as connection:
            return connection.execute(query).all()


def _files_of(leaf: bytes) -> list[str]:
    return files_in(unseal(leaf).entry.data.model_dump(exclude_none=True))
