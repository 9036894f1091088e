"""A higher bound where one washer serves all: sets that must come back wait for its loads, and loads come one after the other.

Comes in: an instance and limits. Goes out: weighted minutes late that no plan can better. The circulation bound lets each
set come back as if a washer stood ready for it alone. Here the sets of the scarcest types that must come back are washed
in loads: two of them ride together or a whole load apart. How much a load holds, the sterilizers and who carries are left
out, so it stays a true relaxation. Of n uses of a type with k owned, the n - k that come back first are enough to hold
what the day needs: who else comes back changes nothing.

To minimise is slow, to show that "at most so late" is impossible is not: so the bound is raised step by step, each step a
proof (destructive bounds, as Klein and Scholl 1999 call them; from memory).
"""

from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

from fettlebook.plan.bound import Search, add_circulation, add_people, add_rows, lateness
from fettlebook.plan.bound_minutes import aways
from fettlebook.plan.constraints import at_most
from fettlebook.plan.instance import Instance
from fettlebook.plan.rows import Node, Row, rows
from fettlebook.plan.set_ways import SetWays

FEW_TRIPS, MOST_TRIPS = 12, 36  # sets whose loads are looked at: first the scarcest types, then more
FIRST_STEP, LEAST_STEP = 0.05, 4  # of the bound; minutes
STEP_WORK = 3.0  # the solver's own count for one step


@dataclass(frozen=True, slots=True)
class _Ride:
    """One use of one set that may come back: whether it does, and when its load begins."""

    back: Any
    load: Any


def applies(day: Instance) -> bool:
    """Whether the bound can say anything: one washer, a whole day, and types that must come back."""
    return len(day.washers) == 1 and bool(day.sterilizers) and day.now is None and bool(_scarcest(day, MOST_TRIPS))


def loads_bound(day: Instance, search: Search, *, floor: int, known: int) -> int:
    """Return the bound, at least `floor`, at most `known`.

    Parameters
    ----------
    day
        The instance; `applies` to it.
    search
        Limits for all steps together.
    floor
        What is proven already.
    known
        Weighted minutes late of a plan that is known.
    """
    best, left = floor, search.deterministic
    watch = _Stopwatch(search)
    few, more = _scarcest(day, FEW_TRIPS), _scarcest(day, MOST_TRIPS)
    for kinds in dict.fromkeys(k for k in (few, more) if k):
        model, late = _model(day, kinds, known)
        step, reached = max(LEAST_STEP, int(FIRST_STEP * best)), known
        while reached - best >= LEAST_STEP and step >= LEAST_STEP:
            if (seconds := watch.left()) <= 0 or (left is not None and left <= 0):
                return best
            within = min(best + step, (best + reached) // 2)
            work = STEP_WORK if left is None else min(left, STEP_WORK)
            asked = _asked(model, late, within, replace(search, limit_s=seconds), work)
            left = None if left is None else left - asked.work
            if asked.impossible:
                best, step = within + 1, 2 * step
            elif asked.found is not None:
                reached = asked.found  # this relaxation can't say more
            else:
                step //= 2
    return best


class _Stopwatch:
    """Seconds left of a search; one that is counted has always some."""

    def __init__(self, search: Search) -> None:
        import time  # noqa: PLC0415 - only where seconds are asked for

        self.search, self.clock = search, time.perf_counter
        self.began = self.clock()

    def left(self) -> float:
        if self.search.stop is not None and self.search.stop():
            return 0.0
        return self.search.limit_s if self.search.deterministic is not None else self.search.limit_s - (self.clock() - self.began)


def _scarcest(day: Instance, most: int) -> tuple[str, ...]:
    """Return the types that must come back, those with the fewest owned first, as long as their uses are at most so many."""
    uses = {t: sum(v.needs().get(t, 0) for v in day.visits) for t in day.owned()}
    kinds, total = [], 0
    for t, n in sorted(day.owned().items(), key=lambda x: (x[1], x[0])):
        if n < uses[t] and total + uses[t] <= most:
            kinds.append(t)
            total += uses[t]
    return tuple(kinds)


@dataclass(frozen=True, slots=True)
class _Asked:
    """Whether it is proven that no day is at most so late, else how late one is that was found; and the work it took."""

    impossible: bool
    found: int | None
    work: float


def _asked(model: Any, late: Any, within: int, search: Search, work: float) -> _Asked:
    """Ask whether a day can be at most so late."""
    from ortools.sat.python import cp_model  # noqa: PLC0415 - brings pandas with it; only who solves pays

    asked = model.clone()
    asked.add(late <= within)
    limits = replace(search, workers=1, most_work=work, deterministic=None if search.deterministic is None else work)
    solver = limits.solver()
    solver.parameters.linearization_level = 0
    status = limits.run(solver, asked)
    found = int(solver.value(late)) if status in {cp_model.OPTIMAL, cp_model.FEASIBLE} else None
    return _Asked(status == cp_model.INFEASIBLE, found, float(solver.response_proto.deterministic_time))


def _model(day: Instance, kinds: tuple[str, ...], known: int) -> tuple[Any, Any]:
    """Return the model and how late it is, as an expression."""
    from ortools.sat.python import cp_model  # noqa: PLC0415

    model = cp_model.CpModel()
    all_rows = rows(day, late_limit=known)
    starts = add_rows(model, all_rows)
    add_people(model, day, {"chairs": [model.new_fixed_size_interval_var(s, n.minutes, "") for n, s in starts.items() if n.attended]})
    add_circulation(model, day, all_rows, starts, set())
    rides = [ride for kind in kinds for ride in _rides(model, day, all_rows, starts, kind)]
    whole = day.reprocess.load_minutes + day.washers[0].minutes + day.reprocess.unload_minutes
    for a, b in combinations(rides, 2):
        together, before, after = (model.new_bool_var("") for _ in range(3))
        model.add(a.load == b.load).only_enforce_if(together)
        model.add(a.load + whole <= b.load).only_enforce_if(before)
        model.add(b.load + whole <= a.load).only_enforce_if(after)
        model.add_bool_or([together, before, after, a.back.negated(), b.back.negated()])
    return model, lateness(day, starts)


def _rides(model: Any, day: Instance, all_rows: tuple[Row, ...], starts: dict[Node, Any], kind: str) -> list[_Ride]:
    """Let the sets of one type that come back do so by loads; the others stay away."""
    way, end = SetWays(day).types[kind], day.day_end
    to_washer = way.from_dirty - way.from_bathed
    first = day.washers[0].not_before - day.reprocess.load_minutes
    out: list[_Ride] = []
    away = []
    for a in aways(day, all_rows):
        for _ in range(a.count if a.kind == kind else 0):
            back, load = model.new_bool_var(""), model.new_int_var(min(first, end), end, "")
            ready, size = model.new_int_var(0, 2 * end, ""), model.new_int_var(0, 2 * end, "")
            dirty = starts[a.node] + (a.cleared - a.lead)
            model.add(load >= dirty + to_washer).only_enforce_if(back)
            model.add(ready >= load + way.from_bathed).only_enforce_if(back)
            model.add(ready >= end + 1).only_enforce_if(back.negated())
            away.append(model.new_interval_var(starts[a.node] - a.lead, size, ready, ""))
            out.append(_Ride(back, load))
    owned = day.owned()[kind]
    model.add(sum(r.back for r in out) == len(out) - owned)
    at_most(model, away, [1] * len(away), owned)
    return out
