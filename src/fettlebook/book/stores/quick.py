"""The quick way to verify a book: sweep it, hold what that gives against the tree and the tables, and say "whole" only where all agrees.

Where anything at all doesn't, nothing is said here: the careful way (`verify_book`) then finds what it is, and where.
"""

import json
import secrets
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import AbstractContextManager
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from fettlebook.book.kinds import EntryClash
from fettlebook.book.received import own_bytes
from fettlebook.book.stores.pen import Pen
from fettlebook.book.stores.subjects import after
from fettlebook.book.sweep import WEIGHT, P, Q, Salt, Swept, keyed, run_hash
from fettlebook.book.tree import TILE, Peaks, range_hash
from fettlebook.book.verify import HOLES_MOST, Anchor, Verification
from fettlebook.errors import Mendable

Sweeping = Callable[[int, Salt | None], Swept | None]
"""Sweeps the records 1 to the number given (at least 1); None where something doesn't agree."""
_PAGE: Final = 5000


@dataclass(frozen=True, slots=True)
class AtStart:
    """Where a book stood when its verification began."""

    size: int
    received: int
    peaks: tuple[bytes, ...]
    highest: int  # the last seq that there is
    subjects_to: int = 0  # up to here the table of subjects was read off


class Quick:
    """One verification, in a transaction of its own for each question."""

    def __init__(self, practice: str, at: AtStart, reading: Callable[[], AbstractContextManager[Pen]]) -> None:
        self._practice, self._at, self._reading = practice, at, reading

    def whole(
        self,
        sweeping: Sweeping,
        *,
        files: Iterable[tuple[str, bool]],
        anchors: Sequence[Anchor] = (),
        receipts: Mapping[int, bytes] | None = None,
        sealed_only: bool = False,
        at_once: bool = False,
    ) -> Verification | None:
        """Return that the book is whole; None where something must be looked at with care.

        Parameters
        ----------
        files
            Digest of each kept file, and whether its bytes are still those.
        sealed_only
            Look at the sealed bytes, the hashes kept over them, files, anchors and receipts; not at what finds them (columns, subjects,
            clashes), which can be made again from them. `not_received` is then empty.
        at_once
            Have the database add up the table of subjects while the entries are swept, on another processor.
        """
        at, receipts = self._at, receipts or {}
        if at.highest != at.size or at.size == 0 or max((*receipts, *(a.size for a in anchors)), default=0) > at.size:
            return None
        salt = None if sealed_only else Salt(secrets.token_bytes(16), 1 + secrets.randbelow(Q - 1), 1 + secrets.randbelow(Q - 1))
        beside: Future[int] | None = None
        if salt is not None and at_once:
            with ThreadPoolExecutor(1) as thread:
                beside = thread.submit(self._subjects, salt)
                swept = sweeping(at.size, salt)
        else:
            swept = sweeping(at.size, salt)
        if swept is None or not self._is_sealed(swept, anchors, receipts):
            return None
        kept = dict(files)
        if not all(kept.values()) or any(digest not in kept for digest in swept.files):
            return None
        if salt is not None:
            kept_beside = self._subjects(salt) if beside is None else beside.result()
            if kept_beside != swept.beside or self._clashes_kept() != self._clashes_said():
                return None
        return Verification(at.size, Peaks(at.size, at.peaks).root(), (), {} if salt is None else self._gaps())

    def _is_sealed(self, swept: Swept, anchors: Sequence[Anchor], receipts: Mapping[int, bytes]) -> bool:
        """Tell whether what was swept gives the hashes that were kept, and what left the machine."""
        tree = Peaks()
        nodes: dict[tuple[int, int], bytes] = {}
        for run in swept.runs:
            tree, made = tree.grown(run, TILE)
            nodes |= {(level, number): value for level, number, value in made if level % TILE == 0}
        for leaf in swept.rest:
            tree, _ = tree.grown(leaf)
        size = self._at.size
        with self._reading() as pen:
            kept = pen.rows("SELECT level, number, hash FROM node WHERE practice = ?", (self._practice,))
            if {(level, number): bytes(value) for level, number, value in kept if (number + 1) << level <= size} != nodes:
                return False
            ((last,),) = pen.rows("SELECT leaf FROM entry WHERE practice = ? AND seq = ?", (self._practice, size))
        if tree.size != size or tree.hashes != self._at.peaks or _received(bytes(last)) != self._at.received:
            return False
        if any(self._hash_of(seq) != held for seq, held in receipts.items()):
            return False
        return all(range_hash(0, anchor.size, lambda lv, no: self._hash_at(swept, lv, no)) == anchor.root for anchor in anchors)

    def _hash_at(self, swept: Swept, level: int, number: int) -> bytes:
        if level >= TILE:
            count = 1 << (level - TILE)
            return run_hash(swept.runs[number * count : (number + 1) * count])
        return run_hash([self._hash_of(seq + 1) for seq in range(number << level, (number + 1) << level)])

    def _hash_of(self, seq: int) -> bytes:
        with self._reading() as pen:  # the column, which the sweep has held against the bytes
            return bytes(pen.rows("SELECT hash FROM entry WHERE practice = ? AND seq = ?", (self._practice, seq))[0][0])

    def _subjects(self, salt: Salt) -> int:
        """Return the sum over the table of subjects, and over what was not read off yet.

        The database adds up each subject's places: they are many, subjects few.
        """
        sums = (
            f"SELECT subject, sum({WEIGHT}) FROM entry_subject WHERE practice = ? AND subject > ? AND seq <= ?"  # noqa: S608 - our own words
            " GROUP BY subject ORDER BY subject LIMIT ?"
        )
        total, since, to = 0, "", self._at.subjects_to
        with self._reading() as pen:
            for seq, subject in after(pen, self._practice, to, self._at.size):
                total += keyed(subject, salt) * (seq * salt.a % P) * (seq * salt.b % Q)
        while True:
            with self._reading() as pen:
                page = pen.rows(sums, (salt.a, salt.b, self._practice, since, min(to, self._at.size), _PAGE))
            total += sum(keyed(subject, salt) * int(weighs) for subject, weighs in page)
            if len(page) < _PAGE:
                return total
            since = page[-1][0]

    def _clashes_kept(self) -> list[tuple[int, str, str]]:
        with self._reading() as pen:
            rows = pen.rows("SELECT seq, id, digest FROM clash WHERE practice = ? AND seq <= ?", (self._practice, self._at.size))
        return sorted((seq, entry_id, bytes(digest).hex()) for seq, entry_id, digest in rows)

    def _clashes_said(self) -> list[tuple[int, str, str]]:
        query = "SELECT seq, leaf FROM entry WHERE practice = ? AND kind = ? AND seq <= ? ORDER BY seq"
        with self._reading() as pen:
            rows = pen.rows(query, (self._practice, EntryClash.KIND, self._at.size))
        entries = ((seq, json.loads(bytes(leaf))["entry"]) for seq, leaf in rows)
        return sorted((seq, str(entry.get("refers_to")), str(entry["data"].get("digest"))) for seq, entry in entries)

    def _gaps(self) -> dict[str, tuple[int, ...]]:
        found: dict[str, tuple[int, ...]] = {}
        device = ""
        step = "SELECT min(device) FROM entry WHERE practice = ? AND device > ?"  # down the index, one step a device
        counted = "SELECT count(*), max(n) FROM (SELECT DISTINCT n FROM entry WHERE practice = ? AND device = ?) AS seen"
        while True:
            with self._reading() as pen:
                ((following,),) = pen.rows(step, (self._practice, device))
                if following is None:
                    return found
                device = following
                ((count, highest),) = pen.rows(counted, (self._practice, device))
            if count != highest and (holes := self._holes(device, highest)):
                found[device] = holes

    def _holes(self, device: str, highest: int) -> tuple[int, ...]:
        """Return the numbers up to the highest that are not here: what is whole is only counted, the rest is looked at in halves."""
        within = "FROM entry WHERE practice = ? AND device = ? AND n BETWEEN ? AND ?"
        missing, ahead = list[tuple[int, int]](), [(1, highest)]
        with self._reading() as pen:
            while ahead:
                asked = (self._practice, device, *(bounds := ahead.pop()))
                ((count,),) = pen.rows(f"SELECT count(DISTINCT n) {within}", asked)
                first, last = bounds
                if count and last - first >= max(count, _PAGE):
                    ahead += [((first + last) // 2 + 1, last), (first, (first + last) // 2)]
                elif count <= last - first:
                    here = [n for (n,) in pen.rows(f"SELECT DISTINCT n {within} ORDER BY n", asked)] if count else []
                    missing += [(one + 1, next_one - 1) for one, next_one in pairwise((first - 1, *here, last + 1)) if next_one > one + 1]
        whole = list[tuple[int, int]]()
        for first, last in missing:  # a gap may have been looked at in parts
            whole.append((whole.pop()[0], last) if whole and whole[-1][1] + 1 == first else (first, last))
        return tuple(n for first, last in whole if last - first < HOLES_MOST - 1 for n in range(first, last + 1))


def _received(leaf: bytes) -> int | None:
    try:
        return own_bytes(leaf)[1]
    except Mendable:
        return None
