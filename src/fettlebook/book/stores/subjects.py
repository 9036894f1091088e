"""The table of subjects: read off the sealed bytes some time after these are durable, so that whoever adds an entry need not wait for it.

`head.subjects_to` says up to which entry it was read off. What came since is few, and whoever reads looks at those bytes themselves: no
page sees an entry late, also where it may not write (a disk that is read-only, another program's book).
"""

from collections.abc import Iterable, Iterator
from typing import Any, Final

import msgspec

from fettlebook.book.stores.pen import Pen

BEHIND_MOST: Final = 500  # entries: as many are looked at in a millisecond; further behind, the table is brought forward before it is read
AT_ONCE: Final = 5000  # entries in one transaction, so that no tablet waits long for its turn
_HEAD: Final = "SELECT size, subjects_to FROM head WHERE practice = ?"
_PAGE: Final = "SELECT seq, leaf FROM entry WHERE practice = ? AND seq > ? AND seq <= ? ORDER BY seq LIMIT ?"
_SAID: Final = ("entry_subject", "practice, subject, seq")
_DONE: Final = "UPDATE head SET subjects_to = ? WHERE practice = ?"


class _Entry(msgspec.Struct):
    subjects: list[str] = []


class _Leaf(msgspec.Struct):
    entry: _Entry


_READ: Final = msgspec.json.Decoder(_Leaf).decode


def subjects_in(leaf: bytes) -> Iterable[str]:
    """Return the subjects that a sealed record names, each once; none of a pruned one, nor of bytes that are no record."""
    try:
        return dict.fromkeys(_READ(leaf).entry.subjects) if leaf else ()
    except (msgspec.MsgspecError, ValueError, RecursionError):
        return ()  # verifying says what is wrong with it


def after(pen: Pen, practice: str, since: int, last: int) -> Iterator[tuple[int, str]]:
    """Yield (seq, subject) of the entries after `since` and up to `last`, from a page of the sealed bytes at a time."""
    while rows := pen.rows(_PAGE, (practice, since, last, AT_ONCE)):
        yield from _said(rows)
        since = rows[-1][0]


def bring_forward(pen: Pen, practice: str, lock: str) -> bool:
    """Read the table off further, in the transaction of `pen`, `AT_ONCE` entries at most; tell whether there are more."""
    found = pen.rows(f"{_HEAD} {lock}", (practice,))
    size, to = found[0] if found else (0, 0)
    rows = pen.rows(_PAGE, (practice, to, size, AT_ONCE))
    if not rows:
        return False
    if said := [(practice, subject, seq) for seq, subject in _said(rows)]:
        pen.insert(*_SAID, sorted(said), "ON CONFLICT DO NOTHING")  # in the table's own order, which is half the work
    pen.write(_DONE, (rows[-1][0], practice))
    return bool(rows[-1][0] < size)


def _said(rows: Iterable[Any]) -> Iterator[tuple[int, str]]:
    return ((seq, subject) for seq, leaf in rows for subject in subjects_in(leaf))
