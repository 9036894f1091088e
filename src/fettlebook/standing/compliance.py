"""Duties owed in a stretch of time and what came of each: done in time, late, missed, or not provable. Every occasion is counted once.

An occasion is what made the duty owed: a visit, a day with visits or loads, a rest of the lines, a week of use. Whether it was done is
asked of the very conditions that the board shows, at the moment by which it was owed, under the rules of that day.

| came | what it says |
| --- | --- |
| `in time` | proven done by the moment by which it was owed |
| `late` | proven done after it: a morning's duty by the evening, an evening's by the next visit |
| `missed` | nothing of it in the book, left out knowingly, or done otherwise than asked (too short, broken off) and not done again |
| `not provable` | something of it in the book that does not prove it, or entries of a device are missing from then |
"""

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum
from itertools import pairwise
from typing import Final

from fettlebook.practice.model import Chair, Machine
from fettlebook.rules.model import Origin, When
from fettlebook.said import said, term
from fettlebook.standing.basis import DAY_MS, HOUR_MS
from fettlebook.standing.chair import duty_conditions
from fettlebook.standing.look import Look
from fettlebook.standing.machine import machine_duties, test_condition
from fettlebook.standing.model import Condition, Verdict
from fettlebook.standing.standings import PRACTICE, Standings, View
from fettlebook.standing.steps import AtChair
from fettlebook.standing.still import last_rest, moving_sorts
from fettlebook.standing.streams import Fact
from fettlebook.standing.upkeep import missing_conditions
from fettlebook.standing.water import water_conditions

LATE_WITHIN_MS: Final = 14 * DAY_MS  # so far ahead the next visit is looked for that shows an evening's duty done late
WATER_TEST: Final = said("Water count in date")
IN_DATE: Final = {
    "day": said("in date at the day's first load (each day)"),
    "week": said("in date at the day's first load (each week)"),
    "quarter": said("in date at the day's first load (each quarter)"),
    "year": said("in date at the day's first load (each year)"),
}


class Came(StrEnum):
    """What came of an occasion."""

    IN_TIME = "in time"
    LATE = "late"
    MISSED = "missed"
    NOT_PROVABLE = "not provable"


@dataclass(frozen=True, slots=True)
class Occasion:
    """One time that a duty was owed. `because` is the entry that made it owed, `evidence` what the answer rests on."""

    subject: str
    duty: str
    name: str
    when: str
    owed_ms: int
    came: Came
    why: str
    because: str
    evidence: tuple[str, ...]
    origin: Origin


def occasions(
    standings: Standings, since: int, until: int, *, known_at: int | None = None, chairs: Collection[str] = ()
) -> Iterator[tuple[date, tuple[Occasion, ...]]]:
    """Yield the occasions of each local day from `since` to `until` [ms since 1970 UTC], day by day; what is owed later isn't counted.

    Parameters
    ----------
    known_at
        By what had been received then; left out: all there is.
    chairs
        Only these chairs, and all machines; empty: every chair.
    """
    known = standings.state.received if known_at is None else known_at
    zone_basis = standings.as_of(since, known).look.basis
    day, last = zone_basis.day_of(since), zone_basis.day_of(max(since, until - 1))
    while day <= last:
        end = min(zone_basis.day_begins(day + timedelta(days=1)), until)
        view = standings.as_of(end - 1, known)
        yield day, tuple(_Day(view, day, since, until, chairs).occasions())
        day += timedelta(days=1)


