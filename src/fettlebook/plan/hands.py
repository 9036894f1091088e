"""Who is in on a day, and what the machines owe before their first load.

Comes in: the practice file and a day. Goes out: people with their shifts in minutes of the day, machines with the first
minute at which they may run, and the tests, each given to a person.
"""

from dataclasses import dataclass
from datetime import date, time, timedelta

from fettlebook.plan.dayclock import DayClock
from fettlebook.plan.instance import LONGEST_DAY_MIN, Machine, Person, Work
from fettlebook.practice.model import Machine as PracticeMachine
from fettlebook.practice.model import MachineKind, Practice, Shift, Skill
from fettlebook.practice.model import Person as PracticePerson

_WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_WORK: tuple[tuple[Skill, Work], ...] = ((Skill.CHAIRS, "chairs"), (Skill.INSTRUMENTS, "instruments"))


@dataclass(frozen=True, slots=True)
class MachineTest:
    """A test of a machine before its first load: the attended part, then the machine alone."""

    machine: str
    name: str
    person: str
    start: int
    attended: int
    end: int


@dataclass(frozen=True, slots=True)
class Crew:
    """The people of a day, the machines that may run, and the tests that come first."""

    people: tuple[Person, ...]
    washers: tuple[Machine, ...]
    sterilizers: tuple[Machine, ...]
    tests: tuple[MachineTest, ...]


def closed_for(practice: Practice, day: date) -> str:
    """Return why the practice file says that the practice is closed on a day; empty where it is open."""
    for holiday in practice.holidays:
        if holiday.date == day:
            return holiday.name
    if not any(_WEEKDAYS[day.weekday()] in o.days for o in practice.opening):
        return "no opening hours"
    return ""


def crew_of(practice: Practice, clock: DayClock) -> Crew:
    """Return who and what is there on the clock's day; nobody on a holiday."""
    people = [p for person in practice.people if (p := _person(practice, person, clock)) is not None]
    machines = [m for m in practice.machines if not m.out_of_service and m.kind is not MachineKind.ULTRASONIC]
    tests, ready, busy = _tests(machines, people)
    people = [p.model_copy(update={"breaks": tuple(sorted((*p.breaks, *busy[p.id])))}) if p.id in busy else p for p in people]

    def of(kind: MachineKind) -> tuple[Machine, ...]:
        return tuple(
            Machine(
                id=m.id,
                capacity=m.capacity_places,
                minutes=next(c.minutes for c in m.cycles if c.id == m.day_cycle),
                not_before=ready[m.id],
            )
            for m in machines
            if m.kind is kind
        )

    return Crew(tuple(people), of(MachineKind.WASHER), of(MachineKind.STERILIZER), tests)


def _person(practice: Practice, person: PracticePerson, clock: DayClock) -> Person | None:
    does = tuple(work for skill, work in _WORK if skill in person.skills)
    spans: list[tuple[int, int]] = []
    breaks: list[tuple[int, int]] = []
    for back in (1, 0):
        on = clock.day - timedelta(days=back)
        if any(h.date == on for h in practice.holidays):
            continue
        for shift in person.shifts:
            if _WEEKDAYS[on.weekday()] in shift.days and (shift.over_midnight or not back):
                span, rests = _shift(shift, clock, -back)
                if span[1] > max(span[0], 0):
                    spans.append((max(span[0], 0), span[1]))
                    breaks += [(max(a, 0), b) for a, b in rests if b > 0]
    if not spans or not does:
        return None
    spans.sort()
    first, last = spans[0][0], min(max(b for _, b in spans), LONGEST_DAY_MIN)
    at = first
    for a, b in spans:  # between two shifts the person is not there: a break like any other
        if a > at:
            breaks.append((at, a))
        at = max(at, b)
    inside = sorted((max(a, first), min(b, last)) for a, b in breaks if b > first and a < last)
    return Person(id=person.id, from_=first, to=last, breaks=tuple((a, b) for a, b in inside if a < b), does=does)


def _shift(shift: Shift, clock: DayClock, days_on: int) -> tuple[tuple[int, int], list[tuple[int, int]]]:
    def at(t: time, *, is_end: bool) -> int:
        next_day = shift.over_midnight and (t < shift.from_ or is_end)
        return clock.wall(t, days_on=days_on + next_day)

    rests = [(at(a, is_end=False), at(b, is_end=False)) for a, b in shift.breaks]
    return (clock.wall(shift.from_, days_on=days_on), at(shift.to, is_end=True)), rests


def _tests(
    machines: list[PracticeMachine], people: list[Person]
) -> tuple[tuple[MachineTest, ...], dict[str, int], dict[str, list[tuple[int, int]]]]:
    """Give the daily tests to the first person in who does instruments; warm-up begins as that person comes."""
    hands = sorted((p for p in people if "instruments" in p.does), key=lambda p: (p.from_, len(p.does)))
    if not hands:
        return (), {m.id: LONGEST_DAY_MIN for m in machines}, {}
    who = hands[0]
    tests: list[MachineTest] = []
    ready: dict[str, int] = {}
    free = who.from_
    for m in machines:
        at = who.from_ + m.warm_up_minutes
        for test in (t for t in m.tests if t.every == "day"):
            start = _clear_of_breaks(who, max(free, at), test.attended_minutes)
            at = start + test.attended_minutes + test.unattended_minutes
            free = start + test.attended_minutes
            tests.append(MachineTest(m.id, test.name, who.id, start, test.attended_minutes, at))
        ready[m.id] = min(at, LONGEST_DAY_MIN)
    busy = {who.id: [(t.start, t.start + t.attended) for t in tests if t.attended]}
    return tuple(tests), ready, busy


def _clear_of_breaks(person: Person, start: int, minutes: int) -> int:
    for a, b in sorted(person.breaks):
        if start < b and start + minutes > a:
            start = b
    return start
