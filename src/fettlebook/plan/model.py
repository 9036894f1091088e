"""The exact model: chairs, people, sets, washers and sterilizers of one day for OR-tools CP-SAT.

One interval per attended step; people as pools, named afterwards; equal machines as one pool of loads in order of their
start; per set type a pool of units, each away from a visit's start until it is usable again. What is interchangeable
(units of a type, equal machines, people) is never told apart inside the model, and `naming` names it afterwards.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from fettlebook.plan.bound import Bound, Search, add_circulation, add_people, add_rows, lateness, round_up
from fettlebook.plan.constraints import at_most, one_at_a_time
from fettlebook.plan.instance import Instance, Plan, Work
from fettlebook.plan.model_hints import HintedModel
from fettlebook.plan.naming import Load, Tested, Unnamed, name_all


@dataclass(frozen=True, slots=True)
class Exact:
    """What the exact model found. `bound`: no plan that serves these visits is less late; `possible` False: none serves all."""

    plan: Plan | None
    bound: int
    proven: bool
    possible: bool | None
    seconds: float


class ExactModel(HintedModel):
    """The day as constraints; build once, then minimise one objective after the other."""

    def __init__(
        self, day: Instance, *, late_limit: int | None = None, late_floor: int = 0, most_loads: int | None = None, named: bool = False
    ) -> None:
        super().__init__(day, late_limit=late_limit)
        self.named = named
        self.impossible = any(r.impossible() for r in self.rows)
        if self.impossible:
            return
        self.starts = add_rows(self.m, self.rows)
        for n, s in self.starts.items():
            if n.attended:
                self.jobs.append(("chairs", s, n.minutes, None))
        self.add_sets_and_machines(most_loads)
        self.outages()
        self.sets()
        add_circulation(self.m, day, self.rows, self.starts, set())
        self.people()
        self.late = lateness(day, self.starts)
        if late_floor:
            self.m.add(self.late >= late_floor)
        if late_limit is not None:
            self.m.add(self.late <= late_limit)

    def outages(self) -> None:
        """Let nothing begin on a chair that would meet a time in which it is out of service."""
        for row in self.rows:
            out = next(c for c in self.day.chairs if c.id == row.chair).out
            for a, b in out:
                closed = self.m.new_fixed_size_interval_var(a, b - a, "")
                own = [self.m.new_fixed_size_interval_var(self.starts[n], n.minutes, "") for n in row.nodes]
                for interval in own:
                    one_at_a_time(self.m, [interval, closed])

    def sets(self) -> None:
        """Never more units of a type away than owned, each from its visit's start until it is usable again."""
        visits, end = {v.id: v for v in self.day.visits}, self.day.day_end
        away: dict[str, list[Any]] = {t: [] for t in self.day.owned()}
        coming = {(i.visit, i.kind): [x for x in self.items if (x.visit, x.kind) == (i.visit, i.kind)] for i in self.items}
        for n, s in self.starts.items():
            if n.procedure is None and n.visit:
                for t, count in visits[n.visit].needs().items():
                    back = coming.get((n.visit, t), [])
                    for i in range(count):
                        until = back[i].ready if i < len(back) else end + 1
                        size = self.m.new_int_var(0, end + 1 + max(self.way_out.values(), default=0), "")
                        self.away_sizes.append((size, n.visit, back[i] if i < len(back) else None))
                        on_the_way = self.ways.to_chair(self.room[n.chair])
                        away[t].append(self.m.new_interval_var(s - on_the_way if on_the_way else s, size, until, ""))
        for t, uses in away.items():
            at_most(self.m, uses, [1] * len(uses), self.day.owned()[t])

    def people(self) -> None:
        """Add the people: as pools, or by name."""
        if self.named:
            self.named_people()
            return
        pools: dict[Work, list[Any]] = {"chairs": [], "instruments": []}
        for work, start, minutes, used in self.jobs:
            fixed = self.m.new_fixed_size_interval_var(start, minutes, "") if used is None else None
            pools[work].append(fixed or self.m.new_optional_fixed_size_interval_var(start, minutes, used, ""))
        add_people(self.m, self.day, pools)

    def named_people(self) -> None:
        """The slower form: each job is given to one person inside the model. Used where naming afterwards failed."""
        calendars: dict[str, list[Any]] = {p.id: [] for p in self.day.people}
        end = max([self.day.day_end, *(p.to for p in self.day.people)]) + 1
        for p in self.day.people:
            at = 0
            for a, b in (*p.windows(), (end, end)):
                if a > at:
                    calendars[p.id].append(self.m.new_fixed_size_interval_var(at, a - at, ""))
                at = b
        for work, start, minutes, used in self.jobs:
            doing = []
            for p in self.day.people:
                if work in p.does:
                    it_is = self.m.new_bool_var("")
                    calendars[p.id].append(self.m.new_optional_fixed_size_interval_var(start, minutes, it_is, ""))
                    doing.append(it_is)
            self.m.add(sum(doing) == (1 if used is None else used))
        for jobs in calendars.values():
            self.m.add_no_overlap(jobs)

    # --- solving -------------------------------------------------------------------------------------------------

    def solve(self, search: Search, told: Callable[[int, int], None] | None = None) -> Exact:
        """Minimise weighted minutes late.

        Parameters
        ----------
        search
            Limits.
        told
            Called with (minutes late, bound) of each better solution.
        """
        if self.impossible:
            return Exact(None, 0, proven=not self.capped, possible=False, seconds=0.0)
        self.m.minimize(self.late)
        solver = search.solver()
        solver.parameters.cp_model_probing_level = 0  # takes longer here than the whole search that it should shorten
        status = search.run(solver, self.m, self.listener(told) if told else None)
        if status == self.cp.INFEASIBLE:
            return Exact(None, 0, proven=not self.capped, possible=None if self.capped else False, seconds=solver.wall_time)
        bound = 0 if self.capped else max(0, round_up(solver.best_objective_bound))
        if status not in {self.cp.OPTIMAL, self.cp.FEASIBLE}:
            return Exact(None, bound, proven=False, possible=None, seconds=solver.wall_time)
        return Exact(
            self.read(solver), bound, proven=status == self.cp.OPTIMAL and not self.capped, possible=True, seconds=solver.wall_time
        )

    def close_early(self, late: int, search: Search) -> Plan | None:
        """With lateness held at `late`, let the last chair close as early as possible; None where nothing was found."""
        self.m.add(self.late <= late)
        last = self.m.new_int_var(0, self.day.day_end, "")
        for row in self.rows:
            n = row.nodes[-1]
            self.m.add(last >= self.starts[n] + n.minutes + n.gap)
        self.m.minimize(last)
        solver = search.solver()
        status = search.run(solver, self.m)
        return self.read(solver) if status in {self.cp.OPTIMAL, self.cp.FEASIBLE} else None

    def listener(self, told: Callable[[int, int], None]) -> Any:
        """Return the solver's call-back."""

        class Listener(self.cp.CpSolverSolutionCallback):  # type: ignore[misc, name-defined]
            def on_solution_callback(self) -> None:
                told(int(self.objective_value), round_up(self.best_objective_bound))

        return Listener()

    def read(self, solver: Any) -> Plan | None:
        """Return the solution with everybody and everything named; None where no naming exists."""
        value = solver.value
        starts = {n: int(value(s)) for n, s in self.starts.items()}
        loads: list[Load] = []
        tested: list[Tested] = []
        for kind, groups in self.pools.items():
            for g, group in enumerate(groups):
                for machine, (done, at) in zip(group.machines, group.tests, strict=False):
                    if value(done):
                        tested.append(Tested(machine, tuple(int(value(s)) for s in at)))
                for b, load in enumerate(group.loads):
                    if value(load.used):
                        inside = [
                            i
                            for i, item in enumerate(self.items)
                            for gg, bb, here in item.rides[kind]
                            if (gg, bb) == (g, b) and value(here)
                        ]
                        cycle = next((c for c, chosen in load.cycles.items() if value(chosen)), None)
                        loads.append(Load(group.machines, int(value(load.start)), int(value(load.unload)), tuple(inside), cycle))
        items = {i: (item.visit, item.kind) for i, item in enumerate(self.items) if value(item.back)}
        packs = {i: int(value(self.items[i].pack)) for i in items}
        return name_all(self.day, Unnamed(self.rows, starts, tuple(loads), items, packs, tuple(tested)))


def solve_exactly(
    day: Instance,
    *,
    bound: Bound,
    known: Plan | None,
    late_limit: int | None,
    search: Search,
    most_loads: int | None = None,
    told: Callable[[int, int], None] | None = None,
) -> tuple[Exact, ExactModel]:
    """Build the exact model around what is known already and solve it.

    Parameters
    ----------
    day
        The instance.
    bound
        The circulation bound; becomes a constraint.
    known
        A valid plan that serves all visits, given as a hint; its lateness is `late_limit`.
    late_limit
        Lateness that is good enough to beat; None where no plan is known.
    search
        Limits.
    most_loads
        At most so many loads a pool of machines; the result then proves nothing.
    told
        Called with (minutes late, bound) of each better solution.
    """
    model = ExactModel(day, late_limit=late_limit, late_floor=bound.minutes, most_loads=most_loads)
    if known is not None and not model.impossible:
        model.hint(known)
    return model.solve(search, told), model
