"""Who exactly, on which machine, with which unit: names for what a model leaves interchangeable.

Comes in: times that are known to fit in number. Goes out: a full plan. Machines and units always get names (equal
things, intervals in order of start). People have shifts and breaks, so greedy naming can fail; then a small assignment
with the times fixed decides, and None says that no naming exists.
"""

from dataclasses import dataclass
from typing import Any

from fettlebook.plan.detail import PlannedTest
from fettlebook.plan.instance import Batch, Instance, Machine, Pack, Person, Plan, PlannedStep, PlannedVisit, Work
from fettlebook.plan.rows import Node, Row, with_unattended
from fettlebook.plan.set_ways import SetWays

LAID_OUT = -(10**6)  # what is sterile as the day starts was laid out the evening before


@dataclass(frozen=True, slots=True)
class Job:
    """Attended work at a fixed time; who was last at its place goes on, if free."""

    start: int
    minutes: int
    work: Work
    place: str = "instruments"

    @property
    def end(self) -> int:
        """When it ends."""
        return self.start + self.minutes


@dataclass(frozen=True, slots=True)
class Load:
    """A load on one of several equal machines, with the numbers of the items inside."""

    machines: tuple[Machine, ...]
    load_start: int
    unload_start: int
    items: tuple[int, ...]
    cycle: str | None = None


@dataclass(frozen=True, slots=True)
class Tested:
    """A machine whose tests are done, with the minute at which each begins."""

    machine: Machine
    starts: tuple[int, ...]

    @property
    def end(self) -> int:
        """When it may be loaded."""
        return self.starts[-1] + self.machine.tests[-1].minutes


@dataclass(frozen=True, slots=True)
class Unnamed:
    """A solution before naming. `items`: number -> (visit, type) of each set that comes back; `packs`: number -> minute."""

    rows: tuple[Row, ...]
    starts: dict[Node, int]
    loads: tuple[Load, ...]
    items: dict[int, tuple[str, str]]
    packs: dict[int, int]
    tested: tuple[Tested, ...] = ()


def name_all(day: Instance, u: Unnamed) -> Plan | None:
    """Return the full plan; None where no naming of people exists."""
    r = day.reprocess
    rows = [(n, s) for row in u.rows for n, s in with_unattended(day, row, [u.starts[n] for n in row.nodes])]
    loads = sorted(u.loads, key=lambda x: x.load_start)
    jobs = [Job(s.start, n.minutes, "chairs", n.chair) for n, s in rows if n is not None]
    jobs += [Job(x.load_start, r.load_minutes, "instruments") for x in loads]
    jobs += [Job(x.unload_start, r.unload_minutes, "instruments") for x in loads]
    numbers = sorted(u.packs)
    pack = day.pack_minutes()
    jobs += [Job(u.packs[i], pack[u.items[i][1]], "instruments") for i in numbers]
    tests = [(x.machine, k, s, t) for x in u.tested for k, (s, t) in enumerate(zip(x.starts, x.machine.tests, strict=True))]
    jobs += [Job(s, t.attended_minutes, "instruments", m.id) for m, _, s, t in tests if t.attended_minutes]
    people = name_people(day.people, jobs)
    if people is None:
        return None
    name = iter(people)
    steps = [s if n is None else s.model_copy(update={"person": next(name)}) for n, s in rows]
    loaders, unloaders = [next(name) for _ in loads], [next(name) for _ in loads]
    packers = {i: next(name) for i in numbers}
    testers = [next(name) if t.attended_minutes else None for *_, t in tests]
    machines = _name_machines(loads, r.unload_minutes, {x.machine.id: x.end for x in u.tested})
    visits, unit_of = _name_units(day, u)
    return Plan(
        instance=day.name,
        visits=tuple(visits),
        steps=tuple(PlannedStep.model_validate(s) for s in steps),
        packs=tuple(Pack(unit=unit_of[i], start=u.packs[i], person=packers[i]) for i in numbers),
        batches=tuple(
            Batch(
                machine=machines[k],
                units=tuple(unit_of[i] for i in x.items),
                load_start=x.load_start,
                load_person=loaders[k],
                start=x.load_start + r.load_minutes,
                unload_start=x.unload_start,
                unload_person=unloaders[k],
                cycle=x.cycle,
            )
            for k, x in enumerate(loads)
        ),
        tests=tuple(PlannedTest(machine=m.id, index=k, start=s, person=p) for (m, k, s, _), p in zip(tests, testers, strict=True)),
    )


def name_people(people: tuple[Person, ...], jobs: list[Job]) -> list[str] | None:
    """Return a person for each job, work spread evenly where that is possible; None where nobody can do all."""
    if not jobs:
        return []
    return _greedy(people, jobs, evenly=True) or _assign(people, jobs, _greedy(people, jobs, evenly=False))


