"""A log's time as seconds from its first reading: plain numbers, clock times (over midnight too), or date and time."""

import re
from datetime import datetime
from typing import Final, Literal

import numpy as np

from fettlebook.errors import Finding
from fettlebook.exchange.logs_columns import Column
from fettlebook.exchange.logs_table import Table
from fettlebook.science.cycles.log import Real

_CLOCK: Final = re.compile(r"\s*(\d{1,3}):(\d{2})(?::(\d{2}(?:[.,]\d+)?))?\s*$")
_FACTOR: Final = {"s": 1.0, "min": 60.0, "h": 3600.0}
DAY_S: Final = 86_400.0
_DATED: Final = ("%d.%m.%Y", "%d/%m/%Y", "%Y/%m/%d")


def seconds_of(
    table: Table, column: Column, told_unit: str | None, told_time: Literal["h:m", "m:s"] | None, file: str
) -> tuple[Real, str, list[Finding]]:
    """Return seconds since the first readable time, shape (rows,), NaN where unreadable; what was taken; findings."""
    cells = table.cells.get(column.index)
    if cells is None:
        unit = told_unit or column.unit or "s"
        values = table.column(column.index) * _FACTOR[unit]
        first = values[np.isfinite(values)]
        if first.size == 0:
            mend = "Export seconds, hh:mm:ss, or 2026-11-02 08:00:00."
            return values, unit, [Finding("no time can be read", f"{file}, column {column.name}", mend)]
        return values - first[0], unit, []
    if sum(1 for c in cells[:50] if _CLOCK.match(c)) * 2 > len(cells[:50]):
        return _clock(cells, told_time, column, file)
    return _dated(cells, column, file)


def _clock(cells: list[str], told: Literal["h:m", "m:s"] | None, column: Column, file: str) -> tuple[Real, str, list[Finding]]:
    out = np.full(len(cells), np.nan)
    findings: list[Finding] = []
    two = 0
    for n, cell in enumerate(cells):
        if (m := _CLOCK.match(cell)) is None:
            continue
        a, b = int(m[1]), int(m[2])
        if m[3] is None:
            two += 1
            out[n] = a * 60.0 + b if told == "m:s" else a * 3600.0 + b * 60.0
        else:
            out[n] = a * 3600.0 + b * 60.0 + float(m[3].replace(",", "."))
    if two and told is None:
        findings.append(
            Finding(
                f'"{cells[0].strip()}" may be hours and minutes, or minutes and seconds',
                f"{file}, column {column.name}",
                "Say it: --time h:m or --time m:s.",
            )
        )
    known = np.flatnonzero(np.isfinite(out))
    values = out[known]
    midnight = np.concatenate(([0], np.cumsum(np.diff(values) < -DAY_S / 2.0))) if values.size else np.zeros(0)
    if values.size:
        out[known] = values + DAY_S * midnight - values[0]
        if midnight[-1]:
            findings.append(Finding("the clock passes midnight", f"{file}, column {column.name}", "The next day was taken.", "warning"))
    return out, "clock", findings


def _dated(cells: list[str], column: Column, file: str) -> tuple[Real, str, list[Finding]]:
    out = np.full(len(cells), np.nan)
    for n, cell in enumerate(cells):
        moment = _moment(cell.strip())
        if moment is not None:
            out[n] = moment
    known = out[np.isfinite(out)]
    if known.size == 0:
        what = f'"{cells[0].strip()[:40]}" can\'t be read as a time'
        return out, "", [Finding(what, f"{file}, column {column.name}", "Export seconds, hh:mm:ss, or 2026-11-02 08:00:00.")]
    return out - known[0], "date and time", []


def _moment(text: str) -> float | None:
    """Return seconds since 1970 of a date and time as written; zones are kept apart, a bare one is taken as it stands."""
    if not text:
        return None
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        date, _, rest = text.replace("T", " ").partition(" ")
        clock = _CLOCK.match(rest)
        if clock is None:
            return None
        for form in _DATED:
            try:
                day = datetime.strptime(date, form)  # noqa: DTZ007 - only differences are used
            except ValueError:
                continue
            return _since(day) + int(clock[1]) * 3600.0 + int(clock[2]) * 60.0 + float((clock[3] or "0").replace(",", "."))
        return None
    return found.timestamp() if found.tzinfo else _since(found)


def _since(moment: datetime) -> float:
    return (moment - datetime(1970, 1, 1)).total_seconds()  # noqa: DTZ001 - only differences are used
