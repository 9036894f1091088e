"""One quick pass over a stretch of a book: are these the bytes that were sealed, and do the columns beside them agree?

A sweep only ever says "all of it agrees" or nothing at all; what is wrong, and where, is for `verify` to find by reading with care.

What must be read as JSON, and what not. A record was read strictly, in its one canonical spelling, before it was sealed. Bytes whose hash
is still the one that was sealed are those bytes, so reading them again can't find anything: for what is sealed each record is hashed once,
and runs of 256 are joined to their hash in the tree. Only what stands a second time outside of the seal must be read out of the bytes to be
held against it: device, id, kind, counter and subjects (`columns`). These few are read, for a run at a time; the rest is skipped over.

A process of its own does this for a long book, so nothing is imported here that it can do without.
"""

import hashlib
import json
from collections.abc import Callable, Iterator, Sequence
from struct import Struct
from typing import Any, Final, NamedTuple

RUN: Final = 256  # 2^TILE of the tree: the store keeps a hash over each of these
_sha256: Final = hashlib.sha256
_begun_leaf: Final = _sha256(b"\x00").copy  # quicker than to begin anew and to put a byte before each
_begun_node: Final = _sha256(b"\x01").copy
_PAIRS: Final = tuple(Struct("64s" * (1 << level)).unpack for level in range(8))
_HELD: Final = b'"length_bytes":'


class Salt(NamedTuple):
    """What a process chose at random, so that no one can make two tables that give one sum: a key and two factors below 2^18."""

    key: bytes
    a: int
    b: int


P: Final = 262_139  # primes below 2^18: products stay below 2^36, so that a database can add 2^27 of them
Q: Final = 262_133
WEIGHT: Final = f"(seq * ? % {P}) * (seq * ? % {Q})"  # what a place in the book weighs in the sums


class Swept(NamedTuple):
    """What a stretch gave, where all of it agreed."""

    first: int
    last: int
    runs: list[bytes]  # the tree's hash over each whole run of 256
    rest: list[bytes]  # hashes of the records after the last whole run
    beside: int  # sum over (subject, seq), to be held against the table
    files: set[str]  # digests that entries name

    def joined(self, after: "Swept") -> "Swept":
        """Return this stretch with the one that follows it."""
        return Swept(self.first, after.last, self.runs + after.runs, after.rest, self.beside + after.beside, self.files | after.files)


def keyed(subject: str, salt: Salt) -> int:
    """Return what a subject weighs in the sums."""
    return int.from_bytes(hashlib.blake2b(subject.encode(), digest_size=7, key=salt.key).digest(), "big")


def sweep(page: Callable[[int, int], Sequence[Any]], first: int, last: int, salt: Salt | None) -> Swept | None:
    """Sweep the records `first` (the first of a run of 256) to `last`.

    Parameters
    ----------
    page
        Gives the rows after one seq and up to another, in order, as `query` asks for them. No two rows of a book have one seq, so as many
        rows as there should be are the right ones. A run at a time: so it stays in the processor's cache.
    salt
        None: only the sealed bytes are looked at, against the hashes kept beside them; not the columns, not the subjects.

    Returns
    -------
    Swept
        None where a record is not there, out of its place, changed, or a column beside it doesn't agree.
    """
    runs, rest, files, beside = list[bytes](), list[bytes](), set[str](), 0
    columns = None
    if salt is not None:
        from fettlebook.book.columns import Columns  # noqa: PLC0415 - msgspec takes as long to import as Python to start

        columns = Columns(salt)
    for since in range(first - 1, last, RUN):
        end = min(since + RUN, last)
        rows = page(since, end)
        if len(rows) != end - since:
            return None
        kept, leaves, *others = zip(*rows, strict=True)
        hashes = _leaf_hashes(leaves)
        if hashes != [*kept]:
            return None
        if len(rows) == RUN:
            runs.append(run_hash(hashes))
        else:
            rest = hashes
        lines = b"\n".join(leaves)
        if lines.rfind(_HELD) >= 0:  # from its end: of two ways to look for something Python then takes the quicker
            files.update(_named_in(leaves))
        if columns is not None:
            if (weighed := columns.weigh(lines, others, since + 1)) is None:
                return None
            beside += weighed
    return Swept(first, last, runs, rest, beside, files)


def _leaf_hashes(leaves: Sequence[bytes]) -> list[bytes]:
    hashes, begun = list[bytes](), _begun_leaf
    add = hashes.append
    for leaf in leaves:
        one = begun()
        one.update(leaf)
        add(one.digest())
    return hashes


def _named_in(leaves: Sequence[bytes]) -> Iterator[str]:
    for leaf in leaves:
        if _HELD in leaf:
            yield from files_in(json.loads(leaf)["entry"]["data"])


def run_hash(hashes: Sequence[bytes]) -> bytes:
    """Return the tree's hash over these leaves' hashes, a power of two of them."""
    begun, count = _begun_node, len(hashes)
    while count > 1:
        count >>= 1
        joined = b"".join(hashes)
        pairs = _PAIRS[count.bit_length() - 1](joined) if count <= RUN // 2 else [joined[i : i + 64] for i in range(0, len(joined), 64)]
        above = list[bytes]()
        add = above.append
        for pair in pairs:
            one = begun()
            one.update(pair)
            add(one.digest())
        hashes = above
    return hashes[0]


def files_in(data: Any) -> list[str]:
    """Return the digests of the files that an entry's data name."""
    found = []
    for name in ("log", "report", "files"):
        held = data.get(name)
        for one in held if isinstance(held, list) else [held]:
            if isinstance(one, dict) and isinstance(one.get("digest"), str):
                found.append(one["digest"])
    return found


def query(*, columns: bool) -> str:
    """Return the query of one page: practice, after which seq, up to which. `columns`: with those that find a record."""
    asked = "hash, leaf, device, id, kind, n" if columns else "hash, leaf"
    return f"SELECT {asked} FROM entry WHERE practice = ? AND seq > ? AND seq <= ? ORDER BY seq"  # noqa: S608 - our own words
