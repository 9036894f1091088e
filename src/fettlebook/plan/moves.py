"""Visits that may move to another chair: moved where fewer are then left out, or the day runs less late; else never.

Comes in: an instance in which some visits name other chairs. Goes out: the same day with each visit booked on the chair on
which it is to be served. Which chair is tried by the list scheduler, one move at a time: good, not proven best.
"""

from collections.abc import Callable, Iterable, Iterator

from fettlebook.plan.check import figures
from fettlebook.plan.dispatch import dispatch
from fettlebook.plan.instance import Instance, Plan, Visit


def movable(day: Instance) -> tuple[Visit, ...]:
    """Return the visits that may still move: not begun, and another chair named."""
    begun = {v.id for v in day.done.visits} if day.done else set()
    return tuple(v for v in day.visits if v.may_move and v.id not in begun)


def on_better_chairs(day: Instance, go_on: Callable[[int], bool]) -> Instance:
    """Return the day with visits moved as long as a move helps.

    Parameters
    ----------
    day
        The instance; what has begun is where it was served already.
    go_on
        Asked before each trial with its number; False ends the search.
    """
    best, plan = day, dispatch(day)
    rank = figures(day, plan).rank[:2]
    n = 0
    found = True
    while found and rank != (0, 0):
        found = False
        for visit, chair in _tries(best, plan):
            if not go_on(n):
                return best
            n += 1
            trial = _on(best, visit.id, chair)
            trial_plan = dispatch(trial)
            if (trial_rank := figures(trial, trial_plan).rank[:2]) < rank:
                best, plan, rank, found = trial, trial_plan, trial_rank, True
                break
    return best


def with_chairs(day: Instance, moved: Instance, plan: Plan) -> Plan:
    """Return the plan with the chair said of each visit that is served on another one than booked."""
    chair = {v.id: v.chair for v in moved.visits}
    booked = {v.id: v.chair for v in day.visits}
    told = {i: c for i, c in chair.items() if c != booked[i]}
    if not told:
        return plan
    return plan.model_copy(
        update={"visits": tuple(v.model_copy(update={"chair": told.get(v.id, v.chair)}) for v in plan.visits)},
    )


def _tries(day: Instance, plan: Plan) -> Iterator[tuple[Visit, str]]:
    """Offer moves, those of visits on chairs in trouble first."""
    start = {v.id: v.start for v in plan.visits}
    trouble: dict[str, int] = {}
    for v in day.visits:
        late = start[v.id] - v.booked if v.id in start else 480
        trouble[v.chair] = trouble.get(v.chair, 0) + v.weight * late
    for v in sorted(movable(day), key=lambda v: (-trouble[v.chair], v.booked, v.id)):
        for chair in sorted(v.may_move, key=lambda c: (trouble.get(c, 0), c)):
            if trouble[v.chair]:
                yield v, chair


def _on(day: Instance, visit: str, chair: str) -> Instance:
    def moved(visits: Iterable[Visit]) -> Iterator[Visit]:
        for v in visits:
            # The chair that it leaves stays open to it.
            back = tuple(c for c in dict.fromkeys((v.chair, *v.may_move)) if c != chair)
            yield v.model_copy(update={"chair": chair, "may_move": back}) if v.id == visit else v

    return day.model_copy(update={"visits": tuple(moved(day.visits))})