class _Day:
    """One local day, with the rules that held at its end."""

    def __init__(self, view: View, day: date, since: int, until: int, chairs: Collection[str]) -> None:
        self.look, self.basis, self.until = view.look, view.look.basis, until
        self.begin = max(since, self.basis.day_begins(day))
        self.midnight = self.basis.day_begins(day + timedelta(days=1))
        self.end = min(self.midnight, until)
        self.week = self.basis.day_begins(day - timedelta(days=6)) if day.weekday() == 6 and self.midnight <= until else None
        self.whole_week = self.week is not None and self.week >= since
        self.chairs = [c for c in self.basis.practice.chairs if not chairs or c.id in chairs]

    def occasions(self) -> Iterator[Occasion]:
        for chair in self.chairs:
            yield from _ChairDay(self, chair).occasions()
        for machine in self.basis.practice.machines:
            yield from self._of_machine(machine)
        if self.whole_week:
            yield from self._of_practice()

    def at(self, moment: int) -> Look:
        return replace(self.look, moment=moment, memo={})

    def said(
        self, look: Look, subject: str, condition: Condition, *, when: str, owed: int, because: str, later: Condition | None = None
    ) -> Occasion:
        """Return an occasion from what is said when it was owed and, where that isn't fit, afterwards."""
        came, told = _came(condition, later)
        if came is Came.MISSED and told.verdict is Verdict.UNPROVEN:
            missing = next(iter(missing_conditions(look, subject, today_only=True)), None)
            if missing is not None:
                came, told = Came.NOT_PROVABLE, replace(told, why=missing.why)
        duty = _duty_of(condition)
        name = next((d.name for d in self.basis.rulebook.duties if d.id == duty), condition.what)
        return Occasion(subject, duty, name, when, owed, came, told.why, because, told.evidence, condition.origin)

    def _of_machine(self, machine: Machine) -> Iterator[Occasion]:
        subject = f"machine:{machine.id}"
        ran = list(self.look.forward(subject, "cycles", since=self.begin, until=self.end - 1))
        if ran:
            first = min(ran, key=lambda f: min(f.says.began, f.happened))
            owed = min(first.says.began, first.happened)
            then, evening = self.at(owed), self.at(self.end - 1)
            for test in machine.tests:
                condition = test_condition(then, machine, test)
                later = test_condition(evening, machine, test) if condition.verdict is not Verdict.FIT else None
                when = IN_DATE[test.every]
                one = self.said(then, subject, condition, when=when, owed=owed, because=first.entry, later=later)
                yield replace(one, name=said("Test: {name}", name=term(test.name)))
            evenings = {_duty_of(c): c for c in machine_duties(evening, machine, When.BEFORE_FIRST_LOAD)}
            for condition in machine_duties(then, machine, When.BEFORE_FIRST_LOAD):
                yield self.said(
                    then,
                    subject,
                    condition,
                    when=When.BEFORE_FIRST_LOAD,
                    owed=owed,
                    because=first.entry,
                    later=evenings.get(_duty_of(condition)),
                )
        if self.whole_week and self.week is not None:
            used = self.look.first(subject, "cycles", since=self.week, until=self.midnight - 1)
            if used is not None:
                for condition in machine_duties(self.at(self.midnight - 1), machine, When.WEEKLY):
                    yield self.said(self.look, subject, condition, when=When.WEEKLY, owed=self.midnight, because=used.entry)

    def _of_practice(self) -> Iterator[Occasion]:
        assert self.week is not None
        duties = {d.id for d in self.basis.rulebook.duties if d.when is When.WEEKLY}
        visits = (self.look.first(f"chair:{c.id}", "visit", since=self.week, until=self.midnight - 1) for c in self.basis.practice.chairs)
        used = min((v for v in visits if v is not None), default=None)
        if used is None:
            return
        for condition in View(self.at(self.midnight - 1)).own_conditions():
            if _duty_of(condition) in duties:
                yield self.said(self.look, PRACTICE, condition, when=When.WEEKLY, owed=self.midnight, because=used.entry)


