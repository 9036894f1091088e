"""The group's practices in one table, the one that needs help first on top.

What stands first is common sense, no standard: who can't be seen at all, what may harm somebody today (unfit chairs and machines, water
over the limit), what is owed, what makes tomorrow late, what would be lost with a disk. Within one sort, more comes before less.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import inf
from typing import Any, Final

from fettlebook.book.kinds import from_ms
from fettlebook.exchange.group.summary import Summary
from fettlebook.said import joined, said, said_count

HOUR_MS: Final = 3_600_000
OLD_H: Final = 36  # a summary of the night before the last says little of today
SILENT_H: Final = 96  # no entry over a long weekend is no sign of trouble yet
BACKUP_OLD_H: Final = 48


@dataclass(frozen=True, slots=True)
class Night:
    """What came of a practice's last nightly plan."""

    state: str
    line: str
    weighted_minutes_late: int | None  # None: no plan
    visits_left_out: int = 0


@dataclass(frozen=True, slots=True)
class Row:
    """One practice of the group. `needs` are in order of urgency, each in words; `summary` None: nothing is known, `why` says so."""

    name: str
    summary: Summary | None
    why: str
    night: Night | None
    needs: tuple[str, ...]
    order: tuple[Any, ...]  # rows are sorted by it

    def as_data(self) -> dict[str, Any]:
        """Return it as plain values, for programs."""
        night = None
        if self.night is not None:
            late, out = self.night.weighted_minutes_late, self.night.visits_left_out
            night = {"state": self.night.state, "line": self.night.line, "weighted_minutes_late": late, "visits_left_out": out}
        summary = self.summary.as_data() if self.summary is not None else None
        return {"name": self.name, "needs": [str(one) for one in self.needs], "why": self.why, "night": night, "summary": summary}

    def as_cells(self) -> dict[str, object]:
        """Return it as a line of a table."""
        s, n = self.summary, self.night
        worst = max((one.p_above for one in s.water_above), default=None) if s else None
        return {
            "practice": self.name,
            "first need": str(self.needs[0]) if self.needs else "",
            "verdict": s.verdict if s else "",
            "chairs unfit": len(s.chairs_unfit) if s else "",
            "machines unfit": len(s.machines_unfit) if s else "",
            "overdue": s.overdue if s else "",
            "chairs above the water limit": len(s.water_above) if s else "",
            "highest chance": worst if worst is not None else "",
            "next chair passes on": (s.water_passes_on or "") if s else "",
            "night": n.state if n else "",
            "weighted minutes late": n.weighted_minutes_late if n and n.weighted_minutes_late is not None else "",
            "last entry (UTC)": _utc(s.last_received_ms) if s else "",
            "backup tried (UTC)": _utc(s.backup_tried_ms) if s else "",
        }


def rows_of(
    names: Iterable[str],
    summaries: Mapping[str, Summary],
    why: Mapping[str, str],
    nights: Mapping[str, Night],
    *,
    now_ms: int,
    backed_up_by_group: frozenset[str] = frozenset(),
) -> list[Row]:
    """Return the rows of a group, the one that needs help first on top.

    Parameters
    ----------
    names
        The practices of the group file.
    summaries, why
        What is known of each; where nothing is, why.
    nights
        The last nightly plan of each, where one was kept.
    now_ms
        The moment of looking [ms since 1970 UTC].
    backed_up_by_group
        Those whose book is in the group's database: its backups are not seen from a practice.
    """
    rows = []
    for name in names:
        summary, night = summaries.get(name), nights.get(name)
        ranked = sorted(_needs(summary, night, why.get(name, ""), now_ms, ours=name not in backed_up_by_group))
        needs = tuple(words for _, _, words in ranked)
        order = (*((place, -much) for place, much, _ in ranked), (99, 0), name)
        rows.append(Row(name, summary, "" if summary else why.get(name, ""), night, needs, order))
    return sorted(rows, key=lambda row: row.order)


def _utc(at_ms: int | None) -> str:
    return from_ms(at_ms).isoformat(sep=" ", timespec="minutes")[:16] if at_ms is not None else ""


def _needs(s: Summary | None, night: Night | None, why: str, now_ms: int, *, ours: bool) -> Iterable[tuple[int, float, str]]:
    """Yield place (low is urgent), how much of it, and words."""
    if s is None:
        yield 0, inf, said("nothing is known: {why}", why=why or said("no summary was made yet"))
    else:
        yield from _of_standing(s)
        yield from _of_keeping(s, now_ms, ours=ours)
    if night is not None and night.state != "planned":
        yield 4, 1, said("last night's plan: {line}", line=night.line)
    elif night is not None and night.visits_left_out:
        yield 4, night.visits_left_out, said("the next day does not fit: {n} visits without a place", n=night.visits_left_out)
    elif night is not None and night.weighted_minutes_late:
        yield 5, night.weighted_minutes_late, said("the next day runs late: {n} weighted minutes", n=night.weighted_minutes_late)


def _of_standing(s: Summary) -> Iterable[tuple[int, float, str]]:
    if s.chairs_unfit or s.machines_unfit:
        named = joined(", ", (*s.chairs_unfit, *s.machines_unfit))
        yield 1, len(s.chairs_unfit) + len(s.machines_unfit), said("unfit: {named}", named=named)
    if s.water_above:
        named = joined(", ", (said("{chair} ({p} %)", chair=one.chair, p=round(100 * one.p_above)) for one in s.water_above))
        yield 2, max(one.p_above for one in s.water_above), said("water above the limit, with its chance: {named}", named=named)
    if s.overdue:
        yield 3, s.overdue, said_count("{n} duty overdue", "{n} duties overdue", s.overdue)
    if unproven := s.chairs_unproven + s.machines_unproven:
        yield 6, unproven, said_count("{n} chair or machine unproven", "{n} chairs and machines unproven", unproven)


def _of_keeping(s: Summary, now_ms: int, *, ours: bool) -> Iterable[tuple[int, float, str]]:
    if (hours := (now_ms - s.at_ms) / HOUR_MS) > OLD_H:
        yield 0, hours, said("what is known is {n} hours old", n=round(hours))
    silent = (now_ms - s.last_received_ms) / HOUR_MS if s.last_received_ms is not None else None
    if silent is None:
        yield 7, 0, said("no entry in the book yet")
    elif silent > SILENT_H:
        yield 7, silent, said("no entry for {n} days", n=round(silent / 24))
    if ours and s.backup_whole is False:
        yield 4, 2, said("the last backup could not be restored whole")
    elif ours and (s.backup_tried_ms is None or now_ms - s.backup_tried_ms > BACKUP_OLD_H * HOUR_MS):
        yield 8, 0, said("no backup was tried in the last two days")
