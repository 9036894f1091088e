"""Tables as CSV files that a spreadsheet opens as text, never as formulas."""

import csv
from collections.abc import Iterable, Mapping, Sequence
from io import StringIO
from typing import Any, Final

STARTS_A_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")


def csv_of(rows: Sequence[Mapping[str, Any]], columns: Iterable[str] | None = None) -> str:
    """Return rows of one form as CSV (RFC 4180) with a header line; empty where there are neither rows nor columns.

    Text that a spreadsheet would take for a formula gets an apostrophe in front: what people typed into the book must stay text.
    Numbers stay numbers, also negative ones.
    """
    names = list(columns) if columns is not None else list(rows[0]) if rows else []
    out = StringIO()
    if names:
        writer = csv.DictWriter(out, fieldnames=names, lineterminator="\r\n")
        writer.writeheader()
        writer.writerows({name: plain_text(value) for name, value in row.items()} for row in rows)
    return out.getvalue()


def plain_text(value: Any) -> Any:
    """Return a cell's value so that no spreadsheet reckons with it."""
    return f"'{value}" if isinstance(value, str) and value.startswith(STARTS_A_FORMULA) else value
