"""Tables of pages as files to save."""

import csv
from collections.abc import Mapping, Sequence
from io import StringIO
from typing import Any, Final

STARTS_A_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")


def csv_of(rows: Sequence[Mapping[str, Any]]) -> str:
    """Return rows of one form as CSV with a header line; empty where there are none.

    Text that a spreadsheet would take for a formula gets an apostrophe in front: what people typed into the book must stay text.
    """
    out = StringIO()
    if rows:
        writer = csv.DictWriter(out, fieldnames=list(rows[0]), lineterminator="\r\n")
        writer.writeheader()
        writer.writerows({name: _text(value) for name, value in row.items()} for row in rows)
    return out.getvalue()


def _text(value: Any) -> Any:
    return f"'{value}" if isinstance(value, str) and value.startswith(STARTS_A_FORMULA) else value
