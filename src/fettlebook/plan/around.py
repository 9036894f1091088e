"""A part of a day planned better while all the rest of a valid plan stays: the model of one neighbourhood.

Comes in: an instance, a valid plan of it, and the part that is free: what begins in a stretch of the day may move inside
it, and some sets may ride other loads. Goes out: a plan, complete and named, that is less late, or None. What is not
free is told to the solver as fixed numbers, so the model is as small as the part, however large the day.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from fettlebook.plan.around_named import NewLoad, Retimed, renamed
from fettlebook.plan.bound import Search, add_people
from fettlebook.plan.check import check_plan
from fettlebook.plan.constraints import at_most
from fettlebook.plan.instance import Batch, Instance, Machine, Plan, Visit, Work
from fettlebook.plan.rows import Node, Row, rows, starts_of
from fettlebook.plan.set_ways import MachineKind, SetWays
from fettlebook.plan.trips import Trip, machine_kinds, trips_of

LATE = 1000  # one weighted minute late counts as much as this many minutes of broken promises


@dataclass(frozen=True, slots=True)
class Part:
    """What is free. `loose`: numbers of the trips (in the order of `trips_of`) whose loads may be others, up to `reach` away."""

    begin: int
    end: int
    loose: frozenset[int] = frozenset()
    reach: int = 1


@dataclass(frozen=True, slots=True)
class Frame:
    """What a day and its plan are, reckoned once for many neighbourhoods of the same plan."""

    day: Instance
    plan: Plan
    rows: tuple[Row, ...]
    start: dict[Node, int]
    trips: list[Trip]
    ways: SetWays
    kinds: dict[str, MachineKind]

    @classmethod
    def of(cls, day: Instance, plan: Plan, before: "Frame | None" = None) -> "Frame":
        """Return the frame of a valid plan that serves all visits of the day; `before`: of another plan of the same day."""
        own = rows(day) if before is None else before.rows
        start = {n: s for row in own for n, s in zip(row.nodes, starts_of(plan, row), strict=True)}
        ways, kinds = (SetWays(day), machine_kinds(day)) if before is None else (before.ways, before.kinds)
        return cls(day, plan, own, start, trips_of(day, plan), ways, kinds)


@dataclass(frozen=True, slots=True)
class Found:
    """What one neighbourhood gave. `exhausted`: nothing better is in it; `work`: the solver's own count."""

    plan: Plan | None
    exhausted: bool
    work: float


@dataclass(slots=True)
class _Load:
    """A load of the plan, or one more that may be used. Times are numbers where they are fixed."""

    number: int  # in the plan; -1: one more
    machine: Machine
    minutes: int
    start: Any
    unload: Any
    used: Any = True
    riders: list[tuple[str, Any]] = field(default_factory=list)  # set type, bool or True


