"""What the booking itself forces: a proven lower bound of lateness, and the reasons when a day can't fit at all.

The circulation bound leaves the machines out: chairs with their people, and per set type the sets away from each visit's
start until the shortest way back. It is a true relaxation, so no plan is less late than the bound, and a day that is
impossible here is impossible. What too few sets force comes from `bound_minutes` at once; the solver then adds the people,
or shows that they force no more.
"""

import threading
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any

from fettlebook.plan.bound_minutes import MinuteBound, aways, minute_bound
from fettlebook.plan.constraints import at_most, chain
from fettlebook.plan.instance import Instance, Work
from fettlebook.plan.rows import Node, Row, rows

ASKED_EVERY_S = 0.05
LOW_SHARE = 0.5  # of the time at most goes to what sets and chairs force
TRIES, TRY_WORK = 6, 0.06
UNCOUNTED_S = 120.0  # more than any program of minutes takes
EXTRA_MIN = 14_400  # "as long as you like" when asking whether the end of the day is to blame


@dataclass(frozen=True, slots=True)
class Reason:
    """One of the things that together make a day impossible."""

    kind: str  # "set type", "people", "end of day", "chair", "latest start"
    id: str = ""


@dataclass(frozen=True, slots=True)
class Bound:
    """`minutes`: no plan is less late (weighted). `possible`: False is proven, None is unknown, True only for this relaxation."""

    minutes: int
    possible: bool | None
    seconds: float = 0.0
    exact: bool = False  # whether `minutes` is the relaxation's optimum


@dataclass(frozen=True, slots=True)
class Search:
    """How long and how the solver may search; `deterministic` replaces the wall clock by the solver's own count of work.

    `most_work`: beside seconds, no more than so much of that count. `stop` is asked twenty times a second; once it is true
    the solver ends with what it has.
    """

    limit_s: float
    seed: int = 0
    workers: int = 2
    deterministic: float | None = None
    stop: Callable[[], bool] | None = None
    most_work: float | None = None

    def solver(self) -> Any:
        """Return the solver so set."""
        from ortools.sat.python import cp_model  # noqa: PLC0415 - brings pandas with it; only who solves pays

        solver = cp_model.CpSolver()
        p = solver.parameters
        p.num_workers, p.random_seed = self.workers, self.seed
        if self.deterministic is None:
            p.max_time_in_seconds = max(0.01, self.limit_s)
            if self.most_work is not None:
                p.max_deterministic_time = self.most_work
        else:
            p.max_deterministic_time, p.interleave_search = self.deterministic, True
        return solver

    def run(self, solver: Any, model: Any, listener: Any = None) -> Any:
        """Solve, and return the solver's status; the search ends early once `stop` says so."""
        if self.stop is None:
            return solver.solve(model, listener) if listener is not None else solver.solve(model)
        over = threading.Event()

        def watch(stop: Callable[[], bool]) -> None:
            # Told again and again: the solver forgets it if it had not begun.
            while not over.wait(ASKED_EVERY_S):
                if stop():
                    solver.stop_search()

        watcher = threading.Thread(target=watch, args=(self.stop,), daemon=True)
        watcher.start()
        try:
            return solver.solve(model, listener) if listener is not None else solver.solve(model)
        finally:
            over.set()
            watcher.join()


