"""Which entries go into a bundle, and the hashes that stand for the others, so that the whole tree can be made again from both.

An entry goes in where it happened in the stretch of days (and, where chairs were chosen, is not about another chair alone), where a
figure, verdict or deviation rests on it, where it amends or judges one that goes in, and where it is about the book itself. All others
are covered by the hashes of the largest whole subtrees that hold none of the former: a hash shows nothing of what it stands for.
"""

import json
from bisect import bisect_right
from collections import Counter
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from typing import Any, Final

from fettlebook.book.kinds import KINDS
from fettlebook.book.stores import Store
from fettlebook.book.tree import HASH_BYTES, leaf_hash, node_hash
from fettlebook.exchange.evidence.span import Span

# What says which files held, and what happened to the book itself.
ALWAYS: Final = frozenset(
    model.KIND
    for model in KINDS.values()
    if model.__module__.endswith((".keeping", ".mending")) or model.KIND in ("practice_file.version", "rulebook.version")
) - {"entry.corrected", "entry.withdrawn", "entry.clash", "text.erased"}
LATE_MS: Final = 24 * 3_600_000
PRIVATE: Final = ("chair:", "outlet:", "suction:")


@dataclass(frozen=True, slots=True)
class Chosen:
    """The numbers (from 1) of the entries that go in, in order; every entry's leaf hash; ids and files; counts by kind in the stretch."""

    seqs: tuple[int, ...]
    size: int
    hashes: bytes
    seq_of: dict[str, int]  # of the entries that go in
    files: tuple[str, ...]  # digests of the files that they name
    kinds: dict[str, int]
    unread: tuple[int, ...]  # numbers whose bytes are not those of a record
    by: Counter[tuple[str, str]] = field(default_factory=Counter)  # (person, kind) of those that happened in the stretch
    late: int = 0  # how many of these came more than a day after the moment that they claim

    def leaf(self, seq: int) -> bytes:
        """Return an entry's leaf hash."""
        return self.hashes[(seq - 1) * HASH_BYTES : seq * HASH_BYTES]


@dataclass(slots=True)
class _Seen:
    seq: int
    id: str
    kind: str
    refers_to: str
    inside: bool
    chosen: bool
    files: tuple[str, ...]
    by: str
    late: bool


def choose(store: Store, span: Span, named: Collection[str], size: int) -> Chosen:
    """Return what goes into the bundle of a stretch of days.

    Parameters
    ----------
    named
        Ids of entries that must go in.
    size
        How many entries the book has, as the checkpoint says.
    """
    hashes, unread, seen = bytearray(), [], list[_Seen]()
    refers: dict[str, list[int]] = {}
    for row in store.rows(until=size):
        hashes += leaf_hash(row.leaf) if row.leaf else row.hash
        if not row.leaf:
            continue  # pruned after its term: its hash stands for it, and the verification says so
        record = _record(row.leaf)
        if record is None:
            unread.append(row.seq)
            continue
        one = _look_at(row.seq, record, span, named)
        seen.append(one)
        if one.refers_to:
            refers.setdefault(one.refers_to, []).append(len(seen) - 1)
    todo = [n for n, one in enumerate(seen) if one.chosen]
    while todo:  # what refers to an entry goes in with it, and what refers to that
        for n in refers.get(seen[todo.pop()].id, ()):
            if not seen[n].chosen:
                seen[n].chosen = True
                todo.append(n)
    taken = [one for one in seen if one.chosen]
    kinds = Counter(one.kind for one in taken if one.inside)
    files = dict.fromkeys(digest for one in taken for digest in one.files)
    inside = [one for one in taken if one.inside]
    return Chosen(
        tuple(one.seq for one in taken), len(hashes) // HASH_BYTES, bytes(hashes), {one.id: one.seq for one in taken}, tuple(files),
        dict(kinds), tuple(unread), Counter((one.by, one.kind) for one in inside), sum(one.late for one in inside),
    )  # fmt: skip


def happened_in(record: dict[str, Any]) -> int:
    """Return when a sealed record says that it happened: as claimed, put right by the clock's offset, never after its receipt [ms]."""
    return min(int(record["entry"]["at"]) + int(record["offset"]), int(record["received"]))


def _record(leaf: bytes) -> dict[str, Any] | None:
    try:
        record = json.loads(leaf)
        happened_in(record)
        entry = record["entry"]
        return record if isinstance(entry["data"], dict) and isinstance(entry["subjects"], list) and entry["id"] and entry["kind"] else None
    except (ValueError, KeyError, TypeError, RecursionError):
        return None


def _look_at(seq: int, record: dict[str, Any], span: Span, named: Collection[str]) -> _Seen:
    entry = record["entry"]
    inside = span.since <= happened_in(record) < span.until
    mine = not span.chairs or _of_chairs(entry["subjects"], span.chairs)
    chosen = (inside and mine) or entry["id"] in named or entry["kind"] in ALWAYS
    late = int(record["received"]) - happened_in(record) > LATE_MS
    files = tuple(_digests(entry["data"]))
    return _Seen(seq, entry["id"], entry["kind"], entry.get("refers_to", ""), inside, chosen, files, str(entry.get("by", "")), late)


def _of_chairs(subjects: list[str], chairs: Collection[str]) -> bool:
    of = {s.partition(":")[2].partition("/")[0] for s in subjects if s.startswith(PRIVATE)}
    return not of or bool(of & set(chairs))


def _digests(value: Any) -> Iterator[str]:
    """Yield the digests of the files that data name: a file has a digest, a length and a media type."""
    if isinstance(value, dict):
        if {"digest", "length_bytes", "media"} <= value.keys() and isinstance(value["digest"], str):
            yield value["digest"]
        for one in value.values():
            yield from _digests(one)
    elif isinstance(value, list):
        for one in value:
            yield from _digests(one)


def cover(chosen: Chosen) -> Iterator[tuple[int, int, bytes]]:
    """Yield (first, last, hash) of the largest subtrees without an entry that goes in, in order; with the entries they make the root."""
    taken = chosen.seqs

    def walk(begin: int, end: int, low: int, high: int) -> Iterator[tuple[int, int, bytes]]:
        """Leaves begin..end-1 (from 0); taken[low:high] are the numbers that lie in it."""
        if low == high:
            yield begin + 1, end, _subtree(chosen, begin, end)
            return
        if end - begin == 1:
            return
        middle = begin + (1 << ((end - begin - 1).bit_length() - 1))
        cut = bisect_right(taken, middle, low, high)
        yield from walk(begin, middle, low, cut)
        yield from walk(middle, end, cut, high)

    if chosen.size:
        yield from walk(0, chosen.size, 0, len(taken))


def _subtree(chosen: Chosen, begin: int, end: int) -> bytes:
    level = [chosen.leaf(n + 1) for n in range(begin, end)]
    while len(level) > 1:  # pairs from the left; what is left over goes up as it is: the same tree as splitting at powers of two
        level = [node_hash(level[i], level[i + 1]) if i + 1 < len(level) else level[i] for i in range(0, len(level), 2)]
    return level[0]


def root_of(chosen: Chosen) -> bytes:
    """Return the root over all entries as they are stored, at least one."""
    return _subtree(chosen, 0, chosen.size)


def hash_at(chosen: Chosen, level: int, number: int) -> bytes:
    """Return the hash of the whole subtree number k of 2^level leaves, for proofs."""
    return _subtree(chosen, number << level, (number + 1) << level)
