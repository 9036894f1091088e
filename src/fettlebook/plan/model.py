"""The exact model: chairs, people, sets, washers and sterilizers of one day for OR-tools CP-SAT.

One interval per attended step; people as pools, named afterwards; equal machines as one pool of loads in order of their
start; per set type a pool of units, each away from a visit's start until it is usable again. What is interchangeable
(units of a type, equal machines, people) is never told apart inside the model, and `naming` names it afterwards.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from fettlebook.plan.bound import Bound, Search, add_circulation, add_people, add_rows, lateness, round_up
from fettlebook.plan.constraints import at_most, chain, one_at_a_time
from fettlebook.plan.instance import Instance, Machine, Plan, Work
from fettlebook.plan.naming import Load, Tested, Unnamed, name_all
from fettlebook.plan.rows import Row, rows, starts_of
from fettlebook.plan.set_ways import MachineKind, SetWays


@dataclass(frozen=True, slots=True)
class Exact:
    """What the exact model found. `bound`: no plan that serves these visits is less late; `possible` False: none serves all."""

    plan: Plan | None
    bound: int
    proven: bool
    possible: bool | None
    seconds: float


_Ride = tuple[int, int, int]  # start of unloading, group of machines, place among its loads


@dataclass(slots=True)
class _Item:
    """A use of one set that may come back in time for another visit."""

    kind: str
    visit: str
    chair: str
    cleared: Any  # expression: the minute at which it is dirty
    earliest: int  # ... at the earliest
    back: Any  # bool: is reprocessed
    ready: Any  # the minute at which it is usable again (end of the day: stays out)
    pack: Any = None
    rides: dict[MachineKind, list[tuple[int, int, Any]]] = field(  # group, load, bool
        default_factory=lambda: {"bath": [], "wash": [], "sterilize": []}
    )


@dataclass(slots=True)
class _Load:
    start: Any  # start of loading
    unload: Any
    size: Any
    used: Any
    intervals: list[Any]
    unused_at: int  # where its start stands if it is not used
    taken: int  # minutes that it holds a machine, at least
    cycles: dict[str, Any] = field(default_factory=dict)  # cycle -> bool, where there is a choice


@dataclass(slots=True)
class _Group:
    """Equal machines, with their loads in order, and the tests of each: whether and when."""

    machines: tuple[Machine, ...]
    loads: list[_Load]
    tests: list[tuple[Any, list[Any]]] = field(default_factory=list)


class ExactModel:
    """The day as constraints; build once, then minimise one objective after the other."""

    def __init__(
        self, day: Instance, *, late_limit: int | None = None, late_floor: int = 0, most_loads: int | None = None, named: bool = False
    ) -> None:
        from ortools.sat.python import cp_model  # noqa: PLC0415 - brings pandas with it; only who solves pays

        self.cp, self.day, self.named, self.ways = cp_model, day, named, SetWays(day)
        self.room = {c.id: c.room for c in day.chairs}
        self.way_out = {v.id: self.ways.to_chair(self.room[v.chair]) for v in day.visits}
        self.m = cp_model.CpModel()
        self.rows: tuple[Row, ...] = rows(day, late_limit=late_limit)
        self.away_sizes: list[tuple[Any, str, _Item | None]] = []
        self.ready_hints: dict[int, int] = {}
        self.capped = False  # loads were capped: infeasible and optimal then prove nothing
        self.impossible = any(r.impossible() for r in self.rows)
        if self.impossible:
            return
        self.starts = add_rows(self.m, self.rows)
        self.jobs: list[tuple[Work, Any, int, Any]] = []  # kind of work, start, minutes, presence (None: always)
        for n, s in self.starts.items():
            if n.attended:
                self.jobs.append(("chairs", s, n.minutes, None))
        self.items = self.find_items()
        first: dict[MachineKind, int] = {"bath": self.first_dirty(), "wash": self.first_dirty(), "sterilize": self.first_packed()}
        self.pools = {kind: self.groups(kind, most_loads, begin) for kind, begin in first.items()}
        self.outages()
        self.link()
        self.sets()
        add_circulation(self.m, day, self.rows, self.starts, set())
        self.people()
        self.late = lateness(day, self.starts)
        if late_floor:
            self.m.add(self.late >= late_floor)
        if late_limit is not None:
            self.m.add(self.late <= late_limit)

    # --- sets that go round ------------------------------------------------------------------------------------

    def find_items(self) -> list[_Item]:
        """Every use of a scarce set that can be back before another visit's latest start."""
        if not self.day.washers or not self.day.sterilizers:
            return []
        latest_start: dict[str, list[tuple[int, str]]] = {}
        visits = {v.id: v for v in self.day.visits}
        for n in self.starts:
            if n.procedure is None and n.visit:
                for t in visits[n.visit].needs():
                    latest_start.setdefault(t, []).append((n.latest - self.ways.to_chair(self.room[n.chair]), n.visit))
        totals = {t: sum(v.needs().get(t, 0) for v in self.day.visits) for t in latest_start}
        items = []
        for row in self.rows:
            for v in self.day.visits_of(row.chair):
                at, after = row.cleared[v.id]
                node = row.nodes[at]
                for t, count in v.needs().items():
                    if totals[t] <= self.day.owned()[t]:
                        continue  # never scarce: none need come back
                    way = self.ways.shortest(self.room[row.chair], t)
                    if not any(s >= node.earliest + after + way for s, other in latest_start[t] if other != v.id):
                        continue
                    for _ in range(count):
                        ready = self.m.new_int_var(0, self.day.day_end, "")
                        cleared, earliest = self.starts[node] + after, node.earliest + after
                        items.append(_Item(t, v.id, row.chair, cleared, earliest, self.m.new_bool_var(""), ready))
        return items

    def first_dirty(self) -> int:
        """Return the first minute at which a set that goes round can be dirty."""
        return min((i.earliest for i in self.items), default=self.day.day_end)

    def first_packed(self) -> int:
        """Return the first minute at which such a set can be packed."""
        r, quickest = self.day.reprocess, min((m.minutes for m in self.day.washers), default=0)
        start = max(self.first_dirty() + r.load_minutes, min((m.not_before for m in self.day.washers), default=0))
        return start + quickest + r.unload_minutes + r.pack_minutes

    def groups(self, kind: MachineKind, most: int | None, first: int) -> list[_Group]:
        """Pool machines that are equal in all that counts; the b-th load of a pool starts no earlier than the one before."""
        r, end = self.day.reprocess, self.day.day_end
        places = self.day.places()
        pools: dict[Machine, list[Machine]] = {}
        for m in self.ways.machines[kind]:
            pools.setdefault(m.model_copy(update={"id": ""}), []).append(m)
        out: list[_Group] = []
        for like, pool in pools.items():
            capacity, minutes, not_before = like.capacity, like.minutes, like.not_before
            taken = r.load_minutes + minutes + r.unload_minutes
            begin = max(first, not_before - r.load_minutes)
            rounds = max(0, (end - begin) // taken)
            riding = [i for i in self.items if self.may_ride(like, kind, i)]
            count = min(len(riding), rounds * len(pool))
            if most is not None and most < count:
                self.capped, count = True, most
            loads = []
            for b in range(count):
                low = begin + (b // len(pool)) * taken
                used = self.m.new_bool_var("")
                start = self.m.new_int_var(low, end + b * taken, "")
                unload = self.m.new_int_var(low + r.load_minutes + minutes, end + (b + 1) * taken, "")
                self.m.add(unload >= start + r.load_minutes + minutes)
                # An unused load has no freedom: it stands after the day, each later than the one before.
                late = end + b * taken
                self.m.add(start <= end).only_enforce_if(used)
                self.m.add(start == late).only_enforce_if(used.negated())
                self.m.add(unload == late + r.load_minutes + minutes).only_enforce_if(used.negated())
                size = self.m.new_int_var(taken, end + (b + 2) * taken, "")
                hold = self.m.new_optional_interval_var(start, size, unload + r.unload_minutes, used, "")
                self.jobs.append(("instruments", start, r.load_minutes, used))
                self.jobs.append(("instruments", unload, r.unload_minutes, used))
                loads.append(_Load(start, unload, size, used, [hold], late, taken))
                self.choose_cycle(loads[-1], like)
            for a, b2 in pairwise(loads):
                self.m.add(a.start <= b2.start)
                self.m.add_implication(b2.used, a.used)
            for a, b2 in zip(loads, loads[len(pool) :], strict=False):
                # With n equal machines, load b + n waits until load b's machine could have been freed.
                self.m.add(b2.start >= a.start + taken)
            group = _Group(tuple(pool), loads)
            untested = self.tests_first(group) if like.tests and loads else []
            at_most(self.m, [i for x in loads for i in x.intervals] + untested, [1] * (len(loads) + len(untested)), len(pool))
            for x, load in enumerate(loads):
                inside = []
                for item in riding:
                    if kind == "wash" and item.earliest > end - taken:
                        continue
                    here = self.m.new_bool_var("")
                    item.rides[kind].append((len(out), x, here))
                    inside.append((item.kind, here))
                self.m.add(sum(places[t] * here for t, here in inside) <= capacity * load.used)
                self.m.add(sum(here for _, here in inside) >= load.used)
                self.ride_together(load, like, inside)
            out.append(group)
        return out

    def may_ride(self, machine: Machine, kind: MachineKind, item: _Item) -> bool:
        """Whether a set goes to such a machine at all."""
        way = self.ways.types[item.kind]
        return (kind != "bath" or way.bath) and machine.cycle_for([way.rides]) is not None

    def choose_cycle(self, load: _Load, machine: Machine) -> None:
        """Let a load run one of the machine's cycles, and as long as that one."""
        if not machine.cycles:
            return
        load.cycles = {c.id: self.m.new_bool_var("") for c in machine.cycles}
        self.m.add_exactly_one(load.cycles.values())
        for c in machine.cycles:
            if c.minutes > machine.minutes:
                # One that isn't used stands as if it ran the quickest.
                self.m.add(load.unload >= load.start + self.day.reprocess.load_minutes + c.minutes).only_enforce_if(load.cycles[c.id])
                self.m.add_implication(load.cycles[c.id], load.used)

    def ride_together(self, load: _Load, machine: Machine, inside: list[tuple[str, Any]]) -> None:
        """Let only what may ride the chosen cycle be inside, and nothing beside what it must be kept apart from."""
        for t, here in inside:
            rides = self.ways.types[t].rides
            if machine.cycles and rides:
                self.m.add_bool_or([load.cycles[c.id] for c in machine.cycles if c.kind in rides]).only_enforce_if(here)
        for a, b in self.day.apart:
            if a == b:
                self.m.add(sum(here for t, here in inside if t == a) <= 1)
                continue
            holds = self.m.new_bool_var("")
            for t, here in inside:
                if t == a:
                    self.m.add_implication(here, holds)
                elif t == b:
                    self.m.add_implication(here, holds.negated())

    def tests_first(self, group: _Group) -> list[Any]:
        """Add the tests of each machine of a pool; returns the stretches in which a machine takes no load yet."""
        end, untested = self.day.day_end, []
        for machine in group.machines:
            done = self.m.new_bool_var("")
            starts = [self.m.new_int_var(min(end, machine.not_before), end, "") for _ in machine.tests]
            chain(self.m, starts, [t.minutes for t in machine.tests])
            for s, t in zip(starts, machine.tests, strict=True):
                if t.attended_minutes:
                    self.jobs.append(("instruments", s, t.attended_minutes, done))
            horizon = end + (len(group.loads) + 2) * group.loads[0].taken
            ready = self.m.new_int_var(0, horizon, "")
            self.m.add(ready >= starts[-1] + machine.tests[-1].minutes).only_enforce_if(done)
            self.m.add(ready == end).only_enforce_if(done.negated())
            untested.append(self.m.new_interval_var(0, ready, ready, ""))
            group.tests.append((done, starts))
        return untested

    def outages(self) -> None:
        """Let nothing begin on a chair that would meet a time in which it is out of service."""
        for row in self.rows:
            out = next(c for c in self.day.chairs if c.id == row.chair).out
            for a, b in out:
                closed = self.m.new_fixed_size_interval_var(a, b - a, "")
                own = [self.m.new_fixed_size_interval_var(self.starts[n], n.minutes, "") for n in row.nodes]
                for interval in own:
                    one_at_a_time(self.m, [interval, closed])

    def link(self) -> None:
        """An item that comes back: cleared -> in one washer load -> packed -> in one sterilizer load -> cooled -> ready."""
        r, m, end = self.day.reprocess, self.m, self.day.day_end
        for item in self.items:
            item.pack = m.new_int_var(min(end, item.earliest), end, "")
            way = self.ways.types[item.kind]
            self.jobs.append(("instruments", item.pack, way.pack, item.back))
            for kind in self.kinds(item.kind):
                m.add(sum(h for _, _, h in item.rides[kind]) == item.back)
            m.add(item.ready == end).only_enforce_if(item.back.negated())
            first, room = self.kinds(item.kind)[0], self.room[item.chair]
            for g, b, here in item.rides[first]:
                there = self.pools[first][g].machines[0].room
                m.add(self.pools[first][g].loads[b].start >= item.cleared + self.ways.lag(room, there)).only_enforce_if(here)
            if way.bath:
                self.from_bath(item)
            for g, b, here in item.rides["wash"]:
                load, there = self.pools["wash"][g].loads[b], self.pools["wash"][g].machines[0].room
                out = r.unload_minutes + way.dry + self.ways.lag(there, self.ways.store)
                m.add(item.pack >= load.unload + out).only_enforce_if(here)
            for g, b, here in item.rides["sterilize"]:
                load, there = self.pools["sterilize"][g].loads[b], self.pools["sterilize"][g].machines[0].room
                on_the_way = self.ways.lag(self.ways.store, there)
                m.add(load.start >= item.pack + way.pack + on_the_way).only_enforce_if(here)
                m.add(item.ready >= load.unload + r.unload_minutes + r.cool_minutes + on_the_way).only_enforce_if(here)
        for t in {i.kind for i in self.items}:
            own = [i for i in self.items if i.kind == t]
            total = sum(v.needs().get(t, 0) for v in self.day.visits)
            # A fresh unit serves wherever a returned one would, so exactly the missing number must come back.
            m.add(sum(i.back for i in own) == total - self.day.owned()[t])
            self.in_order(own)

    def kinds(self, type_id: str) -> tuple[MachineKind, ...]:
        """Return through which kinds of machine a type goes, in order."""
        return ("bath", "wash", "sterilize") if self.ways.types[type_id].bath else ("wash", "sterilize")

    def from_bath(self, item: _Item) -> None:
        """Out of the bath, then into the washer."""
        for g, b, here in item.rides["bath"]:
            bath, room = self.pools["bath"][g].loads[b], self.pools["bath"][g].machines[0].room
            for h, c, there in item.rides["wash"]:
                wash = self.pools["wash"][h]
                on = self.day.reprocess.unload_minutes + self.ways.lag(room, wash.machines[0].room)
                self.m.add(wash.loads[c].start >= bath.unload + on).only_enforce_if([here, there])

    def in_order(self, own: list[_Item]) -> None:
        """Within a type, on one chair, the earlier cleared set comes back first: any plan can be swapped into this order."""
        for a, b in pairwise(own):
            if a.chair != b.chair:
                continue
            self.m.add_implication(b.back, a.back)
            for kind, groups in self.pools.items():
                first, second = a.rides[kind], b.rides[kind]
                if len(groups) == 1 and first and second:
                    # By each load, at least as much of the earlier set has ridden as of the later one.
                    ridden_first, ridden_second = {x: h for _, x, h in first}, {x: h for _, x, h in second}
                    for x in ridden_second:
                        earlier = sum(h for y, h in ridden_first.items() if y <= x)
                        self.m.add(earlier >= sum(h for y, h in ridden_second.items() if y <= x))

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

    def hint(self, plan: Plan) -> None:
        """Give the solver a known plan to begin with."""
        self.m.clear_hints()  # type: ignore[no-untyped-call]
        for row in self.rows:
            for n, s in zip(row.nodes, starts_of(plan, row), strict=True):
                self.m.add_hint(self.starts[n], s)
        self.hint_loads(plan)

    def hint_loads(self, plan: Plan) -> None:
        """Hint the loads, and within each type the sets inside in the order that the model keeps."""
        cleared: dict[str, int] = {}
        for row in self.rows:
            starts = starts_of(plan, row)
            cleared |= {v: starts[at] + after for v, (at, after) in row.cleared.items()}
        kind_of = {m.id: kind for kind, machines in self.ways.machines.items() for m in machines}
        place: dict[tuple[MachineKind, int], int] = {}
        rides: dict[tuple[MachineKind, str], list[_Ride]] = {}  # by kind of machine and type, in order
        for b in sorted(plan.batches, key=lambda b: b.load_start):
            kind = kind_of[b.machine]
            groups = self.pools[kind]
            g = next(i for i, x in enumerate(groups) if any(m.id == b.machine for m in x.machines))
            at = place[kind, g] = place.get((kind, g), -1) + 1
            if at >= len(groups[g].loads):
                return
            load = groups[g].loads[at]
            out = b.unload_start if b.unload_start is not None else b.start
            self.m.add_hint(load.start, b.load_start)
            self.m.add_hint(load.unload, out)
            self.m.add_hint(load.size, out + self.day.reprocess.unload_minutes - b.load_start)
            self.m.add_hint(load.used, 1)
            for cycle, chosen in load.cycles.items():
                self.m.add_hint(chosen, cycle == b.cycle)
            for u in b.units:
                rides.setdefault((kind, u.rpartition("#")[0]), []).append((out, g, at))
        for kind, groups in self.pools.items():
            for g, group in enumerate(groups):
                for load in group.loads[place.get((kind, g), -1) + 1 :]:
                    self.m.add_hint(load.used, 0)
                    self.m.add_hint(load.start, load.unused_at)
                    self.m.add_hint(load.unload, load.unused_at + load.taken - self.day.reprocess.unload_minutes)
                    self.m.add_hint(load.size, load.taken)
        packs: dict[str, list[int]] = {}
        for k in sorted(plan.packs, key=lambda k: k.start):
            packs.setdefault(k.unit.rpartition("#")[0], []).append(k.start)
        for t in {i.kind for i in self.items}:
            own = sorted((i for i in self.items if i.kind == t), key=lambda i: cleared[i.visit])
            self.hint_items(own, {kind: rides.get((kind, t), []) for kind in self.kinds(t)}, packs.get(t, []))
        self.hint_sizes(plan)

    def hint_items(self, own: list[_Item], known: dict[MachineKind, list[_Ride]], packs: list[int]) -> None:
        """Hint which sets of a type come back, and by which loads."""
        for k, item in enumerate(own):
            back = k < min(len(packs), *(len(rides) for rides in known.values()))
            self.m.add_hint(item.back, back)
            self.m.add_hint(item.pack, packs[k] if back else min(self.day.day_end, item.earliest))
            r = self.day.reprocess
            ready = known["sterilize"][k][0] + r.unload_minutes + r.cool_minutes if back else self.day.day_end
            self.ready_hints[id(item)] = min(ready, self.day.day_end)
            self.m.add_hint(item.ready, self.ready_hints[id(item)])
            for kind, rides in known.items():
                for g, b, here in item.rides[kind]:
                    self.m.add_hint(here, back and (g, b) == rides[k][1:])

    def hint_sizes(self, plan: Plan) -> None:
        """Hint how long each set is away; a hint that is whole is taken at once."""
        start = {v.id: v.start for v in plan.visits}
        for size, visit, item in self.away_sizes:
            until = self.day.day_end + 1 if item is None else self.ready_hints[id(item)]
            self.m.add_hint(size, until - start[visit] + self.way_out[visit])

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
