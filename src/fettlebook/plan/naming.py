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
    """Attended work at a fixed time; who was last at its place goes on, if free.

    `fixed`: nobody else can do it. `liked`: goes first, if free.
    """

    start: int
    minutes: int
    work: Work
    place: str = "instruments"
    fixed: str | None = None
    liked: str | None = None

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
    names: dict[int, str] = {}
    worked = {p.id: 0 for p in people}
    last_at: dict[str, str] = {}
    diaries = _Diaries(people, jobs)
    for k in sorted(range(len(jobs)), key=lambda k: (jobs[k].start, jobs[k].end)):
        job, able = jobs[k], []
        for p in people:
            if (left := diaries.left(p, k)) is not None:
                stays = evenly and last_at.get(job.place) == p.id
                able.append((job.liked != p.id, not stays, len(p.does), worked[p.id] if evenly else left, p.id))
        who = min(able)[4] if able else diaries.make_room(k)
        if who is None:
            return None
        diaries.own[who].append(k)
        last_at[job.place] = who
        worked[who] += job.minutes
    for who, own in diaries.own.items():
        names |= dict.fromkeys(own, who)
    return [names[k] for k in range(len(jobs))]


class _Diaries:
    """Who does which jobs, filled in order of start."""

    def __init__(self, people: tuple[Person, ...], jobs: list[Job]) -> None:
        self.people, self.jobs = people, jobs
        self.own: dict[str, list[int]] = {p.id: [] for p in people}
        self.windows = {p.id: p.windows() for p in people}

    def may(self, p: Person, k: int) -> int | None:
        """Return the minutes left after a job in the stretch in which somebody can do it; None: not this person."""
        job = self.jobs[k]
        if job.work not in p.does or job.fixed not in {None, p.id}:
            return None
        return next((b - job.end for a, b in self.windows[p.id] if a <= job.start and job.end <= b), None)

    def left(self, p: Person, k: int) -> int | None:
        """Return the same, None also where the person is busy as the job starts."""
        own = self.own[p.id]
        return None if own and self.jobs[own[-1]].end > self.jobs[k].start else self.may(p, k)

    def make_room(self, k: int) -> str | None:
        """Free somebody for a job by swapping what two people have done since both were last idle at once.

        One is there for the whole job but busy as it starts, the other is idle but must leave before it ends.
        """
        start = self.jobs[k].start
        for a in self.people:
            if self.may(a, k) is None:
                continue
            for b in self.people:
                if a is not b and (cut := self.cut(a.id, b.id, start)) is not None:
                    i, j = cut
                    mine, other = self.own[a.id], self.own[b.id]
                    if all(self.may(b, x) is not None for x in mine[i:]) and all(self.may(a, x) is not None for x in other[j:]):
                        self.own[a.id], self.own[b.id] = mine[:i] + other[j:], other[:j] + mine[i:]
                        return a.id
        return None

    def cut(self, a: str, b: str, start: int) -> tuple[int, int] | None:
        """Return from which job on two people's diaries must be swapped so that `a` is idle at a minute; None: it can't be."""
        mine, other = self.own[a], self.own[b]
        if not mine or (other and self.jobs[other[-1]].end > start):
            return None
        i, j = len(mine) - 1, len(other)
        while True:
            at = self.jobs[mine[i]].start if i < len(mine) else start
            if j < len(other):
                at = min(at, self.jobs[other[j]].start)
            if i and self.jobs[mine[i - 1]].end > at:
                i -= 1
            elif j and self.jobs[other[j - 1]].end > at:
                j -= 1
            else:
                return i, j


def _assign(people: tuple[Person, ...], jobs: list[Job], known: list[str] | None) -> list[str] | None:
    """Name by a small model with the times fixed, the busiest person as little busy as can be found quickly."""
    from ortools.sat.python import cp_model  # noqa: PLC0415 - only when greedy naming failed

    model = cp_model.CpModel()
    does: list[dict[str, Any]] = []
    for job in jobs:
        own = {
            p.id: model.new_bool_var("")
            for p in people
            if job.work in p.does and job.fixed in {None, p.id} and any(a <= job.start and job.end <= b for a, b in p.windows())
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
