"""Plan a day: an answer at once, a proven bound, neighbourhoods, the exact model where it fits. Every plan is checked.

Comes in: an instance and limits. Goes out: a valid plan, how late it is, how late every plan must be, and where not all
visits can be served, what stands against it. A stopwatch only ends the search; with `deterministic` it isn't read and
the same input gives the same plan.
"""

import time
from collections.abc import Callable
from dataclasses import dataclass, replace

from fettlebook.errors import Mendable
from fettlebook.plan.bound import Reason, Search, circulation_bound
from fettlebook.plan.check import Figures, check_plan, figures
from fettlebook.plan.dispatch import dispatch
from fettlebook.plan.instance import Instance, Plan
from fettlebook.plan.manner import Manner
from fettlebook.plan.moves import movable, on_better_chairs, with_chairs
from fettlebook.plan.rows import rows
from fettlebook.plan.slack import with_duties, with_tests
from fettlebook.plan.stages import (
    EXACT_FROM_S,
    FEW_ITEMS,
    MOST_ITEMS,
    Progress,
    Searching,
    beside_each_other,
    exactly,
    find_bound,
    forced,
    items,
    list_scheduler,
    loads_one_by_one,
    neighbourhoods,
)

__all__ = ["Hopeless", "Progress", "Solved", "hopeless_visits", "solve"]

FIRST_MOVES = 40  # trials of another chair, where work is counted
FIRST_MOVES_S = 0.3  # for them in the quickest answer
LOADS_SHARE, LOADS_S = 0.4, 15.0  # of the time that is left, for the bound by the washer's loads
MOVES_SHARE = 0.25  # of the time, for choosing chairs


@dataclass(frozen=True, slots=True)
class Hopeless:
    """A visit that no plan of this day can serve, whatever else is left out."""

    visit: str
    reason: Reason
    why: str


@dataclass(frozen=True, slots=True)
class Solved:
    """The best plan found. `bound`: no plan that serves the same visits is less late. `core`: why all can't be served."""

    plan: Plan
    figures: Figures
    bound: int
    proven: bool
    method: str
    core: tuple[Reason, ...] = ()
    hopeless: tuple[Hopeless, ...] = ()
    progress: tuple[Progress, ...] = ()

    @property
    def weighted_minutes_late(self) -> int:
        """Weighted minutes late of the plan."""
        return self.figures.weighted_minutes_late


def solve(
    day: Instance,
    *,
    limit_s: float,
    seed: int = 0,
    workers: int = 2,
    deterministic: float | None = None,
    told: Callable[[Progress], None] | None = None,
    stop: Callable[[], bool] | None = None,
    clock: Callable[[], float] = time.perf_counter,
    kept: Callable[[Plan, Progress], None] | None = None,
) -> Solved:
    """Return the best plan found within the limit.

    Parameters
    ----------
    day
        The instance.
    limit_s
        How long to search [s]; 0 gives the first answer of the list scheduler.
    seed
        For the list scheduler's draws and the solver.
    workers
        Threads of the solver.
    deterministic
        Search by counted work instead of seconds; the same input then gives the same plan.
    told
        Called with each better plan.
    stop
        Asked many times a second; once it is true, the best plan so far is the answer.
    clock
        By which seconds are counted; a processor's clock makes figures of a busy machine comparable.
    kept
        Called instead of `told` where a better plan comes with it: of the visits that can be served.

    Returns
    -------
    Solved
        Always a plan that holds every rule; where not all visits can be served, `plan.left_out` names the others.

    Raises
    ------
    Mendable
        The instance contradicts itself (what was done breaks a rule), so that no valid plan exists at all.
    """
    began = clock()

    def spent() -> float:
        return 0.0 if deterministic is not None else clock() - began

    def go_on(n: int) -> bool:
        if stop is not None and stop():
            return False
        if deterministic is not None:
            return n < FIRST_MOVES
        return spent() < max(FIRST_MOVES_S, MOVES_SHARE * limit_s)

    def as_placed(placed: Instance, left_s: float) -> Solved:
        return _as_placed(placed, Searching(placed, left_s, seed, workers, deterministic, told, stop, clock, kept))

    if day.done is not None:
        day = day.moved(day.done)
    if not movable(day):
        solved = as_placed(day, limit_s)
    else:
        moved = on_better_chairs(day, go_on)
        solved = as_placed(moved, max(0.0, limit_s - spent()))
        solved = _with_moves(day, moved, solved, Search(min(5.0, limit_s), seed, workers, deterministic, stop))
    return _filled(day, solved)


def _with_moves(day: Instance, moved: Instance, solved: Solved, search: Search) -> Solved:
    """Say what holds of a day in which visits may move: its bound leaves those visits out, since each might be elsewhere."""
    late, left = solved.weighted_minutes_late, solved.plan.left_out
    fixed = _cleared_soonest(day.without(v.id for v in movable(day)))
    bound = forced(fixed.without(left))
    if search.limit_s > 0 and not left and not (search.stop is not None and search.stop()):
        bound = max(bound, circulation_bound(fixed, search).minutes)
    plan = with_chairs(day, moved, solved.plan)
    elsewhere = {v.id for v in movable(day)}
    return replace(
        solved,
        plan=plan,
        method=f"{solved.method}, chairs by trying moves",
        bound=min(bound, late),
        proven=not left and late <= bound,
        core=(),
        hopeless=tuple(h for h in solved.hopeless if h.visit not in elsewhere or h.reason.kind in {"set type", "people"}),
    )


