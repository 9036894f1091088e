"""The stages of a search for a plan: list scheduler, bound, exact model, neighbourhoods; each offers plans, the best is kept."""

import time
from collections.abc import Callable
from dataclasses import dataclass, field

from fettlebook.plan.beside import Beside
from fettlebook.plan.bound import Bound, Reason, Search, circulation_bound, core
from fettlebook.plan.bound_loads import applies, loads_bound
from fettlebook.plan.check import Figures, check_plan, figures
from fettlebook.plan.improve import Improving, improved, searchable
from fettlebook.plan.instance import Instance, Plan
from fettlebook.plan.manner import Manner
from fettlebook.plan.many_manners import best_of
from fettlebook.plan.model import ExactModel, solve_exactly
from fettlebook.plan.rows import rows

MOST_ITEMS = 150  # set uses that may go round; beyond, building the exact model alone takes longer than a person waits
FEW_ITEMS = 40  # so few that the exact model is the quickest way to the best plan
EXACT_FROM_S = 20.0  # with less time left, neighbourhoods use it better than a model that is too large to finish
FIRST_ROUNDS = 24
WIDE_GAP = 0.15  # of the plan's lateness lies above the bound: then the exact model ends without an answer
BESIDE_FROM_S = 12.0  # with less time left, processes of their own are not worth their start
LAST_S = 3.0  # at the end, for neighbourhoods of the best that the others found
BUSIEST = 10.0  # so much slower than its own clock can a processor be shared


@dataclass(frozen=True, slots=True)
class Progress:
    """One better plan or bound."""

    seconds: float
    by: str
    weight_left_out: int
    weighted_minutes_late: int
    bound: int


@dataclass(slots=True)
class Searching:
    """Limits, stopwatch and the best so far."""

    day: Instance
    limit_s: float
    seed: int
    workers: int
    deterministic: float | None
    told: Callable[[Progress], None] | None
    stop: Callable[[], bool] | None = None
    clock: Callable[[], float] = time.perf_counter
    kept: Callable[[Plan, Progress], None] | None = None
    began: float = field(init=False)
    progress: list[Progress] = field(default_factory=list)
    best: Plan | None = None
    best_figures: Figures | None = None
    by: str = ""
    bound: int = 0

    def __post_init__(self) -> None:
        """Start the stopwatch."""
        self.began = self.clock()

    def seconds(self) -> float:
        """Seconds since the search began; none where work is counted instead."""
        return 0.0 if self.deterministic is not None else self.clock() - self.began

    def stopped(self) -> bool:
        """Whether the search was called off."""
        return self.stop is not None and self.stop()

    def left(self) -> float:
        """Seconds that are left."""
        return 0.0 if self.stopped() else max(0.0, self.limit_s - self.seconds())

    def wide_gap(self) -> bool:
        """Whether all visits are served, and much of the lateness lies above the bound."""
        f = self.best_figures
        return f is not None and f.weight_left_out == 0 and f.weighted_minutes_late * (1 - WIDE_GAP) > self.bound

    def many(self) -> bool:
        """Whether searches may go on beside this one: by the wall's clock, with more cores than one, and time enough."""
        by_the_wall = self.deterministic is None and self.clock is time.perf_counter
        return by_the_wall and self.workers > 1 and self.left() >= BESIDE_FROM_S

    def perfect(self) -> bool:
        """Whether no plan can be less late."""
        f = self.best_figures
        return f is not None and f.weight_left_out == 0 and f.weighted_minutes_late <= self.bound

    def part(self, share: float, most_s: float = 1e9) -> Search:
        """Return limits for one part of the search: a share of what is left."""
        limit = min(most_s, share * self.left())
        if self.deterministic is not None:
            return Search(limit, self.seed, self.workers, share * self.deterministic, self.stop)
        if self.clock is time.perf_counter:
            return Search(limit, self.seed, self.workers, None, self.stop)
        until = self.seconds() + limit  # the solver itself knows only the wall's clock
        return Search(BUSIEST * limit, self.seed, self.workers, None, lambda: self.stopped() or self.seconds() >= until)

    def note(self, by: str, left_out: int, late: int, plan: Plan | None = None) -> None:
        """Write down how far the search has come."""
        step = Progress(round(self.seconds(), 3), by, left_out, late, self.bound)
        self.progress.append(step)
        if plan is not None and self.kept:
            self.kept(plan, step)
        elif self.told:
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
            self.note(by, found.weight_left_out, found.weighted_minutes_late, plan)


