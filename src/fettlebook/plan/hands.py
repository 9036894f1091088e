"""Who is in on a day, and what the machines owe before their first load.

Comes in: the practice file and a day. Goes out: people with their shifts in minutes of the day, machines with the minute
at which they are warm, their cycles, and the tests that come before their first load; who does them the plan decides.
"""

from dataclasses import dataclass
from datetime import date, time, timedelta

from fettlebook.plan.dayclock import DayClock
from fettlebook.plan.detail import Cycle, OwedTest
from fettlebook.plan.instance import LONGEST_DAY_MIN, Machine, Person, Work
from fettlebook.practice.model import Machine as PracticeMachine
from fettlebook.practice.model import MachineKind, Practice, SetType, Shift, Skill
from fettlebook.practice.model import Person as PracticePerson

_WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_OF_THE_DAY = ", of the day"
_WORK: tuple[tuple[Skill, Work], ...] = ((Skill.CHAIRS, "chairs"), (Skill.INSTRUMENTS, "instruments"))


@dataclass(frozen=True, slots=True)
class Crew:
    """The people of a day and the machines that may run. `cycle_kinds`: what a set may ride that names no types of its own."""

    people: tuple[Person, ...]
    baths: tuple[Machine, ...]
    washers: tuple[Machine, ...]
    sterilizers: tuple[Machine, ...]
    cycle_kinds: tuple[str, ...] = ()


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
    hands = [p.from_ for p in people if "instruments" in p.does]
    choice = any(s.cycle_types for s in practice.sets)

    def of(kind: MachineKind) -> tuple[Machine, ...]:
        return tuple(
            _machine(practice, m, min(hands, default=LONGEST_DAY_MIN), choice=choice)
            for m in practice.machines
            if m.kind is kind and not m.out_of_service
        )

    baths = of(MachineKind.ULTRASONIC) if any(s.bath for s in practice.sets) else ()
    kinds = dict.fromkeys(c.kind for m in of(MachineKind.STERILIZER) for c in m.cycles if c.kind.endswith(_OF_THE_DAY))
    return Crew(tuple(people), baths, of(MachineKind.WASHER), of(MachineKind.STERILIZER), tuple(kinds))


def _machine(practice: Practice, m: PracticeMachine, first_in: int, *, choice: bool) -> Machine:
    """Return a machine as the plan sees it: switched on as the first person comes who does instruments."""
    day_cycle = next(c for c in m.cycles if c.id == m.day_cycle)
    cycles: tuple[Cycle, ...] = ()
    if choice and m.kind is MachineKind.STERILIZER:
        cycles = tuple(Cycle(id=c.id, kind=c.type + (_OF_THE_DAY if c is day_cycle else ""), minutes=c.minutes) for c in m.cycles)
    return Machine(
        id=m.id,
        capacity=m.capacity_places,
        minutes=min((c.minutes for c in cycles), default=day_cycle.minutes),
        not_before=min(first_in + m.warm_up_minutes, LONGEST_DAY_MIN),
        cycles=cycles,
        tests=tuple(
            OwedTest(name=t.name, attended_minutes=t.attended_minutes, alone_minutes=t.unattended_minutes)
            for t in m.tests
            if t.every == "day" and t.attended_minutes + t.unattended_minutes
        ),
        room=m.room if practice.reprocessing.ways else None,
    )


def rides_of(set_type: SetType, crew: Crew) -> tuple[str, ...]:
    """Return the kinds of cycle that a set may ride: its own types, or else the day's cycles; empty where there is no choice."""
    if not crew.cycle_kinds:
        return ()
    if not set_type.cycle_types:
        return crew.cycle_kinds
    return tuple(k for t in set_type.cycle_types for k in (t, t + _OF_THE_DAY))


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