def circulation_bound(
    day: Instance, search: Search, *, relaxed: Iterable[Reason] = (), only_possible: bool = False, known: int | None = None
) -> Bound:
    """Return the circulation bound of a day.

    Parameters
    ----------
    day
        The instance.
    search
        Limits.
    relaxed
        Reasons to leave out; for finding which are needed.
    only_possible
        Ask only whether the day is possible, not how late it must be; quicker.
    known
        Weighted minutes late of a plan of the day that is known; the bound is then at most that.
    """
    import scipy.optimize  # noqa: F401, PLC0415 - loaded before the stopwatch starts
    from ortools.sat.python import cp_model  # noqa: PLC0415

    gone = frozenset(relaxed)
    if Reason("end of day") in gone:
        people = tuple(p.model_copy(update={"to": p.to + EXTRA_MIN}) for p in day.people)
        day = day.model_copy(update={"day_end": day.day_end + EXTRA_MIN, "people": people})
    if Reason("latest start") in gone:
        day = day.model_copy(update={"visits": tuple(v.model_copy(update={"latest": None}) for v in day.visits)})
    all_rows = tuple(r for r in rows(day) if Reason("chair", r.chair) not in gone)
    if any(r.impossible() for r in all_rows):
        return Bound(0, possible=False)
    began = time.perf_counter()
    low = MinuteBound(0, {}) if only_possible or gone else _without_people(day, all_rows, search, known)
    if not low.possible:
        return Bound(0, possible=False, seconds=time.perf_counter() - began)
    model = cp_model.CpModel()
    starts = add_rows(model, all_rows)
    if Reason("people") not in gone:
        add_people(model, day, {"chairs": [model.new_fixed_size_interval_var(s, n.minutes, "") for n, s in starts.items() if n.attended]})
    add_circulation(model, day, all_rows, starts, {r.id for r in gone if r.kind == "set type"})
    floor = low.minutes
    if low.starts:
        asked = model.clone()
        asked.add(lateness(day, starts) == low.minutes)
        reached = _reached(asked, all_rows, starts, low, search)
        if reached:
            return Bound(floor, possible=True, seconds=time.perf_counter() - began, exact=True)
        floor += reached is False
    if not only_possible:
        late = lateness(day, starts)
        model.add(late >= floor)
        model.minimize(late)
    search = replace(search, limit_s=max(0.01, search.limit_s - (time.perf_counter() - began)))
    solver = search.solver()
    status = search.run(solver, model)
    if status == cp_model.INFEASIBLE:
        return Bound(0, possible=False, seconds=time.perf_counter() - began)
    minutes = 0 if only_possible else max(0, floor, round_up(solver.best_objective_bound))
    found = status in {cp_model.OPTIMAL, cp_model.FEASIBLE}
    return Bound(minutes, possible=True if found else None, seconds=time.perf_counter() - began, exact=status == cp_model.OPTIMAL)


def _reached(asked: Any, all_rows: Iterable[Row], starts: dict[Node, Any], low: MinuteBound, search: Search) -> bool | None:
    """Return whether the people can do a day just as little late as sets and chairs allow; None: not found out quickly.

    To ask for that lateness is quick, since it leaves each visit hardly any minute; to minimise is not.
    """
    from ortools.sat.python import cp_model  # noqa: PLC0415

    for row in all_rows:
        for n, at in zip(row.nodes, row.pushed(low.starts), strict=True):
            asked.add_hint(starts[n], at)
    for k in range(TRIES):  # each another way through the same few minutes: quick or hopeless
        counted = None if search.deterministic is None else TRY_WORK
        solver = replace(search, seed=search.seed + k, most_work=TRY_WORK, deterministic=counted).solver()
        p = solver.parameters
        p.search_branching, p.linearization_level = cp_model.PORTFOLIO_WITH_QUICK_RESTART_SEARCH, 0
        status = search.run(solver, asked)
        if status in {cp_model.OPTIMAL, cp_model.INFEASIBLE}:
            return bool(status == cp_model.OPTIMAL)
        if search.stop is not None and search.stop():
            break
    return None


def _without_people(day: Instance, all_rows: tuple[Row, ...], search: Search, known: int | None) -> MinuteBound:
    """Return what sets and chairs alone force, within the limits of a search."""
    began = time.perf_counter()

    def left() -> float:
        if search.stop is not None and search.stop():
            return 0.0
        # Counted work: the programs are small, and always solved to their end.
        return UNCOUNTED_S if search.deterministic is not None else LOW_SHARE * search.limit_s - (time.perf_counter() - began)

    return minute_bound(day, all_rows, left=left, known=known)


