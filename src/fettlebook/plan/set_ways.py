"""The way of each set type back to sterile: through which machines, how long at best, what may ride with what.

Comes in: an instance. Goes out: minutes and permissions, reckoned once a day. Where machines of a kind stand in several
rooms, the longest way is held: a set may arrive earlier than is reckoned, never later.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from fettlebook.plan.instance import Instance, Machine

MachineKind = Literal["bath", "wash", "sterilize"]
NO_WAY_MIN = 10**9


@dataclass(frozen=True, slots=True)
class TypeWay:
    """One set type. `from_...`: minutes until it is usable again at best, counted from that stage."""

    places: int
    bath: bool
    pack: int
    dry: int
    rides: tuple[str, ...]
    apart: frozenset[str]
    from_packed: int
    from_washed: int
    from_bathed: int
    from_dirty: int


class SetWays:
    """All set types of a day, and the ways between rooms."""

    def __init__(self, day: Instance) -> None:
        self.between = day.ways()
        self.store = day.store
        self.any_together = not day.apart
        self.machines: dict[MachineKind, tuple[Machine, ...]] = {"bath": day.baths, "wash": day.washers, "sterilize": day.sterilizers}
        r, pack = day.reprocess, day.pack_minutes()
        hands = r.load_minutes + r.unload_minutes
        self.types: dict[str, TypeWay] = {}
        for t in day.set_types:
            runs = {kind: self.quickest(kind, t.rides) for kind in self.machines}
            packed = hands + runs["sterilize"] + r.cool_minutes
            washed = packed + pack[t.id]
            bathed = washed + t.dry_minutes + hands + runs["wash"]
            dirty = bathed + (hands + runs["bath"] if t.bath else 0)
            apart = frozenset(b if a == t.id else a for a, b in day.apart if t.id in (a, b))
            self.types[t.id] = TypeWay(
                t.places, t.bath, pack[t.id], t.dry_minutes, t.rides, apart, packed, washed, bathed, min(dirty, NO_WAY_MIN)
            )

        # Minutes until usable again at best, counted from when a type waits for a kind of machine.
        self.from_machine: dict[MachineKind, dict[str, int]] = {
            "bath": {t: w.from_dirty for t, w in self.types.items()},
            "wash": {t: w.from_bathed for t, w in self.types.items()},
            "sterilize": {t: w.from_packed for t, w in self.types.items()},
        }

    def quickest(self, kind: MachineKind, rides: tuple[str, ...]) -> int:
        """Return the fewest minutes of a cycle that a type may ride."""
        found = [c[1] for m in self.machines[kind] if (c := m.cycle_for([rides])) is not None]
        return min(found, default=NO_WAY_MIN)

    def lag(self, a: str | None, b: str | None) -> int:
        """Return the minutes on the way between two rooms."""
        return 0 if a == b else self.between.get((a, b), 0)

    def to_machines(self, room: str | None, kind: MachineKind) -> int:
        """Return the minutes from a room to the farthest machine of a kind."""
        return max((self.lag(room, m.room) for m in self.machines[kind]), default=0) if self.between else 0

    def to_first_stage(self, room: str | None, type_id: str) -> int:
        """Return the minutes from a chair's room to where a used set goes first."""
        return self.to_machines(room, "bath" if self.types[type_id].bath else "wash")

    def to_chair(self, room: str | None) -> int:
        """Return the minutes from the store to a chair's room."""
        return self.lag(self.store, room) if self.between else 0

    def shortest(self, room: str | None, type_id: str) -> int:
        """Return the fewest minutes from cleared in a room to back in the store, sterile; a bound, whatever machine is taken."""
        way = self.types[type_id]
        if not self.between:
            return way.from_dirty
        legs: list[tuple[list[str | None], list[str | None]]] = []
        here = [room]
        kinds: tuple[MachineKind, ...] = ("bath", "wash") if way.bath else ("wash",)
        for kind in kinds:
            there = [m.room for m in self.machines[kind]]
            legs.append((here, there))
            here = there
        legs += [(here, [self.store]), ([self.store], [m.room for m in self.machines["sterilize"]])]
        legs.append((legs[-1][1], [self.store]))
        return way.from_dirty + sum(min((self.lag(a, b) for a in frm for b in to), default=0) for frm, to in legs)

    def fits(self, machine: Machine, inside: Iterable[str], type_id: str) -> bool:
        """Whether one more set of a type may ride a machine with what is inside already; places aside."""
        if self.any_together and not machine.cycles:
            return True
        inside = set(inside)
        if inside & self.types[type_id].apart:
            return False
        return machine.cycle_for(self.types[t].rides for t in inside | {type_id}) is not None

    def cycle(self, machine: Machine, types: Iterable[str]) -> tuple[str | None, int]:
        """Return the quickest cycle that all of these may ride, with its minutes."""
        found = machine.cycle_for(self.types[t].rides for t in set(types))
        assert found is not None  # only what `fits` is loaded together
        return found
