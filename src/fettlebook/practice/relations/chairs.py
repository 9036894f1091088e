"""A chair's water lines hang together: every outlet has a path to the supply, and every flow is one that such an outlet has.

Sources
-------
[P] Usual flows of dental outlets, wide enough that only slips and faults fall outside. practice
"""

from collections.abc import Iterator, Mapping
from typing import Final

from fettlebook.practice.lines import KeyPath
from fettlebook.practice.model import Chair, OutletKind, SupplyKind
from fettlebook.practice.parts import Parts
from fettlebook.practice.place import Fault
from fettlebook.practice.relations.unit import check_unit
from fettlebook.practice.relations.unknown import unknown

# lowest and highest flow that a measurement of such an outlet can be [mL/min]  [P]
USUAL_FLOW_ML_MIN: Final[Mapping[OutletKind, tuple[float, float]]] = {
    OutletKind.TURBINE: (15, 200),
    OutletKind.MOTOR: (15, 200),
    OutletKind.SCALER: (5, 200),
    OutletKind.SYRINGE: (20, 500),
    OutletKind.CUP_FILLER: (100, 3000),
    OutletKind.BOWL_RINSE: (100, 5000),
    OutletKind.OTHER: (1, 5000),
}


def check_chairs(parts: Parts) -> Iterator[Fault]:
    """Yield the faults of every chair: room, supply, lines, flows, outlets that run together."""
    for number, chair in parts.chairs:
        at: KeyPath = ("chairs", number)
        if chair.room not in parts.ids["rooms"]:
            yield unknown((*at, "room"), "room", chair.room, parts.ids["rooms"])
        yield from _supply(chair, at)
        yield from _lines(chair, at)
        yield from _flows(chair, at)
        yield from _run_together(chair, at)
        yield from check_unit(chair, at)
        yield from _wear(chair, at)


def _supply(chair: Chair, at: KeyPath) -> Iterator[Fault]:
    supply, at = chair.supply, (*at, "supply")
    wanted = {
        SupplyKind.MAINS: (),
        SupplyKind.BOTTLE: ("bottle_ml",),
        SupplyKind.DOSING: ("product", "strength_mg_l"),
    }[supply.kind]
    says = {
        "bottle_ml": "the bottle's volume in mL",
        "product": "the id of the dosed product",
        "strength_mg_l": "the strength kept, in mg/L",
    }
    for key, meaning in says.items():
        given = getattr(supply, key) is not None
        if key in wanted and not given:
            yield Fault((*at, key), f'{key} is missing for the supply kind "{supply.kind}"', f"Add {key} = ...: {meaning}.")
        elif given and key not in wanted:
            yield Fault(
                (*at, key), f'{key} is not used with the supply kind "{supply.kind}"', "Take it out, or correct the kind.", "warning"
            )


def _lines(chair: Chair, at: KeyPath) -> Iterator[Fault]:
    hangs_on, places = _tree(chair, at)
    outlets = {outlet.id for outlet in chair.outlets}
    if not chair.outlets:
        yield Fault(
            (*at, "outlets"), "the chair has no outlet", "Add each turbine, motor, scaler, syringe and filler with its measured flow."
        )
    for part, above in hangs_on.items():
        if above is not None and above not in hangs_on:
            yield _hangs_on_nothing((*places[part], "from"), above, hangs_on, outlets, _fed(chair, part, hangs_on))
    for loop in _loops(hangs_on):
        cut_off = sorted(outlet.id for outlet in chair.outlets if set(loop) & set(_above(outlet.from_, hangs_on)))
        what = "the lines run in a loop: " + " from ".join(f'"{part}"' for part in (*loop, loop[0]))
        if cut_off:
            what += f"; no water reaches {', '.join(cut_off)}"
        yield Fault((*places[loop[0]], "from"), what, "Let one of them hang on the part before it, or leave from out for the supply.")
    for number, outlet in enumerate(chair.outlets):
        if outlet.from_ not in hangs_on:
            yield _hangs_on_nothing((*at, "outlets", number, "from"), outlet.from_, hangs_on, outlets - {outlet.id}, [])
    broken = _loops(hangs_on) or any(
        above is not None and above not in hangs_on for above in (*hangs_on.values(), *(o.from_ for o in chair.outlets))
    )
    fed = {part for outlet in chair.outlets for part in _above(outlet.from_, hangs_on)}
    for part in hangs_on:
        if chair.outlets and not broken and part not in fed:  # behind a broken tree every part above would look dead
            yield Fault(
                places[part],
                f'"{part}" feeds no outlet: a dead leg, which no flush clears',
                "Have it removed by whoever services the chair; if it does feed an outlet, correct that outlet's from.",
                "warning",
            )


def _hangs_on_nothing(path: KeyPath, above: str, known: Mapping[str, str | None], outlets: set[str], fed: list[str]) -> Fault:
    if above in outlets and above not in known:
        return Fault(path, f'"{above}" is an outlet, and nothing hangs on an outlet', "Name the segment or stirred volume before it.")
    fault = unknown(path, "segment or stirred volume", above, known)
    return Fault(path, fault.what + (f", so no water reaches {', '.join(fed)}" if fed else ""), fault.mend)


