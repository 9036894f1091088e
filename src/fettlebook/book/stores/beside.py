"""What a store keeps beside the entries: files by their digest, signed checkpoints, and what devices say of their counters."""

import hashlib
from abc import ABC, abstractmethod
from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import Final

from sqlalchemy import Connection, func, select, text, update

from fettlebook.book.checkpoint import Checkpoint, parse_checkpoint, sign_checkpoint, text_of
from fettlebook.book.kinds import HeldFile
from fettlebook.book.notes import Signer
from fettlebook.book.received import unseal
from fettlebook.book.stores import tables
from fettlebook.book.stores.head import HEAD, Head, head_of
from fettlebook.book.stores.pen import Pen
from fettlebook.book.stores.tiles import Tiles
from fettlebook.book.tree import consistency_proof
from fettlebook.errors import Mendable

FILE_MOST_BYTES: Final = 50_000_000
AROUND_MS: Final = 12 * 3600 * 1000  # a working day: what a device was at within it, a missing entry of it can be about
_NEIGHBOURS: Final = 500
_PAGE: Final = 5000


@dataclass(frozen=True, slots=True)
class Missing:
    """Entries that a device has made and that are not here (yet).

    `ranges` are of its counter, both ends included. `subjects` are those that it worked on around them (claimed times within
    `since` to `until`, ms): what is missing can be about any of these, so none of them is proven. `anything` is True where no
    entry tells what it worked on: the missing ones can then be about everything.
    """

    device: str
    ranges: tuple[tuple[int, int], ...]
    since: int | None
    until: int | None
    subjects: tuple[str, ...]
    anything: bool

    @property
    def count(self) -> int:
        """How many entries are missing."""
        return sum(last - first + 1 for first, last in self.ranges)


