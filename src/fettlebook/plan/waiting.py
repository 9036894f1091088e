"""Why a visit starts late, as a chain: what it waits for, what that waits for, and so on back to what ran as booked.

Comes in: an instance and its plan. Goes out: for each late visit the links in order of time, each with what it is, who
does it, and how long it waits for whom or what since when; and how much of the lateness the booking of the chair alone
forces. Read off the plan only: a chain says what held this plan up, not that another plan could not do better; what no
plan can better is `forced` and the bound.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

from fettlebook.plan.diary import Diary, Job, diary_of
from fettlebook.plan.explain import Words
from fettlebook.plan.instance import Instance, Plan
from fettlebook.plan.rows import rows
from fettlebook.said import joined, said

LONGEST = 60  # links; no day has so long a chain
For = Literal["hands", "set", "machine", "shift", "out", "plan"]


@dataclass(frozen=True, slots=True)
class Wait:
    """What a link waits for before it can begin."""

    since: int
    until: int
    reason: For
    words: str

    @property
    def minutes(self) -> int:
        """How long."""
        return self.until - self.since


@dataclass(frozen=True, slots=True)
class Link:
    """One piece of work of the chain, or a visit; `wait` is what came before it."""

    kind: str  # visit, opening, turnover, closing, load, cycle, unload, pack, test, duty
    place: str
    person: str | None
    start: int
    end: int
    visit: str | None
    what: str
    wait: Wait | None = None


@dataclass(frozen=True, slots=True)
class Chain:
    """All links of a late visit, the cause first, the visit itself last."""

    visit: str
    chair: str
    booked: int
    start: int
    forced: int  # minutes late that the bookings of this chair force by themselves
    cause: str
    links: tuple[Link, ...]

    @property
    def minutes_late(self) -> int:
        """Minutes late."""
        return self.start - self.booked


@dataclass(frozen=True, slots=True)
class _Need:
    """Something that must be there before a job can begin: since when it is, and the job that brought it."""

    ready: int
    job: Job | None
    reason: For | None  # None: the job's own way, no wait
    words: str = ""


def chains_of(day: Instance, plan: Plan, words: Words) -> tuple[Chain, ...]:
    """Return a chain for each visit that starts late, in order of booked time."""
    day = day.moved(plan)
    diary = diary_of(day, plan)
    starts = {v.id: v.start for v in plan.visits}
    forced = {n.visit: n.earliest for row in rows(day.without(plan.left_out)) for n in row.nodes if n.procedure is None}
    out = []
    for v in sorted(day.visits, key=lambda v: (v.booked, v.chair)):
        if v.id in starts and starts[v.id] > v.booked:
            links, cause = _links(day, diary, diary.visits[v.id], words)
            must = max(0, forced.get(v.id, v.booked) - v.booked)
            out.append(Chain(v.id, v.chair, v.booked, starts[v.id], min(must, starts[v.id] - v.booked), cause, links))
    return tuple(out)


def _links(day: Instance, diary: Diary, last: Job, words: Words) -> tuple[tuple[Link, ...], str]:
    booked = {v.id: v.booked for v in day.visits}
    found: list[tuple[Job, Wait | None]] = []
    job: Job | None = last
    cause = ""
    while job is not None and len(found) < LONGEST:
        if job is not last and job.kind == "visit" and job.start <= booked.get(job.visit or "", job.start):
            found.append((job, None))
            break
        needs = list(_needs(day, diary, job, words))
        own = max((n.ready for n in needs if n.reason is None), default=day.day_start)
        latest = max(needs, key=lambda n: (n.ready, n.reason is None), default=_Need(day.day_start, None, None))
        wait = None
        if latest.reason is not None and latest.ready > own:
            wait = Wait(own, latest.ready, latest.reason, latest.words)
        if job.start > max(latest.ready, own):
            wait = _later_than_needed(job, wait, max(latest.ready, own), words)
        found.append((job, wait))
        if latest.job is None and latest.words:
            cause = latest.words
        job = latest.job
    links = tuple(_joined(reversed(found)))
    return links, cause or _as_booked(day, links, words)


def _later_than_needed(job: Job, wait: Wait | None, ready: int, words: Words) -> Wait:
    """Say that a job begins later than all that it needs was there: a load that waits to be fuller, other work first."""
    why = said("a fuller load") if job.kind == "load" else said("other work first")
    told = said("all is there at {ready}; the plan begins it later ({why})", ready=words.minute(ready), why=why)
    if wait is not None:
        return replace(wait, until=job.start, words=joined("; ", (wait.words, told)))
    return Wait(ready, job.start, "plan", told)


def _needs(day: Instance, diary: Diary, job: Job, words: Words) -> Iterable[_Need]:
    if job.kind == "visit":
        yield from _visit_needs(day, diary, job, words)
    elif job.kind in ("opening", "turnover", "closing"):
        if (before := diary.before_at(job)) is not None:
            yield _Need(before.end, before, None)
    elif job.kind in ("load", "pack"):
        yield from _set_needs(day, diary, job)
    elif job.kind in ("cycle", "unload") and (before := diary.before_at(job)) is not None:
        yield _Need(before.end, before, None)
    if job.kind == "load":
        before = diary.before_at(job)
        if before is not None:
            yield _Need(before.end, before, "machine", said("{place} is taken until {end}", place=job.place, end=words.minute(before.end)))
        machine = next(m for m in (*day.washers, *day.sterilizers, *day.baths) if m.id == job.place)
        ready = machine.not_before - day.reprocess.load_minutes
        yield _Need(
            ready,
            None,
            "machine",
            said("{place} takes no load that starts before {not_before}", place=job.place, not_before=words.minute(machine.not_before)),
        )
    if job.person is not None:
        yield from _hands(day, diary, job, words)


def _visit_needs(day: Instance, diary: Diary, job: Job, words: Words) -> Iterable[_Need]:
    before = diary.before_at(job)
    booked = next(v.booked for v in day.visits if v.id == job.visit)
    yield _Need(max(booked, before.end if before else booked), before, None)
    for _, until in next(c.out for c in day.chairs if c.id == job.place):
        if until <= job.start:
            yield _Need(until, None, "out", said("{place} is out of service until {until}", place=job.place, until=words.minute(until)))
    cool = day.reprocess.cool_minutes
    for unit in job.units:
        back = diary.last_of(unit, "unload", job.start, {m.id for m in day.sterilizers})
        if back is not None:
            kind = words.set_name(unit.rpartition("#")[0])
            yield _Need(back.end + cool, back, "set", said("{kind} is back at {cool}", kind=kind, cool=words.minute(back.end + cool)))


def _set_needs(day: Instance, diary: Diary, job: Job) -> Iterable[_Need]:
    """Yield what brings each set to a load or to the packing place."""
    dry = {t.id: t.dry_minutes for t in day.set_types}
    for unit in job.units:
        brought = diary.last_before(unit, job)
        if brought is not None:
            more = dry.get(unit.rpartition("#")[0], 0) if job.kind == "pack" else 0
            yield _Need(brought.end + more, brought, None)


def _hands(day: Instance, diary: Diary, job: Job, words: Words) -> Iterable[_Need]:
    before = diary.before_of(job)
    if before is not None:
        told = said("{person} is free at {end}; until then {what}", person=job.person, end=words.minute(before.end), what=before.what)
        yield _Need(before.end, before, "hands", told)
    person = next((p for p in day.people if p.id == job.person), None)
    for start, end in person.windows() if person else ():
        if start <= job.start < end and start > (before.end if before else -1):
            word = (
                said("the shift of {person} begins", person=job.person)
                if person and start == person.from_
                else said("{person} is back", person=job.person)
            )
            yield _Need(start, None, "shift", said("{word} at {start}", word=word, start=words.minute(start)))


def _joined(found: Iterable[tuple[Job, Wait | None]]) -> Iterable[Link]:
    """Yield links; steps of one turnover, or one load from loading to unloading, are one link where nothing is waited for."""
    now: Link | None = None
    group: object = None
    for job, wait in found:
        if now is not None and wait is None and job.group == group:
            person = now.person if job.person in (None, now.person) else f"{now.person}, {job.person}" if now.person else job.person
            now = replace(now, end=job.end, person=person)
            continue
        if now is not None:
            yield now
        now, group = Link(job.kind, job.place, job.person, job.start, job.end, job.visit, job.what, wait), job.group
    if now is not None:
        yield now


def _as_booked(day: Instance, links: tuple[Link, ...], words: Words) -> str:
    """Say what a chain begins with: where the book leaves less than a turnover takes, that; else what ran as booked."""
    first, last = links[0], links[-1]
    visits = {v.id: v for v in day.visits}
    if first.kind == "visit" and first.place == last.place and all(x.place == first.place for x in links):
        order = list(day.visits_of(last.place))
        at = next(i for i, v in enumerate(order) if v.id == last.visit)
        before = order[at - 1] if at else None
        chair = next(c for c in day.chairs if c.id == last.place)
        if before is not None:
            left, takes = visits[last.visit or ""].booked - before.booked - before.minutes, sum(s.minutes for s in chair.turnover)
            if left < takes:
                return said("the book leaves {left} min before it, a turnover takes {takes} min", left=max(0, left), takes=takes)
    if first.kind == "visit":
        return said("it begins with the visit {visit}, which runs as booked until {end}", visit=first.visit, end=words.minute(first.end))
    return said("it begins with {what} at {start}", what=first.what, start=words.minute(first.start))