def _tree(chair: Chair, at: KeyPath) -> tuple[dict[str, str | None], dict[str, KeyPath]]:
    """Return what each segment and stirred volume hangs on, and where each stands; an id used twice counts once."""
    hangs_on: dict[str, str | None] = {}
    places: dict[str, KeyPath] = {}
    segments = [(part.id, part.from_, (*at, "segments", n)) for n, part in enumerate(chair.segments)]
    stirred = [(part.id, part.from_, (*at, "stirred", n)) for n, part in enumerate(chair.stirred)]
    for name, above, place in (*segments, *stirred):
        if name not in hangs_on:
            hangs_on[name], places[name] = above, place
    return hangs_on, places


def _above(part: str | None, hangs_on: Mapping[str, str | None]) -> list[str]:
    """Return `part` and everything between it and the supply; ends where a loop or an unknown part begins."""
    path: dict[str, None] = {}
    while part is not None and part in hangs_on and part not in path:
        path[part] = None
        part = hangs_on[part]
    return list(path)


def _fed(chair: Chair, part: str, hangs_on: Mapping[str, str | None]) -> list[str]:
    return [outlet.id for outlet in chair.outlets if part in _above(outlet.from_, hangs_on)]


def _loops(hangs_on: Mapping[str, str | None]) -> list[tuple[str, ...]]:
    """Return each loop once, as the parts in it, from the one that stands first in the file."""
    loops: dict[frozenset[str], tuple[str, ...]] = {}
    for part in hangs_on:
        path = _above(part, hangs_on)
        if hangs_on[path[-1]] == part:
            loops.setdefault(frozenset(path), tuple(path))
    return list(loops.values())


def _flows(chair: Chair, at: KeyPath) -> Iterator[Fault]:
    for number, outlet in enumerate(chair.outlets):
        path: KeyPath = (*at, "outlets", number, "flow_ml_min")
        flow, (low, high) = outlet.flow_ml_min, USUAL_FLOW_ML_MIN[outlet.kind]
        if flow > high:  # too much flow on paper makes a flush too short at the chair
            yield Fault(
                path,
                f"{flow:g} mL/min is {flow / 1000:g} L/min through a {outlet.kind}; the usual is {low:g} to {high:g} mL/min",
                "Measure again with cup and clock, and give the flow in mL/min.",
            )
        elif flow < 1 and low <= flow * 1000 <= high:
            yield Fault(path, f"{flow:g} mL/min is hardly a drop", f"Give the flow in mL/min. Is it {flow * 1000:g} ({flow:g} L/min)?")
        elif flow < low:
            yield Fault(
                path,
                f"{flow:g} mL/min is little for a {outlet.kind}; the usual is {low:g} to {high:g}",
                "Measure again; if it is so, look for a blocked line or filter.",
                "warning",
            )
        if outlet.measured_on is None:
            yield Fault(
                (*at, "outlets", number),
                f"the flow of {flow:g} mL/min is {'a typical value, ' if outlet.typical else ''}not measured",
                "Measure it with cup and clock, and add measured_on = the day.",
                "warning",
            )


def _run_together(chair: Chair, at: KeyPath) -> Iterator[Fault]:
    outlets, named = {outlet.id for outlet in chair.outlets}, set[str]()
    for group_number, group in enumerate(chair.run_together):
        for number, name in enumerate(group):
            path: KeyPath = (*at, "run_together", group_number, number)
            if name not in outlets:
                yield unknown(path, "outlet", name, outlets)
            elif name in named:
                yield Fault(path, f'the outlet "{name}" stands twice', "Name each outlet in one group only.")
            named.add(name)
    if chair.run_together and (alone := [outlet.id for outlet in chair.outlets if outlet.id not in named]):
        yield Fault(
            (*at, "run_together"),
            f"not in any group, so opened alone after the others: {', '.join(alone)}",
            "If that is meant, give each a group of its own.",
            "warning",
        )


def _wear(chair: Chair, at: KeyPath) -> Iterator[Fault]:
    """Yield the faults of parts that last for so long: a life that nobody could tell, one named twice, another without a name."""
    seen: set[tuple[str, str | None]] = set()
    for number, part in enumerate(chair.parts):
        where = (*at, "parts", number)
        words = f'part "{part.what}"' if part.name is None else f'part "{part.what}" "{part.name}"'
        if part.life_days is None and part.litres is None:
            yield Fault((*where, "what"), f"{words} has no life", "Give life_days, or litres, as its label or instructions say.")
        if part.litres is not None and chair.supply.kind is not SupplyKind.BOTTLE:
            yield Fault((*where, "litres"), f"{words}: without a bottle nobody can tell how many litres passed", "Give life_days.")
        if part.what == "other" and part.name is None:
            yield Fault((*where, "what"), "another part has no name", "Say in name what it is.")
        if (part.what, part.name) in seen:
            yield Fault((*where, "what"), f"{words} stands here twice", "Give each its own name.")
        seen.add((part.what, part.name))
