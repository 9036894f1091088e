"""Sets that no visit of the day waits for any more: washed, packed and sterilized in the minutes that a plan leaves idle.

Comes in: an instance and a valid plan. Goes out: the same plan with more loads; nothing that it held is moved, so no
visit and no closing is later for it. What finds no room before the last shift ends is left as it was.
"""

from collections.abc import Mapping

from fettlebook.plan.idle import Idle
from fettlebook.plan.instance import Batch, Instance, Machine, Pack, Plan
from fettlebook.plan.set_ways import MachineKind, SetWays, TypeWay

PATIENCE_MIN = 30  # so long may washed sets wait for one person who packs them all


def with_leftovers(day: Instance, plan: Plan, blocked: Mapping[str, int] | None = None) -> Plan:
    """Return the plan with loads for the sets that it leaves used or half done, as far as idle hands and machines go.

    Parameters
    ----------
    day
        The instance; on a running day nothing is added before `now`.
    plan
        A valid plan of it, every load unloaded.
    blocked
        Machine -> minute until which it gets no load.
    """
    idle = Idle(day, plan)
    if day.now is not None:
        idle.past(day.now)
    for machine, until in (blocked or {}).items():
        idle.hold(machine, 0, min(until, idle.end))
    return _Filling(day.moved(plan), plan, idle).done()


class _Filling:
    """The plan with ever more sets in its loads."""

    def __init__(self, day: Instance, plan: Plan, idle: Idle) -> None:
        self.day, self.plan, self.idle = day, plan, idle
        self.ways = SetWays(day)
        self.batches, self.packs = list(plan.batches), list(plan.packs)

    def done(self) -> Plan:
        """Send the sets through bath (where they need it), washer, packing and sterilizer."""
        dirty, half = _used(self.day, self.plan, self.ways), self.half_done()
        bathed = self.send("bath", [x for x in dirty if self.way(x[1]).bath]) + half["bath"]
        washed = self.send("wash", [x for x in dirty if not self.way(x[1]).bath] + bathed) + half["wash"]
        self.send("sterilize", self.pack(washed) + half["packed"])
        return self.plan.model_copy(update={"batches": tuple(self.batches), "packs": tuple(self.packs)})

    def half_done(self) -> dict[str, list[tuple[int, str]]]:
        """Return (minute, unit) of each unit that the plan leaves half done, by what it came out of last."""
        r, last = self.day.reprocess, dict[str, tuple[int, str, int]]()
        kinds: dict[str, tuple[MachineKind, Machine]] = {m.id: (kind, m) for kind, ms in self.ways.machines.items() for m in ms}

        def note(unit: str, start: int, stage: str, ready: int) -> None:
            if unit not in last or last[unit][0] < start:
                last[unit] = start, stage, ready

        for v in self.plan.visits:
            for u in v.units:
                note(u, v.start, "used", 0)
        for b in self.plan.batches:
            kind, machine = kinds[b.machine]
            for u in b.units:
                note(u, b.load_start, kind, (b.unload_start or 0) + r.unload_minutes + self.way_on(kind, machine, u))
        for k in self.plan.packs:
            note(k.unit, k.start, "packed", k.start + self.way(k.unit).pack + self.ways.to_machines(self.ways.store, "sterilize"))
        return {stage: sorted((ready, u) for u, (_, at, ready) in last.items() if at == stage) for stage in ("bath", "wash", "packed")}

    def send(self, kind: MachineKind, waiting: list[tuple[int, str]]) -> list[tuple[int, str]]:
        """Put sets into loads that run anyway and have room, then into loads of their own; returns when each can go on."""
        r, out = self.day.reprocess, []
        waiting = sorted(waiting)
        machines = {m.id: m for m in self.ways.machines[kind]}
        for i, b in sorted(enumerate(self.batches), key=lambda x: x[1].load_start):
            if b.machine not in machines or b.unload_start is None or b.load_start < (self.day.now or 0):
                continue
            machine = machines[b.machine]
            room = machine.capacity - sum(self.way(u).places for u in b.units)
            inside = [_type(u) for u in b.units]
            more: list[str] = []
            for ready, unit in waiting:
                if ready <= b.load_start and self.way(unit).places <= room and self.joins(machine, b, inside, _type(unit)):
                    more.append(unit)
                    inside.append(_type(unit))
                    room -= self.way(unit).places
            waiting = [w for w in waiting if w[1] not in more]
            self.batches[i] = b.model_copy(update={"units": (*b.units, *more)})
            out += [(b.unload_start + r.unload_minutes + self.way_on(kind, machine, u), u) for u in more]
        for load in self.loads(kind, waiting):
            new = self.place(self.ways.machines[kind], tuple(u for _, u in load), max(t for t, _ in load))
            if new is not None and new.unload_start is not None:
                self.batches.append(new)
                out += [(new.unload_start + r.unload_minutes + self.way_on(kind, machines[new.machine], u), u) for _, u in load]
        return out

    def joins(self, machine: Machine, b: Batch, inside: list[str], type_id: str) -> bool:
        """Whether one more set may ride a load whose cycle is chosen already."""
        kind = next((c.kind for c in machine.cycles if c.id == b.cycle), None)
        rides = self.ways.types[type_id].rides
        return self.ways.fits(machine, inside, type_id) and (kind is None or not rides or kind in rides)

    def way_on(self, kind: MachineKind, machine: Machine, unit: str) -> int:
        """Return the minutes from out of a machine to the next stage: on the way, and drying."""
        if kind == "bath":
            return self.ways.to_machines(machine.room, "wash")
        if kind == "wash":
            return self.way(unit).dry + self.ways.lag(machine.room, self.ways.store)
        return 0

    def pack(self, washed: list[tuple[int, str]]) -> list[tuple[int, str]]:
        """Give what a washer load brought to one person in one go, if somebody has the time soon; else set by set."""
        out = []
        on_the_way = self.ways.to_machines(self.ways.store, "sterilize")
        for ready in sorted({t for t, _ in washed}):
            units = [u for t, u in washed if t == ready]
            minutes = [self.way(u).pack for u in units]
            whole = self.idle.first(ready, sum(minutes), ready + PATIENCE_MIN)
            for k, unit in enumerate(units):
                found = (whole[0] + sum(minutes[:k]), whole[1]) if whole else self.idle.first(ready, minutes[k], self.idle.end)
                if found is not None:
                    start, who = found
                    self.idle.take(who, start, minutes[k])
                    self.idle.last = who
                    self.packs.append(Pack(unit=unit, start=start, person=who))
                    out.append((start + minutes[k] + on_the_way, unit))
        return out

    def way(self, unit: str) -> TypeWay:
        """Return the way of a unit's type."""
        return self.ways.types[_type(unit)]

    def loads(self, kind: MachineKind, waiting: list[tuple[int, str]]) -> list[list[tuple[int, str]]]:
        """Cut what waits into loads that any machine of a kind takes, in order of time, each as full as it gets."""
        machines = self.ways.machines[kind]
        out: list[list[tuple[int, str]]] = []
        if not machines:
            return out
        smallest = min(machines, key=lambda m: m.capacity)
        left, inside = 0, list[str]()
        for item in waiting:
            kind_id, places = _type(item[1]), self.way(item[1]).places
            if places > smallest.capacity or all(not self.ways.fits(m, (), kind_id) for m in machines):
                continue
            if places > left or not any(self.ways.fits(m, inside, kind_id) for m in machines):
                out.append([])
                left, inside = smallest.capacity, []
            out[-1].append(item)
            inside.append(kind_id)
            left -= places
        return out

    def place(self, machines: tuple[Machine, ...], units: tuple[str, ...], ready: int) -> Batch | None:
        """Find the first moment at which a machine is idle long enough and somebody is there to load and to unload."""
        idle, r, types = self.idle, self.day.reprocess, {_type(u) for u in units}
        cycles = {m.id: found for m in machines if (found := m.cycle_for(self.ways.types[t].rides for t in types)) is not None}
        tested = {m.id: self.tested(m) for m in machines}
        for t in range(ready, idle.end):
            for m in machines:
                if m.id not in cycles or t < tested[m.id] or t + r.load_minutes < m.not_before:
                    continue
                if (loader := idle.who(t, r.load_minutes)) is None:
                    continue
                cycle, minutes = cycles[m.id]
                done = t + r.load_minutes + minutes
                if not idle.free(m.id, t, done + r.unload_minutes):
                    continue
                until = idle.free_until(m.id, done) - r.unload_minutes
                if (free := idle.first(done, r.unload_minutes, until)) is None:
                    continue
                out, unloader = free
                idle.take(loader, t, r.load_minutes)
                idle.take(unloader, out, r.unload_minutes)
                idle.hold(m.id, t, out + r.unload_minutes)
                idle.last = unloader
                return Batch(
                    machine=m.id,
                    units=units,
                    load_start=t,
                    load_person=loader,
                    start=t + r.load_minutes,
                    unload_start=out,
                    unload_person=unloader,
                    cycle=cycle,
                )
        return None

    def tested(self, machine: Machine) -> int:
        """Return when a machine's tests are over; never, where the plan does not do them."""
        ends = [t.start + machine.tests[t.index].minutes for t in self.plan.tests if t.machine == machine.id]
        return max(ends, default=0) if len(ends) == len(machine.tests) else self.idle.end


