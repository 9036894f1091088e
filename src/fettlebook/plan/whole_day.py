"""One day from practice and book to the plan that people read: instance, solution, words."""

from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import date

from fettlebook.errors import Finding
from fettlebook.plan.apart import solve_apart
from fettlebook.plan.basis import basis_of
from fettlebook.plan.check import check_plan, figures
from fettlebook.plan.day import DayPlan, DayVerdict, PlannedVisit, Task
from fettlebook.plan.dayclock import DayClock
from fettlebook.plan.explain import Words, dirty_at_night, hopeless_words, line, minutes_late, shortages_of, verdict_of, why_late
from fettlebook.plan.instance import Batch, Instance, Plan
from fettlebook.plan.leftover import with_leftovers
from fettlebook.plan.owed import Owing
from fettlebook.plan.slack import not_placed
from fettlebook.plan.solve import Progress, Solved
from fettlebook.plan.tasks import Maps, day_instance
from fettlebook.practice.model import Practice
from fettlebook.practice.visit import Visit
from fettlebook.said import joined, said, said_count, term
from fettlebook.times.model import RunningTime


def plan_day(
    practice: Practice,
    times: tuple[RunningTime, ...],
    visits: tuple[Visit, ...],
    day: date,
    *,
    limit_s: float,
    seed: int,
    findings: tuple[Finding, ...] = (),
    not_planned: tuple[Visit, ...] = (),
    deterministic: float | None = None,
    told: Callable[[Progress], None] | None = None,
    owing: Owing | None = None,
    stop: Callable[[], bool] | None = None,
) -> DayPlan:
    """Return one day, planned.

    Parameters
    ----------
    practice
        The checked practice file.
    times
        Its running times.
    visits
        The visits of the day; each is in the plan, or left out with its reason.
    day
        The day, in the practice's zone.
    limit_s, seed, deterministic
        How long to search; see `solve`.
    findings
        What was found on the way here (file, book); carried along.
    not_planned
        Visits of the book that may not be planned (chair taken, out of service); they count as not served.
    told
        Called with each better plan.
    owing
        What the standing says is due; see `day_instance`.
    stop
        Asked again and again; once it is true, the best plan so far is taken, and no more mends are tried.

    Raises
    ------
    Mendable
        The rulebooks ask nothing between visits or at the end of the day.
    """
    instance, maps = day_instance(practice, times, visits, day, owing)
    solved = solve_apart(instance, limit_s=limit_s, seed=seed, deterministic=deterministic, told=told, stop=stop)
    solved = _finish_sets(instance, solved)
    instance = instance.moved(solved.plan)
    words = Words(maps.clock.shown, {s.id: s.name for s in practice.sets})
    mends_s = 0.0 if stop is not None and stop() else min(6.0, limit_s)
    shortages = shortages_of(instance, solved, words, limit_s=mends_s, seed=seed, deterministic=deterministic)
    booked = len(visits) + len(not_planned)
    verdict = verdict_of(solved, booked=booked)
    text = line(instance, solved, words, booked=booked, shortages=shortages, unknown_steps=maps.unknown_steps)
    if verdict is DayVerdict.DOES_NOT_FIT and not shortages:
        why = next(iter(maps.refused.values()), said("a visit of the book can't be planned"))
        text = text.replace("does not fit", f"does not fit: {why}", 1)
    clock = maps.clock
    return DayPlan(
        day=day,
        verdict=verdict,
        line=text,
        tasks=tuple(sorted(tasks_of(instance, solved.plan, maps), key=lambda t: (t.start, t.end, t.place))) if solved.plan.visits else (),
        visits=_visits(instance, solved, maps, words) + tuple(_never(v) for v in not_planned),
        shortages=shortages,
        weighted_minutes_late=solved.weighted_minutes_late,
        bound_minutes_late=solved.bound,
        end_of_day=clock.moment(solved.figures.end_of_day) if solved.plan.visits else None,
        attended_minutes=solved.figures.attended_minutes,
        method=_method(solved),
        findings=(*findings, *maps.findings, *left_unsterile(instance, solved.plan, words), *without_room(instance, solved.plan)),
        basis=basis_of(practice, instance, solved.plan, maps),
    )


