"""What happens to a day that was planned: the state at a minute, and each event as a change of the instance.

Comes in: an instance, its plan, a minute, events. Goes out: the instance from that minute on (`now`, `done`, schema 1),
the machines that can't be used, and what is taken for granted, in words. Pure; the plan made of it holds every rule
that any checker of schema 1 knows.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace

from fettlebook.errors import Mendable
from fettlebook.plan.chair_out import chair_out
from fettlebook.plan.day_state import NEVER
from fettlebook.plan.instance import Batch, Chair, Done, Instance, Plan, Step, Visit
from fettlebook.plan.sets_held import without_sets
from fettlebook.said import said

URGENT_WEIGHT = 5


@dataclass(frozen=True, slots=True)
class Overrun:
    """A visit takes so many minutes longer than booked."""

    visit: str
    minutes: int


@dataclass(frozen=True, slots=True)
class FailedCycle:
    """The load in a machine failed: its sets count as used again."""

    machine: str


@dataclass(frozen=True, slots=True)
class MachineOut:
    """A machine can't be used from now until a minute (None: not today); what runs in it is lost."""

    machine: str
    until: int | None = None


@dataclass(frozen=True, slots=True)
class Missing:
    """A person is away from now until a minute (None: not back today); what the person has begun is still finished."""

    person: str
    until: int | None = None


@dataclass(frozen=True, slots=True)
class Emergency:
    """An urgent visit now, on a chair (None: wherever it costs least)."""

    minutes: int
    chair: str | None = None
    uses: tuple[str, ...] = ()
    name: str = "urgent"


@dataclass(frozen=True, slots=True)
class ChairOut:
    """No visit begins on a chair from now until a minute (None: not today); what has begun is finished and cleared.

    `onto` names chairs on which its visits may be served instead; without any, they wait or are not served.
    """

    chair: str
    until: int | None = None
    onto: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SetsHeld:
    """So many sets of a type that lie clean may not be used for the rest of the day: quarantine, loss, breakage."""

    set_type: str
    count: int


Event = Overrun | FailedCycle | MachineOut | Missing | ChairOut | SetsHeld | Emergency


@dataclass(frozen=True, slots=True)
class Moment:
    """The day as it stands at `now`: what can't be used, and what is taken for granted."""

    day: Instance
    blocked: dict[str, int] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    away: frozenset[str] = frozenset()  # who has left: can't be asked to stay
    never: frozenset[str] = frozenset()  # visits that can't be served any more, whatever is done
    shut: frozenset[str] = frozenset()  # chairs on which no urgent visit can be put

    @property
    def now(self) -> int:
        """The minute."""
        return self.day.now or 0

    @property
    def done(self) -> Done:
        """What has begun."""
        return self.day.done or Done()

    def noting(self, text: str) -> "Moment":
        """Return the same with one more note."""
        return replace(self, notes=(*self.notes, text))

    def with_done(self, **parts: object) -> "Moment":
        """Return the same with other parts of `done`."""
        return replace(self, day=self.day.model_copy(update={"done": self.done.model_copy(update=parts)}))


def at_minute(day: Instance, plan: Plan, now: int) -> Moment:
    """Return the day at a minute, everything until then done as planned.

    A load not yet unloaded lacks its unloading. Visits that the plan leaves out stay left out of `done`, not of the day.
    """
    day = day.moved(plan)
    batches = []
    for b in plan.batches:
        if b.load_start < now:
            out = b.unload_start is not None and b.unload_start < now
            batches.append(b if out else b.model_copy(update={"unload_start": None, "unload_person": None}))
    done = Done(
        visits=tuple(v for v in plan.visits if v.start < now),
        steps=tuple(s for s in plan.steps if s.start < now),
        packs=tuple(k for k in plan.packs if k.start < now),
        batches=tuple(batches),
        tests=tuple(t for t in plan.tests if t.start < now),
        duties=tuple(d for d in plan.duties if d.start < now),
    )
    return Moment(day.model_copy(update={"now": now, "done": done}))


