"""The way of the sets through the day for the list scheduler: which machine takes what when, who packs next, how urgent it is.

A set type is urgent by the visit at which its sterile stock runs out; a machine waits for a fuller load while that
visit leaves it time.
"""

import heapq
from collections.abc import Callable, Iterator
from typing import Literal

from fettlebook.plan.day_state import NEVER, Job, MachineState, Stock
from fettlebook.plan.instance import Batch, Instance, Pack, PlannedVisit
from fettlebook.plan.manner import Manner


class InstrumentRoom:
    """Sets and machines of one day lived through; the chairs are `dispatch.Run`'s."""

    def __init__(self, day: Instance, manner: Manner) -> None:
        self.day, self.manner, self.r, self.places = day, manner, day.reprocess, day.places()
        self.visits: list[PlannedVisit] = []
        self.packs: list[Pack] = []
        self.batches: list[Batch] = []
        self.clock: list[int] = []
        self.packing_until = 0
        self.type_shift = dict(manner.types)
        self.machines = [MachineState(m, "wash") for m in day.washers] + [MachineState(m, "sterilize") for m in day.sterilizers]
        self.stock = {t.id: Stock(clean=list(range(1, t.owned + 1))) for t in day.set_types}
        self.arrivals: list[tuple[int, str, str]] = []  # (minute, "dirty" | "clean", unit)
        for v in sorted(day.visits, key=lambda v: v.booked):
            for t, n in v.needs().items():
                self.stock[t].wanted += [v.booked] * n
        ways = [min((m.minutes for m in ms), default=NEVER) for ms in (day.washers, day.sterilizers)]
        hands = self.r.load_minutes + self.r.unload_minutes
        self.from_packed = hands + ways[1] + self.r.cool_minutes  # minutes from packed to usable, at best
        self.from_washed = self.from_packed + self.r.pack_minutes
        self.from_dirty = self.from_washed + hands + ways[0]

    def wake(self, t: float) -> None:
        """Look again at minute `t`."""
        heapq.heappush(self.clock, int(t))

    def arrive(self, t: int, stage: str, unit: str) -> None:
        """Let a unit come to a stage at minute `t`."""
        heapq.heappush(self.arrivals, (t, stage, unit))
        stock = self.stock[unit.rpartition("#")[0]]
        stock.packing += stage == "packed"
        stock.washing += stage == "washed"
        stock.cooling += stage == "clean"
        self.wake(t)

    def receive(self, t: int) -> None:
        """Take in what has arrived by minute `t`."""
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

    def instrument_jobs(self, t: int, tie: int) -> Iterator[Job]:
        """Offer what could begin at minute `t` with sets and machines."""
        waiting: dict[str, list[tuple[float, str]]] = {}
        for state in self.machines:
            tie += 1
            if state.batch is not None:
                if state.batch.start + state.machine.minutes <= t:
                    yield Job(self.unload_latest(state), tie, self.r.unload_minutes, "instruments", self.unloader(state, t), "instruments")
                continue
            if state.free > t or t + self.r.load_minutes < state.machine.not_before:
                continue
            if state.kind not in waiting:
                waiting[state.kind] = self.waiting_for(state.kind)
            units, latest = self.load_for(state, waiting[state.kind])
            if units and self.is_time(state, units, latest, t):
                yield Job(latest, tie, self.r.load_minutes, "instruments", self.loader(state, units, t), "instruments")
        for kind, stock in self.stock.items():
            if stock.washed:
                tie += 1
                latest = self.due(kind, self.ahead(kind, "washed")) - self.from_washed
                if latest < NEVER / 2 and (self.packing_until <= t or latest - t <= self.manner.calm):
                    yield Job(latest, tie, self.r.pack_minutes, "instruments", self.packer(kind, t), "instruments")

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

    def load_for(self, state: MachineState, waiting: list[tuple[float, str]]) -> tuple[tuple[str, ...], float]:
        """Return what of it fits into a machine, and when that must at the latest be loaded."""
        fits, room = [], state.machine.capacity
        for due, unit in waiting:
            size = self.places[unit.rpartition("#")[0]]
            if size <= room:
                fits.append((due, unit))
                room -= size
        way = self.from_dirty if state.kind == "wash" else self.from_packed
        return tuple(u for _, u in fits), (fits[0][0] - way if fits else NEVER)

    def is_time(self, state: MachineState, units: tuple[str, ...], latest: float, t: int) -> bool:
        """Whether a load should start at `t`: full enough, or its most urgent set can wait no longer."""
        share = self.manner.wash_share if state.kind == "wash" else self.manner.sterilize_share
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

    def unload_latest(self, state: MachineState) -> float:
        """Return when a machine must at the latest be unloaded for the visits that wait for what is in it."""
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

    def unloader(self, state: MachineState, t: int) -> Callable[[str], None]:
        """Return what a person does to unload at `t`."""

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
        """Return what a person does to pack one unit at `t`."""

        def do(person: str) -> None:
            unit = self.stock[kind].washed.popleft()
            self.packs.append(Pack.model_construct(unit=unit, start=t, person=person))
            self.packing_until = t + self.r.pack_minutes
            self.arrive(t + self.r.pack_minutes, "packed", unit)

        return do
