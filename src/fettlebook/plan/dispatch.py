"""The list scheduler: live through the day minute by minute and give each free person the most urgent job.

Comes in: an instance, from the morning or from any moment (`now`, `done`), and a `Manner`: how eager to be. Goes out: a
plan that serves every visit it can and names the others. It looks ahead: a set type is urgent by the visit at which its
sterile stock runs out, a machine waits for a fuller load while that visit leaves it time.
"""

import heapq
import random
from collections import defaultdict, deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from typing import Literal, NamedTuple

from fettlebook.plan.check import Figures, figures
from fettlebook.plan.instance import Batch, Chair, Instance, Machine, Pack, Plan, PlannedStep, PlannedVisit, Procedure, Step, Visit, Work

NEVER = 10**9


@dataclass(frozen=True, slots=True)
class Manner:
    """How the list scheduler decides; any values give a valid plan, some a better one.

    Shares are of a machine's capacity, the others minutes: a negative shift makes a kind of job more urgent.
    """

    wash_share: float = 0.5  # a washer starts without waiting once this much of it is full
    sterilize_share: float = 0.5
    lead: float = 20.0  # a part load starts when its most urgent set has no more than this to spare
    instruments: float = 0.0
    closing: float = 0.0
    pull: float = 0.0  # minutes that each unit of weight beyond 1 pulls a visit forward
    own_order: bool = True  # scarce sets go to the earlier booked visit
    calm: float = 30.0  # with more than this to spare, one person packs at a time instead of all who are free
    chairs: tuple[tuple[str, float], ...] = ()
    types: tuple[tuple[str, float], ...] = ()
    visits: tuple[tuple[str, float], ...] = ()


class _Job(NamedTuple):
    """Attended work that could begin now; the smallest `latest` goes first."""

    latest: float
    tie: int
    minutes: int
    work: Work
    do: Callable[[str], None]  # given the person, does it
    place: str  # chair or machine: who was last there goes on, if free


@dataclass(slots=True)
class _ChairState:
    chair: Chair
    visits: tuple[Visit, ...]
    at: int = 0  # how many visits have begun
    procedure: Procedure | None = "opening"  # None: waiting for a visit, or closed
    index: int = 0
    ready: int = 0  # when the next thing may begin
    closed: bool = False
    after: str | None = None

    def steps(self) -> tuple[Step, ...]:
        return self.chair.procedure(self.procedure) if self.procedure else ()


@dataclass(slots=True)
class _MachineState:
    machine: Machine
    kind: Literal["wash", "sterilize"]
    batch: Batch | None = None
    free: int = 0


@dataclass(slots=True)
class _Stock:
    """The units of one type, by where they are."""

    clean: list[int] = field(default_factory=list)
    cooling: int = 0
    sterilizing: int = 0
    packed: deque[str] = field(default_factory=deque)
    packing: int = 0
    washed: deque[str] = field(default_factory=deque)
    washing: int = 0
    dirty: deque[str] = field(default_factory=deque)
    wanted: list[int] = field(default_factory=list)  # latest start of each use not yet begun, in order