class _ChairDay:
    """A chair on one day."""

    def __init__(self, day: _Day, chair: Chair) -> None:
        self.day, self.chair, self.subject = day, chair, f"chair:{chair.id}"
        self.facts = list(day.look.forward(self.subject, "visit", since=day.begin, until=day.end - 1))

    def occasions(self) -> Iterator[Occasion]:
        day = self.day
        if self.facts:
            yield from self._before(self.facts[0])
            yield from self._between()
            yield from self._sessions()
            yield from self._evening()
        if day.whole_week and day.week is not None:
            used = day.look.first(self.subject, "visit", since=day.week, until=day.midnight - 1)
            if used is not None:
                for condition in duty_conditions(day.at(day.midnight - 1), self.chair, When.WEEKLY):
                    yield day.said(day.look, self.subject, condition, when=When.WEEKLY, owed=day.midnight, because=used.entry)
                yield from self._water(used)

    def _before(self, first: Fact) -> Iterator[Occasion]:
        """The morning's duties, and those after standing still where the lines rested up to this day."""
        day, owed = self.day, first.happened
        then, evening = day.at(owed), day.at(day.end - 1)
        for when in (When.BEFORE_FIRST_VISIT, When.AFTER_STANDING_STILL):
            evenings: dict[str, Condition] = {}
            for condition in duty_conditions(then, self.chair, when):
                if when is When.AFTER_STANDING_STILL and not self._rested(then, _duty_of(condition)):
                    continue
                if condition.verdict is not Verdict.FIT and not evenings:
                    evenings = {_duty_of(c): c for c in duty_conditions(evening, self.chair, when)}
                yield day.said(
                    then, self.subject, condition, when=when, owed=owed, because=first.entry, later=evenings.get(_duty_of(condition))
                )

    def _rested(self, look: Look, duty_id: str) -> bool:
        duty = next((d for d in self.day.basis.rulebook.duties if d.id == duty_id), None)
        if duty is None or duty.after_idle_h is None:
            return False
        rest = last_rest(look, self.subject, moving_sorts(self.day.basis), round(duty.after_idle_h * HOUR_MS))
        return rest.ended is None or rest.ended >= self.day.begin

    def _between(self) -> Iterator[Occasion]:
        """The turnover between two visits of the day: done before the second begins, or not at all."""
        first_of: dict[str, Fact] = {}
        for fact in self.facts:
            first_of.setdefault(fact.says.ref, fact)
        for before, following in pairwise(first_of.values()):
            look = self.day.at(following.happened - 1)
            for condition in duty_conditions(look, self.chair, When.BETWEEN_VISITS):
                yield self.day.said(look, self.subject, condition, when=When.BETWEEN_VISITS, owed=following.happened, because=before.entry)

    def _sessions(self) -> Iterator[Occasion]:
        day = self.day
        openings = day.basis.openings(day.basis.day_of(day.begin))
        for (_, ended), (begins, _) in pairwise(openings):
            last = next((f for f in reversed(self.facts) if f.happened < ended), None)
            if last is None or begins >= day.end:
                continue
            evenings = {_duty_of(c): c for c in duty_conditions(day.at(day.end - 1), self.chair, When.END_OF_SESSION)}
            for condition in duty_conditions(day.at(begins), self.chair, When.END_OF_SESSION):
                later = evenings.get(_duty_of(condition))
                yield day.said(day.look, self.subject, condition, when=When.END_OF_SESSION, owed=begins, because=last.entry, later=later)

    def _evening(self) -> Iterator[Occasion]:
        day = self.day
        if day.midnight > day.until:
            return  # the day isn't over: nothing is late yet
        for condition in duty_conditions(day.at(day.midnight), self.chair, When.END_OF_DAY):
            later: Condition | None = None
            if condition.verdict is not Verdict.FIT:
                end = min(day.until, day.midnight + LATE_WITHIN_MS)
                whole = replace(day.look, moment=end, memo={})
                following = whole.first(self.subject, "visit", since=day.midnight, until=end)
                then = duty_conditions(day.at(following.happened if following else end), self.chair, When.END_OF_DAY)
                later = next((c for c in then if _duty_of(c) == _duty_of(condition)), None)
            yield day.said(
                day.look, self.subject, condition, when=When.END_OF_DAY, owed=day.midnight, because=self.facts[-1].entry, later=later
            )

    def _water(self, used: Fact) -> Iterator[Occasion]:
        """Whether a count was in date in a week of use, good or bad: its number is judged elsewhere."""
        day = self.day
        look = day.at(day.midnight - 1)
        at = AtChair(look, self.chair, 0, frozenset(outlet.id for outlet in self.chair.outlets))
        for condition in water_conditions(at):
            if condition.what.startswith("water count"):
                held = replace(condition, verdict=Verdict.FIT, mend=()) if condition.verdict is Verdict.UNFIT else condition
                one = day.said(look, self.subject, held, when=said("in each week of use"), owed=day.midnight, because=used.entry)
                yield replace(one, duty="water.test", name=WATER_TEST)


def _came(condition: Condition, later: Condition | None) -> tuple[Came, Condition]:
    if condition.verdict is Verdict.FIT:
        return Came.IN_TIME, condition
    if later is not None and later.verdict is Verdict.FIT:
        return Came.LATE, later
    told = later or condition
    if told.verdict is Verdict.UNFIT or not told.evidence:
        return Came.MISSED, told
    return Came.NOT_PROVABLE, told


def _duty_of(condition: Condition) -> str:
    return condition.duty_id or (condition.mend[0].duty_id if condition.mend else "")
