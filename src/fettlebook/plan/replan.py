"""The rest of a day planned again after something happened: an answer at once, then a better one, and what changes.

Comes in: an instance, its plan, the minute, events. Goes out: a checked plan from that minute on, the changes in words
and one line. The first answer is the list scheduler's, guided by the old plan; then visits, chairs and sets of the next
hours are made more or less urgent, one at a time; then the next hours are searched by neighbourhoods, while time is
left. Smaller is better in this order: weight not served, weighted minutes late, visits that start later than promised,
end of the day.
"""

import random
import time
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, replace

from fettlebook.errors import Mendable
from fettlebook.plan.check import Figures, check_plan, figures
from fettlebook.plan.events import Emergency, Event, Moment, after, at_minute, closed_instead
from fettlebook.plan.instance import Batch, Instance, Plan
from fettlebook.plan.leftover import with_leftovers
from fettlebook.plan.manner import Manner, near
from fettlebook.plan.policy import LiveRun, Policy, policy_of, who_stays, with_stay
from fettlebook.plan.rolling import WINDOW_MIN, Rolling, load_the_solver, next_hours_better
from fettlebook.plan.rows import rows
from fettlebook.plan.slack import with_duties, with_tests
from fettlebook.said import joined, listed, said, term

CHAIRS_TRIED = 6  # for an urgent visit anywhere
MANNERS_SHARE = 0.35  # of the time, before neighbourhoods are searched
WORK_A_ROUND = 0.004  # of neighbourhood search, where rounds are counted instead of seconds
STAYS_MIN = (15, 30, 60, 120, 240, 480)


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that is otherwise than in the old plan; `at` is when it matters."""

    at: int
    kind: str  # "visit", "chair", "load"
    what: str


@dataclass(frozen=True, slots=True)
class Replanned:
    """The new plan of the rest of the day. `day` is the instance that it is a plan of (`now`, `done`, events applied)."""

    day: Instance
    plan: Plan
    figures: Figures
    changes: tuple[Change, ...]
    notes: tuple[str, ...]  # what is taken for granted: what happened, and who stays longer
    line: str
    first_s: float  # when the first answer was there
    first_late: int  # weighted minutes late of the first answer
    forced: int  # weighted minutes late of the served visits that their chairs alone force now; no plan is below
    blocked: dict[str, int]  # machine -> minute until which it gets no load
    offers: tuple[str, ...] = ()  # what would serve more visits; tried


@dataclass(frozen=True, slots=True)
class _Answer:
    day: Instance
    plan: Plan
    stay: int
    policy: Policy
    rank: tuple[int, int, int, int, int]


def replan(
    day: Instance,
    plan: Plan,
    *,
    at: int | None = None,
    events: Sequence[Event] = (),
    limit_s: float = 2.0,
    rounds: int | None = None,
    seed: int = 1,
    stay_min: int = 0,
    minute: Callable[[int], str] = lambda m: f"{m // 60:02}:{m % 60:02}",
    stop: Callable[[], bool] | None = None,
    leftovers: bool = False,
) -> Replanned:
    """Return the rest of the day planned again.

    Parameters
    ----------
    day
        The instance. With `now` and `done` these say what has happened; else all is taken as done by plan until `at`.
    plan
        The plan that was promised.
    at
        The minute; left out, the instance's `now`.
    events
        What happened, in order.
    limit_s
        How long to look for a better answer than the first [s].
    rounds
        Look by counted rounds instead of seconds: the same answer on every run.
    seed
        For the search.
    stay_min
        How long people may be asked to stay so that no visit is left out [min]. To close what has begun they always are.
    minute
        How to say a minute.
    stop
        Asked before each round; True ends the search with the best answer so far.
    leftovers
        Add loads for the sets that no visit waits for any more, where hands and machines are idle.

    Raises
    ------
    Mendable
        The plan isn't one of this day, the minute or an event can't be, or what was done contradicts itself.
    """
    clock = time.perf_counter
    began = clock()
    if limit_s > 0 and rounds is None:
        load_the_solver()
    moment = _moment(day, plan, at)
    chosen = [e for e in events if not (isinstance(e, Emergency) and e.chair is None)]
    for event in chosen:
        moment = after(moment, event, minute)
    anywhere = [e for e in events if isinstance(e, Emergency) and e.chair is None]
    best = moment, _first(moment, plan, stay_min)
    for event in anywhere:
        best = _where_it_costs_least(best[0], plan, event, stay_min, minute)
    moment, answer = best
    first_s, first_late = clock() - began, figures(answer.day, answer.plan).weighted_minutes_late

    def go_on(n: int) -> bool:
        if stop is not None and stop():
            return False
        return n < rounds if rounds is not None else clock() - began < MANNERS_SHARE * limit_s

    answer = _improved(moment, plan, answer, go_on, seed)
    how = Rolling(
        seconds_left=lambda: limit_s - (clock() - began),
        promised={v.id: v.start for v in plan.visits},
        blocked=moment.blocked,
        seed=seed,
        counted=None if rounds is None else WORK_A_ROUND * rounds,
        stop=stop,
    )
    answer = _filled(_next_hours(plan, answer, how))
    if leftovers:
        fuller = with_leftovers(answer.day, answer.plan, moment.blocked)
        answer = answer if check_plan(answer.day, fuller) else replace(answer, plan=fuller)
    found = figures(answer.day, answer.plan)
    notes = moment.notes
    if answer.stay:
        notes += tuple(said("{p} stays {stay} min longer", p=p, stay=answer.stay) for p in who_stays(moment.day, moment.away))
    return Replanned(
        day=answer.day,
        plan=answer.plan,
        figures=found,
        changes=_changes(day, plan, answer, moment.now, minute),
        notes=notes,
        line=_line(answer, plan, found, moment, minute),
        first_s=first_s,
        first_late=first_late,
        forced=_forced(answer.day.without(answer.plan.left_out)),
        blocked=dict(moment.blocked),
        offers=_offers(moment, plan, answer),
    )


def _moment(day: Instance, plan: Plan, at: int | None) -> Moment:
    if day.now is not None and day.done is not None:
        if at is not None and at != day.now:
            raise Mendable(
                said("at {it}, but the instance stands at {now}", it=at, now=day.now),
                where="now",
                mend=said("Leave the minute out, or give the plain instance."),
            )
        return Moment(day)
    if at is None:
        raise Mendable(said("no minute"), where="at", mend=said("Say from which minute on to plan."))
    if broken := check_plan(day, plan):
        raise Mendable.of(broken)
    if not day.day_start <= at <= day.day_end:
        raise Mendable(
            said("minute {it} is outside the day, {day_start} to {day_end}", it=at, day_start=day.day_start, day_end=day.day_end),
            where="at",
            mend=said("Name a minute of the day."),
        )
    moment = at_minute(day, plan, at)
    gone = set(plan.left_out)
    return replace(moment, day=moment.day.without(v for v in gone if any(x.id == v and x.booked < at for x in day.visits)))


# --- an answer -----------------------------------------------------------------------------------------------------


def _lived(day: Instance, policy: Policy, blocked: dict[str, int], never: Collection[str]) -> tuple[Instance, Plan]:
    """Return the list scheduler's plan from a moment on, and the day with what was done as that plan needs it said.

    Visits that can't be served, and those that are `never` to be, stand in `left_out`.
    """
    begun = {v.id for v in day.done.visits} if day.done else set()
    weight = {v.id: v.weight for v in day.visits}
    left = [v.id for v in day.visits if v.id in never]
    rest = closed_instead(day.without(left)) if left else day
    while True:
        run = LiveRun(rest, policy, blocked)
        run.live()
        stuck = [v for v in dict.fromkeys((*run.given_up, *run.stuck())) if v not in begun]
        if not stuck:
            plan = run.plan().model_copy(update={"left_out": tuple(left)})
            return day.model_copy(update={"done": rest.done, "chairs": rest.chairs}), plan
        gone = sorted(stuck, key=lambda v: weight[v])[: max(1, len(stuck) // 4)]
        left += gone
        rest = closed_instead(day.without(left))


def _answer(moment: Moment, old: Plan, policy: Policy, stay: int, *, better_than: _Answer | None = None) -> _Answer | None:
    """Return a policy's plan if it holds every rule (and is better)."""
    day, plan = _lived(with_stay(moment.day, stay, moment.away), policy, moment.blocked, moment.never)
    rank = _rank(day, old, plan)
    if (better_than is not None and rank > better_than.rank) or check_plan(day, plan):
        return None
    return _Answer(day, plan, stay, policy, rank)