class Around:
    """The model of one part."""

    def __init__(self, frame: Frame, part: Part, promised: Mapping[str, int] | None = None) -> None:
        from ortools.sat.python import cp_model  # noqa: PLC0415 - brings pandas with it; only who solves pays

        self.cp, self.m = cp_model, cp_model.CpModel()
        self.f, self.part, self.day, self.plan = frame, part, frame.day, frame.plan
        self.r = self.day.reprocess
        self.jobs: dict[Work, list[Any]] = {"chairs": [], "instruments": []}
        self.top = part.end  # nothing that may move ends after this
        self.chairs_in_part()
        self.loads = [self.load_of(i, b) for i, b in enumerate(self.plan.batches)]
        self.packs: list[Any] = [k.start for k in self.plan.packs]
        self.rides: dict[tuple[int, MachineKind], dict[int, Any]] = {}  # (trip, kind) -> load -> bool
        self.back: dict[int, Any] = {}
        self.loose_packs: dict[int, Any] = {}
        self.spare_loads()
        self.trips()
        self.capacities()
        self.machines()
        self.sets()
        self.people()
        self.objective(promised or {})

    # --- what may move -------------------------------------------------------------------------------------------

    def free(self, minute: int) -> bool:
        """Whether what begins at a minute of the plan may begin at another."""
        return self.part.begin <= minute < self.part.end

    def minute(self, at: int, low: int, high: int) -> Any:
        """Return a variable for what begins at `at` in the plan, or `at` itself where it is fixed."""
        if not self.free(at):
            return at
        low, high = max(low, self.part.begin), min(high, max(at, self.part.end - 1))
        if low >= high:
            return at
        x = self.m.new_int_var(low, high, "")
        self.m.add_hint(x, at)
        return x

    def chairs_in_part(self) -> None:
        """Each chair's chain; a chair with an outage or a duty of its own stays as it is."""
        kept = {c.id for c in self.day.chairs if c.out} | {d.subject for d in self.day.duties}
        self.start: dict[Node, Any] = {}
        for row in self.f.rows:
            for i, n in enumerate(row.nodes):
                at = self.f.start[n]
                s = at if row.chair in kept or n.earliest == n.latest else self.minute(at, n.earliest, n.latest)
                self.start[n] = s
                if i:
                    before = row.nodes[i - 1]
                    self.after(s, self.start[before], before.minutes + before.gap)
                if n.attended:
                    self.job("chairs", s, n.minutes)

    def after(self, later: Any, earlier: Any, gap: int, when: Any = True) -> None:
        """Let one thing begin so long after another, where at least one of them may move."""
        if isinstance(later, int) and isinstance(earlier, int) and when is True:
            return
        constraint = self.m.add(later >= earlier + gap)
        if when is not True:
            constraint.only_enforce_if(when)

    def job(self, work: Work, start: Any, minutes: int, when: Any = True) -> None:
        """Give attended work to the people; what is fixed and far from the part needs no mention."""
        if not minutes or (isinstance(start, int) and when is True and not self.meets(start, start + minutes)):
            return
        if when is True:
            self.jobs[work].append(self.m.new_fixed_size_interval_var(start, minutes, ""))
        else:
            self.jobs[work].append(self.m.new_optional_fixed_size_interval_var(start, minutes, when, ""))

    def meets(self, start: int, end: int) -> bool:
        """Whether a fixed stretch can meet what may move: anything that moves begins inside the part."""
        return end > self.part.begin and start < self.part.end + self.longest()

    def longest(self) -> int:
        """Return the longest that attended work lasts."""
        steps = [s.minutes for c in self.day.chairs for s in (*c.opening, *c.turnover, *c.closing)]
        return max([*steps, *self.day.pack_minutes().values(), self.r.load_minutes, self.r.unload_minutes])

    # --- loads ---------------------------------------------------------------------------------------------------

    def load_of(self, number: int, b: Batch) -> _Load:
        """Return a load of the plan, free where it begins in the part; a bath is not moved."""
        machine = next(m for m in (*self.day.baths, *self.day.washers, *self.day.sterilizers) if m.id == b.machine)
        minutes = machine.cycle_minutes(b.cycle)
        out = b.unload_start if b.unload_start is not None else b.start + minutes
        if self.f.kinds[b.machine] == "bath":
            load = _Load(number, machine, minutes, b.load_start, out)
        else:
            first = self.first_load(machine)
            start = self.minute(b.load_start, first, self.day.day_end)
            unload = self.minute(out, first + self.r.load_minutes + minutes, self.day.day_end)
            load = _Load(number, machine, minutes, start, unload)
            self.after(unload, start, self.r.load_minutes + minutes)
        if self.may_empty(number):
            load.used = self.m.new_bool_var("")
            self.m.add_hint(load.used, 1)
        self.job("instruments", load.start, self.r.load_minutes, load.used)
        self.job("instruments", load.unload, self.r.unload_minutes, load.used)
        return load

    def first_load(self, machine: Machine) -> int:
        """Return the first minute at which a machine may be loaded: warm, and its tests over as the plan has them."""
        tested = [t.start + machine.tests[t.index].minutes for t in self.plan.tests if t.machine == machine.id]
        return max([machine.not_before - self.r.load_minutes, *tested])

    def may_empty(self, number: int) -> bool:
        """Whether all that a load holds may ride another one."""
        if not self.part.loose or self.plan.batches[number].load_start < self.part.begin:
            return False
        own = [i for i, t in enumerate(self.f.trips) if number in t.loads.values()]
        return all(i in self.part.loose for i in own)

    def spare_loads(self) -> None:
        """One more load for each machine, where sets are loose: smaller loads come back sooner."""
        if not self.part.loose:
            return
        for machine in (*self.day.washers, *self.day.sterilizers):
            if machine.cycles or (machine.tests and not any(t.machine == machine.id for t in self.plan.tests)):
                continue
            low = max(self.part.begin, self.first_load(machine))
            if low >= self.part.end:
                continue
            used = self.m.new_bool_var("")
            start = self.m.new_int_var(low, self.part.end, "")
            done = self.r.load_minutes + machine.minutes
            unload = self.m.new_int_var(low + done, self.part.end + done, "")
            self.m.add(unload >= start + done)
            for x, hint in ((used, 0), (start, low), (unload, low + done)):
                self.m.add_hint(x, hint)
            self.loads.append(_Load(-1, machine, machine.minutes, start, unload, used))
            self.job("instruments", start, self.r.load_minutes, used)
            self.job("instruments", unload, self.r.unload_minutes, used)

    def candidates(self, trip: Trip, kind: MachineKind, dirty: int) -> list[int]:
        """Return the loads that a loose set may ride: those around its own in time, and spare ones."""
        ours = [i for i, x in enumerate(self.loads) if self.f.kinds[x.machine.id] == kind and self.fits(x, trip)]
        planned = sorted((i for i in ours if self.loads[i].number >= 0), key=lambda i: self.plan.batches[i].load_start)
        own = trip.loads.get(kind)
        at = planned.index(own) if own in planned else sum(self.plan.batches[i].load_start < dirty for i in planned)
        near = planned[max(0, at - self.part.reach) : at + self.part.reach + 1]
        near = [i for i in near if i == own or self.plan.batches[i].load_start >= self.part.begin]
        return near + [i for i in ours if self.loads[i].number < 0]

    def fits(self, load: _Load, trip: Trip) -> bool:
        """Whether a set may ride a load beside what is in it; where types keep apart or need cycles, only with its like."""
        way = self.f.ways.types[trip.kind]
        if load.number < 0:
            return not way.apart
        inside = {u.rpartition("#")[0] for u in self.plan.batches[load.number].units}
        return trip.kind in inside or not (way.apart or load.machine.cycles)

    # --- sets ----------------------------------------------------------------------------------------------------

    def trips(self) -> None:
        """Each set: cleared, ridden, packed, ridden, usable; loose ones by loads that may change."""
        nodes = {n.visit: n for row in self.f.rows for n in row.nodes if n.procedure is None}
        chair_of, room = {v.id: v.chair for v in self.day.visits}, {c.id: c.room for c in self.day.chairs}
        self.away: dict[str, list[tuple[Any, Any]]] = {}
        cleared = {v: (row.nodes[k], after) for row in self.f.rows for v, (k, after) in row.cleared.items()}
        returned: dict[str, list[tuple[Any, bool]]] = {}
        for number, t in enumerate(self.f.trips):
            node, after = cleared[t.visit]
            here = room[chair_of[t.visit]]
            dirty = self.start[node] + after
            if number in self.part.loose:
                ready = self.loose_trip(number, t, dirty, self.f.start[node] + after, here)
                returned.setdefault(t.kind, []).append((self.back[number], t.whole))
            else:
                ready = self.fixed_trip(t, dirty, here)
            leaves = self.start[nodes[t.visit]] - self.f.ways.to_chair(here)
            self.away.setdefault(t.kind, []).append((leaves, ready))
        for pairs in returned.values():
            self.m.add(sum(back for back, _ in pairs) == sum(whole for _, whole in pairs))

    def lags(self, kind: str, load: _Load) -> tuple[int, int]:
        """Return the minutes after unloading: from a washer until it can be packed, from a sterilizer until it is usable."""
        on = self.f.ways.lag(load.machine.room, self.f.ways.store)
        return self.r.unload_minutes + self.f.ways.types[kind].dry + on, self.r.unload_minutes + self.r.cool_minutes + on

    def fixed_trip(self, t: Trip, dirty: Any, here: str | None) -> Any:
        """Hold the order of a set's stages, and return when it is usable again."""
        ways, at, gap = self.f.ways, dirty, 0
        for kind in ("bath", "wash"):
            if kind in t.loads:
                load = self.loads[t.loads[kind]]
                room = here if at is dirty else None
                self.after(load.start, at, gap + (ways.lag(room, load.machine.room) if at is dirty else 0))
                load.riders.append((t.kind, True))
                at, gap = load.unload, self.r.unload_minutes
                if kind == "bath":
                    gap += ways.to_machines(load.machine.room, "wash")
                else:
                    gap = self.lags(t.kind, load)[0]
        if t.pack is not None:
            pack = self.packs[t.pack] = self.minute(self.plan.packs[t.pack].start, 0, self.day.day_end)
            self.job("instruments", pack, ways.types[t.kind].pack)
            self.after(pack, at, gap)
            at, gap = pack, ways.types[t.kind].pack
        if not t.whole:
            return None
        load = self.loads[t.loads["sterilize"]]
        self.after(load.start, at, gap + ways.lag(ways.store, load.machine.room))
        load.riders.append((t.kind, True))
        return load.unload + self.lags(t.kind, load)[1]

    def loose_trip(self, number: int, t: Trip, dirty: Any, dirty_was: int, here: str | None) -> Any:
        """Let a set ride other loads than it did, or stay used while another of its type comes back; returns when it is usable."""
        ways, m, end = self.f.ways, self.m, self.day.day_end
        back = self.back[number] = m.new_bool_var("")
        m.add_hint(back, t.whole)
        was = self.plan.packs[t.pack].start if t.pack is not None and t.whole else min(end, dirty_was)
        pack, ready = m.new_int_var(min(was, self.part.begin), end, ""), m.new_int_var(0, end, "")
        self.loose_packs[number] = pack
        m.add_hint(pack, was)
        m.add_hint(ready, self.ready_was(t) if t.whole else end)
        self.job("instruments", pack, ways.types[t.kind].pack, back)
        m.add(ready == end).only_enforce_if(back.negated())
        for kind in ("wash", "sterilize"):
            near = {i: m.new_bool_var("") for i in self.candidates(t, kind, dirty_was)}
            self.rides[number, kind] = near
            m.add(sum(near.values()) == back)
            for i, rides in near.items():
                load = self.loads[i]
                m.add_hint(rides, i == t.loads.get(kind) and t.whole)
                load.riders.append((t.kind, rides))
                to_pack, to_use = self.lags(t.kind, load)
                if kind == "wash":
                    self.after(load.start, dirty, ways.lag(here, load.machine.room), rides)
                    self.after(pack, load.unload, to_pack, rides)
                else:
                    self.after(load.start, pack, ways.types[t.kind].pack + ways.lag(ways.store, load.machine.room), rides)
                    self.after(ready, load.unload, to_use, rides)
        return ready

    def ready_was(self, t: Trip) -> int:
        """Return when a set is usable again by the plan."""
        b = self.plan.batches[t.loads["sterilize"]]
        return min(self.day.day_end, (b.unload_start or 0) + self.lags(t.kind, self.loads[t.loads["sterilize"]])[1])

    def sets(self) -> None:
        """Never more sets of a type away than are owned."""
        owned, end = self.day.owned(), self.day.day_end + 1
        for kind, uses in self.away.items():
            intervals = []
            for leaves, ready in uses:
                until = end if ready is None else ready
                if isinstance(leaves, int) and isinstance(until, int):
                    if until > self.part.begin and leaves < end:
                        intervals.append(self.m.new_fixed_size_interval_var(leaves, max(0, until - leaves), ""))
                    continue
                size = self.m.new_int_var(0, 2 * end, "")
                intervals.append(self.m.new_interval_var(leaves, size, until, ""))
            at_most(self.m, intervals, [1] * len(intervals), owned[kind])

    # --- machines and people -------------------------------------------------------------------------------------

    def capacities(self) -> None:
        """No load holds more than its machine takes; one that is used holds something."""
        for load in self.loads:
            loose = [x for _, x in load.riders if x is not True]
            if not loose and load.used is True:
                continue
            size = sum(self.f.ways.types[t].places * x for t, x in load.riders)
            self.m.add(size <= load.machine.capacity * load.used)
            if load.used is not True:
                self.m.add(sum(x for _, x in load.riders) >= load.used)

    def machines(self) -> None:
        """Equal machines as one pool; a machine with tests or a duty of its own stands alone, so that its diary holds."""
        alone = {m.id for m in (*self.day.washers, *self.day.sterilizers) if m.tests} | {d.subject for d in self.day.duties}
        self.pool_of = {m.id: m if m.id in alone else m.model_copy(update={"id": ""}) for m in (*self.day.washers, *self.day.sterilizers)}
        pools: dict[Machine, list[Any]] = {}
        for load in self.loads:
            if load.machine.id not in self.pool_of:
                continue
            own = pools.setdefault(self.pool_of[load.machine.id], [])
            if isinstance(load.start, int) and isinstance(load.unload, int) and load.used is True:
                if load.unload + self.r.unload_minutes > self.part.begin:
                    own.append(self.m.new_fixed_size_interval_var(load.start, load.unload + self.r.unload_minutes - load.start, ""))
                continue
            end = load.unload + self.r.unload_minutes
            size = self.m.new_int_var(0, 2 * self.day.day_end, "")
            if load.used is True:
                own.append(self.m.new_interval_var(load.start, size, end, ""))
            else:
                own.append(self.m.new_optional_interval_var(load.start, size, end, load.used, ""))
        by_id = {d.id: d for d in self.day.duties}
        for duty in self.plan.duties:
            subject = by_id[duty.id].subject
            if subject in self.pool_of:
                pools.setdefault(self.pool_of[subject], []).append(
                    self.m.new_fixed_size_interval_var(duty.start, by_id[duty.id].minutes, "")
                )
        for like, intervals in pools.items():
            at_most(self.m, intervals, [1] * len(intervals), sum(p == like for p in self.pool_of.values()))

    def people(self) -> None:
        """Add the tests and duties as they stand, and let no more be done at once than there are people."""
        machines = {m.id: m for m in (*self.day.baths, *self.day.washers, *self.day.sterilizers)}
        for t in self.plan.tests:
            self.job("instruments", t.start, machines[t.machine].tests[t.index].attended_minutes)
        day, gone = self.day, {d.id: d for d in self.day.duties}
        busy = {p.id: [(a, b) for d in self.plan.duties if d.person == p.id for a, b in gone[d.id].hands(d.start)] for p in day.people}
        if any(busy.values()):  # a duty has its person: a break like any other
            people = tuple(p.model_copy(update={"breaks": tuple(sorted((*p.breaks, *busy[p.id])))}) for p in day.people)
            day = day.model_copy(update={"people": people})
        self.crew = day.people
        add_people(self.m, day, self.jobs)

    # --- better --------------------------------------------------------------------------------------------------

    def objective(self, promised: Mapping[str, int]) -> None:
        """Minimise weighted minutes late; then minutes by which promises are broken, where there are any."""
        visits: dict[str, Visit] = {v.id: v for v in self.day.visits}
        moving = [(visits[n.visit or ""], s) for n, s in self.start.items() if n.procedure is None and not isinstance(s, int)]
        self.movable = bool(moving)
        late = sum(v.weight * (s - v.booked) for v, s in moving)
        broken: list[Any] = []
        for v, s in moving:
            if v.id in promised:
                over = self.m.new_int_var(0, self.day.day_end, "")
                self.m.add(over >= s - promised[v.id])
                broken.append(over)
        if moving:
            self.m.minimize(LATE * late + sum(broken) if broken else late)

    def better(self, search: Search) -> Found:
        """Return the best plan found in this part, named; none where nothing was found or named."""
        if not self.movable:
            return Found(None, exhausted=True, work=0.0)
        solver = search.solver()
        p = solver.parameters
        # Neighbourhoods are small: linear relaxation, symmetry and probing take longer than the search that they shorten.
        p.linearization_level, p.symmetry_level, p.cp_model_probing_level = 0, 0, 0
        status = search.run(solver, self.m)
        work = float(solver.response_proto.deterministic_time)
        if status not in {self.cp.OPTIMAL, self.cp.FEASIBLE}:
            return Found(None, exhausted=status == self.cp.INFEASIBLE, work=work)
        plan = renamed(self.f.day, self.f.plan, self.crew, self.retimed(solver.value))
        if plan is not None and self.f.day.now is None and check_plan(self.f.day, plan):
            return Found(None, exhausted=False, work=work)  # a set may come back too late for its next use: seldom, and never offered
        return Found(plan, exhausted=status == self.cp.OPTIMAL, work=work)

    def retimed(self, value: Any) -> Retimed:
        """Return the solution as numbers."""
        ride: dict[int, dict[MachineKind, int]] = {}
        back: set[int] = set()
        packs = {}
        for number, t in enumerate(self.f.trips):
            if number in self.back and not value(self.back[number]):
                ride[number] = {}
                continue
            if t.whole or number in self.back:
                back.add(number)
            ride[number] = dict(t.loads)
            for kind in ("wash", "sterilize"):
                if (number, kind) in self.rides:
                    near = self.rides[number, kind]
                    ride[number][kind] = next(i for i, x in near.items() if value(x))
            if number in self.back:
                packs[number] = int(value(self.loose_packs[number]))
            elif t.pack is not None:
                packs[number] = int(value(self.packs[t.pack]))
        loads = tuple(NewLoad(x.machine, self.pool(x.machine), int(value(x.start)), int(value(x.unload)), x.number) for x in self.loads)
        return Retimed(self.part.begin, self.f.rows, {n: int(value(s)) for n, s in self.start.items()}, loads, self.f.trips, ride, packs)

    def pool(self, machine: Machine) -> tuple[Machine, ...]:
        """Return the machines that could take a load as well."""
        if machine.id not in self.pool_of:
            return (machine,)
        like = self.pool_of[machine.id]
        return tuple(m for m in (*self.day.washers, *self.day.sterilizers) if self.pool_of[m.id] == like)
