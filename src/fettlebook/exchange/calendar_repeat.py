"""Which entries fall on the days asked: repeats, moved and cancelled instances, within a bound on work.

recurring-ical-events and dateutil do the expanding. Two things are added. Steps are counted: dateutil walks a rule
from its start, and a rule that never fits (30 February) walks to the year 9999; the interval handed to it is a number
that counts how often it is added, so a hostile rule stops after a fixed amount of work, whatever the machine's speed.
And an instance keeps its original start, from which its reference is made, also when it is moved.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any, Final

import icalendar
from recurring_ical_events import CalendarQuery
from recurring_ical_events.selection.name import ComponentsWithName
from recurring_ical_events.series import Series

from fettlebook.errors import Finding
from fettlebook.exchange.calendar_entries import MARK, Entry

RULE_STEPS: Final = 200_000  # for one rule: five centuries of a daily one, a third of a second
FILE_STEPS: Final = 2_000_000
FILE_INSTANCES: Final = 100_000
FILE_ENTRIES: Final = 20_000  # read in full, that is: around the days asked, or repeating
STARTS_A_DAY: Final = 96  # of one entry: one every quarter of an hour
_COST_OF_A_STEP: Final = {"YEARLY": 12, "MONTHLY": 4, "WEEKLY": 3, "MINUTELY": 2}  # against a daily one, as measured


class _Refused(Exception):  # noqa: N818 - an answer, carried up through the library
    """A rule that asks for too much; the words say what, and hold nothing from the file but numbers."""


@dataclass(slots=True)
class Budget:
    """What is left of the work that one file may cause."""

    steps: int = FILE_STEPS
    instances: int = FILE_INSTANCES
    entries: int = FILE_ENTRIES
    rule_steps: int = 0
    unread: list[int] = field(default_factory=list)  # lines of entries for which nothing was left

    def allows(self, lines: list[int], *, repeats: bool, dates: int) -> bool:
        """Whether the entries of these lines may still be read; if not, they are kept to be told."""
        self.entries -= len(lines) + dates // 10
        if self.entries >= 0 and (not repeats or (self.steps > 0 and self.instances > 0)):
            return True
        self.unread += lines
        return False


@dataclass(frozen=True, slots=True)
class Instance:
    """One entry at one time. `original` is what tells it from its siblings, also after a move."""

    entry: Entry
    start: date | datetime
    end: date | datetime
    original: str


class _Steps(int):
    """An interval that counts how often dateutil adds it."""

    budget: Budget
    cost: int

    def __radd__(self, other: int) -> int:
        self._spend()
        return int(other) + int(self)

    def __mul__(self, other: int) -> int:
        self._spend()
        return int(self) * int(other)

    __rmul__ = __mul__

    def _spend(self) -> None:
        self.budget.rule_steps += self.cost
        self.budget.steps -= self.cost
        if self.budget.rule_steps > RULE_STEPS:
            raise _Refused(f"the repeat rule does not reach this day within {RULE_STEPS:,} steps")


def _rules_within(budget: Budget) -> type[Any]:
    """Return the library's series, with counted steps and instances."""

    class Rules(Series.RecurrenceRules):  # type: ignore[misc]
        def rrulestr(self, rule_string: str) -> Any:
            rule = super().rrulestr(rule_string)
            interval = _Steps(_interval(rule_string))
            interval.budget, interval.cost = budget, _cost(rule_string)
            counted = rule.replace(interval=interval)
            counted.string, counted.until = rule.string, rule.until
            return counted

        def rrule_between(self, span_start: Any, span_stop: Any) -> Iterator[Any]:
            for start in super().rrule_between(span_start, span_stop):
                budget.instances -= 1
                if budget.instances < 0:
                    raise _Refused(f"this file repeats more than {FILE_INSTANCES:,} times around this day")
                yield start

    class Counted(Series):  # type: ignore[misc]
        RecurrenceRules = Rules

    return Counted


