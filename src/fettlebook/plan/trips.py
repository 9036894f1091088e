"""Each set's way round, read from a plan: which use, by which loads, packed when; and what each kind of stage waits for.

Comes in: an instance and a valid plan. Goes out: a trip for each set of each visit. A set that stays used has a trip
without stages.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

from fettlebook.plan.instance import Instance, Plan
from fettlebook.plan.set_ways import MachineKind


@dataclass(slots=True)
class Trip:
    """One use of one set, and where it went afterwards. `loads`: kind of machine -> number of the load in the plan."""

    visit: str
    kind: str
    unit: str
    loads: dict[MachineKind, int] = field(default_factory=dict)
    pack: int | None = None  # number of the packing in the plan

    @property
    def whole(self) -> bool:
        """Whether the set came back sterile."""
        return "sterilize" in self.loads


def machine_kinds(day: Instance) -> dict[str, MachineKind]:
    """Return machine -> what it does."""
    kinds: dict[str, MachineKind] = {m.id: "bath" for m in day.baths}
    kinds |= {m.id: "wash" for m in day.washers}
    return kinds | {m.id: "sterilize" for m in day.sterilizers}


def trips_of(day: Instance, plan: Plan) -> list[Trip]:
    """Return the trips of a valid plan, in the order in which their visits start."""
    kinds = machine_kinds(day)
    now_at: dict[str, Trip] = {}
    trips: list[Trip] = []
    for _, _, what, number, units in sorted(_events(plan, kinds)):
        for unit in units:
            if what == "use":
                now_at[unit] = Trip(plan.visits[number].id, unit.rpartition("#")[0], unit)
                trips.append(now_at[unit])
            elif what == "pack":
                now_at[unit].pack = number
            else:
                now_at[unit].loads[kinds[plan.batches[number].machine]] = number
    return trips


def _events(plan: Plan, kinds: dict[str, MachineKind]) -> Iterator[tuple[int, int, str, int, tuple[str, ...]]]:
    """Return (minute, order, stage, number, units). At one minute a set is first made ready, then used."""
    order = {"bath": 0, "wash": 1, "pack": 2, "sterilize": 3, "use": 4}
    for i, v in enumerate(plan.visits):
        yield v.start, order["use"], "use", i, v.units
    for i, k in enumerate(plan.packs):
        yield k.start, order["pack"], "pack", i, (k.unit,)
    for i, b in enumerate(plan.batches):
        kind = kinds[b.machine]
        yield b.load_start, order[kind], kind, i, b.units