def _filled(answer: _Answer) -> _Answer:
    """Put tests and duties where the rest of the day is slack; never at the answer's cost."""
    plan = with_duties(answer.day, with_tests(answer.day, answer.plan))
    return answer if plan == answer.plan or check_plan(answer.day, plan) else replace(answer, plan=plan)


def _rank(day: Instance, old: Plan, new: Plan) -> tuple[int, int, int, int, int]:
    f = figures(day, new)
    promised = {v.id: v.start for v in old.visits}
    later = [v.start - promised[v.id] for v in new.visits if v.start > promised.get(v.id, v.start)]
    return f.weight_left_out, f.weighted_minutes_late, len(later), sum(later), f.end_of_day


def _first(moment: Moment, old: Plan, stay_min: int) -> _Answer:
    """Return the first answer that serves everybody, or the best of a few; with people staying on where none holds else."""
    base = {v.id for v in moment.day.visits}
    guide = old.model_copy(update={"visits": tuple(v for v in old.visits if v.id in base)})
    guided = policy_of(moment.day, guide)
    policies = [guided, Policy(named=guided.named), replace(guided, patience_min=0)]
    best: _Answer | None = None
    for stay in (0, *STAYS_MIN):
        if best is not None and (_all_served(moment, best) or stay > stay_min):
            break
        for policy in policies:
            found = _answer(moment, old, policy, stay)
            if found is not None and (best is None or found.rank[0] < best.rank[0] or (found.stay == best.stay and found.rank < best.rank)):
                best = found
            if best is not None and _all_served(moment, best):
                return best  # the first answer must be there at once; the search tries the others
    if best is None:
        raise Mendable(
            said("no valid plan of the rest of the day was found"),
            where=moment.day.name,
            mend=said("Check `now` and `done`: what was done must itself hold every rule, and somebody must be there to finish it."),
        )
    return best


