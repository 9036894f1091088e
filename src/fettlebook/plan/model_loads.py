"""Sets and machines in the exact model: which uses may come back, in which loads, by which cycles, after which tests.

Equal machines are one pool of loads in order of their start; within a type on one chair, sets come back in the order in
which they were cleared. Both only leave out plans that another plan, as good, stands for.
"""

from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from fettlebook.plan.constraints import at_most, chain
from fettlebook.plan.instance import Instance, Machine, Work
from fettlebook.plan.rows import Node, Row, rows
from fettlebook.plan.set_ways import MachineKind, SetWays

Ride = tuple[int, int, int]  # start of unloading, group of machines, place among its loads


@dataclass(slots=True)
class SetItem:
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
class PoolLoad:
    """A load of a pool of equal machines, used or not."""

    start: Any  # start of loading
    unload: Any
    size: Any
    used: Any
    intervals: list[Any]
    unused_at: int  # where its start stands if it is not used
    taken: int  # minutes that it holds a machine, at least
    cycles: dict[str, Any] = field(default_factory=dict)  # cycle -> bool, where there is a choice


@dataclass(slots=True)
class MachinePool:
    """Equal machines, with their loads in order, and the tests of each: whether and when."""

    machines: tuple[Machine, ...]
    loads: list[PoolLoad]
    tests: list[tuple[Any, list[Any]]] = field(default_factory=list)


class LoadsModel:
    """The part of the exact model in which sets go round."""

    def __init__(self, day: Instance, *, late_limit: int | None = None) -> None:
        from ortools.sat.python import cp_model  # noqa: PLC0415 - brings pandas with it; only who solves pays

        self.cp, self.day, self.ways = cp_model, day, SetWays(day)
        self.room = {c.id: c.room for c in day.chairs}
        self.way_out = {v.id: self.ways.to_chair(self.room[v.chair]) for v in day.visits}
        self.m = cp_model.CpModel()
        self.rows: tuple[Row, ...] = rows(day, late_limit=late_limit)
        self.starts: dict[Node, Any] = {}
        self.jobs: list[tuple[Work, Any, int, Any]] = []  # kind of work, start, minutes, presence (None: always)
        self.items: list[SetItem] = []
        self.pools: dict[MachineKind, list[MachinePool]] = {}
        self.capped = False  # loads were capped: infeasible and optimal then prove nothing

    def add_sets_and_machines(self, most_loads: int | None) -> None:
        """Add the sets that may go round, the loads that may carry them, and what links the two."""
        self.items = self.find_items()
        first: dict[MachineKind, int] = {"bath": self.first_dirty(), "wash": self.first_dirty(), "sterilize": self.first_packed()}
        self.pools = {kind: self.groups(kind, most_loads, begin) for kind, begin in first.items()}
        self.link()

    def find_items(self) -> list[SetItem]:
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
                        items.append(SetItem(t, v.id, row.chair, cleared, earliest, self.m.new_bool_var(""), ready))
        return items

    def first_dirty(self) -> int:
        """Return the first minute at which a set that goes round can be dirty."""
        return min((i.earliest for i in self.items), default=self.day.day_end)

    def first_packed(self) -> int:
        """Return the first minute at which such a set can be packed."""
        r, quickest = self.day.reprocess, min((m.minutes for m in self.day.washers), default=0)
        start = max(self.first_dirty() + r.load_minutes, min((m.not_before for m in self.day.washers), default=0))
        return start + quickest + r.unload_minutes + r.pack_minutes

    def groups(self, kind: MachineKind, most: int | None, first: int) -> list[MachinePool]:
        """Pool machines that are equal in all that counts; the b-th load of a pool starts no earlier than the one before."""
        r, end = self.day.reprocess, self.day.day_end
        places = self.day.places()
        pools: dict[Machine, list[Machine]] = {}
        for m in self.ways.machines[kind]:
            pools.setdefault(m.model_copy(update={"id": ""}), []).append(m)
        out: list[MachinePool] = []
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
                loads.append(PoolLoad(start, unload, size, used, [hold], late, taken))
                self.choose_cycle(loads[-1], like)
            for a, b2 in pairwise(loads):
                self.m.add(a.start <= b2.start)
                self.m.add_implication(b2.used, a.used)
            for a, b2 in zip(loads, loads[len(pool) :], strict=False):
                # With n equal machines, load b + n waits until load b's machine could have been freed.
                self.m.add(b2.start >= a.start + taken)
            group = MachinePool(tuple(pool), loads)
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

    def may_ride(self, machine: Machine, kind: MachineKind, item: SetItem) -> bool:
        """Whether a set goes to such a machine at all."""
        way = self.ways.types[item.kind]
        return (kind != "bath" or way.bath) and machine.cycle_for([way.rides]) is not None

    def choose_cycle(self, load: PoolLoad, machine: Machine) -> None:
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

    def ride_together(self, load: PoolLoad, machine: Machine, inside: list[tuple[str, Any]]) -> None:
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

    def tests_first(self, group: MachinePool) -> list[Any]:
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

    def from_bath(self, item: SetItem) -> None:
        """Out of the bath, then into the washer."""
        for g, b, here in item.rides["bath"]:
            bath, room = self.pools["bath"][g].loads[b], self.pools["bath"][g].machines[0].room
            for h, c, there in item.rides["wash"]:
                wash = self.pools["wash"][h]
                on = self.day.reprocess.unload_minutes + self.ways.lag(room, wash.machines[0].room)
                self.m.add(wash.loads[c].start >= bath.unload + on).only_enforce_if([here, there])

    def in_order(self, own: list[SetItem]) -> None:
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
