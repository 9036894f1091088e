"""Sets that no visit of the day waits for any more: washed, packed and sterilized in the minutes that a plan leaves idle.

Comes in: an instance and a valid plan. Goes out: the same plan with more loads; nothing that it held is moved, so no
visit and no closing is later for it. What finds no room before the last shift ends is left as it was.
"""

from collections.abc import Callable
from itertools import count

from fettlebook.plan.instance import Batch, Instance, Machine, Pack, Plan

_TAKEN = 1
PATIENCE_MIN = 30  # so long may washed sets wait for one person who packs them all


class _Idle:
    """Minute by minute, who and what is free."""

    def __init__(self, day: Instance, plan: Plan) -> None:
        self.day, r = day, day.reprocess
        self.end = max([p.to for p in day.people], default=0)
        self.people = {p.id: bytearray([_TAKEN]) * (self.end + 1) for p in day.people if "instruments" in p.does}
        for p in day.people:
            if p.id in self.people:
                for a, b in p.windows():
                    self.people[p.id][a:b] = bytearray(b - a)
        steps = {c.id: c for c in day.chairs}
        for s in plan.steps:
            self.take(s.person, s.start, steps[s.chair].procedure(s.procedure)[s.index].minutes)
        for k in plan.packs:
            self.take(k.person, k.start, r.pack_minutes)
        self.machines = {m.id: bytearray(self.end + 1) for m in (*day.washers, *day.sterilizers)}
        for load in plan.batches:
            assert load.unload_start is not None
            self.take(load.load_person, load.load_start, r.load_minutes)
            self.take(load.unload_person, load.unload_start, r.unload_minutes)
            self.fill(self.machines[load.machine], load.load_start, load.unload_start + r.unload_minutes)
        self.last = ""

    def take(self, person: str | None, start: int, minutes: int) -> None:
        if person in self.people:
            self.fill(self.people[person], start, start + minutes)

    def fill(self, row: bytearray, start: int, end: int) -> None:
        end = min(end, len(row))
        if start < end:
            row[start:end] = bytes([_TAKEN]) * (end - start)

    def who(self, start: int, minutes: int) -> str | None:
        """Return somebody who is free for all of it; the one of the last job first."""
        if start < 0 or start + minutes > self.end:
            return None
        free = [p for p, row in self.people.items() if not any(row[start : start + minutes])]
        return self.last if self.last in free else min(free, default=None)

    def first(self, start: int, minutes: int, until: int) -> tuple[int, str] | None:
        """Return the first minute from `start` at which somebody is free; None if that is after `until`."""
        for t in count(max(0, start)):
            if t > until or t + minutes > self.end:
                return None
            if (who := self.who(t, minutes)) is not None:
                return t, who
        return None


def with_leftovers(day: Instance, plan: Plan) -> Plan:
    """Return the plan with loads for the sets that it leaves used, as far as idle hands and machines go.

    Parameters
    ----------
    day
        The instance.
    plan
        A valid plan of it, every load unloaded.
    """
    idle = _Idle(day, plan)
    return _Filling(day, plan, idle).done()