def _all_served(moment: Moment, answer: _Answer) -> bool:
    """Whether nobody is left out who could still be served."""
    return set(answer.plan.left_out) <= moment.never


def _where_it_costs_least(
    moment: Moment, old: Plan, event: Emergency, stay_min: int, minute: Callable[[int], str]
) -> tuple[Moment, _Answer]:
    """Try the chairs with most room in one pass each and answer for the best that holds every rule."""
    tried: list[tuple[tuple[int, ...], int, Moment]] = []
    refusals = [Mendable(said("the day has no chair"), where="event", mend=said("Add a chair."))]
    for k, chair in enumerate(_roomiest(moment, event.minutes)):
        try:
            there = after(moment, replace(event, chair=chair), minute)
        except Mendable as no:
            refusals.append(no)
            continue
        day, plan = _lived(there.day, policy_of(there.day, old), there.blocked, there.never)
        tried.append((_rank(day, old, plan), k, there))
    for _, _, there in sorted(tried, key=lambda x: x[:2]):
        try:
            return there, _first(there, old, stay_min)
        except Mendable as no:
            refusals.append(no)
    raise refusals[-1]


def _roomiest(moment: Moment, minutes: int) -> list[str]:
    """Return the chairs on which an urgent visit waits and pushes least, by their own bookings alone."""
    begun = {v.id: v.start for v in moment.done.visits}
    room: list[tuple[int, str]] = []
    for chair in (c for c in moment.day.chairs if c.id not in moment.shut):
        own = moment.day.visits_of(chair.id)
        turnover = sum(s.minutes for s in chair.turnover)
        free = max([moment.now, *(begun[v.id] + v.minutes + turnover for v in own if v.id in begun)])
        following = min((v.booked for v in own if v.id not in begun), default=moment.day.day_end)
        room.append((free - moment.now + max(0, free + minutes + turnover - following), chair.id))
    return [c for _, c in sorted(room)[:CHAIRS_TRIED]]


