"""Plan a day: an answer at once, a proven bound, then the exact model where it fits. Every plan is checked before it leaves.

Comes in: an instance and limits. Goes out: a valid plan, how late it is, how late every plan must be, and where not all
visits can be served, what stands against it. A stopwatch only ends the search; with `deterministic` it isn't read and
the same input gives the same plan.
"""

import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from fettlebook.errors import Mendable
from fettlebook.plan.bound import Bound, Reason, Search, circulation_bound, core
from fettlebook.plan.check import Figures, check_plan, figures
from fettlebook.plan.dispatch import dispatch
from fettlebook.plan.instance import Instance, Plan
from fettlebook.plan.manner import Manner
from fettlebook.plan.many_manners import best_of
from fettlebook.plan.model import ExactModel, solve_exactly
from fettlebook.plan.moves import movable, on_better_chairs, with_chairs
from fettlebook.plan.rows import rows
from fettlebook.plan.slack import with_duties, with_tests

MOST_ITEMS = 150  # set uses that may go round; beyond, building the exact model alone takes longer than a person waits
FIRST_ROUNDS = 24
FIRST_MOVES = 40  # trials of another chair that even the quickest answer is given
MOVES_SHARE = 0.25  # of the time, for choosing chairs


@dataclass(frozen=True, slots=True)
class Progress:
    """One better plan or bound."""

    seconds: float
    by: str
    weight_left_out: int
    weighted_minutes_late: int
    bound: int


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


@dataclass(slots=True)
class _Search:
    """Limits, stopwatch and the best so far."""

    day: Instance
    limit_s: float
    seed: int
    workers: int
    deterministic: float | None
    told: Callable[[Progress], None] | None
    stop: Callable[[], bool] | None = None
    began: float = field(default_factory=time.perf_counter)
    progress: list[Progress] = field(default_factory=list)
    best: Plan | None = None
    best_figures: Figures | None = None
    by: str = ""
    bound: int = 0

    def seconds(self) -> float:
        return 0.0 if self.deterministic is not None else time.perf_counter() - self.began

    def stopped(self) -> bool:
        return self.stop is not None and self.stop()

    def left(self) -> float:
        return 0.0 if self.stopped() else max(0.0, self.limit_s - self.seconds())

    def perfect(self) -> bool:
        f = self.best_figures
        return f is not None and f.weight_left_out == 0 and f.weighted_minutes_late <= self.bound

    def part(self, share: float, most_s: float = 1e9) -> Search:
        """Return limits for one part of the search: a share of what is left."""
        limit = min(most_s, share * self.left())
        return Search(limit, self.seed, self.workers, None if self.deterministic is None else share * self.deterministic, self.stop)

    def note(self, by: str, left_out: int, late: int) -> None:
        step = Progress(round(self.seconds(), 3), by, left_out, late, self.bound)
        self.progress.append(step)
        if self.told:
            self.told(step)

    def better(self, found: Figures) -> None:
        """Note a plan of the list scheduler that beats what is known, while it searches on."""
        if self.best_figures is None or found.rank[:2] < self.best_figures.rank[:2]:
            self.note("list scheduler", found.weight_left_out, found.weighted_minutes_late)

    def offer(self, plan: Plan, by: str) -> None:
        """Keep a plan if it is valid and better; a broken one is never kept, whoever made it."""
        if check_plan(self.day, plan):
            self.progress.append(Progress(round(self.seconds(), 3), f"{by}: broken, thrown away", 0, 0, self.bound))
            return
        found = figures(self.day, plan)
        if self.best_figures is None or found.rank < self.best_figures.rank:
            self.best, self.best_figures, self.by = plan, found, by
            self.note(by, found.weight_left_out, found.weighted_minutes_late)