def _greedy(people: tuple[Person, ...], jobs: list[Job], *, evenly: bool) -> list[str] | None:
    free = {p.id: 0 for p in people}
    worked = {p.id: 0 for p in people}
    windows = {p.id: p.windows() for p in people}
    names: dict[int, str] = {}
    last_at: dict[str, str] = {}
    for k in sorted(range(len(jobs)), key=lambda k: (jobs[k].start, jobs[k].end)):
        job, able = jobs[k], []
        for p in people:
            if job.work in p.does and free[p.id] <= job.start:
                left = [b - job.end for a, b in windows[p.id] if a <= job.start and job.end <= b]
                if left:
                    stays = evenly and last_at.get(job.place) == p.id
                    able.append((not stays, len(p.does), worked[p.id] if evenly else left[0], p.id))
        if not able:
            return None
        who = min(able)[3]
        free[who], names[k], last_at[job.place] = job.end, who, who
        worked[who] += job.minutes
    return [names[k] for k in range(len(jobs))]


def _assign(people: tuple[Person, ...], jobs: list[Job], known: list[str] | None) -> list[str] | None:
    """Name by a small model with the times fixed, the busiest person as little busy as can be found quickly."""
    from ortools.sat.python import cp_model  # noqa: PLC0415 - only when greedy naming failed

    model = cp_model.CpModel()
    does: list[dict[str, Any]] = []
    for job in jobs:
        own = {
            p.id: model.new_bool_var("")
            for p in people
            if job.work in p.does and any(a <= job.start and job.end <= b for a, b in p.windows())
        }
        if not own:
            return None
        model.add_exactly_one(own.values())
        does.append(own)
    for at in {j.start for j in jobs}:
        at_once = [own for job, own in zip(jobs, does, strict=True) if job.start <= at < job.end]
        for p in people:
            model.add_at_most_one([own[p.id] for own in at_once if p.id in own])
    most = model.new_int_var(0, sum(j.minutes for j in jobs), "")
    for p in people:
        model.add(sum(j.minutes * own[p.id] for j, own in zip(jobs, does, strict=True) if p.id in own) <= most)
    model.minimize(most)
    for own, name in zip(does, known or [], strict=False):
        for p_id, it_is in own.items():
            model.add_hint(it_is, p_id == name)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers, solver.parameters.random_seed = 1, 0
    solver.parameters.max_deterministic_time = 1.0
    solver.parameters.relative_gap_limit = 0.05
    if solver.solve(model) not in {cp_model.OPTIMAL, cp_model.FEASIBLE}:
        return known
    return [next(p for p, b in own.items() if solver.value(b)) for own in does]


def _name_machines(loads: list[Load], unload_minutes: int, tested: dict[str, int]) -> list[str]:
    free = dict(tested)
    out = []
    for x in loads:
        ready = [m.id for m in x.machines if free.get(m.id, 0) <= x.load_start and (not m.tests or m.id in tested)]
        machine = min(ready, key=lambda m: free.get(m, 0))
        free[machine] = x.unload_start + unload_minutes
        out.append(machine)
    return out


def _name_units(day: Instance, u: Unnamed) -> tuple[list[PlannedVisit], dict[int, str]]:
    """Give units to visits in order of start; a unit that comes back is the one that its visit used."""
    r = day.reprocess
    start = {n.visit: s for n, s in u.starts.items() if n.procedure is None}
    ways, room = SetWays(day), {c.id: c.room for c in day.chairs}
    out = {v.id: ways.to_chair(room[v.chair]) for v in day.visits}
    sterilizers = {m.id: r.unload_minutes + r.cool_minutes + ways.lag(m.room, day.store) for m in day.sterilizers}
    ready = {i: x.unload_start + sterilizers[x.machines[0].id] for x in u.loads if x.machines[0].id in sterilizers for i in x.items}
    shelf: dict[str, list[tuple[int, int]]] = {t: [(LAID_OUT, k) for k in range(1, n + 1)] for t, n in day.owned().items()}
    visits, unit_of = [], {}
    for v in sorted(day.visits, key=lambda v: start[v.id] - out[v.id]):
        units = []
        for t, count in v.needs().items():
            coming = [i for i, key in u.items.items() if key == (v.id, t)]
            for k in range(count):
                # The unit that has been ready longest keeps the newest ones for the visits to come.
                taken = min(x for x in shelf[t] if x[0] <= start[v.id] - out[v.id])
                shelf[t].remove(taken)
                units.append(f"{t}#{taken[1]}")
                if k < len(coming):
                    unit_of[coming[k]] = units[-1]
                    shelf[t].append((ready[coming[k]], taken[1]))
        visits.append(PlannedVisit(id=v.id, start=start[v.id], units=tuple(units)))
    return visits, unit_of
