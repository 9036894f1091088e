"""A day that goes otherwise than planned, step by step: each time something happens the rest is planned again.

Comes in: the day's timetable with its basis, what was kept of it so far, what happens now. Goes out: the new plan of the
rest with its changes, and, once a person keeps it, the day's timetable anew. Pure but for the search in `replan`.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from fettlebook.errors import Mendable
from fettlebook.plan.basis import Basis, named_day, named_plan
from fettlebook.plan.blocks import Block, StepPart
from fettlebook.plan.check import check_plan, figures
from fettlebook.plan.day import DayPlan, DayVerdict, PlannedVisit
from fettlebook.plan.day_state import NEVER
from fettlebook.plan.events import ChairOut, Emergency, Event, FailedCycle, MachineOut, Missing, Overrun, SetsHeld
from fettlebook.plan.explain import why_late
from fettlebook.plan.instance import Instance, Plan
from fettlebook.plan.replan import Replanned, replan
from fettlebook.plan.tasks import Maps
from fettlebook.plan.whole_day import left_unsterile, tasks_of
from fettlebook.practice.visit import Visit
from fettlebook.said import said

URGENT = "urgent"  # the visit kind of one that was not booked
_ORDER = (Overrun, Missing, FailedCycle, MachineOut, ChairOut, SetsHeld, Emergency)  # first who and what is there, then what must be served


@dataclass(frozen=True, slots=True)
class Told:
    """What happened, in words, and the minute from which on the rest was planned again."""

    at: int
    what: str


@dataclass(frozen=True, slots=True)
class Course:
    """How a day goes: what holds now, in people's words, and all that happened. `day` may say what was done by then."""

    day: Instance
    plan: Plan
    blocked: dict[str, int]  # machine -> minute until which it gets no load
    shut: frozenset[str] = frozenset()  # chairs on which no visit begins any more today
    told: tuple[Told, ...] = ()
    line: str = ""
    notes: tuple[str, ...] = ()


def course_of(basis: Basis) -> Course:
    """Return the course of a day on which nothing has happened yet."""
    return Course(basis.day, basis.plan, {})


def going_on(
    course: Course,
    at: int,
    events: Sequence[Event],
    *,
    minute: Callable[[int], str],
    limit_s: float = 0.0,
    rounds: int | None = None,
    stay_min: int = 0,
    stop: Callable[[], bool] | None = None,
) -> Replanned:
    """Return the rest of the day planned again after events at a minute.

    Raises
    ------
    Mendable
        The minute lies before what is known already, or `replan` says why it can't be.
    """
    if course.day.now is not None and at < course.day.now:
        raise Mendable(
            said("the plan was already made again at {now}", now=minute(course.day.now)),
            where="from when on",
            mend=said("Name that minute or a later one."),
        )
    day = course.day.model_copy(update={"now": None, "done": None})
    still_out: list[Event] = [MachineOut(m, None if until >= NEVER else until) for m, until in course.blocked.items() if until > at]
    still_out += [ChairOut(chair) for chair in sorted(course.shut)]
    ordered = sorted([*still_out, *events], key=lambda e: _ORDER.index(type(e)))
    return replan(
        day,
        course.plan,
        at=at,
        events=ordered,
        limit_s=limit_s,
        rounds=rounds,
        stay_min=stay_min,
        minute=minute,
        stop=stop,
        leftovers=True,
    )


def kept(course: Course, found: Replanned, events: Sequence[Event], told: Sequence[str]) -> Course:
    """Return the course after a person kept the new plan made after some events, which `told` says in words."""
    at = found.day.now or 0
    more = tuple(Told(at, what) for what in told)
    shut = course.shut | {e.chair for e in events if isinstance(e, ChairOut) and e.until is None}
    return Course(found.day, found.plan, found.blocked, shut, (*course.told, *more), found.line, found.notes)


def problems(course: Course) -> bool:
    """Whether a course that was read back can't be used: its plan breaks a rule of its own day."""
    return bool(check_plan(course.day, course.plan))


