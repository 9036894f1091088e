"""Names for a part of a day that was planned better: who, which machine, which unit; names that still fit stay.

Comes in: the plan that was, and new times. Goes out: the new plan. What began before the part keeps its names; the rest
is named in order of start. None where the people can't be named.
"""

from dataclasses import dataclass

from fettlebook.plan.instance import Batch, Instance, Machine, Pack, Person, Plan, PlannedVisit
from fettlebook.plan.naming import LAID_OUT, Job, name_people
from fettlebook.plan.rows import Node, Row, with_unattended
from fettlebook.plan.set_ways import MachineKind, SetWays
from fettlebook.plan.trips import Trip


@dataclass(frozen=True, slots=True)
class NewLoad:
    """A load at its new times; `number`: which of the plan's loads it was, -1 for none."""

    machine: Machine
    pool: tuple[Machine, ...]
    load_start: int
    unload_start: int
    number: int


@dataclass(frozen=True, slots=True)
class Retimed:
    """A solution before naming. `rides`: trip -> kind -> number in `loads`; `packs`: trip -> minute."""

    begin: int
    rows: tuple[Row, ...]
    starts: dict[Node, int]
    loads: tuple[NewLoad, ...]
    trips: list[Trip]
    rides: dict[int, dict[MachineKind, int]]
    packs: dict[int, int]


def renamed(day: Instance, plan: Plan, crew: tuple[Person, ...], new: Retimed) -> Plan | None:
    """Return the new plan; `crew` are the people with their duties as breaks."""
    return _Naming(day, plan, crew, new).named()


