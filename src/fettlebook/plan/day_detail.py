"""What practice file and standing say of a day beyond schema 1: moves, outages, rooms, the sets' ways, tests, duties."""

from dataclasses import replace

from fettlebook.errors import Finding
from fettlebook.plan.blocks import blocks_of, longest_known, part_of
from fettlebook.plan.dayclock import DayClock
from fettlebook.plan.detail import DutyStep
from fettlebook.plan.detail_findings import has_detail
from fettlebook.plan.hands import Crew, rides_of
from fettlebook.plan.instance import Chair, Instance, Machine, SetType
from fettlebook.plan.owed import Day, Owing, due_duties_of, outages, session_duties
from fettlebook.practice.model import Practice
from fettlebook.practice.visit import Visit
from fettlebook.rules.model import When
from fettlebook.times.model import RunningTime


def moves_of(practice: Practice, visits: list[Visit]) -> dict[str, tuple[str, ...]]:
    """Return visit -> the other chairs on which it can be served: chairs of the same kind, where its own kind may move."""
    chairs, kinds = {c.id: c for c in practice.chairs}, {k.id: k for k in practice.visit_kinds}
    return {
        v.ref: tuple(
            c.id
            for c in practice.chairs
            if kinds[v.visit_kind].may_move and c.kind and c.kind == chairs[v.chair].kind and c.id != v.chair and not c.out_of_service
        )
        for v in visits
    }


def placed(practice: Practice, chair: Chair, clock: DayClock) -> Chair:
    """Return a chair with its room, its outages of the day and the minute by which it must be closed."""
    own = next(c for c in practice.chairs if c.id == chair.id)
    room = own.room if practice.reprocessing.ways else None
    closed_by = None if own.closed_by is None else clock.wall(own.closed_by)
    return chair.model_copy(update={"room": room, "out": outages(practice, chair.id, clock), "closed_by": closed_by})


def set_types(practice: Practice, crew: Crew) -> tuple[SetType, ...]:
    """Return the set types as the plan sees them."""
    return tuple(
        SetType(
            id=s.id,
            owned=s.owned,
            places=s.places,
            bath=s.bath,
            dry_minutes=s.dry_minutes,
            lubricate_minutes=s.lubricate_minutes,
            rides=rides_of(s, crew),
        )
        for s in practice.sets
    )


def owing_tests(machine: Machine, owing: Owing | None) -> Machine:
    """Return a machine with what the rulebook asks before its first load, where the practice file names no daily test."""
    if owing is None or machine.tests:
        return machine
    return machine.model_copy(update={"tests": owing.tests_before(machine.id)})


def with_what_stood_still(times: tuple[RunningTime, ...], owing: Owing | None) -> tuple[RunningTime, ...]:
    """Return the running times with what a chair owes after standing still as the begin of its opening; no visit goes before it."""
    if owing is None:
        return times
    first: list[RunningTime] = []
    rest: list[RunningTime] = []
    for t in times:
        owed = owing.before_opening(t.chair)
        if owed is not None and t.duty_id == owed.duty_id and t.step_id in owed.steps:
            first.append(replace(t, when=When.BEFORE_FIRST_VISIT))
        elif owed is None or t.when is not When.BEFORE_FIRST_VISIT or t.step_id not in owed.covers:
            rest.append(t)
    return (*first, *rest)


def with_what_is_owed(
    practice: Practice, times: tuple[RunningTime, ...], instance: Instance, clock: DayClock, owing: Owing | None
) -> tuple[Instance, tuple[Finding, ...]]:
    """Return the day with what is owed beside its visits, and what is said of it."""
    findings: list[Finding] = []
    machines = (*instance.baths, *instance.washers, *instance.sterilizers)
    places = frozenset(c.id for c in instance.chairs) | frozenset(m.id for m in machines)
    frame = Day(clock, instance.day_start, instance.day_end, instance.people, places, frozenset(m.id for m in machines if m.tests))
    longest = longest_known(times)
    steps = {}
    for c in instance.chairs:
        own = [part_of(t, longest[t.step_id], findings) for t in times if t.chair == c.id and t.when is When.END_OF_SESSION]
        if own:
            steps[c.id] = tuple(DutyStep(name=s.name, minutes=s.minutes, attended=s.attended) for s, _ in blocks_of(own))
    duties = session_duties(practice, steps, instance.visits, frame)
    if owing is not None:
        due, said = due_duties_of(practice, owing, times, frame)
        duties += due
        findings += said
    day = instance.model_copy(update={"duties": tuple(duties)})
    return day.model_copy(update={"schema_": 2 if has_detail(day) else 1}), tuple(findings)