def _finish_sets(instance: Instance, solved: Solved) -> Solved:
    """Add loads for the sets that no visit waits for, where hands and machines are idle; never at the plan's cost."""
    fuller = with_leftovers(instance, solved.plan)
    if check_plan(instance, fuller):
        return solved
    return replace(solved, plan=fuller, figures=figures(instance, fuller))


def _method(solved: Solved) -> str:
    if not solved.plan.visits:
        return said("nothing to plan")
    if solved.proven:
        return said("{method}; proven: no plan of this day is less late", method=term(solved.method))
    above = solved.weighted_minutes_late - solved.bound
    if solved.plan.left_out:
        return said("{method}; not proven best", method=term(solved.method))
    return said("{method}; not proven best, at most {above} weighted minutes could be saved", method=term(solved.method), above=above)


def left_unsterile(instance: Instance, plan: Plan, words: Words) -> tuple[Finding, ...]:
    """Return the finding that names what is still used in the evening, where something is."""
    if not (dirty := dirty_at_night(instance, plan)):
        return ()
    sets = ", ".join(f"{n} × {words.set_name(t)}" for t, n in dirty.items())
    return (
        Finding(
            said("still used when the last shift ends: {sets}", sets=sets),
            "end of day",
            said("They must be through washer and sterilizer before a visit of tomorrow needs them."),
            "warning",
        ),
    )


def _visits(instance: Instance, solved: Solved, maps: Maps, words: Words) -> tuple[PlannedVisit, ...]:
    planned = {v.id: v for v in solved.plan.visits}
    late = minutes_late(instance, solved.plan)
    why = (
        why_late(instance, solved.plan, words)
        | {h.visit: said("it {words}", words=hopeless_words(h, words)) for h in solved.hopeless}
        | maps.refused
    )
    out = []
    chair_of = {v.id: v.chair for v in instance.visits}
    for ref, v in sorted(maps.visits.items(), key=lambda x: (x[1].start, x[1].chair)):
        p = planned.get(ref)
        start = maps.clock.moment(p.start) if p else None
        reason = why.get(ref, "" if p else "left out so that the others can be served")
        chair = chair_of.get(ref, v.chair)
        if chair != v.chair:
            reason = said("moved here from {chair}, so that the day fits better", chair=v.chair) + (f"; {reason}" if reason else "")
        out.append(PlannedVisit(ref, chair, v.visit_kind, v.start, start, late.get(ref, 0), p.units if p else (), reason))
    return tuple(out)


def _never(v: Visit) -> PlannedVisit:
    return PlannedVisit(v.ref, v.chair, v.visit_kind, v.start, None, 0, (), said("not planned from the book: see what is to mend"))