def timetable(first: DayPlan, course: Course) -> DayPlan:
    """Return the day's timetable as a course has it.

    Parameters
    ----------
    first
        The day as it was planned from the files.
    course
        How it goes.
    """
    basis = first.basis
    assert basis is not None
    words, day, plan = basis.words, course.day, course.plan
    maps = _maps(basis, day)
    refs = {v.id: basis.refs.get(v.id, v.id) for v in day.visits}
    ids = {p.id: basis.ids.get(p.id, p.id) for p in day.people} | dict(basis.ids)
    visits = _visits(first, basis, course, refs)
    tasks = tasks_of(named_day(day, refs, ids), named_plan(plan, refs, ids), maps)
    late = [v for v in visits if v.minutes_late]
    left = sum(v.start is None for v in visits)
    verdict = DayVerdict.DOES_NOT_FIT if left else DayVerdict.LATE if late else DayVerdict.FITS
    found = figures(day, plan)
    weight = {refs[v.id]: v.weight for v in day.visits}
    tested = {p: n - first_n for p, n, first_n in _tests(first, basis)}
    return replace(
        first,
        verdict=verdict,
        line=_line(course, len(late), sum(v.minutes_late for v in late)),
        tasks=tuple(sorted(tasks, key=lambda t: (t.start, t.end, t.place))),
        visits=visits,
        shortages=(),
        weighted_minutes_late=sum(v.minutes_late * weight.get(v.ref, 1) for v in late),
        bound_minutes_late=0,
        end_of_day=basis.maps.clock.moment(found.end_of_day),
        attended_minutes={ids.get(p, p): n + tested.get(ids.get(p, p), 0) for p, n in found.attended_minutes.items()},
        method=f"list scheduler, from {words.minute(day.now or day.day_start)} on",
        findings=(*(f for f in first.findings if not f.what.startswith("still used")), *left_unsterile(day, plan, words)),
        basis=Basis(day, plan, maps, words, refs, ids),
    )


def _tests(first: DayPlan, basis: Basis) -> list[tuple[str, int, int]]:
    """Return for each person the minutes of the first timetable with machine tests, and those without."""
    without = figures(basis.day, basis.plan).attended_minutes
    back = {key: name for name, key in basis.ids.items()}
    return [(p, n, without.get(back.get(p, p), n)) for p, n in first.attended_minutes.items()]


def _line(course: Course, late: int, minutes: int) -> str:
    if not late:
        return course.line
    return said(
        "{line}; {late} {late2} late against the booking, {minutes} min in all",
        line=course.line,
        late=late,
        late2=said("visit") if late == 1 else said("visits"),
        minutes=minutes,
    )


def _visits(first: DayPlan, basis: Basis, course: Course, refs: dict[str, str]) -> tuple[PlannedVisit, ...]:
    clock, starts = basis.maps.clock, {refs.get(v.id, v.id): v for v in course.plan.visits}
    chairs = {refs[v.id]: v.chair for v in course.day.visits}
    why = {refs.get(v, v): said for v, said in why_late(course.day, course.plan, basis.words).items()}
    out = []
    for v in first.visits:
        new = starts.get(v.ref)
        if new is None:
            reason = v.why if v.start is None else said("not served any more: tell whoever is booked")
            out.append(replace(v, start=None, minutes_late=0, units=(), why=reason))
            continue
        start = clock.moment(new.start)
        minutes = round((start.timestamp() - v.booked.timestamp()) / 60)
        reason = why.get(v.ref, "") or (said("it waits for its chair or was moved") if minutes > 0 else "")
        out.append(
            replace(v, chair=chairs[v.ref], start=start, minutes_late=max(0, minutes), units=new.units, why=reason if minutes > 0 else "")
        )
    known = {v.ref for v in first.visits}
    for urgent in (v for v in course.day.visits if refs[v.id] not in known):
        begun = starts.get(refs[urgent.id])
        out.append(
            PlannedVisit(
                refs[urgent.id],
                urgent.chair,
                URGENT,
                clock.moment(urgent.booked),
                clock.moment(begun.start) if begun else None,
                begun.start - urgent.booked if begun else 0,
                begun.units if begun else (),
                said("it can't wait"),
            )
        )
    return tuple(sorted(out, key=lambda v: (v.booked.timestamp(), v.chair)))


def _maps(basis: Basis, day: Instance) -> Maps:
    """Return the maps of a running day: urgent visits, and closings that begin with what was done of a turnover."""
    maps, clock = basis.maps, basis.maps.clock
    visits = dict(maps.visits)
    for v in day.visits:
        ref = basis.refs.get(v.id, v.id)
        if ref not in visits:
            visits[ref] = Visit(ref, v.chair, URGENT, clock.moment(v.booked), clock.moment(v.booked + v.minutes))
    planned = {c.id: c for c in basis.day.chairs}
    blocks = dict(maps.blocks)
    for chair in day.chairs:
        if planned.get(chair.id) == chair:
            continue
        known = {
            (step.name, step.minutes, step.attended): maps.blocks[chair.id, name, i]
            for name in ("closing", "turnover", "opening")
            if chair.id in planned
            for i, step in enumerate(planned[chair.id].procedure(name))
            if (chair.id, name, i) in maps.blocks
        }
        for i, step in enumerate(chair.closing):
            plain = Block((StepPart("", step.name, step.minutes * 60, step.attended),))
            blocks[chair.id, "closing", i] = known.get((step.name, step.minutes, step.attended), plain)
    return replace(maps, visits=visits, blocks=blocks)
