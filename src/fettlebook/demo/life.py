"""Invented days of a practice as entries of its book: visits, steps on time and late, cycles, tests, samples, and people who forget.

Nothing here is true of any practice. The same seed gives the same bytes. Whoever works by the book (`Habits()`) is fit every morning;
each habit spoils that in its own way. `demo.happenings` lets machines break and notices come; `demo.lived` makes years of it.
"""

import heapq
import random
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import partial
from typing import Final, Literal, Protocol
from zoneinfo import ZoneInfo

from fettlebook.book import kinds
from fettlebook.book.kinds import Data, HeldFile, to_ms
from fettlebook.book.received import Received
from fettlebook.demo.diary import Booked, Diary
from fettlebook.demo.instruments import Instruments
from fettlebook.demo.post import MINUTE, Post, Said
from fettlebook.demo.water import Count, Water
from fettlebook.practice.model import Chair, Machine, Practice, ProductUse, Skill
from fettlebook.rules.model import Computed, Duty, Rulebook, Step, Subject, When
from fettlebook.times.label import Gap, feed_strength_mg_l, label_for
from fettlebook.times.model import RunningTime

WEEK: Final = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
SAMPLE_EVERY_DAYS: Final = 28
RESULT_AFTER_DAYS: Final = 7
OVER_EVERY_LIMIT: Final = 900
ACTS_ABOVE: Final = 200
CLEAN: Final = "tablet clean"
A_LONG_GAP: Final = 44 * MINUTE  # between two visits: a session may be over
A_MONTH_MS: Final = 30 * 24 * 3_600_000


@dataclass(frozen=True, slots=True)
class Habits:
    """How far people stray from the book: shares between 0 and 1."""

    forgets: float = 0.0  # a step is done and not entered
    cuts_short: float = 0.0  # an unattended step is stopped at half its time
    comes_late: float = 0.0  # an entry waits on a tablet without network, for up to a day
    fails: float = 0.0  # a cycle or a test fails
    high_count: float = 0.0  # a water sample is over every limit
    mends: float = 0.0  # an entry is corrected or withdrawn later
    visits_a_day: int = 8
    overruns: float = 0.0  # a visit takes longer than booked
    grows: bool = False  # water regrows and responds to treatment; else every count is low, but for `high_count`


Verdict = Literal["fit", "unfit", "unproven"]


class CycleLogs(Protocol):
    """Where a cycle's log comes from: the kept file, the verdict of its judgement and its reasons; None where there is none."""

    def log(self, machine: Machine, cycle: str, began: int, *, good: bool) -> tuple[HeldFile, Verdict, tuple[str, ...]] | None:
        """Return the log of one cycle."""


class Happening(Protocol):
    """What comes over a practice from outside: breakdowns, notices, tablets without network."""

    def morning(self, life: "Life", day: date, start: int) -> None:
        """Say what happens before a working day."""


