"""Bodies of entries whose term is over are dropped; places, ids, counters and hashes stay, so that every proof still holds.

A row without its body is right only where a sealed entry `book.pruned` names its stretch: `verify` says so, and calls any other changed.
What a later judgement of the book itself needs is never dropped: practice files, rulebooks, and what the program noted of the book.
"""

import json
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import ColumnElement, Connection, and_, func, select, text, update

from fettlebook.book.kinds import (
    BookPruned,
    BookRestored,
    CheckpointStamped,
    ClockBack,
    EntryClash,
    KeyChanged,
    PracticeFileVersion,
    RulebookVersion,
    TextErased,
)
from fettlebook.book.stores import tables
from fettlebook.book.verify import Row as Held
from fettlebook.errors import Mendable

KEPT: Final = tuple(
    one.KIND
    for one in (
        *(BookPruned, BookRestored, CheckpointStamped, ClockBack, EntryClash, KeyChanged, TextErased),
        *(PracticeFileVersion, RulebookVersion),
    )
)
AT_ONCE: Final = 5000  # rows emptied in one transaction
_LINE: Final = b'{"pruned":'


@dataclass(frozen=True, slots=True)
class Prunable:
    """What of a book can be pruned: the stretch up to `last` (seq), how many bodies would go, how many stay."""

    last: int
    goes: int
    stays: int


def may_go(practice: str, last: int, keep: Collection[str]) -> ColumnElement[bool]:
    """Return the condition for rows whose bodies go: all up to `last` but the book's own and those with an id in `keep`."""
    e = tables.entry
    plain = and_(e.c.practice == practice, e.c.seq <= last, e.c.kind.not_in(KEPT), func.length(e.c.leaf) > 0)
    return and_(plain, e.c.id.not_in(list(keep))) if keep else plain


def count(connection: Connection, practice: str, last: int, keep: Collection[str] = ()) -> Prunable:
    """Count what would go."""
    e = tables.entry
    goes = connection.execute(select(func.count()).select_from(e).where(may_go(practice, last, keep))).scalar_one()
    held = select(func.count()).select_from(e).where(e.c.practice == practice, e.c.seq <= last, func.length(e.c.leaf) > 0)
    return Prunable(last, goes, connection.execute(held).scalar_one() - goes)


def empty_some(connection: Connection, practice: str, last: int, keep: Collection[str] = ()) -> int:
    """Drop the bodies of some rows up to `last`, and what finds them by subject; return how many. The trigger must be out of the way."""
    e, s = tables.entry, tables.entry_subject
    seqs = list(connection.execute(select(e.c.seq).where(may_go(practice, last, keep)).order_by(e.c.seq).limit(AT_ONCE)).scalars())
    if seqs:
        within = (seqs[0], seqs[-1])
        connection.execute(update(e).where(may_go(practice, last, keep), e.c.seq.between(*within)).values(leaf=b""))
        stays = select(e.c.seq).where(e.c.practice == practice, e.c.seq.between(*within), func.length(e.c.leaf) > 0)
        connection.execute(s.delete().where(s.c.practice == practice, s.c.seq.between(*within), s.c.seq.not_in(stays)))
    return len(seqs)


def drop_files(connection: Connection, practice: str, named: Iterable[str]) -> None:
    """Drop kept files that no entry names any more; `named` are those that one still does."""
    still = set(named)
    f = tables.file
    for (digest,) in connection.execute(select(f.c.digest).where(f.c.practice == practice)).all():
        if digest not in still:
            connection.execute(f.delete().where(f.c.practice == practice, f.c.digest == digest))


def numbers_of(rows: Iterable[Any]) -> dict[str, list[tuple[int, int]]]:
    """Return, by device, the stretches of its counter whose entries were pruned; `rows` of (device, n) in that order."""
    found: dict[str, list[tuple[int, int]]] = {}
    for device, n in rows:
        stretches = found.setdefault(device, [])
        if stretches and n <= stretches[-1][1] + 1:
            stretches[-1] = (stretches[-1][0], max(n, stretches[-1][1]))
        else:
            stretches.append((n, n))
    return found


def line_of(row: Held) -> bytes:
    """Return a row as one line of an export: the sealed bytes, or what stays of it."""
    if row.leaf:
        return bytes(row.leaf)
    stays = {"device": row.device, "hash": row.hash.hex(), "id": row.id, "kind": row.kind, "n": row.n, "seq": row.seq}
    return json.dumps({"pruned": stays}, separators=(",", ":")).encode()


def row_in(line: bytes) -> Held | None:
    """Return what stays of a pruned row, from a line of an export; None for a record."""
    if not line.startswith(_LINE):
        return None
    try:
        said = json.loads(line)["pruned"]
        return Held(said["seq"], said["id"], said["kind"], said["device"], said["n"], bytes.fromhex(said["hash"]), b"")
    except (ValueError, KeyError, TypeError):
        raise Mendable("a pruned entry that is none", where="entries.jsonl", mend="Take another copy of the export.") from None


def emptied(connection: Connection, practice: str) -> Iterator[Any]:
    """Yield (device, n) of the pruned rows, by device and number."""
    e = tables.entry
    query = select(e.c.device, e.c.n).where(e.c.practice == practice, func.length(e.c.leaf) == 0).order_by(e.c.device, e.c.n)
    yield from connection.execute(query)


GUARD_SQLITE: Final = "entry_no_update"


def without_guard_sqlite(connection: Connection, practice: str, last: int, keep: Collection[str]) -> int:
    """Empty some rows of a SQLite book: its guard is taken away and put back in this transaction."""
    (guard,) = connection.execute(
        text("SELECT sql FROM sqlite_master WHERE type = 'trigger' AND name = :name"), {"name": GUARD_SQLITE}
    ).one()
    connection.exec_driver_sql(f"DROP TRIGGER {GUARD_SQLITE}")
    done = empty_some(connection, practice, last, keep)
    connection.exec_driver_sql(guard)
    return done