class _Naming:
    def __init__(self, day: Instance, plan: Plan, crew: tuple[Person, ...], new: Retimed) -> None:
        self.day, self.plan, self.crew, self.new = day, plan, crew, new
        self.inside: dict[int, list[int]] = {}  # load -> trips
        for number, ride in new.rides.items():
            for load in ride.values():
                self.inside.setdefault(load, []).append(number)
        self.used = sorted(self.inside, key=lambda i: (new.loads[i].load_start, i))
        self.steps = [(n, s) for row in new.rows for n, s in with_unattended(day, row, [new.starts[n] for n in row.nodes])]
        self.jobs: dict[tuple[str, int], Job] = {}
        self.units: dict[int, str] = {}  # trip -> unit

    def named(self) -> Plan | None:
        visits = self.visits()
        self.work()
        names = name_people(self.crew, list(self.jobs.values()))
        if names is None:
            return None
        who = dict(zip(self.jobs, names, strict=True))
        machines = self.machines()
        steps = (s if n is None else s.model_copy(update={"person": who["step", k]}) for k, (n, s) in enumerate(self.steps))
        return self.plan.model_copy(
            update={
                "visits": visits,
                "steps": tuple(steps),
                "packs": tuple(Pack(unit=self.units[i], start=at, person=who["pack", i]) for i, at in self.new.packs.items()),
                "batches": tuple(self.batch(i, machines[i], who["load", i], who["unload", i]) for i in self.used),
            }
        )

    def was(self, load: int) -> Batch | None:
        """Return the load of the plan that a new one was."""
        number = self.new.loads[load].number
        return self.plan.batches[number] if number >= 0 else None

    def batch(self, i: int, machine: str, loader: str, unloader: str) -> Batch:
        x, was = self.new.loads[i], self.was(i)
        kept = was is not None and was.load_start < self.new.begin
        return Batch(
            machine=machine,
            units=was.units if was is not None and kept else tuple(self.units[k] for k in self.inside[i]),
            load_start=x.load_start,
            load_person=loader,
            start=x.load_start + self.day.reprocess.load_minutes,
            unload_start=x.unload_start,
            unload_person=unloader,
            cycle=was.cycle if was is not None else None,
        )

    def work(self) -> None:
        """List all attended work: what began before the part stays with whom it was, the rest if it can."""
        r, pack, new, plan = self.day.reprocess, self.day.pack_minutes(), self.new, self.plan
        were = {(s.chair, s.procedure, s.after, s.index): s for s in plan.steps}
        for k, (n, s) in enumerate(self.steps):
            if n is not None:
                was = were[s.chair, s.procedure, s.after, s.index]
                self.add(("step", k), Job(s.start, n.minutes, "chairs", n.chair), was.start, was.person)
        for i in self.used:
            x, b = new.loads[i], self.was(i)
            self.add(("load", i), Job(x.load_start, r.load_minutes, "instruments"), *((b.load_start, b.load_person) if b else ()))
            out = (b.unload_start, b.unload_person) if b is not None and b.unload_start is not None else ()
            self.add(("unload", i), Job(x.unload_start, r.unload_minutes, "instruments"), *out)
        for i, at in new.packs.items():
            number = new.trips[i].pack
            packed = (plan.packs[number].start, plan.packs[number].person) if number is not None else ()
            self.add(("pack", i), Job(at, pack[new.trips[i].kind], "instruments"), *packed)
        machines = {m.id: m for m in (*self.day.baths, *self.day.washers, *self.day.sterilizers)}
        for k, t in enumerate(plan.tests):
            minutes = machines[t.machine].tests[t.index].attended_minutes
            if minutes and t.person is not None:
                self.jobs["test", k] = Job(t.start, minutes, "instruments", t.machine, t.person)

    def add(self, key: tuple[str, int], job: Job, was_at: int | None = None, was_by: str | None = None) -> None:
        kept = was_at is not None and was_at < self.new.begin
        self.jobs[key] = Job(job.start, job.minutes, job.work, job.place, was_by if kept else None, was_by)

    def machines(self) -> dict[int, str]:
        """Give each load a machine of its pool: its own if that is free, else the one that has been free longest."""
        free: dict[str, int] = {}
        names = {}
        for i in self.used:
            x, b = self.new.loads[i], self.was(i)
            ready = [m.id for m in x.pool if free.get(m.id, 0) <= x.load_start]
            own = b.machine if b is not None else x.machine.id
            names[i] = own if own in ready or not ready else min(ready, key=lambda m: free.get(m, 0))
            free[names[i]] = x.unload_start + self.day.reprocess.unload_minutes
        return names

    def visits(self) -> tuple[PlannedVisit, ...]:
        """Give units to visits in the order in which they are fetched, and so to each trip."""
        day, new, ways, room = self.day, self.new, SetWays(self.day), {c.id: c.room for c in self.day.chairs}
        start = {n.visit: s for n, s in new.starts.items() if n.procedure is None}
        fetched = {v.id: start[v.id] - ways.to_chair(room[v.chair]) for v in day.visits}
        kept = {v.id: v.units for v in self.plan.visits if v.start < new.begin}
        own: dict[tuple[str, str], list[int]] = {}
        for i, trip in enumerate(new.trips):
            own.setdefault((trip.visit, trip.kind), []).append(i)
        shelf: dict[str, list[tuple[int, int]]] = {t: [(LAID_OUT, k) for k in range(1, n + 1)] for t, n in day.owned().items()}
        units: dict[str, tuple[str, ...]] = {}
        for v in sorted(day.visits, key=lambda v: (fetched[v.id], v.id not in kept)):
            for t in v.needs():
                for i in own[v.id, t]:
                    if v.id in kept:
                        taken = next(x for x in shelf[t] if f"{t}#{x[1]}" == new.trips[i].unit)
                    else:
                        # The unit that has been ready longest keeps the newest ones for the visits to come.
                        taken = min(x for x in shelf[t] if x[0] <= fetched[v.id])
                    shelf[t].remove(taken)
                    self.units[i] = f"{t}#{taken[1]}"
                    if "sterilize" in new.rides[i]:
                        shelf[t].append((self.usable(new.loads[new.rides[i]["sterilize"]], ways), taken[1]))
            units[v.id] = kept.get(v.id) or tuple(self.units[i] for t in v.needs() for i in own[v.id, t])
        return tuple(PlannedVisit(id=v.id, start=start[v.id], units=units[v.id], chair=v.chair) for v in self.plan.visits)

    def usable(self, load: NewLoad, ways: SetWays) -> int:
        """Return when what a sterilizer load holds is usable again."""
        r = self.day.reprocess
        return load.unload_start + r.unload_minutes + r.cool_minutes + ways.lag(load.machine.room, ways.store)