def _type(unit: str) -> str:
    return unit.rpartition("#")[0]


def _used(day: Instance, plan: Plan, ways: SetWays) -> list[tuple[int, str]]:
    """Return (minute, unit) of each unit that is used and not sent on afterwards, with when it can be where it goes first."""
    booked, room = {v.id: v.chair for v in day.visits}, {c.id: c.room for c in day.chairs}
    out = []
    for dirty, unit, visit in _dirty(day, plan, ways):
        out.append((dirty + ways.to_first_stage(room[booked[visit]], _type(unit)), unit))
    return out


def _dirty(day: Instance, plan: Plan, ways: SetWays) -> list[tuple[int, str, str]]:
    """Return (minute, unit, visit) of each unit that is used and not bathed or washed afterwards."""
    cleared: dict[str, int] = {}
    chairs = {c.id: c for c in day.chairs}
    for s in plan.steps:
        if s.after is not None and s.index == 0:
            cleared[s.after] = s.start + chairs[s.chair].procedure(s.procedure)[0].minutes
    first = {m.id for kind in ("bath", "wash") for m in ways.machines[kind]}
    sent = {u: b.load_start for b in sorted(plan.batches, key=lambda b: b.load_start) if b.machine in first for u in b.units}
    used = {u: (v.start, cleared[v.id], v.id) for v in sorted(plan.visits, key=lambda v: v.start) for u in v.units}
    return [(dirty, u, visit) for u, (start, dirty, visit) in used.items() if sent.get(u, -1) < start]
