"""Duties of the day placed where a plan is slack: nothing that the plan holds is moved for them.

Comes in: an instance with duties and a valid plan of it. Goes out: the same plan with each duty that finds its person and
its subject free inside its window. What finds no room is named, never squeezed in: whether a visit waits for it, a person
decides.
"""

from collections.abc import Iterator

from fettlebook.plan.detail import Duty, OwedTest, PlannedDuty, PlannedTest
from fettlebook.plan.idle import Idle
from fettlebook.plan.instance import Instance, Plan


def with_tests(day: Instance, plan: Plan) -> Plan:
    """Return the plan with the tests of machines that it does not load, so that they may be loaded after all."""
    done = {(t.machine, t.index) for t in plan.tests}
    if all((m.id, k) in done for m in (*day.baths, *day.washers, *day.sterilizers) for k in range(len(m.tests))):
        return plan
    idle, found = Idle(day, plan), list(plan.tests)
    for m in (*day.baths, *day.washers, *day.sterilizers):
        loads = [b.load_start for b in plan.batches if b.machine == m.id]
        at = max([m.not_before, day.now or 0, *(t.start + m.tests[t.index].minutes for t in plan.tests if t.machine == m.id)])
        for k, test in enumerate(m.tests):
            if (m.id, k) in done or loads:
                continue
            spot = next((s for t in range(at, idle.end) if (s := _test_at(idle, m.id, test, t)) is not None), None)
            if spot is None:
                break
            found.append(PlannedTest(machine=m.id, index=k, start=spot[0], person=spot[1]))
            idle.take(spot[1], spot[0], test.attended_minutes)
            idle.hold(m.id, spot[0], at := spot[0] + test.minutes)
    return plan.model_copy(update={"tests": tuple(found)})


def _test_at(idle: Idle, machine: str, test: OwedTest, t: int) -> tuple[int, str | None] | None:
    if not idle.free(machine, t, t + test.minutes):
        return None
    if not test.attended_minutes:
        return t, None
    who = idle.who(t, test.attended_minutes)
    return None if who is None else (t, who)


def with_duties(day: Instance, plan: Plan) -> Plan:
    """Return the plan with its duties placed; what it has placed already stays.

    Those whose window leaves least room go first, each as early as it can. From `now` on, where the day has one.
    """
    placed = {d.id for d in plan.duties}
    todo = sorted((d for d in day.duties if d.id not in placed), key=lambda d: (d.latest - d.minutes - d.earliest, d.latest, d.id))
    if not todo:
        return plan
    idle, found = Idle(day, plan), list(plan.duties)
    worked = dict.fromkeys(idle.people, 0)
    length = {v.id: v.minutes for v in day.visits}
    ends = {v.id: v.start + length[v.id] for v in plan.visits}
    for duty in todo:
        if (spot := _first(idle, duty, max(day.now or 0, ends.get(duty.after or "", 0)), worked)) is None:
            continue
        found.append(spot)
        for a, b in duty.hands(spot.start):
            idle.take(spot.person, a, b - a)
            if spot.person is not None:
                worked[spot.person] += b - a
        if duty.subject is not None:
            idle.hold(duty.subject, spot.start, spot.start + duty.minutes)
    return plan.model_copy(update={"duties": tuple(sorted(found, key=lambda d: (d.start, d.id)))})


def not_placed(day: Instance, plan: Plan) -> tuple[Duty, ...]:
    """Return the duties of the day that a plan does not do."""
    placed = {d.id for d in plan.duties}
    return tuple(d for d in day.duties if d.id not in placed)


def _first(idle: Idle, duty: Duty, not_before: int, worked: dict[str, int]) -> PlannedDuty | None:
    last = {c.id: c.closed_by for c in idle.day.chairs}.get(duty.subject or "")
    until = min(duty.latest, duty.latest if last is None else last) - duty.minutes
    for t in range(max(duty.earliest, not_before, idle.day.day_start), until + 1):
        if duty.subject is not None and not idle.free(duty.subject, t, t + duty.minutes):
            continue
        if not duty.attended:
            return PlannedDuty(id=duty.id, start=t, person=None)
        # Of those who are free, the one to whom this pass has given least.
        who = min(_able(idle, duty, t), key=lambda p: (worked[p], p), default=None)
        if who is not None:
            return PlannedDuty(id=duty.id, start=t, person=who)
    return None


def _able(idle: Idle, duty: Duty, start: int) -> Iterator[str]:
    hands = duty.hands(start)
    return (p for p in (duty.who or idle.people) if p in idle.people and idle.can(p, hands))
