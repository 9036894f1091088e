"""A plan as jobs in the order in which they stand in each diary: of a chair or machine, of a person, of a set.

Comes in: an instance and its plan. Goes out: for each job what came before it at the same place, for the same person,
and with the same set. Only what is needed to follow a wait back; the checker has diaries of its own.
"""

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass, field

from fettlebook.plan.instance import Instance, Plan
from fettlebook.said import said, term


@dataclass(frozen=True, slots=True)
class Job:
    """One stretch of work, a running cycle, or a visit. `group`: what belongs together when nothing is waited for."""

    kind: str
    place: str
    person: str | None
    start: int
    end: int
    what: str
    group: tuple[str, ...]
    visit: str | None = None
    units: tuple[str, ...] = ()
    order: int = 0  # among jobs that start at the same minute


@dataclass(slots=True)
class Diary:
    """All jobs of a day."""

    at_place: dict[str, list[Job]] = field(default_factory=lambda: defaultdict(list))
    of_person: dict[str, list[Job]] = field(default_factory=lambda: defaultdict(list))
    of_unit: dict[str, list[Job]] = field(default_factory=lambda: defaultdict(list))
    visits: dict[str, Job] = field(default_factory=dict)

    def before_at(self, job: Job) -> Job | None:
        """Return what was last at the same chair or machine."""
        return _before(self.at_place[job.place], job)

    def before_of(self, job: Job) -> Job | None:
        """Return what the same person did last."""
        return _before(self.of_person[job.person or ""], job)

    def last_before(self, unit: str, job: Job) -> Job | None:
        """Return what last happened to a set before a job with it: its clearing, packing or unloading."""
        return _before(self.of_unit[unit], job)

    def last_of(self, unit: str, kind: str, before: int, places: Collection[str]) -> Job | None:
        """Return the last job of a kind with a set that has ended by a minute, at one of some places."""
        return next((j for j in reversed(self.of_unit[unit]) if j.kind == kind and j.end <= before and j.place in places), None)


def _before(jobs: list[Job], job: Job) -> Job | None:
    at = bisect_left(jobs, (job.start, job.order), key=lambda j: (j.start, j.order))
    return jobs[at - 1] if at else None


def diary_of(day: Instance, plan: Plan) -> Diary:
    """Return the diaries of a plan; `day` has each visit on the chair on which the plan serves it."""
    diary = Diary()
    chairs = {c.id: c for c in day.chairs}
    visits = {v.id: v for v in day.visits}
    units_of = {v.id: v.units for v in plan.visits}
    for v in plan.visits:
        known = visits[v.id]
        job = Job(
            "visit", known.chair, None, v.start, v.start + known.minutes, said("the visit {id}", id=v.id), ("visit", v.id), v.id, v.units
        )
        diary.visits[v.id] = job
        diary.at_place[known.chair].append(job)
    for s in plan.steps:
        end = s.start + chairs[s.chair].procedure(s.procedure)[s.index].minutes
        after = s.after or ""
        what = said("the {procedure} of {chair}", procedure=term(s.procedure), chair=s.chair)
        job = Job(s.procedure, s.chair, s.person, s.start, end, what, (s.chair, s.procedure, after), s.after, (), 1 + s.index)
        diary.at_place[s.chair].append(job)
        if s.index == 0 and s.after is not None:
            for u in units_of.get(s.after, ()):
                diary.of_unit[u].append(job)
    _instruments(day, plan, diary)
    for jobs in (*diary.at_place.values(), *diary.of_unit.values()):
        jobs.sort(key=lambda j: (j.start, j.order))
    for jobs in list(diary.at_place.values()):
        for job in jobs:
            if job.person is not None:
                diary.of_person[job.person].append(job)
    for jobs in diary.of_person.values():
        jobs.sort(key=lambda j: (j.start, j.order))
    return diary


def _instruments(day: Instance, plan: Plan, diary: Diary) -> None:
    r, machines = day.reprocess, {m.id: m for m in (*day.washers, *day.sterilizers, *day.baths)}
    pack = day.pack_minutes()
    for k in plan.packs:
        end = k.start + pack[k.unit.rpartition("#")[0]]
        job = Job(
            "pack",
            "packing",
            k.person,
            k.start,
            end,
            said("packing {unit}", unit=k.unit.replace("#", " ")),
            ("pack", k.person),
            None,
            (k.unit,),
        )
        diary.at_place["packing"].append(job)
        diary.of_unit[k.unit].append(job)
    for b in plan.batches:
        group = (b.machine, str(b.load_start))
        sets = f"{len(b.units)} {'set' if len(b.units) == 1 else 'sets'}"
        done = b.start + machines[b.machine].cycle_minutes(b.cycle)
        jobs = [
            Job(
                "load",
                b.machine,
                b.load_person,
                b.load_start,
                b.start,
                said("loading {machine} with {sets}", machine=b.machine, sets=sets),
                group,
                None,
                b.units,
            ),
            Job(
                "cycle",
                b.machine,
                None,
                b.start,
                done,
                said("{machine} with {sets}", machine=b.machine, sets=sets),
                group,
                None,
                b.units,
                1,
            ),
        ]
        if b.unload_start is not None:
            end = b.unload_start + r.unload_minutes
            jobs.append(
                Job(
                    "unload",
                    b.machine,
                    b.unload_person,
                    b.unload_start,
                    end,
                    said("unloading {machine}", machine=b.machine),
                    group,
                    None,
                    b.units,
                    2,
                )
            )
        diary.at_place[b.machine] += jobs
        for u in b.units:
            diary.of_unit[u] += jobs
    for t in plan.tests:
        owed = machines[t.machine].tests[t.index]
        diary.at_place[t.machine].append(
            Job("test", t.machine, t.person, t.start, t.start + owed.attended_minutes, owed.name, (t.machine, "test", str(t.index)))
        )
    duties = {d.id: d for d in day.duties}
    for d in plan.duties:
        owed_duty = duties[d.id]
        for begin, end in owed_duty.hands(d.start):
            place = owed_duty.subject or "practice"
            diary.at_place[place].append(Job("duty", place, d.person, begin, end, owed_duty.name, ("duty", d.id)))