class _Filling:
    """The plan with ever more sets in its loads."""

    def __init__(self, day: Instance, plan: Plan, idle: _Idle) -> None:
        self.day, self.plan, self.idle = day, plan, idle
        self.size = day.places()
        self.batches, self.packs = list(plan.batches), list(plan.packs)

    def done(self) -> Plan:
        """Send the sets through washer, packing and sterilizer."""
        washed = self.send(self.day.washers, _dirty(self.day, self.plan))
        packed = self.pack(washed)
        self.send(self.day.sterilizers, packed)
        return self.plan.model_copy(update={"batches": tuple(self.batches), "packs": tuple(self.packs)})

    def send(self, machines: tuple[Machine, ...], waiting: list[tuple[int, str]]) -> list[tuple[int, str]]:
        """Put sets into loads that run anyway and have room, then into loads of their own; returns when each is out."""
        r, out = self.day.reprocess, []
        waiting = sorted(waiting)
        capacity = {m.id: m.capacity for m in machines}
        for i, b in sorted(enumerate(self.batches), key=lambda x: x[1].load_start):
            if b.machine not in capacity or b.unload_start is None:
                continue
            room = capacity[b.machine] - sum(self.places(u) for u in b.units)
            more = []
            for ready, unit in waiting:
                if ready <= b.load_start and self.places(unit) <= room:
                    more.append(unit)
                    room -= self.places(unit)
            waiting = [w for w in waiting if w[1] not in more]
            self.batches[i] = b.model_copy(update={"units": (*b.units, *more)})
            out += [(b.unload_start + r.unload_minutes, u) for u in more]
        for load in _loads(waiting, min(capacity.values(), default=0), self.places):
            new = _place(self.idle, machines, tuple(u for _, u in load), max(t for t, _ in load))
            if new is not None and new.unload_start is not None:
                self.batches.append(new)
                out += [(new.unload_start + r.unload_minutes, u) for _, u in load]
        return out

    def pack(self, washed: list[tuple[int, str]]) -> list[tuple[int, str]]:
        """Give what a washer load brought to one person in one go, if somebody has the time soon; else set by set."""
        minutes, out = self.day.reprocess.pack_minutes, []
        for ready in sorted({t for t, _ in washed}):
            units = [u for t, u in washed if t == ready]
            whole = self.idle.first(ready, minutes * len(units), ready + PATIENCE_MIN)
            for k, unit in enumerate(units):
                found = (whole[0] + k * minutes, whole[1]) if whole else self.idle.first(ready, minutes, self.idle.end)
                if found is not None:
                    start, who = found
                    self.idle.take(who, start, minutes)
                    self.idle.last = who
                    self.packs.append(Pack(unit=unit, start=start, person=who))
                    out.append((start + minutes, unit))
        return out

    def places(self, unit: str) -> int:
        """Return the places that a unit takes in a machine."""
        return self.size[unit.rpartition("#")[0]]


def _dirty(day: Instance, plan: Plan) -> list[tuple[int, str]]:
    """Return (minute, unit) of each unit that is used and not washed afterwards."""
    cleared: dict[str, int] = {}
    chairs = {c.id: c for c in day.chairs}
    for s in plan.steps:
        if s.after is not None and s.index == 0:
            cleared[s.after] = s.start + chairs[s.chair].procedure(s.procedure)[0].minutes
    washers = {m.id for m in day.washers}
    washed = {u: b.load_start for b in sorted(plan.batches, key=lambda b: b.load_start) if b.machine in washers for u in b.units}
    used = {u: (v.start, cleared[v.id]) for v in sorted(plan.visits, key=lambda v: v.start) for u in v.units}
    return [(dirty, u) for u, (start, dirty) in used.items() if washed.get(u, -1) < start]


def _loads(waiting: list[tuple[int, str]], room: int, size: Callable[[str], int]) -> list[list[tuple[int, str]]]:
    """Cut what waits into loads, in order of time, each as full as it gets."""
    out: list[list[tuple[int, str]]] = []
    left = 0
    for item in waiting:
        if size(item[1]) > room:
            continue
        if size(item[1]) > left:
            out.append([])
            left = room
        out[-1].append(item)
        left -= size(item[1])
    return out


def _place(idle: _Idle, machines: tuple[Machine, ...], units: tuple[str, ...], ready: int) -> Batch | None:
    """Find the first moment at which a machine is idle long enough and somebody is there to load and to unload."""
    r = idle.day.reprocess
    for t in range(ready, idle.end):
        for m in machines:
            if t + r.load_minutes < m.not_before or (loader := idle.who(t, r.load_minutes)) is None:
                continue
            done = t + r.load_minutes + m.minutes
            row = idle.machines[m.id]
            if any(row[t : done + r.unload_minutes]):
                continue
            taken = row.find(_TAKEN, done)
            until = (taken if taken >= 0 else idle.end) - r.unload_minutes
            if (found := idle.first(done, r.unload_minutes, until)) is None:
                continue
            out, unloader = found
            idle.take(loader, t, r.load_minutes)
            idle.take(unloader, out, r.unload_minutes)
            idle.fill(row, t, out + r.unload_minutes)
            idle.last = unloader
            return Batch(
                machine=m.id,
                units=units,
                load_start=t,
                load_person=loader,
                start=t + r.load_minutes,
                unload_start=out,
                unload_person=unloader,
            )
    return None