class BesideEntries(ABC):
    """The part of a store that keeps what stands beside the entries."""

    practice: str

    @abstractmethod
    def _writing(self) -> AbstractContextManager[Connection]:
        """Begin a transaction that alone may append to this practice, and commit it durably."""

    @abstractmethod
    def _reading(self) -> AbstractContextManager[Connection]:
        """Begin a transaction that sees one state of this practice."""

    @abstractmethod
    def _pen_of(self, connection: Connection) -> Pen:
        """Give the driver's own statements inside a transaction that is open."""

    def keep_file(self, content: bytes, *, media: str, name: str | None = None) -> HeldFile:
        """Keep a file's bytes under their digest, once, durably; return how an entry names it.

        Raises
        ------
        Mendable
            It is larger than 50 MB, or the store can't write.
        """
        if len(content) > FILE_MOST_BYTES:
            raise Mendable(f"{len(content):,} bytes", where=name or "file", mend=f"Keep at most {FILE_MOST_BYTES:,} bytes in one file.")
        digest = hashlib.sha256(content).hexdigest()
        held = HeldFile(digest=digest, length_bytes=len(content), media=media, name=name)
        with self._writing() as connection:
            line = text("INSERT INTO file (practice, digest, content) VALUES (:p, :digest, :content) ON CONFLICT DO NOTHING")
            connection.execute(line, {"p": self.practice, "digest": digest, "content": content})
        return held

    def file(self, digest: str) -> bytes:
        """Return the bytes of a kept file; raises `Mendable` where it is not here or its bytes are not those of the digest."""
        f = tables.file
        with self._reading() as connection:
            row = connection.execute(select(f.c.content).where(f.c.practice == self.practice, f.c.digest == digest)).first()
        if row is None:
            raise Mendable("not kept here", where=f"file {digest:.16}", mend="Look in the last backup, or read it from the machine again.")
        if hashlib.sha256(row.content).hexdigest() != digest:
            mend = "Restore the last backup beside the book, and take the file from there."
            raise Mendable("its bytes were changed", where=f"file {digest:.16}", mend=mend)
        return bytes(row.content)

    def files(self) -> Iterator[tuple[str, bool]]:
        """Yield each kept file's digest, and whether its bytes are still those."""
        f, since = tables.file, ""
        while True:
            query = select(f.c.digest, f.c.content).where(f.c.practice == self.practice, f.c.digest > since)
            with self._reading() as connection:
                row = connection.execute(query.order_by(f.c.digest).limit(1)).first()
            if row is None:
                return
            since = row.digest
            yield row.digest, hashlib.sha256(row.content).hexdigest() == row.digest

    def checkpoint(self, signer: Signer, *, already: str | None = None, also: Sequence[Signer] = (), keep: bool = True) -> str:
        """Sign where the book stands now, keep the note in it, and return it. The signer's name is the book's name.

        Parameters
        ----------
        signer
            The book's key.
        already
            The last note that this key signed, as its owner kept it apart from the book.
        also
            Further keys that sign, such as the new one in the month of a change.
        keep
            False where another program holds the book: the note is then kept by the caller only.

        Raises
        ------
        Mendable
            The book does not begin with what this key has signed before: it was rewritten, or put back from an older backup. Nothing is
            signed then.
        """
        key = signer.verifier.short
        with self._writing() if keep else self._reading() as connection:
            c, h = tables.checkpoint, tables.head
            row = connection.execute(select(*HEAD).where(h.c.practice == self.practice)).first()
            head = head_of(*row) if row else Head()
            query = select(c.c.note).where(c.c.practice == self.practice, c.c.key == key).order_by(c.c.size.desc()).limit(1)
            earlier = [note for note in (already, connection.execute(query).scalar()) if note is not None]
            earlier.sort(key=lambda note: parse_checkpoint(text_of(note)).size)
            tiles = Tiles(self._pen_of(connection), self.practice)
            note = sign_checkpoint(
                Checkpoint(signer.name, head.size, head.root),
                signer,
                earlier=earlier,
                prove=lambda old, new: consistency_proof(old, new, tiles),
                also=also,
            )
            kept = text("INSERT INTO checkpoint (practice, size, key, note) VALUES (:p, :size, :key, :note) ON CONFLICT DO NOTHING")
            if keep:
                connection.execute(kept, {"p": self.practice, "size": head.size, "key": key, "note": note})
        return note

    def checkpoints(self) -> list[str]:
        """Return all signed notes that are kept in the book, smallest first. Whether their signatures hold is not asked here."""
        c = tables.checkpoint
        with self._reading() as connection:
            query = select(c.c.note).where(c.c.practice == self.practice).order_by(c.c.size, c.c.key)
            return [row.note for row in connection.execute(query)]

    def heard_from(self, device: str, *, highest_n: int, now: int) -> Missing | None:
        """Note that a device says it has used its counter up to `highest_n`; return what is missing, None where nothing is."""
        with self._writing() as connection:
            d = tables.device
            mine = (d.c.practice == self.practice, d.c.device == device)
            first = text(
                "INSERT INTO device (practice, device, reported, contact, whole_to) VALUES (:p, :device, 0, :now, 0) ON CONFLICT DO NOTHING"
            )
            connection.execute(first, {"p": self.practice, "device": device, "now": now})
            row = connection.execute(select(d).where(*mine).with_for_update()).one()
            reported = max(highest_n, row.reported)  # what it once said is not taken back
            whole_to, ranges = self._gaps(connection, device, row.whole_to, reported)
            new = {"contact": now, "whole_to": whole_to, "reported": reported}
            connection.execute(update(d).where(*mine).values(new))
            return self._missing(connection, device, ranges, now) if ranges else None

    def missing_of(self, device: str) -> Missing | None:
        """Return what a device has made and is not here, by the gaps in its counter and by what it last reported; None: nothing."""
        with self._reading() as connection:
            d = tables.device
            row = connection.execute(select(d).where(d.c.practice == self.practice, d.c.device == device)).first()
            _, ranges = self._gaps(connection, device, row.whole_to if row else 0, row.reported if row else 0)
            return self._missing(connection, device, ranges, row.contact if row else None) if ranges else None

    def highest_n(self, device: str) -> int:
        """Return the highest number that a device has used, as far as is known here: it goes on above it. 0: none."""
        e, d = tables.entry, tables.device
        with self._reading() as connection:
            sent = connection.execute(select(func.max(e.c.n)).where(e.c.practice == self.practice, e.c.device == device)).scalar()
            said = connection.execute(select(d.c.reported).where(d.c.practice == self.practice, d.c.device == device)).scalar()
        return max(sent or 0, said or 0)

    def devices(self) -> tuple[str, ...]:
        """Return every device that has sent an entry or reported its counter."""
        e, d = tables.entry, tables.device
        with self._reading() as connection:
            # One step down the index per device, not one per entry.
            found, last = set[str](), ""
            query = select(func.min(e.c.device)).where(e.c.practice == self.practice)
            while (step := connection.execute(query.where(e.c.device > last)).scalar()) is not None:
                last = str(step)
                found.add(last)
            found |= {row.device for row in connection.execute(select(d.c.device).where(d.c.practice == self.practice))}
        return tuple(sorted(found))

    def _gaps(self, connection: Connection, device: str, whole_to: int, reported: int) -> tuple[int, list[tuple[int, int]]]:
        """Return up to where nothing is missing, and the gaps above."""
        e, gaps, last, whole = tables.entry, list[tuple[int, int]](), whole_to, whole_to
        query = select(e.c.n).where(e.c.practice == self.practice, e.c.device == device).order_by(e.c.n).limit(_PAGE)
        while page := connection.execute(query.where(e.c.n > last)).all():
            for (n,) in page:
                if n > last + 1:
                    gaps.append((last + 1, n - 1))
                last = n
                whole = whole if gaps else n
        if reported > last:
            gaps.append((last + 1, reported))
        return whole, gaps

    def _missing(self, connection: Connection, device: str, ranges: Sequence[tuple[int, int]], contact: int | None) -> Missing:
        e = tables.entry
        mine = select(e.c.leaf).where(e.c.practice == self.practice, e.c.device == device, func.length(e.c.leaf) > 0)
        since: list[int] = []
        until: list[int] = []
        subjects: dict[str, None] = {}
        anything = False
        for first, last in ranges:
            before = [unseal(r.leaf).entry for r in connection.execute(mine.where(e.c.n < first).order_by(e.c.n.desc()).limit(_NEIGHBOURS))]
            after = [unseal(r.leaf).entry for r in connection.execute(mine.where(e.c.n > last).order_by(e.c.n).limit(_NEIGHBOURS))]
            begin, end = before[0].at if before else None, after[0].at if after else contact
            near = [made for made in before if begin is not None and made.at >= begin - AROUND_MS]
            near += [made for made in after if end is not None and made.at <= end + AROUND_MS]
            anything = anything or not near
            since += [begin] if begin is not None else []
            until += [end] if end is not None else []
            for made in near:
                subjects |= dict.fromkeys(made.subjects)
        return Missing(device, tuple(ranges), min(since, default=None), max(until, default=None), tuple(sorted(subjects)), anything)