def _cleared_soonest(day: Instance) -> Instance:
    """Let clearing take what is less, turnover's or closing's: which of the two follows a visit depends on who moves."""
    chairs = []
    for c in day.chairs:
        least = min(c.turnover[0].minutes, c.closing[0].minutes)
        turnover, closing = ((p[0].model_copy(update={"minutes": least}), *p[1:]) for p in (c.turnover, c.closing))
        chairs.append(c.model_copy(update={"turnover": turnover, "closing": closing}))
    return day.model_copy(update={"chairs": tuple(chairs)})


def _filled(day: Instance, solved: Solved) -> Solved:
    """Put tests and duties where the plan is slack; never at the plan's cost."""
    plan = with_duties(day, with_tests(day, solved.plan))
    if plan == solved.plan or check_plan(day, plan):
        return solved
    return replace(solved, plan=plan, figures=figures(day, plan))


def _as_placed(day: Instance, s: Searching) -> Solved:
    """Solve a day with each visit on the chair on which it stands."""
    hopeless = hopeless_visits(day)
    rest = s.day = day.without(h.visit for h in hopeless)
    s.offer(dispatch(rest), "list scheduler")
    if s.best is None or s.best_figures is None:
        raise Mendable("no valid plan exists", where=day.name, mend="Check `now` and `done`: what was done must itself hold every rule.")
    bound, reasons = find_bound(s)
    manner = list_scheduler(s, share=0.12, first=None) if s.left() > 0 else Manner()
    possible = bound.possible is not False
    proven = possible and s.perfect()
    few = day.now is None and items(rest) <= FEW_ITEMS
    if possible and not proven and few and s.left() > 0:
        proven, possible = exactly(s, bound, share=0.85)
    if possible and not proven and s.left() > 0 and s.best.left_out:
        list_scheduler(s, share=0.3, first=manner)
    if possible and not proven and s.left() > 0 and not few and day.now is None and items(rest) <= MOST_ITEMS:
        enough = s.deterministic is not None or s.left() >= EXACT_FROM_S
        wide = enough and s.wide_gap() and s.many()
        neighbourhoods(s, share=0.05 if wide else 0.35 if enough else 0.9)
        if enough:
            loads_one_by_one(s, share=LOADS_SHARE, most_s=LOADS_S)
        if wide:
            beside_each_other(s)
        proven = s.perfect()
        if not proven and s.left() > 0 and not wide and (enough or s.best.left_out):
            proven, possible = exactly(s, bound, share=0.7)
    if not possible and not reasons:
        reasons = (Reason("everything together"),)
    if not proven and s.left() > 0:
        if s.best.left_out:
            list_scheduler(s, share=0.6, first=manner)
        neighbourhoods(s, share=1.0)
        proven = possible and s.perfect()
    if not proven and s.left() > 0 and s.deterministic is None:
        list_scheduler(s, share=1.0, first=manner)
        proven = possible and s.perfect()
    plan = s.best
    if plan.left_out:
        # The bound was one of a day with all visits; of those served only their own rows say what is forced.
        s.bound, proven = forced(rest.without(plan.left_out)), False
    plan = plan.model_copy(update={"left_out": (*(h.visit for h in hopeless), *plan.left_out)})
    if broken := check_plan(day, plan):
        raise Mendable.of(broken)
    return Solved(plan, figures(day, plan), s.bound, proven, s.by, reasons, hopeless, tuple(s.progress))


def hopeless_visits(day: Instance) -> tuple[Hopeless, ...]:
    """Return the visits that can't be served even if they were alone in the day, each with its reason."""
    out = []
    owned = day.owned()
    hands = any("chairs" in p.does for p in day.people)
    done = {v.id for v in day.done.visits} if day.done else set()
    for v in day.visits:
        if v.id in done:
            continue
        short = [t for t, n in v.needs().items() if n > owned.get(t, 0)]
        chair = next(c for c in day.chairs if c.id == v.chair)
        attended = any(s.attended for s in (*chair.opening, *chair.closing))
        if short:
            t = short[0]
            out.append(Hopeless(v.id, Reason("set type", t), f"needs {v.needs()[t]} of {t}, {owned.get(t, 0)} owned"))
        elif attended and not hands:
            out.append(Hopeless(v.id, Reason("people"), "has nobody in who does chairs"))
        elif rows(day.without(x.id for x in day.visits if x.id != v.id and x.id not in done))[0].impossible() and day.now is None:
            out.append(
                Hopeless(
                    v.id, Reason("end of day"), "opening, visit and closing don't fit between the first and the last minute of the day"
                )
            )
    return tuple(out)
