"""May these things lie in this machine, in this cycle, together? By type of cycle, by the sets' own IFU, and by what must lie apart.

Sources
-------
[T] EN 13060, types of sterilization cycles, wording of 2014 as a trainer quotes it: B for wrapped or not, solid, hollow and porous; N for
    not wrapped solid products only, for use at once; S for what its maker specifies. secondary
"""

from collections.abc import Iterator
from typing import Final

from fettlebook.practice.model import Machine, MachineKind, Practice, SetType
from fettlebook.rules.model import Origin
from fettlebook.said import said
from fettlebook.standing.model import Verdict, worst

TYPES: Final = Origin(
    "general", "cycle types", "EN 13060, types of sterilization cycles, as a trainer quotes them; the sets' IFU", "secondary", "standard"
)
Item = tuple[str, bool, str | None]  # unit, wrapped, what is hardest for steam to reach in it
Fault = tuple[Verdict, str]


def ride_faults(practice: Practice, machine: Machine, cycle: str, items: tuple[Item, ...]) -> tuple[Fault, ...]:
    """Return what speaks against these things in this cycle, the worst first; nothing where all may ride.

    Parameters
    ----------
    items
        (unit, wrapped, form); form None: nobody said it. A handpiece counts as hollow.
    """
    found = (*_of_types(practice, machine, cycle, items), *_together(practice, items), *_places(practice, machine, items))
    return tuple(sorted(found, key=lambda fault: fault[0] is not Verdict.UNFIT))


def ride_verdict(faults: tuple[Fault, ...]) -> Verdict:
    """Return what the faults make together."""
    return worst(verdict for verdict, _ in faults) if faults else Verdict.FIT


def set_type_of(practice: Practice, unit: str) -> SetType | None:
    """Return the type of a unit such as `exam#3`."""
    name = unit.partition("#")[0]
    return next((s for s in practice.sets if s.id == name), None)


def _of_types(practice: Practice, machine: Machine, cycle: str, items: tuple[Item, ...]) -> Iterator[Fault]:
    if machine.kind is not MachineKind.STERILIZER:
        return
    kind = next((c.type for c in machine.cycles if c.id == cycle), None)
    if kind is None:
        yield (
            Verdict.UNPROVEN,
            said('{id} has no cycle "{cycle}" in the practice file: what may ride in it is not known', id=machine.id, cycle=cycle),
        )
        return
    for unit, wrapped, told in items:
        of_type = set_type_of(practice, unit)
        allowed = of_type.cycle_types if of_type else ()
        form = "hollow" if of_type and of_type.kind == "handpiece" and told in (None, "solid") else told
        if kind == "N" and (wrapped or form in ("hollow", "porous")):
            seen = " and ".join(word for word in ("wrapped" if wrapped else "", form if form in ("hollow", "porous") else "") if word)
            yield Verdict.UNFIT, said("{unit} is {seen}, in an N cycle: N is for unwrapped solid things only", unit=unit, seen=seen)
        elif allowed and kind not in allowed:
            yield (
                Verdict.UNFIT,
                said("{unit} is in a cycle of type {kind}, its IFU allows {allowed}", unit=unit, kind=kind, allowed=" or ".join(allowed)),
            )
        elif kind == "S" and "S" not in allowed:
            yield (
                Verdict.UNPROVEN,
                said(
                    "{unit} is in an S cycle: whether the machine's maker and its own IFU allow it is not in the practice file", unit=unit
                ),
            )
        elif kind == "N" and form is None and "N" not in allowed:
            yield Verdict.UNPROVEN, said("{unit} is in an N cycle, and nobody said that it is solid", unit=unit)


def _together(practice: Practice, items: tuple[Item, ...]) -> Iterator[Fault]:
    there = {unit.partition("#")[0] for unit, _, _ in items}
    for one, other in practice.reprocessing.apart:
        if one in there and other in there:
            yield Verdict.UNFIT, said("{one} and {other} may not share a load, by their IFU", one=one, other=other)


def _places(practice: Practice, machine: Machine, items: tuple[Item, ...]) -> Iterator[Fault]:
    types = [set_type_of(practice, unit) for unit, _, _ in items]
    places = sum(one.places for one in types if one is not None)
    if places > machine.capacity_places:
        yield (
            Verdict.UNPROVEN,
            said(
                "{places} places taken, {id} has {capacity_places}: a fuller load was never shown to work",
                places=places,
                id=machine.id,
                capacity_places=machine.capacity_places,
            ),
        )
