"""Sets, the visits that use them, and the machines that they pass through."""

from collections.abc import Iterator, Mapping
from typing import Final

from fettlebook.practice.lines import KeyPath
from fettlebook.practice.model import Cycle, MachineKind
from fettlebook.practice.parts import Parts
from fettlebook.practice.place import Fault
from fettlebook.practice.relations.unknown import unknown
from fettlebook.science.cycles.meaning import MEANING, PAIRS

_CYCLE_TYPES: Final[Mapping[MachineKind, tuple[str, ...]]] = {
    MachineKind.WASHER: ("wash",),
    MachineKind.ULTRASONIC: ("bath",),
    MachineKind.STERILIZER: ("B", "N", "S"),
}


def check_instruments(parts: Parts) -> Iterator[Fault]:
    """Yield what keeps a set from being used, washed or sterilized."""
    yield from _machines(parts)
    yield from _visit_kinds(parts)
    yield from _around_the_machines(parts)
    if "machines" in parts.whole:
        yield from _machine_park(parts)


def _machines(parts: Parts) -> Iterator[Fault]:
    for number, machine in parts.machines:
        at: KeyPath = ("machines", number)
        if machine.room not in parts.ids["rooms"]:
            yield unknown((*at, "room"), "room", machine.room, parts.ids["rooms"])
        cycles = {cycle.id for cycle in machine.cycles}
        if machine.day_cycle not in cycles:
            yield unknown((*at, "day_cycle"), "cycle", machine.day_cycle, cycles)
        allowed = _CYCLE_TYPES[machine.kind]
        for cycle_number, cycle in enumerate(machine.cycles):
            if cycle.type not in allowed:
                yield Fault(
                    (*at, "cycles", cycle_number, "type"),
                    f'"{cycle.type}" is no cycle type of a {machine.kind}',
                    f"Write {' or '.join(allowed)}, or correct the machine's kind.",
                )
            yield from _limits((*at, "cycles", cycle_number, "limits"), cycle)


def _limits(at: KeyPath, cycle: Cycle) -> Iterator[Fault]:
    for key, value in cycle.limits.items():
        if key not in MEANING:
            yield unknown((*at, key), "limit", key, MEANING)
        elif isinstance(value, tuple) != (key in PAIRS):
            yield Fault((*at, key), f"{key} has the wrong number of values", "Give [lower, upper]." if key in PAIRS else "Give one number.")


def _visit_kinds(parts: Parts) -> Iterator[Fault]:
    owned = {part.id: part.owned for _, part in parts.sets}
    for number, kind in parts.visit_kinds:
        for name, count in kind.uses.items():
            path: KeyPath = ("visit_kinds", number, "uses", name)
            if name not in parts.ids["sets"]:
                yield unknown(path, "set type", name, parts.ids["sets"])
            elif owned.get(name) == 0:
                yield Fault(
                    path, f'no "{name}" is owned, so this visit can never be ready', "Correct owned in [[sets]], or what the visit uses."
                )
            elif name in owned and count > owned[name]:
                yield Fault(
                    path,
                    f'one visit uses {count} of "{name}", but {owned[name]} {"is" if owned[name] == 1 else "are"} owned',
                    "Correct owned in [[sets]], or what the visit uses.",
                )


def _around_the_machines(parts: Parts) -> Iterator[Fault]:
    """Yield pairs and ways that name nothing known, and sets that no machine here takes."""
    if parts.reprocessing is not None:
        for number, pair in enumerate(parts.reprocessing.apart):
            for place, name in enumerate(pair):
                if name not in parts.ids["sets"]:
                    yield unknown(("reprocessing", "apart", number, place), "set type", name, parts.ids["sets"])
        rooms, store = parts.ids["rooms"], parts.reprocessing.store
        if store is not None and store not in rooms:
            yield unknown(("reprocessing", "store"), "room", store, rooms)
        for number, way in enumerate(parts.reprocessing.ways):
            for key, room in (("from", way.from_), ("to", way.to)):
                if room not in rooms:
                    yield unknown(("reprocessing", "ways", number, key), "room", room, rooms)
        if parts.reprocessing.ways and store is None:
            yield Fault(("reprocessing", "ways"), "there are ways, but no room in which sets are kept", "Name the room: store = ...")
    if "machines" not in parts.whole:
        return
    baths = any(machine.kind is MachineKind.ULTRASONIC for _, machine in parts.machines)
    types = {c.type for _, machine in parts.machines if machine.kind is MachineKind.STERILIZER for c in machine.cycles}
    for number, part in parts.sets:
        if part.bath and not baths:
            yield Fault(
                ("sets", number, "bath"), "there is no ultrasonic bath", 'Add a [[machines]] of kind "ultrasonic bath", or take it out.'
            )
        if part.cycle_types and types and not types & set(part.cycle_types):
            yield Fault(
                ("sets", number, "cycle_types"),
                f"no sterilizer has a cycle of type {' or '.join(part.cycle_types)}",
                "Correct the list, or add the cycle to a sterilizer.",
            )


def _machine_park(parts: Parts) -> Iterator[Fault]:
    if not parts.sets:
        return
    of_kind = {kind: [machine for _, machine in parts.machines if machine.kind is kind] for kind in MachineKind}
    sterilizers, washers = of_kind[MachineKind.STERILIZER], of_kind[MachineKind.WASHER]
    here: KeyPath = ("machines",) if parts.machines else ("sets",)
    if not sterilizers:
        yield Fault(here, "there is no sterilizer, though visits use sets", 'Add a [[machines]] of kind "sterilizer" with its cycles.')
    if not washers:
        bath = bool(of_kind[MachineKind.ULTRASONIC])
        yield Fault(
            here,
            "there is no washer, though visits use sets" + ("; an ultrasonic bath alone is not planned" if bath else ""),
            'Add a [[machines]] of kind "washer" with its cycles.',
        )
    for kind, machines in ((MachineKind.WASHER, washers), (MachineKind.STERILIZER, sterilizers)):
        if machines and all(machine.out_of_service for machine in machines):
            yield Fault(here, f"every {kind} is out of service", "Sets can't be planned until one is back.", "warning")
        most = max((machine.capacity_places for machine in machines), default=None)
        for number, set_type in parts.sets:
            if most is not None and set_type.places > most:
                yield Fault(
                    ("sets", number, "places"),
                    f"it takes {set_type.places} places, but no {kind} has more than {most}",
                    f"Correct places here, or capacity_places of the {kind}.",
                )
