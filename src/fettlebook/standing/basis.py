"""What verdicts stand on beside the book: the practice, its rulebook and running times of one day, made quick to ask."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from typing import Final
from zoneinfo import ZoneInfo

from fettlebook.book.kinds import from_ms, to_ms
from fettlebook.practice.model import Chair, Machine, Practice, Skill
from fettlebook.rules.model import Computed, Duty, Limit, Origin, Requirement, Rulebook, Step, Subject, When
from fettlebook.times.model import RunningTime

HOUR_MS: Final = 3_600_000
DAY_MS: Final = 24 * HOUR_MS
MOVES_WATER: Final = (Computed.FLUSH, Computed.FILL, Computed.RINSE)
BOOK: Final = Origin("fettlebook", "book", "the book itself: what it can't show is not taken as done", "practice", "practice")
WEEK: Final = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


@dataclass(frozen=True, slots=True)
class Basis:
    """A practice, what is in force for it, and how long its steps run."""

    practice: Practice
    rulebook: Rulebook
    chairs: dict[str, Chair]
    machines: dict[str, Machine]
    times: dict[tuple[str, str, str], RunningTime]
    requirements: dict[str, Requirement]
    steps: dict[str, tuple[Duty, Step]]
    chair_duties: dict[tuple[str, When], tuple[tuple[Duty, tuple[Step, ...]], ...]] = field(repr=False)
    covered_by: dict[str, tuple[Duty, ...]] = field(repr=False)  # step -> duties that it is done with
    zone: ZoneInfo
    intervals: tuple[tuple[int, int, Requirement], ...]  # of water tests: days at first, days once two in a row were good, who asks
    asked: dict[tuple[str, ...], Requirement | None] = field(default_factory=dict, repr=False, compare=False)  # found once

    @classmethod
    def of(cls, practice: Practice, rulebook: Rulebook, times: Iterable[RunningTime]) -> "Basis":
        """Return the basis of a practice file, its rulebook and the running times of both."""
        of_chairs = [duty for duty in rulebook.duties if duty.subject is Subject.CHAIR]
        covered: dict[str, tuple[Duty, ...]] = {}
        for duty in rulebook.duties:
            for step in duty.covers:
                covered[step] = (*covered.get(step, ()), duty)
        return cls(
            practice=practice,
            rulebook=rulebook,
            chairs={chair.id: chair for chair in practice.chairs},
            machines={machine.id: machine for machine in practice.machines},
            times={(t.chair, t.duty_id, t.step_id): t for t in times},
            requirements={requirement.id: requirement for requirement in rulebook.requirements},
            steps={step.id: (duty, step) for duty in rulebook.duties for step in duty.steps},
            chair_duties={
                (chair.id, when): tuple((duty, duty.steps_on(chair)) for duty in of_chairs if duty.when is when)
                for chair in practice.chairs
                for when in When
            },
            covered_by=covered,
            zone=ZoneInfo(practice.practice.time_zone),
            intervals=tuple(_intervals(rulebook)),
        )

    def day_of(self, ms: int) -> date:
        """Return the local day of a moment."""
        return datetime.fromtimestamp(ms / 1000, tz=self.zone).date()

    def day_start(self, ms: int) -> int:
        """Return when the local day of a moment began: days have 23 or 25 hours where clocks are set."""
        return _midnight(self.day_of(ms), self.zone)

    def days_after(self, ms: int, days: int) -> int:
        """Return when the local day begins that lies `days` after that of a moment; negative: before."""
        return _midnight(self.day_of(ms) + timedelta(days=days), self.zone)

    def day_begins(self, day: date) -> int:
        """Return when a local day begins [ms]."""
        return _midnight(day, self.zone)

    def openings(self, day: date) -> tuple[tuple[int, int], ...]:
        """Return the stretches in which the practice is open on a local day, in order [ms]; none on a holiday."""
        if any(holiday.date == day for holiday in self.practice.holidays):
            return ()
        name = WEEK[day.weekday()]
        return tuple(sorted((self._moment(day, o.from_), self._moment(day, o.to)) for o in self.practice.opening if name in o.days))

    def may(self, person: str, *skills: Skill) -> bool:
        """Tell whether a person has one of these skills."""
        return any(one.id == person and any(skill in one.skills for skill in skills) for one in self.practice.people)

    def asks(self, *quantities: str) -> Requirement | None:
        """Return the requirement in force about a quantity, from the topmost layer; of several, the first that any row is about."""
        if quantities not in self.asked:
            found = ([r for r in self.rulebook.requirements if r.quantity == quantity] for quantity in quantities)
            self.asked[quantities] = next((rows[-1] for rows in found if rows), None)
        return self.asked[quantities]

    def limit_of(self, quantity: str) -> Limit | None:
        """Return the limit about a quantity that other rows of it yield to; None where no row in force names a number."""
        return next((limit for limit in self.rulebook.limits if limit.quantity == quantity and not limit.yields_to), None)

    def is_about(self, duty: Duty, quantity: str) -> bool:
        """Tell whether the row that asks for a duty is about a quantity."""
        asked = self.requirements.get(duty.origin.rule_id)
        return asked is not None and asked.quantity == quantity

    def _moment(self, day: date, clock: time) -> int:
        return to_ms(datetime.combine(day, clock, tzinfo=self.zone))


# The rows say how often in words; these are the longest stretches that the words can mean.
WATER_TESTS: Final = "water tests"
DAYS_OF: Final = {"weekly": 7, "monthly": 31, "quarterly": 92, "half-yearly": 184, "yearly": 366}


def _intervals(rulebook: Rulebook) -> Iterator[tuple[int, int, Requirement]]:
    for requirement in rulebook.requirements:
        days = [DAYS_OF[word] for word in requirement.trigger.replace(",", " ").split() if word in DAYS_OF]
        if requirement.quantity == WATER_TESTS and days:
            yield days[0], days[-1], requirement


@lru_cache(maxsize=4096)
def _midnight(day: date, zone: ZoneInfo) -> int:
    return to_ms(datetime.combine(day, time(0), tzinfo=zone))


@lru_cache(maxsize=16_384)
def stamp(ms: int, zone: ZoneInfo) -> str:
    """Return a moment on the practice's wall clock, as 2026-03-02 08:05."""
    return from_ms(ms, str(zone)).strftime("%Y-%m-%d %H:%M")
