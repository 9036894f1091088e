"""The day as rows: the same data as the board for those who read tables, and for export as CSV and JSON."""

import csv
from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime
from io import StringIO
from typing import Any
from zoneinfo import ZoneInfo

from fettlebook.plan.day import DayPlan
from fettlebook.practice.model import Practice
from fettlebook.said import joined
from fettlebook.web.board import WORD
from fettlebook.web.wording import clock, unit

COLUMNS = ("from", "to", "minutes", "where", "what", "kind", "who", "attended", "visit", "minutes late", "sets")


@dataclass(frozen=True, slots=True)
class Row:
    """One task of the day in words."""

    start: str
    end: str
    minutes: int
    where: str
    what: str
    kind: str
    who: str
    attended: bool
    visit: str
    minutes_late: int
    units: tuple[str, ...]


def rows_of(plan: DayPlan, practice: Practice) -> tuple[Row, ...]:
    """Return every task by time, then by place."""
    zone = ZoneInfo(practice.practice.time_zone)
    names = {person.id: person.name for person in practice.people}
    kinds = {kind.id: kind.name for kind in practice.visit_kinds}
    visits = {visit.ref: visit for visit in plan.visits}
    rows = []
    for task in sorted(plan.tasks, key=lambda t: (t.start.timestamp(), t.place, t.end.timestamp())):
        visit = visits.get(task.visit or "") if task.kind == "visit" else None
        rows.append(
            Row(
                clock(task.start, zone),
                clock(task.end, zone),
                round((task.end.timestamp() - task.start.timestamp()) / 60),
                task.place,
                kinds.get(visit.visit_kind, visit.visit_kind) if visit else task.what,
                WORD[task.kind],
                names.get(task.person, task.person) if task.person else "",
                task.attended,
                task.visit or "",
                visit.minutes_late if visit else 0,
                task.units,
            )
        )
    return tuple(rows)


def as_csv(rows: Iterable[Row]) -> str:
    """Return the rows as CSV with a header line."""
    out = StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for row in rows:
        cells = (
            row.start,
            row.end,
            row.minutes,
            row.where,
            row.what,
            row.kind,
            row.who,
            _yes(row.attended),
            row.visit,
            row.minutes_late,
            joined("; ", map(unit, row.units)),
        )
        writer.writerow([inert(cell) for cell in cells])
    return out.getvalue()


def as_json(plan: DayPlan) -> dict[str, Any]:
    """Return the plan as plain values, moments in ISO 8601."""
    plain: dict[str, Any] = _plain(asdict(replace(plan, basis=None)))
    del plain["basis"]
    return plain


def inert(cell: object) -> object:
    """Return a cell that no spreadsheet runs as a formula."""
    # A spreadsheet runs a cell that begins like a formula; names are free text.
    return f"'{cell}" if isinstance(cell, str) and cell[:1] in ("=", "+", "-", "@") else cell


def _yes(value: bool) -> str:
    return "yes" if value else "no"


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(part) for part in value]
    if isinstance(value, datetime | date):
        return value.isoformat()
    return value
