"""The book as tables, one for each kind of entry: CSV that a spreadsheet opens, or Parquet for who reckons with it.

A table has the columns of its kind whether or not an entry fills them. Lists stand in one cell, parted by "; "; readings and other
groups have a column for each name. Moments stand twice: as milliseconds, as in the book, and as local time. Sealed words stay sealed.
"""

import json
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import date
from io import BytesIO
from typing import Any, Final, Literal
from zoneinfo import ZoneInfo

from fettlebook.book.kinds import KINDS, from_ms
from fettlebook.errors import Mendable
from fettlebook.exchange.csv_table import csv_of
from fettlebook.exchange.share.said_now import SaidNow, said_now

Form = Literal["csv", "parquet"]
HEAD: Final = ("seq", "id", "holds", "at", "at_ms", "received", "received_ms", "by", "device", "n", "via", "subjects", "refers_to")
SEALED: Final = "sealed"
BOM: Final = "\ufeff"  # without it a spreadsheet takes UTF-8 for an old code page


def tables(
    entries: Iterable[Any], zone: ZoneInfo, *, first: date | None = None, last: date | None = None, kinds: Iterable[str] | None = None
) -> dict[str, list[dict[str, Any]]]:
    """Return rows by kind of entry.

    Parameters
    ----------
    entries
        All received entries of the book, in order: corrections may stand far behind what they correct.
    zone
        The practice's zone, for local times and days.
    first, last
        Only what is said to have happened on these days or between.
    kinds
        Only these kinds; None: all that there are.
    """
    wanted = set(kinds) if kinds is not None else None
    found: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for said in said_now(entries):
        entry = said.entry.entry
        day = from_ms(entry.at, str(zone)).date()
        if (first and day < first) or (last and day > last) or (wanted is not None and entry.kind not in wanted):
            continue
        found[entry.kind].append(_row(said, zone))
    return {kind: _even(kind, rows) for kind, rows in sorted(found.items())}


def written(rows: list[dict[str, Any]], form: Form) -> bytes:
    """Return one table as the bytes of a file.

    Raises
    ------
    Mendable
        Parquet is asked for where polars is not installed.
    """
    if form == "csv":
        return (BOM + csv_of(rows)).encode()
    try:
        import polars  # noqa: PLC0415 - an optional part, and slow to load
    except ImportError:
        raise Mendable(
            "Parquet needs a part that is not installed here (polars)",
            where="--as parquet",
            mend="Install the extra 'parquet', or take CSV.",
        ) from None
    out = BytesIO()
    polars.DataFrame(rows, infer_schema_length=None, strict=False).write_parquet(out, compression="zstd")
    return out.getvalue()


def _row(said: SaidNow, zone: ZoneInfo) -> dict[str, Any]:
    received = said.entry
    entry = received.entry
    local: Callable[[int], str] = lambda ms: from_ms(ms, str(zone)).isoformat(timespec="seconds")  # noqa: E731
    head = (
        received.seq, entry.id, said.holds, local(entry.at), entry.at, local(received.received), received.received, entry.by, entry.device,
        entry.n, received.via, "; ".join(entry.subjects), entry.refers_to,
    )  # fmt: skip
    row: dict[str, Any] = dict(zip(HEAD, head, strict=True))
    for name, value in _flat(entry.data.model_dump(mode="json", exclude_none=True)):
        row[name if name not in row else f"data_{name}"] = value
        if name.endswith("_ms") and isinstance(value, int) and name.removesuffix("_ms") in MOMENTS:
            row[name.removesuffix("_ms")] = local(value)
    return row


MOMENTS: Final = ("taken", "began", "ended", "ran", "stamped")


def _flat(data: Mapping[str, Any], before: str = "") -> Iterator[tuple[str, Any]]:
    for name, value in data.items():
        full = f"{before}{name}"
        if isinstance(value, dict):
            if set(value) == {"key", "words"}:
                yield full, SEALED
            else:
                yield from _flat(value, f"{full}.")
        elif isinstance(value, list):
            yield full, "; ".join(one if isinstance(one, str) else json.dumps(one, ensure_ascii=False, sort_keys=True) for one in value)
        else:
            yield full, value


def _even(kind: str, rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return rows that all have the same columns: the head, the kind's own in their order, then any others."""
    own = list(KINDS[kind].model_fields) if kind in KINDS else []
    used = dict.fromkeys(name for row in rows for name in row if name not in HEAD)
    ordered = [n for field in own for n in (*([field] if field in used or not _parts(field, used) else []), *_parts(field, used))]
    columns = [*HEAD, *dict.fromkeys((*ordered, *used))]
    return [{name: row.get(name) for name in columns} for row in rows]


def _parts(field: str, used: Mapping[str, None]) -> list[str]:
    return [name for name in used if name.startswith(f"{field}.") or (name == field.removesuffix("_ms") and field.endswith("_ms"))]