def tasks_of(instance: Instance, plan: Plan, maps: Maps) -> list[Task]:
    """Return every bar of the timetable."""
    clock, pack = maps.clock, instance.pack_minutes()
    chairs = {c.id: c for c in instance.chairs}
    tasks: list[Task] = []
    for s in plan.steps:
        minutes = chairs[s.chair].procedure(s.procedure)[s.index].minutes
        block = maps.blocks[s.chair, s.procedure, s.index]
        at = block.begins
        for part in block.parts:
            # What runs alone holds the chair until the block ends; hands end at their second.
            last = part is block.parts[-1] and not part.attended
            until = minutes * 60 if last else at + part.seconds
            tasks.append(
                Task(
                    kind=s.procedure,
                    place=s.chair,
                    person=s.person if part.attended else None,
                    what=term(part.name) + (said(" (length unknown: time held)") if part.unknown else ""),
                    start=clock.moment(s.start, second=at),
                    end=clock.moment(s.start, second=until),
                    attended=part.attended,
                    visit=s.after,
                    step_id=part.step_id,
                )
            )
            at = until
    booked = {v.id: (v.chair, v.minutes) for v in instance.visits}
    for v in plan.visits:
        chair, length = booked[v.id]
        kind = maps.visits[v.id].visit_kind
        tasks.append(Task("visit", chair, None, kind, clock.moment(v.start), clock.moment(v.start + length), False, v.id, v.units))
    for k in plan.packs:
        what, done = said("pack {unit}", unit=k.unit.replace("#", " ")), clock.moment(k.start + pack[k.unit.rpartition("#")[0]])
        tasks.append(Task("pack", "packing", k.person, what, clock.moment(k.start), done, True, None, (k.unit,)))
    for b in plan.batches:
        tasks += _batch(instance, b, maps)
    return [*tasks, *_tests(instance, plan, clock), *_duties(instance, plan, clock)]


def _tests(instance: Instance, plan: Plan, clock: DayClock) -> Iterable[Task]:
    owed = {m.id: m.tests for m in (*instance.baths, *instance.washers, *instance.sterilizers)}
    for t in plan.tests:
        test = owed[t.machine][t.index]
        start, hands = clock.moment(t.start), clock.moment(t.start + test.attended_minutes)
        if test.attended_minutes:
            yield Task("test", t.machine, t.person, test.name, start, hands, True)
        if test.alone_minutes:
            yield Task("test", t.machine, None, test.name, hands, clock.moment(t.start + test.minutes), False)


def _duties(instance: Instance, plan: Plan, clock: DayClock) -> Iterable[Task]:
    owed = {d.id: d for d in instance.duties}
    for d in plan.duties:
        duty, at = owed[d.id], d.start
        for step in duty.steps:
            person = d.person if step.attended else None
            place = duty.subject or "practice"
            yield Task("duty", place, person, step.name, clock.moment(at), clock.moment(at + step.minutes), step.attended)
            at += step.minutes


def without_room(instance: Instance, plan: Plan) -> tuple[Finding, ...]:
    """Say which duties the timetable has no room for."""
    if not (missing := not_placed(instance, plan)):
        return ()
    told = dict.fromkeys(f"{d.name}, {d.subject}" if d.subject else d.name for d in missing)
    return (
        Finding(
            said(
                "no room for {missing} {missing2}: {which}",
                missing=len(missing),
                missing2=said("duty") if len(missing) == 1 else said("duties"),
                which=joined("; ", told),
            ),
            "day plan",
            said(
                "A person decides: do them before the first visit or after the last, move a visit, or another day where the rule lets you."
            ),
            "warning",
        ),
    )


def _batch(instance: Instance, b: Batch, maps: Maps) -> list[Task]:
    clock, r = maps.clock, instance.reprocess
    machine = next(m for m in (*instance.baths, *instance.washers, *instance.sterilizers) if m.id == b.machine)
    sets = said_count("{n} set", "{n} sets", n=len(b.units))
    cycle = b.cycle or maps.cycles.get(b.machine, "cycle")
    end = b.start + machine.cycle_minutes(b.cycle)
    out = [
        Task(
            "load",
            b.machine,
            b.load_person,
            said("load {sets}", sets=sets),
            clock.moment(b.load_start),
            clock.moment(b.start),
            True,
            None,
            b.units,
        ),
        Task("cycle", b.machine, None, f"{cycle}, {sets}", clock.moment(b.start), clock.moment(end), False, None, b.units),
    ]
    if b.unload_start is not None:
        begin, done = clock.moment(b.unload_start), clock.moment(b.unload_start + r.unload_minutes)
        out.append(Task("unload", b.machine, b.unload_person, said("unload {sets}", sets=sets), begin, done, True, None, b.units))
    return out