class _Run:
    """One day lived through; `plan()` gives what was done and `stuck` the visits that could not be served."""

    def __init__(self, day: Instance, manner: Manner) -> None:
        self.day, self.manner, self.r, self.places = day, manner, day.reprocess, day.places()
        self.visits: list[PlannedVisit] = []
        self.steps: list[PlannedStep] = []
        self.packs: list[Pack] = []
        self.batches: list[Batch] = []
        self.free = {p.id: p.from_ for p in day.people}
        self.windows = {p.id: p.windows() for p in day.people}
        self.does = {p.id: p.does for p in day.people}
        self.worked = {p.id: 0 for p in day.people}
        self.last_at: dict[str, str] = {}  # chair or machine -> who worked there last, in this procedure or load
        self.packing_until = 0
        self.chair_shift, self.type_shift, self.visit_shift = dict(manner.chairs), dict(manner.types), dict(manner.visits)
        self.chairs = [_ChairState(c, own, ready=day.day_start) for c in day.chairs if (own := day.visits_of(c.id))]
        self.machines = [_MachineState(m, "wash") for m in day.washers] + [_MachineState(m, "sterilize") for m in day.sterilizers]
        self.stock = {t.id: _Stock(clean=list(range(1, t.owned + 1))) for t in day.set_types}
        self.arrivals: list[tuple[int, str, str]] = []  # (minute, "dirty" | "clean", unit)
        for v in sorted(day.visits, key=lambda v: v.booked):
            for t, n in v.needs().items():
                self.stock[t].wanted += [v.booked] * n
        ways = [min((m.minutes for m in ms), default=NEVER) for ms in (day.washers, day.sterilizers)]
        hands = self.r.load_minutes + self.r.unload_minutes
        self.from_packed = hands + ways[1] + self.r.cool_minutes  # minutes from packed to usable, at best
        self.from_washed = self.from_packed + self.r.pack_minutes
        self.from_dirty = self.from_washed + hands + ways[0]
        self.last_hand = min(day.day_end, max((p.to for p in day.people if "chairs" in p.does), default=day.day_end))
        self.clock = [day.day_start]
        self.clock += [a for w in self.windows.values() for a, _ in w] + [v.booked for v in day.visits]
        self.clock += [m.not_before - self.r.load_minutes for m in day.washers + day.sterilizers]
        if day.now is not None:
            self.resume(day.now)
        heapq.heapify(self.clock)

    # --- what has happened already -------------------------------------------------------------------------------

    def resume(self, now: int) -> None:
        """Take over what was done; nothing new begins before `now`."""
        done = self.day.done
        if done is None:
            return
        self.clock = [max(now, t) for t in self.clock]
        began = {v.id: v for v in done.visits}
        step_start = {(s.chair, s.procedure, s.after, s.index): s for s in done.steps}
        self.visits += done.visits
        self.steps += done.steps
        self.packs += done.packs
        for who in self.free:
            self.free[who] = max(self.free[who], now)
        for s in done.steps:
            self.busy(s.person, s.start, self.chair_of(s.chair).procedure(s.procedure)[s.index].minutes)
        stage: dict[str, tuple[int, str]] = {}  # unit -> the last stage it began, and when it ends
        begun: list[tuple[int, str, str, int]] = []
        for state in self.chairs:
            self.replay(state, now, began, step_start, begun)
        for k in done.packs:
            self.busy(k.person, k.start, self.r.pack_minutes)
            begun.append((k.start, k.unit, "packed", k.start + self.r.pack_minutes))
        for b in done.batches:
            self.busy(b.load_person, b.load_start, self.r.load_minutes)
            machine = next(m for m in self.machines if m.machine.id == b.machine)
            if b.unload_start is None:
                machine.batch = b
                running = "washing" if machine.kind == "wash" else "sterilizing"
                begun += [(b.load_start, u, running, b.start + machine.machine.minutes) for u in b.units]
                self.wake(max(now, b.start + machine.machine.minutes))
                continue
            out = b.unload_start + self.r.unload_minutes
            self.batches.append(b)
            self.busy(b.unload_person, b.unload_start, self.r.unload_minutes)
            machine.free = max(machine.free, out)
            after, ready = ("washed", out) if machine.kind == "wash" else ("clean", out + self.r.cool_minutes)
            begun += [(b.load_start, u, after, ready) for u in b.units]
        for _, unit, what, end in sorted(begun):
            stage[unit] = (end, what)
        for unit, (end, what) in stage.items():
            kind, _, number = unit.rpartition("#")
            stock = self.stock[kind]
            stock.clean.remove(int(number))
            if what == "washing":
                stock.washing += 1
            elif what == "sterilizing":
                stock.sterilizing += 1
            elif what != "in use":
                self.arrive(max(now, end), what, unit)

    def replay(
        self,
        state: _ChairState,
        now: int,
        began: dict[str, PlannedVisit],
        step_start: dict[tuple[str, Procedure, str | None, int], PlannedStep],
        begun: list[tuple[int, str, str, int]],
    ) -> None:
        """Bring a chair to where the day has brought it."""
        while True:
            if state.procedure is not None:
                done_step = step_start.get((state.chair.id, state.procedure, state.after, state.index))
                if state.index < len(state.steps()) and done_step is None:
                    break
                if state.index < len(state.steps()) and done_step is not None:
                    state.ready = done_step.start + state.steps()[state.index].minutes
                    if state.index == 0 and state.after is not None:
                        begun += [(began[state.after].start, u, "dirty", state.ready) for u in began[state.after].units]
                    state.index += 1
                    continue
                self.finish_procedure(state)
                if state.closed:
                    return
            if state.at == len(state.visits) or (v := state.visits[state.at]).id not in began:
                break
            for t, n in v.needs().items():
                for _ in range(n):
                    self.stock[t].wanted.remove(v.booked)
            state.at += 1
            state.after, state.index = v.id, 0
            state.procedure = "closing" if state.at == len(state.visits) else "turnover"
            state.ready = began[v.id].start + v.minutes
            if (state.chair.id, state.procedure, v.id, 0) not in step_start:
                begun += [(began[v.id].start, u, "in use", NEVER) for u in began[v.id].units]
        state.ready = max(state.ready, now)
        self.skip_unattended(state)
        self.wake(state.ready)

    def chair_of(self, chair: str) -> Chair:
        return next(c for c in self.day.chairs if c.id == chair)

    def busy(self, person: str | None, start: int, minutes: int) -> None:
        if person is not None:
            self.free[person] = max(self.free[person], start + minutes)
            self.worked[person] += minutes
            self.wake(self.free[person])

    # --- the day -------------------------------------------------------------------------------------------------

    def live(self) -> None:
        """Go through the day, from one moment at which something changes to the next."""
        start = self.day.day_start if self.day.now is None else self.day.now
        for state in self.chairs:
            if self.day.now is None:
                self.skip_unattended(state)
                self.wake(state.ready)
        while self.clock:
            t = heapq.heappop(self.clock)
            while self.clock and self.clock[0] <= t:
                heapq.heappop(self.clock)
            t = max(t, start)
            if t > self.day.day_end + 1:
                return
            self.receive(t)
            self.begin_visits(t)
            self.give_out(t)

    def wake(self, t: float) -> None:
        heapq.heappush(self.clock, int(t))

    def arrive(self, t: int, stage: str, unit: str) -> None:
        heapq.heappush(self.arrivals, (t, stage, unit))
        stock = self.stock[unit.rpartition("#")[0]]
        stock.packing += stage == "packed"
        stock.washing += stage == "washed"
        stock.cooling += stage == "clean"
        self.wake(t)

    def receive(self, t: int) -> None:
        while self.arrivals and self.arrivals[0][0] <= t:
            _, stage, unit = heapq.heappop(self.arrivals)
            kind, _, number = unit.rpartition("#")
            stock = self.stock[kind]
            if stage == "dirty":
                stock.dirty.append(unit)
            elif stage == "washed":
                stock.washing -= 1
                stock.washed.append(unit)
            elif stage == "packed":
                stock.packing -= 1
                stock.packed.append(unit)
            else:
                stock.cooling -= 1
                heapq.heappush(stock.clean, int(number))

    def begin_visits(self, t: int) -> None:
        waiting = [
            (self.wish(v), i, s, v)
            for i, s in enumerate(self.chairs)
            if s.procedure is None
            and not s.closed
            and s.ready <= t
            and (v := s.visits[s.at]).booked <= t
            and (v.latest is None or t <= v.latest)  # too late: it is never begun, and is then left out
        ]
        promised: dict[str, int] = defaultdict(int)
        for _, _, state, visit in sorted(waiting, key=lambda w: w[:2]):
            need = visit.needs()
            if any(len(self.stock[k].clean) - promised[k] < n for k, n in need.items()):
                if self.manner.own_order:
                    for k, n in need.items():
                        promised[k] += n
                continue
            units = tuple(f"{k}#{heapq.heappop(self.stock[k].clean)}" for k, n in need.items() for _ in range(n))
            for k, n in need.items():
                wanted = self.stock[k].wanted
                for _ in range(n):
                    wanted.remove(visit.booked)
            self.visits.append(PlannedVisit.model_construct(id=visit.id, start=t, units=units))
            state.at += 1
            state.after, state.index, state.ready = visit.id, 0, t + visit.minutes
            state.procedure = "closing" if state.at == len(state.visits) else "turnover"
            self.skip_unattended(state)
            self.wake(state.ready)

    def wish(self, visit: Visit) -> float:
        """Return the minute at which a visit is taken to want to start: booked, pulled forward by weight and manner."""
        return visit.booked - self.manner.pull * (visit.weight - 1) + self.visit_shift.get(visit.id, 0.0)

    def skip_unattended(self, state: _ChairState) -> None:
        """Let unattended steps run as soon as they can; stop at the next attended step or the end."""
        while state.procedure is not None:
            steps = state.steps()
            if state.index < len(steps):
                if steps[state.index].attended:
                    return
                self.note_step(state, state.ready, None)
            else:
                self.finish_procedure(state)

    def note_step(self, state: _ChairState, start: int, person: str | None) -> None:
        assert state.procedure is not None
        step = state.steps()[state.index]
        self.steps.append(
            PlannedStep.model_construct(
                chair=state.chair.id, procedure=state.procedure, after=state.after, index=state.index, start=start, person=person
            )
        )
        state.ready = start + step.minutes
        if state.index == 0 and state.after is not None:
            used = next(v for v in reversed(self.visits) if v.id == state.after)
            for u in used.units:
                self.arrive(state.ready, "dirty", u)
        state.index += 1

    @staticmethod
    def finish_procedure(state: _ChairState) -> None:
        state.closed = state.procedure == "closing"
        state.procedure = None

    def give_out(self, t: int) -> None:
        """Give each free person the most urgent job that fits before the break or the end of the shift."""
        while True:
            hands = [(p, end) for p, f in self.free.items() if f <= t for a, end in self.windows[p] if a <= t < end]
            if not hands:
                return
            given = False
            for job in sorted(self.jobs(t)):
                able = [p for p, end in hands if t + job.minutes <= end and job.work in self.does[p]]
                if not able:
                    continue
                stays = self.last_at.get(job.place)
                person = stays if stays in able else min(able, key=lambda p: (len(self.does[p]), self.worked[p]))
                self.last_at[job.place] = person
                self.busy(person, t, job.minutes)
                job.do(person)
                given = True
                break
            if not given:
                return

    def jobs(self, t: int) -> Iterator[_Job]:
        tie = 0
        for state in self.chairs:
            if state.procedure is not None and state.ready <= t:
                tie += 1
                step = state.steps()[state.index]
                rest = sum(s.minutes for s in state.steps()[state.index :])
                due: float = self.last_hand + self.manner.closing
                if state.procedure != "closing":
                    due = self.wish(state.visits[state.at])
                latest = due - rest + self.chair_shift.get(state.chair.id, 0.0)
                if state.index == 0 and state.after is not None:
                    latest = min(latest, self.dirty_latest(state.after))
                yield _Job(latest, tie, step.minutes, "chairs", self.step_doer(state, t), state.chair.id)
        yield from self.instrument_jobs(t, tie)

    def step_doer(self, state: _ChairState, t: int) -> Callable[[str], None]:
        def do(person: str) -> None:
            self.note_step(state, t, person)
            self.skip_unattended(state)
            self.wake(state.ready)

        return do

    # --- instruments ---------------------------------------------------------------------------------------------

    def due(self, kind: str, rank: int) -> float:
        """Return the booked minute of the visit that needs the unit that is `rank`-th in line; NEVER: not needed today."""
        wanted = self.stock[kind].wanted
        return wanted[rank] + self.type_shift.get(kind, 0.0) + self.manner.instruments if rank < len(wanted) else NEVER

    def ahead(self, kind: str, stage: Literal["packed", "washed", "dirty"]) -> int:
        """Return how many units of a type are nearer to use than the first at a stage."""
        s = self.stock[kind]
        n = len(s.clean) + s.cooling + s.sterilizing
        if stage == "packed":
            return n
        n += len(s.packed) + s.packing
        return n if stage == "washed" else n + len(s.washed) + s.washing

    def dirty_latest(self, visit: str) -> float:
        """Return when the sets of a visit must at the latest be on their way, from when they are needed again."""
        used = next(v for v in reversed(self.visits) if v.id == visit)
        kinds = {u.rpartition("#")[0] for u in used.units}
        return min((self.due(k, self.ahead(k, "dirty") + len(self.stock[k].dirty)) - self.from_dirty - 2 for k in kinds), default=NEVER)

    def instrument_jobs(self, t: int, tie: int) -> Iterator[_Job]:
        waiting: dict[str, list[tuple[float, str]]] = {}
        for state in self.machines:
            tie += 1
            if state.batch is not None:
                if state.batch.start + state.machine.minutes <= t:
                    yield _Job(self.unload_latest(state), tie, self.r.unload_minutes, "instruments", self.unloader(state, t), "instruments")
                continue
            if state.free > t or t + self.r.load_minutes < state.machine.not_before:
                continue
            if state.kind not in waiting:
                waiting[state.kind] = self.waiting_for(state.kind)
            units, latest = self.load_for(state, waiting[state.kind])
            if units and self.is_time(state, units, latest, t):
                yield _Job(latest, tie, self.r.load_minutes, "instruments", self.loader(state, units, t), "instruments")
        for kind, stock in self.stock.items():
            if stock.washed:
                tie += 1
                latest = self.due(kind, self.ahead(kind, "washed")) - self.from_washed
                if latest < NEVER / 2 and (self.packing_until <= t or latest - t <= self.manner.calm):
                    yield _Job(latest, tie, self.r.pack_minutes, "instruments", self.packer(kind, t), "instruments")

    def waiting_for(self, kind: Literal["wash", "sterilize"]) -> list[tuple[float, str]]:
        """Return the units that wait for a kind of machine and are needed today, the most urgent first."""
        items: list[tuple[float, str]] = []
        for type_id, stock in self.stock.items():
            units = stock.dirty if kind == "wash" else stock.packed
            if not units:
                continue
            rank = self.ahead(type_id, "dirty" if kind == "wash" else "packed")
            for i, unit in enumerate(units):
                if (due := self.due(type_id, rank + i)) >= NEVER:
                    break
                items.append((due, unit))
        items.sort()
        return items

    def load_for(self, state: _MachineState, waiting: list[tuple[float, str]]) -> tuple[tuple[str, ...], float]:
        """Return what of it fits into a machine, and when that must at the latest be loaded."""
        fits, room = [], state.machine.capacity
        for due, unit in waiting:
            size = self.places[unit.rpartition("#")[0]]
            if size <= room:
                fits.append((due, unit))
                room -= size
        way = self.from_dirty if state.kind == "wash" else self.from_packed
        return tuple(u for _, u in fits), (fits[0][0] - way if fits else NEVER)

    def is_time(self, state: _MachineState, units: tuple[str, ...], latest: float, t: int) -> bool:
        share = self.manner.wash_share if state.kind == "wash" else self.manner.sterilize_share
        if (
            sum(self.places[u.rpartition("#")[0]] for u in units) >= max(1.0, share * state.machine.capacity)
            or latest - self.manner.lead <= t
        ):
            return True
        self.wake(max(t + 1, latest - self.manner.lead))
        return False

    def loader(self, state: _MachineState, units: tuple[str, ...], t: int) -> Callable[[str], None]:
        def do(person: str) -> None:
            start = t + self.r.load_minutes
            state.batch = Batch.model_construct(
                machine=state.machine.id,
                units=units,
                load_start=t,
                load_person=person,
                start=start,
                unload_start=None,
                unload_person=None,
            )
            for u in units:
                stock = self.stock[u.rpartition("#")[0]]
                if state.kind == "wash":
                    stock.dirty.remove(u)
                    stock.washing += 1
                else:
                    stock.packed.remove(u)
                    stock.sterilizing += 1
            self.wake(start + state.machine.minutes)

        return do

    def unload_latest(self, state: _MachineState) -> float:
        assert state.batch is not None
        latest: float = NEVER
        for kind in {u.rpartition("#")[0] for u in state.batch.units}:
            s = self.stock[kind]
            if state.kind == "wash":
                latest = min(latest, self.due(kind, self.ahead(kind, "washed") + len(s.washed)) - self.from_washed - self.r.unload_minutes)
            else:
                latest = min(latest, self.due(kind, len(s.clean) + s.cooling) - self.r.cool_minutes - self.r.unload_minutes)
        # A full machine keeps the next load waiting, so unloading is never unimportant.
        return min(latest, self.day.day_end)

    def unloader(self, state: _MachineState, t: int) -> Callable[[str], None]:
        def do(person: str) -> None:
            assert state.batch is not None
            self.batches.append(state.batch.model_copy(update={"unload_start": t, "unload_person": person}))
            out = t + self.r.unload_minutes
            for u in state.batch.units:
                stock = self.stock[u.rpartition("#")[0]]
                if state.kind == "wash":
                    stock.washing -= 1
                    self.arrive(out, "washed", u)
                else:
                    stock.sterilizing -= 1
                    self.arrive(out + self.r.cool_minutes, "clean", u)
            state.batch, state.free = None, out
            self.wake(out)

        return do

    def packer(self, kind: str, t: int) -> Callable[[str], None]:
        def do(person: str) -> None:
            unit = self.stock[kind].washed.popleft()
            self.packs.append(Pack.model_construct(unit=unit, start=t, person=person))
            self.packing_until = t + self.r.pack_minutes
            self.arrive(t + self.r.pack_minutes, "packed", unit)

        return do

    # --- what came of it -----------------------------------------------------------------------------------------

    def stuck(self) -> list[str]:
        """Return one visit a chair that the day could not serve to the end; empty when all went well."""
        out = []
        for s in self.chairs:
            if not s.closed or s.ready > self.day.day_end:
                # Waiting for sets: the visit that waits. Waiting for people, or closed too late: the chair's last visit.
                waits = s.procedure is None and not s.closed and s.ready <= self.day.day_end
                out.append((s.visits[s.at] if waits else s.visits[-1]).id)
        return out

    def plan(self) -> Plan:
        return Plan.model_construct(
            instance=self.day.name,
            visits=tuple(self.visits),
            steps=tuple(self.steps),
            packs=tuple(self.packs),
            batches=tuple(self.batches),
            left_out=(),
        )


