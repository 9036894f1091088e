"""The way of the sets through the day for the list scheduler: which machine takes what when, who packs next, how urgent it is.

A set type is urgent by the visit at which its sterile stock runs out; a machine waits for a fuller load while that
visit leaves it time.
"""

import heapq
from collections import deque
from collections.abc import Callable, Iterator
from typing import Literal

from fettlebook.plan.day_state import NEVER, Job, MachineState, Stock
from fettlebook.plan.detail import PlannedTest
from fettlebook.plan.instance import Batch, Instance, Pack, PlannedVisit
from fettlebook.plan.manner import Manner
from fettlebook.plan.set_ways import MachineKind, SetWays

_Waits = Literal["packed", "washed", "bathed", "dirty"]
_NEXT: dict[MachineKind, str] = {"bath": "bathed", "wash": "washed", "sterilize": "clean"}


class InstrumentRoom:
    """Sets and machines of one day lived through; the chairs are `dispatch.Run`'s."""

    def __init__(self, day: Instance, manner: Manner) -> None:
        self.day, self.manner, self.r, self.ways = day, manner, day.reprocess, SetWays(day)
        self.places = day.places()
        self.visits: list[PlannedVisit] = []
        self.packs: list[Pack] = []
        self.batches: list[Batch] = []
        self.tests: list[PlannedTest] = []
        self.clock: list[int] = []
        self.packing_until = 0
        self.type_shift = dict(manner.types)
        self.machines = [MachineState(m, kind) for kind, machines in self.ways.machines.items() for m in machines]
        self.stock = {t.id: Stock(clean=list(range(1, t.owned + 1))) for t in day.set_types}
        self.lines = {k: [(t, s) for t in self.stock if (s := self.stage_before(k, t)) is not None] for k in self.ways.machines}
        self.in_store: dict[str, int] = {}  # unit that was sterilized today -> when it came to the store
        self.arrivals: list[tuple[int, str, str]] = []  # (minute, stage, unit)
        for v in sorted(day.visits, key=lambda v: v.booked):
            for t, n in v.needs().items():
                self.stock[t].wanted += [v.booked] * n

    def wake(self, t: float) -> None:
        """Look again at minute `t`."""
        heapq.heappush(self.clock, int(t))

    def arrive(self, t: int, stage: str, unit: str) -> None:
        """Let a unit come to a stage at minute `t`."""
        heapq.heappush(self.arrivals, (t, stage, unit))
        stock = self.stock[unit.rpartition("#")[0]]
        stock.packing += stage == "packed"
        stock.washing += stage == "washed"
        stock.bathing += stage == "bathed"
        stock.cooling += stage == "clean"
        self.wake(t)

    def receive(self, t: int) -> None:
        """Take in what has arrived by minute `t`."""
        while self.arrivals and self.arrivals[0][0] <= t:
            at, stage, unit = heapq.heappop(self.arrivals)
            kind, _, number = unit.rpartition("#")
            stock = self.stock[kind]
            if stage == "dirty":
                stock.dirty.append(unit)
            elif stage == "bathed":
                stock.bathing -= 1
                stock.bathed.append(unit)
            elif stage == "washed":
                stock.washing -= 1
                stock.washed.append(unit)
            elif stage == "packed":
                stock.packing -= 1
                stock.packed.append(unit)
            else:
                stock.cooling -= 1
                heapq.heappush(stock.clean, int(number))
                self.in_store[unit] = at

    def due(self, kind: str, rank: int) -> float:
        """Return the booked minute of the visit that needs the unit that is `rank`-th in line; NEVER: not needed today."""
        wanted = self.stock[kind].wanted
        return wanted[rank] + self.type_shift.get(kind, 0.0) + self.manner.instruments if rank < len(wanted) else NEVER

    def ahead(self, kind: str, stage: _Waits) -> int:
        """Return how many units of a type are nearer to use than the first at a stage."""
        s = self.stock[kind]
        n = len(s.clean) + s.cooling + s.sterilizing
        if stage == "packed":
            return n
        n += len(s.packed) + s.packing
        if stage == "washed":
            return n
        n += len(s.washed) + s.washing
        return n if stage == "bathed" else n + len(s.bathed) + s.bathing

    def dirty_latest(self, visit: str) -> float:
        """Return when the sets of a visit must at the latest be on their way, from when they are needed again."""
        used = next(v for v in reversed(self.visits) if v.id == visit)
        kinds = {u.rpartition("#")[0] for u in used.units}
        due = (self.due(k, self.ahead(k, "dirty") + len(self.stock[k].dirty)) - self.ways.types[k].from_dirty - 2 for k in kinds)
        return min(due, default=NEVER)

    def instrument_jobs(self, t: int, tie: int) -> Iterator[Job]:
        """Offer what could begin at minute `t` with sets and machines."""
        waiting: dict[str, list[tuple[float, str]]] = {}
        for state in self.machines:
            tie += 1
            if state.batch is not None:
                if state.ends() <= t:
                    yield Job(self.unload_latest(state), tie, self.r.unload_minutes, "instruments", self.unloader(state, t), "instruments")
                continue
            if state.free > t:
                continue
            if state.tested < len(state.machine.tests):
                if state.machine.not_before <= t:
                    test = state.machine.tests[state.tested]
                    yield Job(self.test_latest(state), tie, test.attended_minutes, "instruments", self.tester(state, t), state.machine.id)
                continue
            if t + self.r.load_minutes < state.machine.not_before:
                continue
            if state.kind not in waiting:
                waiting[state.kind] = self.waiting_for(state.kind)
            units, latest = self.load_for(state, waiting[state.kind])
            if units and self.is_time(state, units, latest, t):
                yield Job(latest, tie, self.r.load_minutes, "instruments", self.loader(state, units, t), "instruments")
        for kind, stock in self.stock.items():
            if stock.washed:
                tie += 1
                latest = self.due(kind, self.ahead(kind, "washed")) - self.ways.types[kind].from_washed
                if latest < NEVER / 2 and (self.packing_until <= t or latest - t <= self.manner.calm):
                    yield Job(latest, tie, self.ways.types[kind].pack, "instruments", self.packer(kind, t), "instruments")

    # --- tests before the first load -----------------------------------------------------------------------------

    def test_latest(self, state: MachineState) -> float:
        """Return when a machine's next test must at the latest begin for the visits that will wait for its first load."""
        rest = sum(test.minutes for test in state.machine.tests[state.tested :])
        latest: float = self.day.day_end
        for kind, way in self.ways.types.items():
            if state.kind == "sterilize":
                latest = min(latest, self.due(kind, self.ahead(kind, "packed")) - way.from_packed)
            elif state.kind == "wash":
                latest = min(latest, self.due(kind, self.ahead(kind, "bathed")) - way.from_bathed)
            elif way.bath:
                latest = min(latest, self.due(kind, self.ahead(kind, "dirty")) - way.from_dirty)
        return latest - rest

    def tester(self, state: MachineState, t: int) -> Callable[[str | None], None]:
        """Return what a person does to begin a machine's next test at `t`."""

        def do(person: str | None) -> None:
            self.tests.append(PlannedTest.model_construct(machine=state.machine.id, index=state.tested, start=t, person=person))
            state.free = t + state.machine.tests[state.tested].minutes
            state.tested += 1
            self.wake(state.free)

        return do

    def run_alone(self, t: int) -> None:
        """Begin the tests that need nobody."""
        for state in self.machines:
            while (
                state.batch is None
                and state.tested < len(state.machine.tests)
                and not state.machine.tests[state.tested].attended_minutes
                and max(state.free, state.machine.not_before) <= t
            ):
                self.tester(state, t)(None)

    # --- loads ---------------------------------------------------------------------------------------------------

    def stage_before(self, kind: MachineKind, type_id: str) -> _Waits | None:
        """Return at which stage a type waits for a kind of machine; None: it doesn't go there."""
        bath = self.ways.types[type_id].bath
        if kind == "bath":
            return "dirty" if bath else None
        return "packed" if kind == "sterilize" else "bathed" if bath else "dirty"

    def queue(self, type_id: str, stage: _Waits) -> deque[str]:
        """Return the units of a type that wait at a stage."""
        queue: deque[str] = getattr(self.stock[type_id], stage)
        return queue

    def waiting_for(self, kind: MachineKind) -> list[tuple[float, str]]:
        """Return the units that wait for a kind of machine and are needed today, the most urgent first."""
        items: list[tuple[float, str]] = []
        for type_id, stage in self.lines[kind]:
            if not (units := self.queue(type_id, stage)):
                continue
            rank = self.ahead(type_id, stage)
            for i, unit in enumerate(units):
                if (due := self.due(type_id, rank + i)) >= NEVER:
                    break
                items.append((due, unit))
        items.sort()
        return items

    def load_for(self, state: MachineState, waiting: list[tuple[float, str]]) -> tuple[tuple[str, ...], float]:
        """Return what of it fits into a machine, and when that must at the latest be loaded."""
        fits: list[str] = []
        latest, room = float(NEVER), state.machine.capacity
        inside: set[str] = set()
        machine, ways, from_here = state.machine, self.ways, self.ways.from_machine[state.kind]
        anything = ways.any_together and not machine.cycles
        for due, unit in waiting:
            type_id = unit.rpartition("#")[0]
            size = self.places[type_id]
            if size <= room and (anything or ways.fits(machine, inside, type_id)):
                fits.append(unit)
                room -= size
                inside.add(type_id)
                begin = due - from_here[type_id]
                latest = min(begin, latest)
        return tuple(fits), latest

    def is_time(self, state: MachineState, units: tuple[str, ...], latest: float, t: int) -> bool:
        """Whether a load should start at `t`: full enough, or its most urgent set can wait no longer."""
        share = self.manner.sterilize_share if state.kind == "sterilize" else self.manner.wash_share
        if (
            sum(self.places[u.rpartition("#")[0]] for u in units) >= max(1.0, share * state.machine.capacity)
            or latest - self.manner.lead <= t
        ):
            return True
        self.wake(max(t + 1, latest - self.manner.lead))
        return False

    def loader(self, state: MachineState, units: tuple[str, ...], t: int) -> Callable[[str], None]:
        """Return what a person does to load at `t`."""

        def do(person: str) -> None:
            start = t + self.r.load_minutes
            cycle, minutes = self.ways.cycle(state.machine, (u.rpartition("#")[0] for u in units))
            state.batch = Batch.model_construct(
                machine=state.machine.id,
                units=units,
                load_start=t,
                load_person=person,
                start=start,
                unload_start=None,
                unload_person=None,
                cycle=cycle,
            )
            for u in units:
                type_id = u.rpartition("#")[0]
                stage = self.stage_before(state.kind, type_id)
                assert stage is not None
                self.queue(type_id, stage).remove(u)
                self.count_running(state.kind, type_id, 1)
            self.wake(start + minutes)

        return do

    def count_running(self, kind: MachineKind, type_id: str, by: int) -> None:
        """Count a unit into a kind of machine, or out of it."""
        stock = self.stock[type_id]
        if kind == "bath":
            stock.bathing += by
        elif kind == "wash":
            stock.washing += by
        else:
            stock.sterilizing += by

    def unload_latest(self, state: MachineState) -> float:
        """Return when a machine must at the latest be unloaded for the visits that wait for what is in it."""
        assert state.batch is not None
        latest: float = NEVER
        for kind in {u.rpartition("#")[0] for u in state.batch.units}:
            s, way = self.stock[kind], self.ways.types[kind]
            if state.kind == "bath":
                latest = min(latest, self.due(kind, self.ahead(kind, "bathed") + len(s.bathed)) - way.from_bathed - self.r.unload_minutes)
            elif state.kind == "wash":
                latest = min(latest, self.due(kind, self.ahead(kind, "washed") + len(s.washed)) - way.from_washed - self.r.unload_minutes)
            else:
                latest = min(latest, self.due(kind, len(s.clean) + s.cooling) - self.r.cool_minutes - self.r.unload_minutes)
        # A full machine keeps the next load waiting, so unloading is never unimportant.
        return min(latest, self.day.day_end)

    def unloader(self, state: MachineState, t: int) -> Callable[[str], None]:
        """Return what a person does to unload at `t`."""

        def do(person: str) -> None:
            assert state.batch is not None
            self.batches.append(state.batch.model_copy(update={"unload_start": t, "unload_person": person}))
            out = t + self.r.unload_minutes
            for u in state.batch.units:
                type_id = u.rpartition("#")[0]
                self.count_running(state.kind, type_id, -1)
                self.arrive(out + self.way_on(state, type_id), _NEXT[state.kind], u)
            state.batch, state.free = None, out
            self.wake(out)

        return do

    def way_on(self, state: MachineState, type_id: str) -> int:
        """Return the minutes from out of a machine to where the next stage begins: on the way, drying, cooling."""
        ways, room = self.ways, state.machine.room
        if state.kind == "bath":
            return ways.to_machines(room, "wash")
        if state.kind == "wash":
            return ways.types[type_id].dry + ways.lag(room, ways.store)
        return self.r.cool_minutes + ways.lag(room, ways.store)

    def packer(self, kind: str, t: int) -> Callable[[str], None]:
        """Return what a person does to pack one unit at `t`."""

        def do(person: str) -> None:
            unit = self.stock[kind].washed.popleft()
            self.packs.append(Pack.model_construct(unit=unit, start=t, person=person))
            self.packing_until = t + self.ways.types[kind].pack
            self.arrive(self.packing_until + self.ways.to_machines(self.ways.store, "sterilize"), "packed", unit)

        return do
