"""One quick pass over a stretch of a book: are these the bytes that were sealed, and do the columns beside them agree?

A sweep only ever says "all of it agrees" or nothing at all; what is wrong, and where, is for `verify` to find by reading with care. So no
record is read as JSON here: its bytes are hashed once, runs of 256 are joined to their hash in the tree, and the few things that stand
twice (in the sealed bytes, and in a column for finding them) are looked for where canonical JSON must have them.
"""

import hashlib
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from operator import mul
from typing import Any, Final, NamedTuple

from fettlebook.book.tree import TILE

RUN: Final = 1 << TILE
_CACHED_MOST: Final = 20_000
_sha256: Final = hashlib.sha256
_SUBJECTS: Final = b',"subjects":['
_HELD: Final = b'"length_bytes":'
_AFTER: Final = b'],"v":1,"zone":"'


class Salt(NamedTuple):
    """What a process chose at random, so that no one can make two tables that give one sum: a key and two factors below 2^18."""

    key: bytes
    a: int
    b: int


P: Final = 262_139  # primes below 2^18: products stay below 2^36, so that a database can add 2^27 of them
Q: Final = 262_133


@dataclass(slots=True)
class Swept:
    """What a stretch gave, where all of it agreed."""

    first: int
    last: int
    runs: list[bytes] = field(default_factory=list)  # the tree's hash over each whole run of 256
    rest: list[bytes] = field(default_factory=list)  # hashes of the records after the last whole run
    beside: int = 0  # sum over (subject, seq), to be held against the table
    files: set[str] = field(default_factory=set)  # digests that entries name

    def joined(self, after: "Swept") -> "Swept":
        """Return this stretch with the one that follows it."""
        return Swept(self.first, after.last, self.runs + after.runs, after.rest, self.beside + after.beside, self.files | after.files)


def keyed(subject: str, salt: Salt) -> int:
    """Return what a subject weighs in the sums."""
    return int.from_bytes(hashlib.blake2b(subject.encode(), digest_size=8, key=salt.key).digest(), "big")


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
    swept = Swept(first, last)
    weighs: dict[bytes, int] = {}
    for since in range(first - 1, last, RUN):
        end = min(since + RUN, last)
        rows = page(since, end)
        hashes = [_sha256(b"\x00" + row[1]).digest() for row in rows]
        if len(rows) != end - since or hashes != [row[0] for row in rows]:
            return None
        if len(rows) == RUN:
            swept.runs.append(run_hash(hashes))
        else:
            swept.rest = hashes
        leaves = [row[1] for row in rows]
        if _HELD in b"".join(leaves):
            swept.files |= {digest for leaf in leaves if _HELD in leaf for digest in files_in(json.loads(leaf)["entry"]["data"])}
        if salt is not None:
            swept.beside += _beside(leaves, since + 1, weighs, salt)
    return swept


def _beside(leaves: Sequence[bytes], first: int, weighs: dict[bytes, int], salt: Salt) -> int:
    """Return the sum over these records' subjects."""
    _, a, b = salt
    places = [(seq * a % P) * (seq * b % Q) for seq in range(first, first + len(leaves))]
    # After the subjects stand only version, zone and what the receiver added: two brackets close. Else it is of a newer form.
    spelled = [
        leaf[leaf.rfind(_SUBJECTS, 0, end) + 13 : end] if leaf.count(b"}", end := leaf.rfind(_AFTER)) == 2 else None for leaf in leaves
    ]
    found = [-1 if raw is None else weighs.get(raw, -1) for raw in spelled]
    for i, weighed in enumerate(found):
        if weighed < 0:
            raw = spelled[i]
            subjects = json.loads(leaves[i])["entry"]["subjects"] if raw is None else json.loads(b"[" + raw + b"]")
            found[i] = sum(keyed(one, salt) for one in set(subjects))
            if raw is not None and len(weighs) < _CACHED_MOST:
                weighs[raw] = found[i]
    return sum(map(mul, found, places))


def run_hash(hashes: Sequence[bytes]) -> bytes:
    """Return the tree's hash over these leaves' hashes, a power of two of them."""
    level = list(hashes)
    while len(level) > 1:
        pairs = iter(level)
        level = [_sha256(b"\x01" + left + right).digest() for left, right in zip(pairs, pairs, strict=True)]
    return level[0]


def files_in(data: Any) -> list[str]:
    """Return the digests of the files that an entry's data name."""
    found = []
    for name in ("log", "report", "files"):
        held = data.get(name)
        for one in held if isinstance(held, list) else [held]:
            if isinstance(one, dict) and isinstance(one.get("digest"), str):
                found.append(one["digest"])
    return found


def query(agrees: str | None) -> str:
    """Return the query of one page: practice, after which seq, up to which. `agrees`: the database's own words for `AGREES_...`."""
    more = f" AND {agrees}" if agrees else ""
    return f"SELECT hash, leaf FROM entry WHERE practice = ? AND seq > ? AND seq <= ?{more} ORDER BY seq"  # noqa: S608 - our own words


# Where canonical JSON has the columns of a row: the maker's device, id and kind beside each other, then the counter, with a clock between
# where there was one. Strings of a record hold no bare quotation mark, so nothing that a person wrote can look like this.
_NAMED: Final = """',"device":"' || device || '","id":"' || id || '","kind":"' || kind || '",'"""
_PARTS: Final = (f"""{_NAMED} || '"n":' || n || ',"'""", f"""{_NAMED} || '"mono":{{'""", """'"},"n":' || n || ',"'""")
_IN_SQLITE: Final = "instr(leaf, CAST({} AS BLOB)) > 0"
_IN_POSTGRES: Final = "position(convert_to({}, 'UTF8') in leaf) > 0"


def _agrees(within: str) -> str:
    plain, with_clock, after_clock = (within.replace("{}", part) for part in _PARTS)
    return f"({plain} OR ({with_clock} AND {after_clock}))"


AGREES_SQLITE: Final = _agrees(_IN_SQLITE)
AGREES_POSTGRES: Final = _agrees(_IN_POSTGRES)
WEIGHT: Final = f"(seq * ? % {P}) * (seq * ? % {Q})"  # what a place in the book weighs in the sums
