"""Invented days of a practice as entries of its book: visits, steps on time and late, cycles, tests, samples, and people who forget.

Nothing here is true of any practice. The same seed gives the same bytes. Whoever works by the book (`Habits()`) is fit every morning;
each habit spoils that in its own way.
"""

import random
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from fettlebook.book import kinds
from fettlebook.book.entries import Entry, Moment, Mono, new_entry
from fettlebook.book.kinds import Data, to_ms
from fettlebook.book.received import Received, seal
from fettlebook.practice.model import Chair, Machine, MachineKind, Practice, Skill
from fettlebook.rules.model import Duty, Rulebook, Subject, When
from fettlebook.times.model import RunningTime

MINUTE: Final = 60_000
WEEK: Final = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
SAMPLE_EVERY_DAYS: Final = 28
RESULT_AFTER_DAYS: Final = 7


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


@dataclass(slots=True)
class _Said:
    at: int
    data: Data
    by: str
    device: str
    order: int


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
    ) -> None:
        self.sealed = sealed  # False: no sealed bytes beside each entry, for big books that nobody verifies
        self.practice = practice
        self.rulebook = rulebook
        self.times = {(t.chair, t.duty_id, t.step_id): t for t in times}
        self.habits = habits or Habits()
        self.zone = ZoneInfo(practice.practice.time_zone)
        self.chance = random.Random(seed)  # noqa: S311 - a dice for invented days, not for secrets
        self.releaser = next((p.id for p in practice.people if Skill.RELEASE in p.skills or Skill.LEAD in p.skills), practice.people[0].id)
        self.ready: dict[str, list[str]] = {s.id: [] for s in practice.sets}
        self.dirty = [f"{s.id}#{n + 1}" for s in practice.sets for n in range(s.owned)]  # nothing is known of them yet
        self.said: list[_Said] = []
        self.counts: dict[str, int] = {}
        self.seq = 0
        self.received = 0
        self.waiting: list[tuple[int, Entry]] = []  # on tablets without network, by when they come through
        self.sent: list[Entry] = []
        self.last_open: int | None = None
        self.numbers = dict.fromkeys(("visit", "load", "pack", "sample", "lot"), 0)
        self.results: list[tuple[date, str, str, str]] = []
        self.opened: dict[str, int] = {}

    def days(self, first: date, count: int) -> Iterator[Received]:
        """Yield the entries of `count` calendar days from `first`, as they are received; closed days have none of their own."""
        for number in range(count):
            day = first + timedelta(days=number)
            self._results_of(day)
            if self._open(day):
                self._day(day, number)
            yield from self._receive(self._midnight(day + timedelta(days=1)))
        yield from self._receive(1 << 60)

    # The day

    def _open(self, day: date) -> bool:
        closed = any(holiday.date == day for holiday in self.practice.holidays)
        return not closed and any(WEEK[day.weekday()] in opening.days for opening in self.practice.opening)

    def _day(self, day: date, number: int) -> None:
        start = self._clock(day, 6, 0)
        monday = self.last_open is None or day.weekday() == 0
        self._products(start)
        for machine in self.practice.machines:
            self._machine_morning(machine, start, weekly=monday)
        if monday:
            self._duties(Subject.PRACTICE, When.WEEKLY, None, start)
        self._process(start + 70 * MINUTE)
        for place, chair in enumerate(self.practice.chairs):
            self._chair_day(
                chair, day, start + place * MINUTE, sample=number % SAMPLE_EVERY_DAYS == 0 or self.last_open is None, weekly=monday
            )
        self._process(self._clock(day, 13, 30))
        self._process(self._clock(day, 19, 30))
        self.last_open = max(said.at for said in self.said)

    def _chair_day(self, chair: Chair, day: date, start: int, *, sample: bool, weekly: bool) -> None:
        device, by = f"tablet {chair.id}", self._person()
        now = start
        rested_h = 1e9 if self.last_open is None else (start - self.last_open) / 3_600_000
        for duty in self.rulebook.duties_of(Subject.CHAIR, When.AFTER_STANDING_STILL):
            if duty.after_idle_h is not None and rested_h > duty.after_idle_h - 6:
                now = self._duty(duty, chair, now, by=by)
        if sample:
            self._sample(chair, day, now, by, device)
        for when in (When.WEEKLY, When.BEFORE_FIRST_VISIT) if weekly else (When.BEFORE_FIRST_VISIT,):
            for duty in self.rulebook.duties_of(Subject.CHAIR, when):
                now = self._duty(duty, chair, now, by=by)
        now = max(now, self._clock(day, 8, 30))
        for _ in range(self.habits.visits_a_day):
            now = self._visit(chair, now + self.chance.randint(1, 6) * MINUTE, by, device)
        for duty in self.rulebook.duties_of(Subject.CHAIR, When.END_OF_DAY):
            now = self._duty(duty, chair, now + 5 * MINUTE, by=by)

    def _visit(self, chair: Chair, now: int, by: str, device: str) -> int:
        kind = self.chance.choice(self.practice.visit_kinds)
        units = tuple(self.ready[name].pop(0) for name, many in kind.uses.items() for _ in range(many) if self.ready.get(name))
        ref = f"v_{self._next('visit'):08d}"
        self._say(now, kinds.VisitStarted(visit=ref, chair=chair.id, visit_kind=kind.id, units=units), by, device)
        now += self.chance.randint(15, 35) * MINUTE
        self._say(now, kinds.VisitEnded(visit=ref, chair=chair.id, units=units), by, device)
        self.dirty.extend(units)
        for duty in self.rulebook.duties_of(Subject.CHAIR, When.BETWEEN_VISITS):
            now = self._duty(duty, chair, now, by=by, visit=ref)
        return now

    def _duty(self, duty: Duty, chair: Chair, now: int, *, by: str, visit: str | None = None) -> int:
        device = f"tablet {chair.id}"
        for step in duty.steps_on(chair):
            time = self.times.get((chair.id, duty.id, step.id))
            seconds = time.seconds if time is not None and time.seconds is not None else 60
            outlets = tuple(outlet.id for outlet in chair.outlets) if step.outlets != "none" else None
            now += 2_000
            if self._happens(self.habits.forgets):
                now += seconds * 1000
                continue
            if not step.attended:
                self._say(now, kinds.StepStarted(duty=duty.id, step=step.id, chair=chair.id, outlets=outlets, visit=visit), by, device)
                now += 1000 * (seconds // 2 if self._happens(self.habits.cuts_short) else seconds + 3)
            else:
                now += seconds * 1000
            readings = {"strip_mg_l": 3} if "strip reading" in step.evidence else None
            done = kinds.StepDone(
                duty=duty.id, step=step.id, chair=chair.id, outlets=outlets, visit=visit, outcome="done", readings=readings
            )  # fmt: skip
            self._say(now, done, by, device)
        return now

    def _duties(self, subject: Subject, when: When, machine: Machine | None, now: int) -> int:
        for duty in self.rulebook.duties_of(subject, when):
            for step in duty.steps:
                now += round((step.seconds or 60) * 1000)
                if not self._happens(self.habits.forgets):
                    name = machine.id if machine else None
                    self._say(now, kinds.StepDone(duty=duty.id, step=step.id, machine=name, outcome="done"), self._person(), "tablet clean")
        return now

    # Machines and instruments

    def _machine_morning(self, machine: Machine, start: int, *, weekly: bool) -> None:
        subject = Subject(machine.kind.value)
        now = self._duties(subject, When.BEFORE_FIRST_LOAD, machine, start)
        if weekly:
            now = self._duties(subject, When.WEEKLY, machine, now)
        for test in machine.tests:
            if test.every == "day" or weekly:
                now += (test.attended_minutes + test.unattended_minutes) * MINUTE
                failed = self._happens(self.habits.fails)
                said = kinds.MachineTest(machine=machine.id, test=test.id, outcome="failed" if failed else "passed")
                self._say(now, said, self._person(), "tablet clean")
                if failed:  # looked into, and run again
                    now += (test.attended_minutes + test.unattended_minutes) * MINUTE
                    self._say(now, kinds.MachineTest(machine=machine.id, test=test.id, outcome="passed"), self._person(), "tablet clean")

    def _process(self, now: int) -> None:
        """Wash, pack, sterilize and release what is dirty."""
        units, self.dirty = self.dirty, []
        washers = [m for m in self.practice.machines if m.kind is MachineKind.WASHER]
        sterilizers = [m for m in self.practice.machines if m.kind is MachineKind.STERILIZER]
        if not units or not washers or not sterilizers:
            self.dirty = units
            return
        for place in range(0, len(units), 6):
            some = units[place : place + 6]
            now = self._run(washers[0], now, tuple(kinds.InLoad(unit=unit) for unit in some))[1] + 5 * MINUTE
            items = tuple(kinds.InLoad(unit=unit, pack=f"P{self._next('pack'):06d}") for unit in some)
            load, now, good = self._run(sterilizers[(place // 6) % len(sterilizers)], now, items)
            now += 12 * MINUTE
            said: Data
            if good:
                said = kinds.LoadReleased(load=load, meaning="released", dry=True, indicators_turned=True)
                for unit in some:
                    self.ready[unit.partition("#")[0]].append(unit)
            else:
                said = kinds.LoadRejected(load=load, meaning="rejected", reason="the cycle failed (invented)")
                self.dirty.extend(some)
            if not self._happens(self.habits.forgets):
                self._say(now, said, self.releaser, "tablet clean")

    def _run(self, machine: Machine, now: int, items: tuple[kinds.InLoad, ...]) -> tuple[str, int, bool]:
        load = f"L{self._next('load'):06d}"
        self._say(
            now, kinds.LoadPacked(load=load, machine=machine.id, cycle=machine.day_cycle, items=items), self._person(), "tablet clean"
        )
        began = now + 2 * MINUTE
        ended = began + next(cycle.minutes for cycle in machine.cycles if cycle.id == machine.day_cycle) * MINUTE
        good = not self._happens(self.habits.fails)
        ran = kinds.CycleRecorded(
            machine=machine.id, cycle=machine.day_cycle, load=load, began_ms=began, ended_ms=ended, said="passed" if good else "failed"
        )  # fmt: skip
        self._say(ended + MINUTE, ran, self._person(), "tablet clean")
        return load, ended + MINUTE, good

    def _products(self, now: int) -> None:
        chosen = self.practice.in_use
        for product in self.practice.products:
            if product.id not in (chosen.line_intensive, chosen.line_continuous, chosen.suction, chosen.surfaces):
                continue
            keeps = (product.shelf_open_days or 60) - 5
            if now - self.opened.get(product.id, -(1 << 60)) > keeps * 24 * 60 * MINUTE:
                self.opened[product.id] = now
                lot = f"LOT{self._next('lot'):04d}"
                self._say(now, kinds.ProductOpened(product=product.id, lot=lot), self._person(), "tablet clean")

    # Water

    def _sample(self, chair: Chair, day: date, now: int, by: str, device: str) -> None:
        sample = f"W{self._next('sample'):05d}"
        outlet = chair.outlets[0].id
        self._say(now, kinds.SampleTaken(sample=sample, what="water", chair=chair.id, outlets=(outlet,), neutralised=True), by, device)
        self.results.append((day + timedelta(days=RESULT_AFTER_DAYS), sample, chair.id, outlet))

    def _results_of(self, day: date) -> None:
        for due, sample, chair, outlet in [r for r in self.results if r[0] <= day]:
            self.results.remove((due, sample, chair, outlet))
            value = 900 if self._happens(self.habits.high_count) else self.chance.randint(0, 60)
            result = kinds.SampleResult(
                sample=sample, quantity="water count", value=value, value_unit="CFU/mL", chair=chair, outlets=(outlet,)
            )
            self._say(self._clock(day, 5, 0), result, self.releaser, "tablet clean")

    # Writing and receiving

    def _say(self, at: int, data: Data, by: str, device: str) -> None:
        self.said.append(_Said(at, data, by, device, len(self.said)))

    def _receive(self, until: int) -> Iterator[Received]:
        now, later = [s for s in self.said if s.at < until], [s for s in self.said if s.at >= until]
        self.said = later
        for said in sorted(now, key=lambda s: (s.at, s.order)):
            self._send(said)
        self.waiting.sort(key=lambda one: one[0])
        while self.waiting and self.waiting[0][0] < until:
            comes, entry = self.waiting.pop(0)
            yield self._into_the_book(entry, comes)

    def _send(self, said: _Said) -> None:
        entry = self._entry(said.data, said.at, said.by, said.device)
        late = self.chance.randint(1, 24 * 60) * MINUTE if self._happens(self.habits.comes_late) else self.chance.randint(20, 900)
        self.waiting.append((said.at + late, entry))
        if self._happens(self.habits.mends):
            at = said.at + self.chance.randint(1, 600) * MINUTE
            why = "invented slip"
            if self.chance.random() < 0.5:
                mended: Data = kinds.EntryWithdrawn(why=why)
            else:
                mended = kinds.EntryCorrected(field="at", was=entry.at, now=entry.at - self.chance.randint(1, 90) * MINUTE, why=why)
            self.waiting.append((at + self.chance.randint(20, 900), self._entry(mended, at, said.by, said.device, refers_to=entry.id)))

    def _entry(self, data: Data, at: int, by: str, device: str, refers_to: str | None = None) -> Entry:
        n = self.counts[device] = self.counts.get(device, 0) + 1
        moment = Moment(at, str(self.zone), Mono(session=f"{device} s1", ms=at - 1_000_000_000_000))
        made = new_entry(data, moment=moment, device=device, n=n, by=by, refers_to=refers_to)
        return made.model_copy(update={"id": self._id(at)})

    def _id(self, at: int) -> str:
        bits = self.chance.getrandbits(74)
        text = f"{at:012x}7{bits & 0xFFF:03x}{8 + (bits >> 72):x}{(bits >> 12) & (1 << 60) - 1:015x}"
        return f"{text[:8]}-{text[8:12]}-{text[12:16]}-{text[16:20]}-{text[20:]}"

    def _into_the_book(self, entry: Entry, comes: int) -> Received:
        self.seq += 1
        self.received = max(comes, self.received + 1)
        leaf = seal(entry.encode(), seq=self.seq, received=self.received, offset=0, via=entry.device)
        return Received(self.seq, self.received, 0, entry.device, entry, leaf)

    def _next(self, what: str) -> int:
        self.numbers[what] += 1
        return self.numbers[what]

    def _happens(self, share: float) -> bool:
        return share > 0 and self.chance.random() < share

    def _person(self) -> str:
        return self.chance.choice(self.practice.people).id

    def _clock(self, day: date, hour: int, minute: int) -> int:
        return to_ms(datetime.combine(day, time(hour, minute), tzinfo=self.zone))

    def _midnight(self, day: date) -> int:
        return self._clock(day, 0, 0)