def closed_instead(day: Instance) -> Instance:
    """Return the day with what was done of a turnover counted as the beginning of the closing, where no visit follows any more.

    The closing of such a chair is what was done, then what of the closing that does not hold. A chair without any visit
    left was opened for nothing, which a plan has no place for.
    """
    done = day.done
    if done is None:
        return day
    last = {own[-1].id: c for c in day.chairs if (own := day.visits_of(c.id))}
    used = {c.id for c in last.values()}
    turned = {c.id: 0 for c in last.values()}
    steps = []
    for s in done.steps:
        if s.chair in used:
            over = s.procedure == "turnover" and s.after in last
            turned[s.chair] += over
            steps.append(s.model_copy(update={"procedure": "closing"}) if over else s)
    chairs = tuple(c.model_copy(update={"closing": _rest_of_closing(c, n)}) if (n := turned.get(c.id, 0)) else c for c in day.chairs)
    return day.model_copy(update={"chairs": chairs, "done": done.model_copy(update={"steps": tuple(steps)})})


def _rest_of_closing(chair: Chair, turned: int) -> tuple[Step, ...]:
    begun = chair.turnover[:turned]
    common = next((i for i, (a, b) in enumerate(zip(begun, chair.closing, strict=False)) if a != b), min(turned, len(chair.closing)))
    return begun + chair.closing[common:]


def after(moment: Moment, event: Event, minute: Callable[[int], str]) -> Moment:
    """Return the day after an event; `minute` says a minute in words.

    Raises
    ------
    Mendable
        The event names what the day doesn't have, or can't have happened.
    """
    match event:
        case Overrun():
            return _overrun(moment, event, minute)
        case FailedCycle():
            return _failed(moment, event.machine, minute)
        case MachineOut():
            return _out(moment, event, minute)
        case Missing():
            return _missing(moment, event, minute)
        case ChairOut():
            for name in (event.chair, *event.onto):
                known("chair", name, (c.id for c in moment.day.chairs))
            return chair_out(moment, event, minute)
        case SetsHeld():
            known("set type", event.set_type, moment.day.owned())
            return without_sets(moment, event.set_type, event.count)
        case Emergency():
            return _emergency(moment, event, minute)


def known(what: str, name: str, names: Iterable[str]) -> None:
    """Raise `Mendable` where an event names what the day doesn't have."""
    if name not in (known := list(names)):
        raise Mendable(
            said("no {what} {name!r}", what=what, name=name), where="event", mend=said("Write one of: ") + ", ".join(known) + "."
        )


def _overrun(m: Moment, event: Overrun, minute: Callable[[int], str]) -> Moment:
    known("visit", event.visit, (v.id for v in m.day.visits))
    visits = tuple(v.model_copy(update={"minutes": v.minutes + event.minutes}) if v.id == event.visit else v for v in m.day.visits)
    m = replace(m, day=m.day.model_copy(update={"visits": visits}))
    begun = next((v for v in m.done.visits if v.id == event.visit), None)
    if begun is None:
        return m
    visit = next(v for v in visits if v.id == event.visit)
    end = begun.start + visit.minutes
    m = _not_yet(_in_use_until(m, visit.chair, begun.start, end), visit, begun.start, end)
    return m.noting(
        said("{visit} ends at {end}, {minutes} min later than booked", visit=event.visit, end=minute(end), minutes=event.minutes)
    )


def _in_use_until(m: Moment, chair: str, start: int, end: int) -> Moment:
    """Let a chair's outages begin only when the visit that has run into them is over."""
    later = {
        c.id: tuple((max(a, end) if a < end and start < b else a, b) for a, b in c.out if not (start < b <= end))
        for c in m.day.chairs
        if c.id == chair and c.out
    }
    chairs = tuple(c.model_copy(update={"out": later[c.id]}) if c.id in later else c for c in m.day.chairs)
    return replace(m, day=m.day.model_copy(update={"chairs": chairs})) if later else m