def _offers(moment: Moment, old: Plan, answer: _Answer) -> tuple[str, ...]:
    """Say how long somebody would have to stay for fewer visits to be left out, if that is known to help."""
    for stay in () if _all_served(moment, answer) else STAYS_MIN:
        if stay > answer.stay and (more := _answer(moment, old, answer.policy, stay)) is not None and more.rank[0] < answer.rank[0]:
            left = len(more.plan.left_out)
            served = said("{left} of the visits stay out", left=left) if left else said("every visit is served")
            return (
                said(
                    "tried: if {away} stay {stay} min longer, {served}",
                    away=listed(who_stays(moment.day, moment.away)),
                    stay=stay,
                    served=served,
                ),
            )
    return ()


def _improved(moment: Moment, old: Plan, best: _Answer, go_on: Callable[[int], bool], seed: int) -> _Answer:
    """Search on: what concerns the next hours is made more or less urgent, one thing at a time."""
    draw = random.Random(seed)  # noqa: S311 - a search, no secret
    until = moment.now + WINDOW_MIN
    begun = {v.id for v in moment.done.visits}
    coming = moment.day.model_copy(update={"visits": tuple(v for v in moment.day.visits if v.id not in begun and v.booked <= until)})
    manners = [best.policy.manner, Manner()]
    n = 0
    try:
        while go_on(n) and best.rank[:3] != (0, 0, 0):
            manner = near(draw, manners[0] if draw.random() < 0.9 else draw.choice(manners), coming, best.plan) if n else Manner()
            policy = replace(best.policy, manner=manner, patience_min=draw.choice((0, 5, 15, 30)))
            if draw.random() < 0.3:
                policy = replace(policy, washes=(), sterilizations=())
            found = _answer(moment, old, policy, best.stay, better_than=best)
            if found is not None:
                best = found
                manners[0] = manner
            n += 1
    except KeyboardInterrupt:  # the reader has waited long enough: the best so far is the answer
        pass
    return best


def _next_hours(old: Plan, best: _Answer, how: Rolling) -> _Answer:
    """Search on with neighbourhoods of the next hours."""
    if best.rank[1:3] == (0, 0):
        return best
    plan = next_hours_better(best.day, best.plan, how)
    rank = _rank(best.day, old, plan)
    return replace(best, plan=plan, rank=rank) if rank < best.rank else best


def _forced(day: Instance) -> int:
    visits = {v.id: v for v in day.visits}
    nodes = [n for row in rows(day) for n in row.nodes if n.visit is not None and n.procedure is None]
    return sum(visits[n.visit or ""].weight * max(0, n.earliest - visits[n.visit or ""].booked) for n in nodes)


# --- in words ------------------------------------------------------------------------------------------------------


def _changes(day: Instance, old: Plan, answer: _Answer, now: int, minute: Callable[[int], str]) -> tuple[Change, ...]:
    new = answer.plan
    out = [
        *_visit_changes(answer.day, old, new, now, minute),
        *_chair_changes(old, new, now, minute),
        *_load_changes(day, old, new, now, minute),
    ]
    return tuple(sorted(out, key=lambda c: (c.at, c.kind, c.what)))


def _visit_changes(day: Instance, old: Plan, new: Plan, now: int, minute: Callable[[int], str]) -> Iterable[Change]:
    promised = {v.id: v.start for v in old.visits}
    starts = {v.id: v.start for v in new.visits}
    for v in day.visits:
        was, start = promised.get(v.id), starts.get(v.id)
        name = said("visit {id}", id=v.id) if v.id.startswith(v.chair) else said("visit {id} on {chair}", id=v.id, chair=v.chair)
        if start is None:
            if was is not None:
                yield Change(max(now, was), "visit", said("{name}: not served, promised {was}", name=name, was=minute(was)))
        elif was is None:
            yield Change(start, "visit", said("{name}: starts {start}, was not planned", name=name, start=minute(start)))
        elif start != was:
            yield Change(
                start,
                "visit",
                said(
                    "{name}: starts {start}, promised {was} ({was2:+} min)",
                    name=name,
                    start=minute(start),
                    was=minute(was),
                    was2=start - was,
                ),
            )