def list_scheduler(s: Searching, *, share: float, first: Manner | None) -> Manner:
    """Try manners of the list scheduler for a share of the time; returns the best manner."""
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


def find_bound(s: Searching) -> tuple[Bound, tuple[Reason, ...]]:
    """Return the bound, and the reasons where not all visits can be served."""
    s.bound = forced(s.day)
    if s.limit_s <= 0:
        return Bound(s.bound, possible=None), ()
    known = None if s.best_figures is None or s.best_figures.weight_left_out else s.best_figures.weighted_minutes_late
    bound = circulation_bound(s.day, s.part(0.3, 5.0), known=known)
    s.bound = max(s.bound, bound.minutes)
    if bound.possible is False:
        return bound, core(s.day, s.part(0.05, 1.0))
    assert s.best_figures is not None
    s.note("bound", s.best_figures.weight_left_out, s.best_figures.weighted_minutes_late)
    return Bound(s.bound, bound.possible, bound.seconds, bound.exact), ()


def loads_one_by_one(s: Searching, *, share: float, most_s: float) -> None:
    """Raise the bound by what one washer's loads force, where the best plan is above it and serves all visits."""
    assert s.best is not None
    assert s.best_figures is not None
    if s.perfect() or s.best.left_out or not applies(s.day):
        return
    late = s.best_figures.weighted_minutes_late
    found = loads_bound(s.day, s.part(share, most_s), floor=s.bound, known=late)
    if found > s.bound:
        s.bound = found
        s.note("bound", 0, late)


def forced(day: Instance) -> int:
    """Return the weighted lateness that each chair's own row forces; no solver needed."""
    visits = {v.id: v for v in day.visits}
    nodes = [n for row in rows(day) for n in row.nodes if n.procedure is None]
    return sum(visits[n.visit or ""].weight * max(0, n.earliest - visits[n.visit or ""].booked) for n in nodes)


def items(day: Instance) -> int:
    """Return how many sets must go round for all uses to be served."""
    owned = day.owned()
    uses = {t: sum(v.needs().get(t, 0) for v in day.visits) for t in owned}
    return sum(n for t, n in uses.items() if n > owned[t])


def exactly(s: Searching, bound: Bound, *, share: float) -> tuple[bool, bool]:
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
        search=s.part(share),
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


def neighbourhoods(s: Searching, *, share: float) -> None:
    """Make the best plan better part by part; visits that it leaves out stay left out."""
    assert s.best is not None
    served, plan = s.day.without(s.best.left_out), s.best.model_copy(update={"left_out": ()})
    left_out = s.best.left_out
    if not searchable(served, plan) or not served.visits:
        return
    until = s.seconds() + share * s.left()
    how = Improving(
        seconds_left=lambda: min(until - s.seconds(), s.left()),
        seed=s.seed,
        goal=s.bound if not left_out else 0,
        counted=None if s.deterministic is None else share * s.deterministic,
        stop=s.stop,
    )
    improved(served, plan, how, lambda better: s.offer(better.model_copy(update={"left_out": left_out}), "neighbourhood search"))


def beside_each_other(s: Searching) -> None:
    """Begin neighbourhoods again and again on all cores; the best of all is kept."""
    others = Beside(s.day, processes=s.workers, seconds=s.left() - LAST_S, seed=s.seed, goal=s.bound)
    try:
        others.take(lambda plan: s.offer(plan, "neighbourhood search"), lambda: not s.stopped() and not s.perfect())
    finally:
        others.close()