def instances(group: list[Entry], first: datetime, last: datetime, budget: Budget, file: str) -> list[Instance] | Finding:
    """Return the instances of one UID's entries that touch the time from `first` to `last`, or why there are none.

    Parameters
    ----------
    group
        One entry, and the changes of single instances of it; or changes alone.
    first, last
        Aware; entries that touch this time are returned.
    """
    line = next((entry.raw.properties["RRULE"][0].number for entry in group if "RRULE" in entry.raw.properties), group[0].line)
    where = f"{file} line {line}"
    calendar = icalendar.Calendar()
    for entry in group:
        calendar.add_component(entry.component)
    by_line = {str(entry.line): entry for entry in group}
    budget.rule_steps = 0
    try:
        for entry in group:
            if "RRULE" in entry.component:
                _check(entry.component["RRULE"])
        query = CalendarQuery(calendar, components=[ComponentsWithName("VEVENT", series=_rules_within(budget))])
        copies = query.between(first - timedelta(hours=3), last + timedelta(hours=3))
        found = [_instance(by_line[str(copy[MARK])], copy) for copy in copies]
    except _Refused as refused:
        return Finding(str(refused), where, "Book the visits one by one, or let the series begin this year. None of it is in the plan.")
    except Exception:
        return Finding("the repeats of this entry can't be worked out", where, "Save the series again in the book and export again.")
    if len(found) > STARTS_A_DAY * max((last - first).days, 1):
        what = f"this entry stands {len(found):,} times on this day; the limit is {STARTS_A_DAY}"
        return Finding(what, where, "Book the visits one by one. None of it is in the plan.")
    return found


def _check(rule: Any) -> None:
    """Refuse what no visit does, before any work is done."""
    freq = str(rule.get("FREQ", [""])[0]).upper()
    if freq == "SECONDLY":
        raise _Refused("this entry repeats every few seconds (FREQ=SECONDLY)")
    starts = 1
    for name in ("BYHOUR", "BYMINUTE", "BYSECOND"):
        starts *= max(len(set(map(str, rule.get(name, [])))), 1)
    if starts > STARTS_A_DAY:
        raise _Refused(f"this entry would stand {starts:,} times a day; the limit is {STARTS_A_DAY}")


def _part(rule: str, name: str) -> str:
    return next((part[len(name) + 1 :] for part in rule.split(";") if part.upper().startswith(f"{name}=")), "")


def _interval(rule: str) -> int:
    return int(_part(rule, "INTERVAL") or 1)


def _cost(rule: str) -> int:
    """Return what one step of the rule costs, in steps of a plain daily one."""
    lists = 1 + rule.count(",") // 10
    positions = _part(rule, "BYSETPOS").count(",") + 1
    times = 1
    for name in ("BYHOUR", "BYMINUTE", "BYSECOND"):
        times *= _part(rule, name).count(",") + 1
    return _COST_OF_A_STEP.get(_part(rule, "FREQ").upper(), 1) * lists * positions * times


def _instance(entry: Entry, copy: Any) -> Instance:
    start, end = copy["DTSTART"].dt, copy["DTEND"].dt
    original: date | datetime = copy["RECURRENCE-ID"].dt
    if entry.onward and isinstance(start, datetime) and isinstance(entry.start, datetime) and isinstance(entry.moved, datetime):
        original = start - (entry.start - entry.moved)  # a later one of "this and all later ones"
    if isinstance(start, datetime) and (entry.length < timedelta(0) or end - start in (entry.length, _face(entry))):
        end = start.astimezone(UTC) + entry.length  # elapsed, not on the clock's face; else a length of its own (RDATE period)
    if entry.moved is None and not entry.repeats and not entry.own_start:
        return Instance(entry, start, end, "")
    return Instance(entry, start, end, _written(original))


def _face(entry: Entry) -> timedelta:
    """Return the length as the clock's face shows it, which is what the library adds."""
    if "DTEND" in entry.component and isinstance(entry.start, datetime):
        end: datetime = entry.component["DTEND"].dt
        return end.astimezone(entry.start.tzinfo).replace(tzinfo=None) - entry.start.replace(tzinfo=None)
    return entry.length


def _written(moment: date | datetime) -> str:
    if isinstance(moment, datetime):
        return moment.astimezone(UTC).strftime("%Y%m%dT%H%M%SZ")
    return moment.strftime("%Y%m%d")