def _chair_changes(old: Plan, new: Plan, now: int, minute: Callable[[int], str]) -> Iterable[Change]:
    """Yield one change for each procedure on a chair that somebody else does or that begins at another minute."""

    def procedures(plan: Plan) -> dict[tuple[str, str, str | None], tuple[int, tuple[str, ...]]]:
        out: dict[tuple[str, str, str | None], tuple[int, tuple[str, ...]]] = {}
        for s in sorted(plan.steps, key=lambda s: s.start):
            key = (s.chair, s.procedure, s.after)
            start, who = out.get(key, (s.start, ()))
            out[key] = start, who if s.person is None or s.person in who else (*who, s.person)
        return out

    before = procedures(old)
    for (chair, procedure, visit), (start, who) in procedures(new).items():
        was = before.get((chair, procedure, visit))
        what = joined(", ", (chair, term(procedure))) + (said(" after {visit}", visit=visit) if visit else "")
        if start < now or was == (start, who):
            continue
        if was is None:
            yield Change(
                start,
                "chair",
                said("{what}: {start} by {who}, was not planned", what=what, start=minute(start), who=", ".join(who) or said("nobody")),
            )
            continue
        moved = said("{start} instead of {was}", start=minute(start), was=minute(was[0])) if start != was[0] else minute(start)
        by = said("{who} instead of {was}", who=joined(", ", who), was=joined(", ", was[1])) if set(who) != set(was[1]) else ", ".join(who)
        yield Change(start, "chair", said("{what}: {moved}, by {by}", what=what, moved=moved, by=by))


def _load_changes(day: Instance, old: Plan, new: Plan, now: int, minute: Callable[[int], str]) -> Iterable[Change]:
    for m in (*day.washers, *day.sterilizers):
        was = [b for b in sorted(old.batches, key=lambda b: b.load_start) if b.machine == m.id and b.load_start >= now]
        will = [b for b in sorted(new.batches, key=lambda b: b.load_start) if b.machine == m.id and b.load_start >= now]
        for k in range(max(len(was), len(will))):
            a, b = (x[k] if k < len(x) else None for x in (was, will))
            if b is None and a is not None:
                yield Change(
                    a.load_start,
                    "load",
                    said("{id}: the load of {load_start} ({a}) falls away", id=m.id, load_start=minute(a.load_start), a=_sets(a)),
                )
            elif a is None and b is not None:
                yield Change(
                    b.load_start,
                    "load",
                    said("{id}: one more load at {load_start}: {b}", id=m.id, load_start=minute(b.load_start), b=_sets(b)),
                )
            elif a is not None and b is not None and (a.load_start, _sets(a)) != (b.load_start, _sets(b)):
                moved = (
                    said("{load_start} instead of {load_start2}", load_start=minute(b.load_start), load_start2=minute(a.load_start))
                    if a.load_start != b.load_start
                    else minute(b.load_start)
                )
                yield Change(b.load_start, "load", said("{id}: load {moved}: {b}", id=m.id, moved=moved, b=_sets(b)))


def _sets(b: Batch) -> str:
    kinds = [u.rpartition("#")[0] for u in b.units]
    return ", ".join(f"{kinds.count(k)} {k}" for k in sorted(set(kinds)))


def _line(answer: _Answer, old: Plan, found: Figures, moment: Moment, minute: Callable[[int], str]) -> str:
    promised = {v.id: v.start for v in old.visits}
    later = {v.id: v.start - promised[v.id] for v in answer.plan.visits if v.start > promised.get(v.id, v.start)}
    left = len(answer.plan.left_out)
    served = (
        said("{left} of {visits} visits not served", left=left, visits=len(answer.day.visits))
        if left
        else said("all {visits} visits served", visits=len(answer.day.visits))
    )
    if later:
        worst = max(later, key=lambda v: (later[v], v))
        most = said(" (at most {worst} min: {worst2})", worst=later[worst], worst2=worst)
    kept = (
        said("{later} later than promised{most}", later=len(later), most=most)
        if later
        else said("the others as promised")
        if left
        else said("every promise kept")
    )
    stays = ""
    if answer.stay:
        stays = said("; needs {away} to stay {stay} min longer", away=listed(who_stays(moment.day, moment.away)), stay=answer.stay)
    return said(
        "from {now}: {served}, {kept}, last chair closed {end_of_day}{stays}",
        now=minute(moment.now),
        served=served,
        kept=kept,
        end_of_day=minute(found.end_of_day),
        stays=stays,
    )