def dispatch(day: Instance, manner: Manner | None = None) -> Plan:
    """Return a plan of the day by the list scheduler; visits that can't be served stand in `left_out`.

    Parameters
    ----------
    day
        The instance; from `now` on, where it has one.
    manner
        How to decide.

    Returns
    -------
    Plan
        Valid whenever `people` can at least do what has begun; empty of visits in the worst case.
    """
    manner = manner or Manner()
    begun = {v.id for v in day.done.visits} if day.done else set()
    left: list[str] = []
    rest = day
    weight = {v.id: v.weight for v in day.visits}
    while True:
        run = _Run(rest, manner)
        run.live()
        stuck = [v for v in run.stuck() if v not in begun]
        if not stuck:
            return run.plan().model_copy(update={"left_out": tuple(left)})
        # A few at a time, the lightest first: the others may fit once they are gone.
        gone = sorted(stuck, key=lambda v: weight[v])[: max(1, len(stuck) // 4)]
        left += gone
        rest = rest.without(gone)


def best_of(
    day: Instance,
    *,
    seed: int,
    go_on: Callable[[int], bool],
    first: Manner | None = None,
    told: Callable[[Figures], None] | None = None,
) -> tuple[Plan, Figures, Manner]:
    """Return the best plan of many manners: some drawn wide, then changes of the best so far.

    Parameters
    ----------
    day
        The instance.
    seed
        Same seed, same number of rounds: same plan.
    go_on
        Asked before each further round with its number; False ends the search.
    first
        The manner to begin with.
    told
        Called with the figures of each better plan.
    """
    draw = random.Random(seed)  # noqa: S311 - a search, no secret
    manner = first or Manner()
    best = dispatch(day, manner)
    best_figures = figures(day, best)
    if told:
        told(best_figures)
    n = 1
    try:
        while go_on(n):
            trial = _wide(draw) if n < 12 or draw.random() < 0.05 else _near(draw, manner, day, best)
            plan = dispatch(day, trial)
            found = figures(day, plan)
            if found.rank <= best_figures.rank:
                if told and found.rank < best_figures.rank:
                    told(found)
                best, best_figures, manner = plan, found, trial
            n += 1
    except KeyboardInterrupt:  # the reader has waited long enough: the best so far is the answer
        pass
    return best, best_figures, manner


def _wide(draw: random.Random) -> Manner:
    return Manner(
        wash_share=draw.choice((0.1, 0.25, 0.5, 0.75, 1.0)),
        sterilize_share=draw.choice((0.1, 0.25, 0.5, 0.75, 1.0)),
        lead=draw.uniform(-5, 90),
        instruments=draw.uniform(-60, 60),
        closing=draw.uniform(-240, 0),
        pull=draw.choice((0.0, 2.0, 5.0, 10.0)),
        own_order=draw.random() < 0.5,
        calm=draw.choice((0.0, 15.0, 30.0, 60.0, 240.0)),
    )


def _near(draw: random.Random, m: Manner, day: Instance, best: Plan) -> Manner:
    kind = draw.randrange(16)
    if kind >= 8 and day.visits:
        # Half of the time: one visit, mostly a late one or one not served, becomes more or less urgent than booked.
        start = {v.id: v.start for v in best.visits}
        troubled = [v for v in day.visits if start.get(v.id, NEVER) > v.booked]
        visit = draw.choice(troubled if troubled and draw.random() < 0.6 else day.visits)
        visits = dict(m.visits)
        visits[visit.id] = visits.get(visit.id, 0.0) + draw.gauss(0, 12)
        return replace(m, visits=tuple(visits.items()))
    if kind == 0:
        return replace(m, wash_share=min(1.0, max(0.05, m.wash_share + draw.gauss(0, 0.2))))
    if kind == 1:
        return replace(m, sterilize_share=min(1.0, max(0.05, m.sterilize_share + draw.gauss(0, 0.2))))
    if kind == 2:
        return replace(m, lead=m.lead + draw.gauss(0, 15))
    if kind == 3:
        calm = max(0.0, m.calm + draw.gauss(0, 20))
        return replace(m, instruments=m.instruments + draw.gauss(0, 15), own_order=draw.random() < 0.5, calm=calm)
    if kind == 4:
        return replace(m, closing=m.closing + draw.gauss(0, 40), pull=max(0.0, m.pull + draw.gauss(0, 2)))
    if kind in {5, 6}:
        shift = dict(m.chairs)
        chair = draw.choice(day.chairs).id
        shift[chair] = shift.get(chair, 0.0) + draw.gauss(0, 10)
        return replace(m, chairs=tuple(shift.items()))
    if not day.set_types:
        return m
    types = dict(m.types)
    kind_id = draw.choice(day.set_types).id
    types[kind_id] = types.get(kind_id, 0.0) + draw.gauss(0, 30)
    return replace(m, types=tuple(types.items()))