class Life:
    """Lives days of a practice one after the other; `days` yields what its book receives. A seed gives the same bytes each time."""

    def __init__(
        self,
        practice: Practice,
        rulebook: Rulebook,
        times: Iterable[RunningTime],
        *,
        seed: int = 1,
        habits: Habits | None = None,
        sealed: bool = True,
        diary: Diary | None = None,
        happening: Happening | None = None,
        logs: CycleLogs | None = None,
        closed: Callable[[date], bool] = lambda day: False,
    ) -> None:
        self.practice = practice
        self.rulebook = rulebook
        self.times = {(t.chair, t.duty_id, t.step_id): t for t in times}
        self.habits = habits or Habits()
        self.zone = ZoneInfo(practice.practice.time_zone)
        self.chance = random.Random(seed)  # noqa: S311 - a dice for invented days, not for secrets
        self.post = Post(self.chance, str(self.zone), self.habits.comes_late, self.habits.mends, sealed)
        self.diary, self.happening, self.closed = diary, happening, closed
        self.releaser = next((p.id for p in practice.people if Skill.RELEASE in p.skills or Skill.LEAD in p.skills), practice.people[0].id)
        self.by_skill = {skill: [p.id for p in practice.people if skill in p.skills] or [practice.people[0].id] for skill in Skill}
        self.instruments = Instruments(self, logs)
        self.out: set[str] = set()  # chairs and machines that nobody may use
        self.water = {chair.id: Water(self.chance, 1.0, self.chance.uniform(0.7, 1.3)) for chair in practice.chairs}
        self.owes_week: set[str] = set()  # chairs and machines whose weekly duties are still to do
        self.to_sample: set[str] = set()  # chairs that must be sampled out of turn
        self.closes_late: set[str] = set()  # chairs whose next end of day is done the morning after
        self.leaves_out_week: set[str] = set()  # chairs whose next weekly duties are left out
        self._owes_evening: set[str] = set()
        self.last_open: int | None = None
        self.opened: dict[str, int] = {}
        self.lots: dict[str, str] = {}  # of the package that is open
        self.solutions: dict[str, str] = {}  # chair -> what was mixed for its suction today
        self._strips = random.Random(seed)  # noqa: S311 - apart, so that what a strip shows moves nothing else
        self._agenda: list[tuple[int, int, Callable[[int], None]]] = []
        self._numbers: dict[str, int] = {}
        self._results: list[tuple[date, str, kinds.SampleResult]] = []

    def days(self, first: date, count: int) -> Iterator[Received]:
        """Yield the entries of `count` calendar days from `first`, as they are received; closed days have none of their own."""
        for number in range(count):
            day = first + timedelta(days=number)
            for water in self.water.values():
                water.stand(1)
            self._results_of(day)
            if self.opens(day):
                self._day(day, number)
            yield from self.post.arrive(self.clock(day + timedelta(days=1), 0, 0))
        yield from self.post.arrive(1 << 60)

    def opens(self, day: date) -> bool:
        """Tell whether the practice works on a day."""
        closed = any(holiday.date == day for holiday in self.practice.holidays) or self.closed(day)
        return not closed and any(WEEK[day.weekday()] in opening.days for opening in self.practice.opening)

    # The day, as an agenda of moments and what comes next at each

    def at(self, moment: int, what: Callable[[int], None]) -> None:
        """Put something on the day's agenda."""
        heapq.heappush(self._agenda, (moment, self.number("agenda"), what))

    def _day(self, day: date, number: int) -> None:
        start = self.clock(day, 6, 0)
        monday = self.last_open is None or day.weekday() == 0
        if self.happening is not None:
            self.happening.morning(self, day, start)
        self._products(start)
        if monday:
            self.owes_week = {machine.id for machine in self.practice.machines} | {chair.id for chair in self.practice.chairs}
        for machine in self.practice.machines:
            if machine.id not in self.out:
                self.instruments.morning(machine, start, weekly=self._week_of(machine.id))
        if monday:
            self.duties(Subject.PRACTICE, When.WEEKLY, None, start)
        self.at(start + 70 * MINUTE, partial(self.instruments.process, least=1))
        for half_hours in range(19, 36):
            self.at(self.clock(day, half_hours // 2, 30 * (half_hours % 2)), partial(self.instruments.process, least=4))
        self.at(self.clock(day, 19, 30), partial(self.instruments.process, least=1))
        sampled = number % SAMPLE_EVERY_DAYS == 0 or self.last_open is None
        for place, chair in enumerate(self.practice.chairs):
            if chair.id not in self.out:
                self.at(start + place * MINUTE, partial(self._open_chair, chair, day, sampled, self._week_of(chair.id)))
        latest = start
        while self._agenda:
            moment, _, what = heapq.heappop(self._agenda)
            latest = max(latest, moment)
            what(moment)
        self.last_open = latest

    def _week_of(self, part: str) -> bool:
        """Tell whether a chair or machine owes its weekly duties: on Monday, or on its first day back in service."""
        owes = part in self.owes_week
        self.owes_week.discard(part)
        return owes

    def _open_chair(self, chair: Chair, day: date, sampled: bool, weekly: bool, now: int) -> None:
        by = self.person(Skill.CHAIRS)
        if chair.id in self._owes_evening:
            self._owes_evening.discard(chair.id)
            now = self._evening(chair, by, now)
        if weekly and chair.id in self.leaves_out_week:
            self.leaves_out_week.discard(chair.id)
            weekly = False
            skipped = kinds.DutySkipped(duty="chair.weekly", chair=chair.id, reason="two people ill, no time (invented)")
            self.say(now, skipped, by, f"tablet {chair.id}")
        rested_h = 1e9 if self.last_open is None else (now - self.last_open) / 3_600_000
        for duty in self.rulebook.duties_of(Subject.CHAIR, When.AFTER_STANDING_STILL):
            if duty.after_idle_h is not None and (rested_h > duty.after_idle_h - 6 or chair.id in self.to_sample):
                now = self.duty(duty, chair, now, by=by)
                if any(step.computes is Computed.FILL for step in duty.steps):
                    self.water[chair.id].treated(long=True)
        if sampled or chair.id in self.to_sample:
            self.to_sample.discard(chair.id)
            self._sample(chair, day, now, by)
        for when in (When.WEEKLY, When.BEFORE_FIRST_VISIT) if weekly else (When.BEFORE_FIRST_VISIT,):
            for duty in self.rulebook.duties_of(Subject.CHAIR, when):
                now = self.duty(duty, chair, now, by=by)
        visits = list(self.diary(day).get(chair.id, ())) if self.diary is not None else self._made_up()
        self._next(chair, by, visits, max(now, self.clock(day, 8, 30)))

    def _made_up(self) -> Sequence[Booked]:
        many = [self.chance.choice(self.practice.visit_kinds).id for _ in range(self.habits.visits_a_day)]
        return [Booked(0, self.chance.randint(15, 35), kind) for kind in many]

    def _next(self, chair: Chair, by: str, visits: Sequence[Booked], ready: int) -> None:
        """Put the next visit on the agenda, or the end of the day."""
        if visits:
            start = max(visits[0].start, ready + self.chance.randint(1, 6) * MINUTE)
            self.at(start, partial(self._visit, chair, by, visits))
        else:
            self.at(ready + 5 * MINUTE, partial(self._close_chair, chair, by))

    def _visit(self, chair: Chair, by: str, visits: Sequence[Booked], now: int) -> None:
        booked, device = visits[0], f"tablet {chair.id}"
        kind = next(k for k in self.practice.visit_kinds if k.id == booked.kind)
        units = self.instruments.take(kind.uses)
        ref = booked.ref or f"v_{self.number('visit'):08d}"
        named = kind.surgical and not self.happens(self.habits.forgets)
        said = kinds.VisitStarted(
            visit=ref, chair=chair.id, visit_kind=kind.id, surgical=True if kind.surgical else None, units=units,
            product="sterile water" if named else None, lot=f"SW{now // A_MONTH_MS}" if named else None,
        )  # fmt: skip
        self.say(now, said, by, device)
        now += booked.minutes * MINUTE
        if self.happens(self.habits.overruns):
            now += self.chance.randint(3, 20) * MINUTE
        self.say(now, kinds.VisitEnded(visit=ref, chair=chair.id, units=units), by, device)
        self.instruments.dirty.extend(units)
        for duty in self.rulebook.duties_of(Subject.CHAIR, When.BETWEEN_VISITS):
            now = self.duty(duty, chair, now, by=by, visit=ref)
        rest = visits[1:]
        if rest and rest[0].start - now > A_LONG_GAP:
            for duty in self.rulebook.duties_of(Subject.CHAIR, When.END_OF_SESSION):
                now = self.duty(duty, chair, now, by=by)
        self._next(chair, by, rest, now)

    def _close_chair(self, chair: Chair, by: str, now: int) -> None:
        if chair.id in self.closes_late:
            self.closes_late.discard(chair.id)
            self._owes_evening.add(chair.id)
        else:
            self._evening(chair, by, now)

    def _evening(self, chair: Chair, by: str, now: int) -> int:
        for duty in self.rulebook.duties_of(Subject.CHAIR, When.END_OF_DAY):
            now = self.duty(duty, chair, now, by=by)
            if any(step.computes is Computed.CONTACT for step in duty.steps):
                self.water[chair.id].treated()
        return now

    def duty(self, duty: Duty, chair: Chair, now: int, *, by: str, visit: str | None = None) -> int:
        """Do a chair's duty from a moment on, and return when it is done."""
        device = f"tablet {chair.id}"
        for step in duty.steps_on(chair):
            time = self.times.get((chair.id, duty.id, step.id))
            seconds = time.seconds if time is not None and time.seconds is not None else 60
            outlets = tuple(outlet.id for outlet in chair.outlets) if step.outlets != "none" else None
            now += 2_000
            if self.happens(self.habits.forgets):
                now += seconds * 1000
                continue
            if not step.attended:
                self.say(now, kinds.StepStarted(duty=duty.id, step=step.id, chair=chair.id, outlets=outlets, visit=visit), by, device)
                now += 1000 * (seconds // 2 if self.happens(self.habits.cuts_short) else seconds + 3)
            else:
                now += seconds * 1000
            suction = step.product == "suction"
            done = kinds.StepDone(
                duty=duty.id, step=step.id, chair=chair.id, outlets=outlets, visit=visit, outcome="done",
                readings=self._readings(duty, step, chair), suction=tuple(h.id for h in chair.suction) if suction else None,
                solution=self.solutions.get(chair.id) if suction else None,
            )  # fmt: skip
            self.say(now, done, by, device)
        return now

    def _readings(self, duty: Duty, step: Step, chair: Chair) -> dict[str, int] | None:
        """Return what is read off at a step: the strip, and how much was filled in."""
        readings = {"strip_mg_l": self._strip_mg_l(duty, step)} if "strip reading" in step.evidence else {}
        if "amount" in step.evidence and step.only == "bottle" and chair.supply.bottle_ml is not None:
            readings["water_ml"] = round(chair.supply.bottle_ml * self._strips.uniform(0.85, 1.0))
        if "amount" in step.evidence and step.product == "suction":
            readings["cleaner_ml"] = 1000
        return readings or None

    def _strip_mg_l(self, duty: Duty, step: Step) -> int:
        """Return what a strip shows where all went well: the feed strength before the contact, next to nothing elsewhere."""
        names = [one.id for one in duty.steps]
        contact = next((one.id for one in duty.steps if one.computes is Computed.CONTACT), None)
        label = label_for(self.practice, ProductUse.LINE_INTENSIVE)
        feed = label if isinstance(label, Gap) else feed_strength_mg_l(label)
        if contact is None or isinstance(feed, Gap) or names.index(step.id) > names.index(contact):
            return self._strips.choice((1, 3, 3, 3, 5))
        return round(feed * self._strips.choice((0.98, 1.0, 1.0, 1.0, 1.02)))

    def duties(self, subject: Subject, when: When, machine: Machine | None, now: int) -> int:
        """Do the duties of a machine or of the practice, and return when they are done."""
        for duty in self.rulebook.duties_of(subject, when):
            for step in duty.steps:
                now += round((step.seconds or 60) * 1000)
                if not self.happens(self.habits.forgets):
                    name = machine.id if machine else None
                    done = kinds.StepDone(duty=duty.id, step=step.id, machine=name, outcome="done")
                    self.say(now, done, self.person(Skill.INSTRUMENTS), CLEAN)
        return now

    def _products(self, now: int) -> None:
        chosen = self.practice.in_use
        for product in self.practice.products:
            if product.id not in (chosen.line_intensive, chosen.line_continuous, chosen.suction, chosen.surfaces):
                continue
            keeps = (product.shelf_open_days or 60) - 5
            if now - self.opened.get(product.id, -(1 << 60)) > keeps * 24 * 60 * MINUTE:
                self.open_package(product.id, now, self.person(Skill.INSTRUMENTS))

    def open_package(self, product: str, now: int, by: str) -> None:
        """Open a package of a product: its lot is what is used from now on."""
        self.opened[product] = now
        self.lots[product] = f"LOT{self.number('lot'):04d}"
        self.say(now, kinds.ProductOpened(product=product, lot=self.lots[product]), by, CLEAN)

    # Water

    def _sample(self, chair: Chair, day: date, now: int, by: str) -> None:
        sample, outlet = f"W{self.number('sample'):05d}", chair.outlets[0].id
        taken = kinds.SampleTaken(sample=sample, what="water", chair=chair.id, outlets=(outlet,), neutralised=True)
        self.say(now, taken, by, f"tablet {chair.id}")
        count = Count(OVER_EVERY_LIMIT if self.happens(self.habits.high_count) else self.chance.randint(0, 60), None, "plate (invented)")
        if self.habits.grows:
            count = self.water[chair.id].counted()
        result = kinds.SampleResult(
            sample=sample, quantity="water count", value=count.value, value_unit="CFU/mL", mark=count.mark, method=count.method,
            chair=chair.id, outlets=(outlet,), colonies=count.colonies, plated_nl=count.plated_nl,
        )  # fmt: skip
        self._results.append((day + timedelta(days=RESULT_AFTER_DAYS), chair.id, result))

    def _results_of(self, day: date) -> None:
        for one in [r for r in self._results if r[0] <= day]:
            self._results.remove(one)
            _, chair, result = one
            self.say(self.clock(day, 5, 0), result, self.releaser, CLEAN)
            if self.habits.grows and (result.mark == "above" or result.value > ACTS_ABOVE):
                self.to_sample.add(chair)  # treated the long way and sampled again, next working day

    # Small things

    def say(self, at: int, data: Data, by: str, device: str, of: Said | None = None) -> Said:
        """Say something at a moment."""
        return self.post.say(at, data, by, device, of)

    def number(self, what: str) -> int:
        """Return the next number of something."""
        self._numbers[what] = self._numbers.get(what, 0) + 1
        return self._numbers[what]

    def happens(self, share: float) -> bool:
        """Tell by chance whether it happens this time."""
        return share > 0 and self.chance.random() < share

    def person(self, skill: Skill) -> str:
        """Return somebody who can do it."""
        return self.chance.choice(self.by_skill[skill])

    def clock(self, day: date, hour: int, minute: int) -> int:
        """Return a moment of a day on the practice's wall clock [ms]."""
        return to_ms(datetime.combine(day, time(hour, minute), tzinfo=self.zone))