def solve(
    day: Instance,
    *,
    limit_s: float,
    seed: int = 0,
    workers: int = 2,
    deterministic: float | None = None,
    told: Callable[[Progress], None] | None = None,
    stop: Callable[[], bool] | None = None,
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

    Returns
    -------
    Solved
        Always a plan that holds every rule; where not all visits can be served, `plan.left_out` names the others.

    Raises
    ------
    Mendable
        The instance contradicts itself (what was done breaks a rule), so that no valid plan exists at all.
    """
    clock = time.perf_counter
    began = clock()

    def spent() -> float:
        return 0.0 if deterministic is not None else clock() - began

    def go_on(n: int) -> bool:
        if stop is not None and stop():
            return False
        if deterministic is not None or limit_s <= 0:
            return n < FIRST_MOVES
        return n < FIRST_MOVES or spent() < MOVES_SHARE * limit_s

    if day.done is not None:
        day = day.moved(day.done)
    if not movable(day):
        solved = _as_placed(day, limit_s=limit_s, seed=seed, workers=workers, deterministic=deterministic, told=told, stop=stop)
    else:
        moved = on_better_chairs(day, go_on)
        left_s = max(0.0, limit_s - spent())
        solved = _as_placed(moved, limit_s=left_s, seed=seed, workers=workers, deterministic=deterministic, told=told, stop=stop)
        solved = _with_moves(day, moved, solved, Search(min(5.0, limit_s), seed, workers, deterministic, stop))
    return _filled(day, solved)


def _with_moves(day: Instance, moved: Instance, solved: Solved, search: Search) -> Solved:
    """Say what holds of a day in which visits may move: its bound leaves those visits out, since each might be elsewhere."""
    late, left = solved.weighted_minutes_late, solved.plan.left_out
    fixed = _cleared_soonest(day.without(v.id for v in movable(day)))
    bound = _forced(fixed.without(left))
    if search.limit_s > 0 and not left and not (search.stop is not None and search.stop()):
        bound = max(bound, circulation_bound(fixed, search).minutes)
    plan = with_chairs(day, moved, solved.plan)
    elsewhere = {v.id for v in movable(day)}
    return replace(
        solved,
        plan=plan,
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


def _as_placed(
    day: Instance,
    *,
    limit_s: float,
    seed: int,
    workers: int,
    deterministic: float | None,
    told: Callable[[Progress], None] | None,
    stop: Callable[[], bool] | None,
) -> Solved:
    """Solve a day with each visit on the chair on which it stands."""
    hopeless = hopeless_visits(day)
    rest = day.without(h.visit for h in hopeless)
    s = _Search(rest, limit_s, seed, workers, deterministic, told, stop)
    s.offer(dispatch(rest), "list scheduler")
    if s.best is None or s.best_figures is None:
        raise Mendable("no valid plan exists", where=day.name, mend="Check `now` and `done`: what was done must itself hold every rule.")
    bound, reasons = _bound(s)
    manner = _list_scheduler(s, share=0.12, first=None) if s.left() > 0 else Manner()
    proven = possible = False
    if bound.possible is not False:
        possible = True
        proven = s.perfect()
        if not proven and day.now is None and s.left() > 0 and _items(rest) <= MOST_ITEMS:
            proven, possible = _exactly(s, bound)
        if not possible:
            reasons = (Reason("everything together"),)
    if not proven and s.left() > 0 and not (possible and _items(rest) <= MOST_ITEMS and day.now is None):
        _list_scheduler(s, share=1.0, first=manner)
        proven = s.perfect() and bound.possible is not False
    plan = s.best
    if plan.left_out:
        # The bound was one of a day with all visits; of those served only their own rows say what is forced.
        s.bound, proven = _forced(rest.without(plan.left_out)), False
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


def _list_scheduler(s: _Search, *, share: float, first: Manner | None) -> Manner:
    rounds = FIRST_ROUNDS if s.deterministic is None or first is None else int(FIRST_ROUNDS * 4 * s.deterministic)
    until = s.seconds() + share * s.left()

    reached = s.perfect()

    def told(found: Figures) -> None:
        nonlocal reached
        reached = found.weight_left_out == 0 and found.weighted_minutes_late <= s.bound
        s.better(found)

    def go_on(n: int) -> bool:
        if s.stopped():
            return False
        if s.deterministic is not None:
            return n < rounds
        if first is None and n >= FIRST_ROUNDS * 10:
            return False
        return s.seconds() < until and not reached

    plan, _, manner = best_of(
        s.day,
        seed=s.seed,
        go_on=go_on,
        first=first,
        told=told,
    )
    s.offer(plan, "list scheduler")
    return manner


def _bound(s: _Search) -> tuple[Bound, tuple[Reason, ...]]:
    s.bound = _forced(s.day)
    if s.limit_s <= 0:
        return Bound(s.bound, possible=None), ()
    bound = circulation_bound(s.day, s.part(0.3, 5.0))
    s.bound = max(s.bound, bound.minutes)
    if bound.possible is False:
        return bound, core(s.day, s.part(0.05, 1.0))
    assert s.best_figures is not None
    s.note("bound", s.best_figures.weight_left_out, s.best_figures.weighted_minutes_late)
    return Bound(s.bound, bound.possible, bound.seconds, bound.exact), ()


def _forced(day: Instance) -> int:
    """Return the weighted lateness that each chair's own row forces; no solver needed."""
    visits = {v.id: v for v in day.visits}
    nodes = [n for row in rows(day) for n in row.nodes if n.procedure is None]
    return sum(visits[n.visit or ""].weight * max(0, n.earliest - visits[n.visit or ""].booked) for n in nodes)


def _items(day: Instance) -> int:
    owned = day.owned()
    uses = {t: sum(v.needs().get(t, 0) for v in day.visits) for t in owned}
    return sum(n for t, n in uses.items() if n > owned[t])


def _exactly(s: _Search, bound: Bound) -> tuple[bool, bool]:
    """Try the exact model; returns (proven best, not proven impossible)."""
    assert s.best is not None
    assert s.best_figures is not None
    known = None if s.best.left_out else s.best
    limit = None if known is None else s.best_figures.weighted_minutes_late
    exact, model = solve_exactly(
        s.day,
        bound=bound,
        known=known,
        late_limit=limit,
        search=s.part(0.95),
        told=lambda late, _: s.note("exact model", 0, late),
    )
    s.bound = max(s.bound, exact.bound)
    if exact.possible is False:
        # With a known plan as limit, "impossible" would contradict that plan; then only the bound is kept.
        return False, known is not None
    if exact.possible and exact.plan is None:
        named = ExactModel(s.day, late_limit=limit, late_floor=s.bound, named=True)
        exact = named.solve(s.part(0.8))
        model = named
    if exact.plan is not None:
        s.offer(exact.plan, "exact model")
    assert s.best_figures is not None
    late, proven = s.best_figures.weighted_minutes_late, s.perfect()
    if proven and s.left() > 0 and exact.plan is not None:
        model.hint(s.best)
        earlier = model.close_early(late, s.part(0.5, 5.0))
        if earlier is not None:
            s.offer(earlier, "exact model")
    return proven, True