def core(day: Instance, search: Search) -> tuple[Reason, ...]:
    """Return reasons that together make a day impossible, none of which can be left out; empty if it can't be told.

    Each is dropped in turn, and stays dropped where the rest is still proven impossible. `search` limits each question;
    one that it can't answer keeps its reason, so the list is then not the shortest.
    """

    def impossible(dropped: list[Reason]) -> bool:
        return circulation_bound(day, search, relaxed=dropped, only_possible=True).possible is False

    if not impossible([]):
        return ()
    blocked = {r.chair for r in rows(day) if r.impossible()}
    reasons = [Reason("latest start")] if any(v.latest is not None for v in day.visits) else []
    reasons += [Reason("people")]
    reasons += [Reason("set type", t) for t, n in day.owned().items() if sum(v.needs().get(t, 0) for v in day.visits) > n]
    reasons += [Reason("end of day")]
    kept = _needed(reasons, [], impossible)
    if any(r.kind in {"set type", "people"} for r in kept):
        return kept  # chairs are named only where no set type or person binds them together
    chairs = [Reason("chair", c.id) for c in day.chairs if day.visits_of(c.id)]
    chairs.sort(key=lambda r: r.id in blocked)  # free chairs are dropped first
    return kept + _needed(chairs, [r for r in reasons if r not in kept], impossible)


def _needed(reasons: list[Reason], dropped: list[Reason], impossible: Callable[[list[Reason]], bool]) -> tuple[Reason, ...]:
    dropped = list(dropped)
    kept = []
    for r in reasons:
        if impossible([*dropped, r]):
            dropped.append(r)
        else:
            kept.append(r)
    return tuple(kept)


# --- the parts that the exact model shares -----------------------------------------------------------------------


def add_rows(model: Any, all_rows: Iterable[Row]) -> dict[Node, Any]:
    """Add each chair's chain; returns a start for each node."""
    starts: dict[Node, Any] = {}
    for row in all_rows:
        own = [model.new_int_var(n.earliest, n.latest, "") for n in row.nodes]
        chain(model, own, [n.minutes for n in row.nodes], [n.gap for n in row.nodes])
        starts |= dict(zip(row.nodes, own, strict=True))
    return starts


def add_people(model: Any, day: Instance, jobs: dict[Work, list[Any]]) -> None:
    """Let no more attended jobs run than there are people for them at that minute.

    Shifts and breaks are fixed jobs. One pool a kind of work, and one for both where the people differ.
    """
    pools: list[tuple[Work, ...]] = [("chairs",), ("instruments",), ("chairs", "instruments")]
    seen = set()
    for pool in pools:
        who = tuple(p for p in day.people if set(p.does) & set(pool))
        # A pool of the same people holds for both kinds at once.
        intervals = [i for w in pool for i in jobs.get(w, [])]
        key = (tuple(p.id for p in who), len(intervals))
        if not intervals or key in seen:
            continue
        seen.add(key)
        end = max([day.day_end, *(p.to for p in who)]) + 1
        blocks = []
        for p in who:
            at = 0
            for a, b in (*p.windows(), (end, end)):
                if a > at:
                    blocks.append(model.new_fixed_size_interval_var(at, a - at, ""))
                at = b
        model.add_cumulative(intervals + blocks, [1] * (len(intervals) + len(blocks)), len(who))


def add_circulation(model: Any, day: Instance, all_rows: Iterable[Row], starts: dict[Node, Any], gone: set[str]) -> None:
    """Let no more sets of a type be away than are owned, each at least for its visit, clearing and the shortest way back."""
    intervals: dict[tuple[Node, int, int], Any] = {}
    away: dict[str, list[tuple[Any, int]]] = {t: [] for t in day.owned()}
    for a in aways(day, all_rows):
        key = a.node, a.lead, a.size
        if key not in intervals:
            begin = starts[a.node]
            intervals[key] = model.new_fixed_size_interval_var(begin - a.lead if a.lead else begin, a.size, "")
        away[a.kind].append((intervals[key], a.count))
    for t, uses in away.items():
        if t not in gone and uses:
            at_most(model, [i for i, _ in uses], [n for _, n in uses], day.owned()[t])


def lateness(day: Instance, starts: dict[Node, Any]) -> Any:
    """Return weighted minutes late as an expression."""
    visits = {v.id: v for v in day.visits}
    nodes = [(n, s) for n, s in starts.items() if n.procedure is None]
    return sum(visits[n.visit or ""].weight * (s - visits[n.visit or ""].booked) for n, s in nodes)


def round_up(value: float) -> int:
    """Return the next whole minute, forgiving the solver's float."""
    return int(-(-(value - 1e-6) // 1))