def _not_yet(m: Moment, visit: Visit, start: int, end: int) -> Moment:
    """Take out of what was done as planned what can't have been: the chair was still taken, its sets still in use.

    Where one thing on the chair can't have been, nothing that by plan came after it there is known to have been.
    """
    chair = {v.id for v in m.day.visits if v.chair == visit.chair}
    own = {d.id for d in m.day.duties if d.subject == visit.chair or d.after == visit.id}
    ran_into = [s for s in m.done.steps if s.after == visit.id and s.start < end]
    if not ran_into and not any(d.id in own and start < d.start < end for d in m.done.duties):
        return m
    gone = {v.id for v in m.done.visits if v.id in chair and v.start > start}
    units = {u for v in m.done.visits if v.id in gone or v.id == visit.id for u in v.units}
    steps = tuple(s for s in m.done.steps if s.after not in gone and s.after != visit.id)
    if lent := [v.id for v in m.done.visits if v.start > start and v.id not in gone and units & set(v.units)]:
        raise Mendable(
            said(
                "{id} can't have run until {end}: by plan its sets went round and were used again by {lent}",
                id=visit.id,
                end=end,
                lent=lent[0],
            ),
            where="event",
            mend=said("Say what has really happened: an instance with `now` and `done`."),
        )
    return m.with_done(
        visits=tuple(v for v in m.done.visits if v.id not in gone),
        steps=steps,
        duties=tuple(d for d in m.done.duties if d.id not in own or d.start <= start),
        packs=tuple(k for k in m.done.packs if not (k.unit in units and k.start > start)),
        batches=_without(m.done.batches, lambda b: units if b.load_start > start else set()),
    )


def _without(batches: Iterable[Batch], units: Callable[[Batch], set[str]]) -> tuple[Batch, ...]:
    kept = (b.model_copy(update={"units": tuple(u for u in b.units if u not in units(b))}) for b in batches)
    return tuple(b for b in kept if b.units)


def _machine(m: Moment, name: str) -> None:
    known("machine", name, (x.id for x in (*m.day.baths, *m.day.washers, *m.day.sterilizers)))


def _failed(m: Moment, name: str, minute: Callable[[int], str]) -> Moment:
    _machine(m, name)
    load = max((b for b in m.done.batches if b.machine == name), key=lambda b: b.load_start, default=None)
    used = {u for v in m.done.visits if load and v.start >= load.load_start for u in v.units}
    if load is None or (load.unload_start is not None and used & set(load.units)):
        raise Mendable(
            said("{name} holds no load at {now} that could have failed", name=name, now=minute(m.now)),
            where="event",
            mend=said("Name the machine with the load. Sets that were used since then are a matter for a look-back (fettlebook trace)."),
        )
    m = _used_again(m, load)
    if load.unload_start is not None:
        return m
    return _emptied(m, name, minute)


def _used_again(m: Moment, load: Batch) -> Moment:
    """Count a load's sets as used: what they went through since their visit is taken out of what was done."""
    last = {u: max((v.start for v in m.done.visits if u in v.units), default=-1) for u in load.units}
    m = m.with_done(
        batches=_without(m.done.batches, lambda b: {u for u in load.units if b.load_start >= last[u]}),
        packs=tuple(k for k in m.done.packs if k.unit not in last or k.start < last[k.unit]),
    )
    return m.noting(
        said(
            "{units} {units2} of the load on {machine} count as used again",
            units=len(load.units),
            units2=said("set") if len(load.units) == 1 else said("sets"),
            machine=load.machine,
        )
    )


def _emptied(m: Moment, name: str, minute: Callable[[int], str]) -> Moment:
    """Give the unloading of a failed load to somebody: a block in the timetable of who is free first."""
    need = m.day.reprocess.unload_minutes
    free = {p.id: max([m.now, *_ends(m, p.id)]) for p in m.day.people if "instruments" in p.does}
    slots = [(max(free[p.id], a), p.id) for p in m.day.people if p.id in free for a, b in p.windows() if max(free[p.id], a) + need <= b]
    if not slots:
        return replace(m, blocked={**m.blocked, name: NEVER}).noting(
            said("nobody is there to empty {name}: not used any more today", name=name)
        )
    start, who = min(slots)
    people = tuple(
        p.model_copy(update={"breaks": tuple(sorted((*p.breaks, (start, start + need))))}) if p.id == who else p for p in m.day.people
    )
    m = replace(m, day=m.day.model_copy(update={"people": people}), blocked={**m.blocked, name: start + need})
    return m.noting(said("{who} empties {name} at {start}", who=who, name=name, start=minute(start)))


