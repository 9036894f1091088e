"""Neighbourhood search: a valid plan made better part by part, for as long as one lets it.

Comes in: an instance, a valid plan that serves all its visits, limits. Goes out: the best plan found, checked; never a
worse one. Seeded; with counted work instead of seconds the same input gives the same plan.
"""

import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from fettlebook.plan.around import Around, Frame
from fettlebook.plan.bound import Search
from fettlebook.plan.check import check_plan, figures
from fettlebook.plan.instance import Instance, Plan
from fettlebook.plan.parts import Parts

STEP_WORK = 0.08  # so much of the solver's own count may one part take: some seconds
WORK_OF_BUILDING = 0.02  # counted for each part, so that counted searches end


@dataclass(frozen=True, slots=True)
class Improving:
    """How to search.

    `seconds_left` is asked before each part; `goal`: lateness that is good enough. `counted`: so much work in all, instead
    of seconds. `first`, `last`: only what begins between these minutes may move. `promised`: visit -> start that was
    promised; among equally late plans those with fewer minutes of broken promises are better. `valid`: what a plan must
    hold where the day that is improved stands for another one.
    """

    seconds_left: Callable[[], float]
    seed: int = 0
    goal: int = 0
    counted: float | None = None
    stop: Callable[[], bool] | None = None
    first: int | None = None
    last: int | None = None
    promised: Mapping[str, int] | None = None
    valid: Callable[[Plan], bool] | None = None


def improved(day: Instance, plan: Plan, how: Improving, told: Callable[[Plan], None] | None = None) -> Plan:
    """Return a plan at least as good as the one given.

    Parameters
    ----------
    day
        The instance.
    plan
        A valid plan of it that serves all its visits.
    how
        Limits.
    told
        Called with each better plan.
    """
    first = max(day.day_start, how.first if how.first is not None else day.now or day.day_start)
    frame = Frame.of(day, plan)
    parts = Parts(frame, random.Random(how.seed), first, day.day_end if how.last is None else min(how.last, day.day_end))  # noqa: S311 - a search, no secret
    best, rank = plan, _rank(day, plan, how.promised)
    work, n = 0.0, 0
    try:
        while rank[0] > how.goal and (part := parts.next()) is not None:
            left = how.seconds_left()
            if (left <= 0.05) if how.counted is None else (work >= how.counted):
                break
            if how.stop is not None and how.stop():
                break
            n += 1
            search = Search(left, how.seed + n, 1, None if how.counted is None else STEP_WORK, how.stop, STEP_WORK)
            found = Around(frame, part, how.promised).better(search)
            work += found.work + WORK_OF_BUILDING
            better = False
            if found.plan is not None and (new := _rank(day, found.plan, how.promised)) <= rank and _valid(day, found.plan, how):
                better = new < rank
                best, rank = found.plan, new
                frame = Frame.of(day, best, frame)
                if better and told:
                    told(best)
            parts.learn(better=better, exhausted=found.exhausted, frame=frame)
    except KeyboardInterrupt:  # the reader has waited long enough: the best so far is the answer
        pass
    return best


def _valid(day: Instance, plan: Plan, how: Improving) -> bool:
    return not check_plan(day, plan) if how.valid is None else how.valid(plan)


def _rank(day: Instance, plan: Plan, promised: Mapping[str, int] | None) -> tuple[int, int]:
    broken = sum(max(0, v.start - promised[v.id]) for v in plan.visits if v.id in promised) if promised else 0
    return figures(day, plan).weighted_minutes_late, broken


def searchable(day: Instance, plan: Plan) -> bool:
    """Whether neighbourhoods can be built around a plan: all visits served, every load unloaded."""
    return not plan.left_out and all(b.unload_start is not None for b in plan.batches)