def _ends(m: Moment, person: str) -> list[int]:
    """Return when each job that a person has begun ends."""
    r, chairs, pack = m.day.reprocess, {c.id: c for c in m.day.chairs}, m.day.pack_minutes()
    tests = {x.id: x.tests for x in (*m.day.baths, *m.day.washers, *m.day.sterilizers)}
    duties = {d.id: d for d in m.day.duties}
    out = [s.start + chairs[s.chair].procedure(s.procedure)[s.index].minutes for s in m.done.steps if s.person == person]
    out += [k.start + pack[k.unit.rpartition("#")[0]] for k in m.done.packs if k.person == person]
    out += [t.start + tests[t.machine][t.index].attended_minutes for t in m.done.tests if t.person == person]
    out += [end for d in m.done.duties if d.person == person for _, end in duties[d.id].hands(d.start)]
    out += [b.start for b in m.done.batches if b.load_person == person]
    out += [b.unload_start + r.unload_minutes for b in m.done.batches if b.unload_person == person and b.unload_start is not None]
    return out


def _out(m: Moment, event: MachineOut, minute: Callable[[int], str]) -> Moment:
    _machine(m, event.machine)
    machine = next(x for x in (*m.day.baths, *m.day.washers, *m.day.sterilizers) if x.id == event.machine)
    load = next((b for b in m.done.batches if b.machine == event.machine and b.unload_start is None), None)
    if load is not None and load.start + machine.cycle_minutes(load.cycle) > m.now:
        m = _used_again(m, load)
    until = NEVER if event.until is None else event.until
    back = (
        said("out of service for the rest of the day")
        if event.until is None
        else said("out of service until {until}", until=minute(event.until))
    )
    return replace(m, blocked={**m.blocked, event.machine: max(until, m.blocked.get(event.machine, 0))}).noting(f"{event.machine} {back}")


def _missing(m: Moment, event: Missing, minute: Callable[[int], str]) -> Moment:
    known("person", event.person, (p.id for p in m.day.people))
    leaves = max([m.now, *_ends(m, event.person)])
    people = []
    for p in m.day.people:
        if p.id != event.person or leaves >= p.to:
            people.append(p)
        elif event.until is not None and event.until < p.to:
            if event.until > leaves and event.until > p.from_:
                people.append(p.model_copy(update={"breaks": tuple(sorted((*p.breaks, (max(leaves, p.from_), event.until))))}))
            else:
                people.append(p)
        elif leaves > p.from_:
            breaks = tuple((a, min(b, leaves)) for a, b in p.breaks if a < leaves)
            people.append(p.model_copy(update={"to": leaves, "breaks": breaks}))
    back = said("for the rest of the day") if event.until is None else said("until {until}", until=minute(event.until))
    gone = m.away | {event.person} if event.until is None else m.away
    m = replace(m, day=m.day.model_copy(update={"people": tuple(people)}), away=gone)
    return m.noting(said("{person} is away {back}", person=event.person, back=back))


def _emergency(m: Moment, event: Emergency, minute: Callable[[int], str]) -> Moment:
    assert event.chair is not None  # replan has chosen one
    known("chair", event.chair, (c.id for c in m.day.chairs))
    if event.chair in m.shut:
        raise Mendable(said("{chair} is out of service", chair=event.chair), where="event", mend=said("Name another chair, or any."))
    owned, uses = m.day.owned(), {t: event.uses.count(t) for t in event.uses}
    for t, n in uses.items():
        known("set type", t, owned)
        if n > owned[t]:
            raise Mendable(
                said("the urgent visit needs {n} of {t}, {t2} owned", n=n, t=t, t2=owned[t]),
                where="event",
                mend=said("Name sets that the practice owns."),
            )
    begun = [v for v in m.done.visits if any(x.id == v.id and x.chair == event.chair for x in m.day.visits)]
    if any(s.procedure == "closing" and s.chair == event.chair for s in m.done.steps) and begun:
        raise Mendable(
            said("{chair} is being closed at {now}", chair=event.chair, now=minute(m.now)),
            where="event",
            mend=said("Name another chair, or any."),
        )
    ids = {v.id for v in m.day.visits}
    free = (event.name if k == 1 else f"{event.name}-{k}" for k in range(1, len(ids) + 2))
    name = next(n for n in free if n not in ids)
    visit = Visit(id=name, chair=event.chair, booked=m.now, minutes=event.minutes, uses=uses, weight=URGENT_WEIGHT)
    # First in the file among equals: it goes before a visit that is booked for this very minute.
    return replace(m, day=m.day.model_copy(update={"visits": (visit, *m.day.visits)})).noting(
        said("a visit that can't wait on {chair}: {name}", chair=event.chair, name=name)
    )
