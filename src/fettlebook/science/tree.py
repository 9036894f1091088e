"""A chair's water lines as a tree: plain data in, checked paths from the supply to every outlet out.

Plain data in the form that a JSON or TOML file has: `parts` (id, from, kind tube with length_m, bore_mm and perhaps shape
"coiled", or kind stirred with volume_ml, which is how a fitting is given too), `outlets` (part, flow_ml_min, and id where
two outlets hang on one part), and `groups` of outlets opened together one group after the other, or `mode` "together" /
"alone". Perhaps `second_feeds` (part, flow_ml_min, perhaps id, and at "start" or "end" of the part): clean water that
enters there by an open branch, a mixing valve or a leak. What is wrong is named with part and field, all of it at once;
nothing is guessed.
"""

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal, NamedTuple

from fettlebook.errors import Finding, Mendable

Shape = Literal["straight", "coiled"]
BORE_MM: Final = (0.3, 25.0)
LENGTH_M: Final = (0.001, 50.0)
VOLUME_ML: Final = (0.01, 20_000.0)
FLOW_ML_MIN: Final = (0.1, 10_000.0)
FEED_ML_MIN: Final = (0.001, 10_000.0)  # a leak may be a drop a minute
_NUMBERS: Final = (float, int)
_TABLES: Final = (dict, Mapping)
_PLACE_MEND: Final = "Set from to the id of the part that it hangs on, or leave it out for a part at the supply."


class LinePart(NamedTuple):
    """A tube, or a volume that mixes (filter, heater, pot, fitting of unknown inside).

    A coiled tube is reckoned as a straight one: it mixes across the section and clears sooner, which is not credited.
    """

    id: str
    kind: Literal["tube", "stirred"]
    volume_ml: float
    length_m: float = 0.0
    bore_mm: float = 0.0
    shape: Shape = "straight"


def tube(name: str, length_m: float, bore_mm: float, shape: Shape = "straight") -> LinePart:
    """Return a tube; mm2 times m is mL."""
    return LinePart(name, "tube", math.pi / 4.0 * bore_mm**2 * length_m, length_m, bore_mm, shape)


class LineOutlet(NamedTuple):
    """Where water leaves, with its path from the supply on and the group in which it is opened (0 is first)."""

    id: str
    path: tuple[str, ...]
    flow_ml_min: float
    group: int


@dataclass(frozen=True, slots=True)
class SecondFeed:
    """Clean water that enters at the start of the last part of `path`, or at its end; `path` runs from the supply on."""

    id: str
    path: tuple[str, ...]
    flow_ml_min: float
    at_end: bool = False

    def entry(self, flowing: Collection[str]) -> tuple[str | None, bool]:
        """Return the part at which it meets flowing water, and whether at its end; a part that stands passes it upward."""
        met = next((part for part in reversed(self.path) if part in flowing), None)
        return met, met is not None and (self.at_end or met != self.path[-1])

    def relieved(self, flowing: Collection[str]) -> tuple[str, ...]:
        """Return the parts in which so much less flows, since it enters below them."""
        met, at_end = self.entry(flowing)
        return () if met is None else self.path[: self.path.index(met) + at_end]


@dataclass(frozen=True, slots=True)
class Tree:
    """The checked circuit. `dead_legs` are parts through which no outlet draws: no flush ever clears them."""

    parts: Mapping[str, LinePart]
    outlets: tuple[LineOutlet, ...]
    dead_legs: tuple[str, ...]
    diffusivity_m2_s: float | None
    temperature_c: float
    feeds: tuple[SecondFeed, ...] = ()

    def groups(self) -> tuple[tuple[LineOutlet, ...], ...]:
        """Return the outlets that are open together, group after group."""
        count = 1 + max(outlet.group for outlet in self.outlets)
        return tuple(tuple(o for o in self.outlets if o.group == g) for g in range(count))

    def flow_ml_min(self, part: str, group: int) -> float:
        """Return the flow through a part while a group is open: the sum of its outlets, less what enters below it."""
        if self.feeds:
            return self.flows_ml_min().get((group, part), 0.0)
        return sum(o.flow_ml_min for o in self.outlets if o.group == group and part in o.path)

    def flows_ml_min(self) -> dict[tuple[int, str], float]:
        """Return the flow through every part that an outlet draws through, by group and part."""
        flows: dict[tuple[int, str], float] = {}
        for outlet in self.outlets:
            for part in outlet.path:
                flows[outlet.group, part] = flows.get((outlet.group, part), 0.0) + outlet.flow_ml_min
        for feed in self.feeds:
            for group in {outlet.group for outlet in self.outlets}:
                for part in feed.relieved({name for opened, name in flows if opened == group}):
                    flows[group, part] -= feed.flow_ml_min
        return flows


def read_tree(circuit: Mapping[str, Any]) -> Tree:
    """Return the circuit as a checked tree.

    Parameters
    ----------
    circuit
        Plain data as the module says; `diffusivity_m2_s` (0 or more; left out: hydrogen peroxide at the temperature) and
        `temperature_c` (left out: 20) are of the whole circuit.

    Returns
    -------
    Tree
        Parts, outlets with their paths, dead legs.

    Raises
    ------
    Mendable
        Anything is missing, doubled, unknown, in a loop, not a number or out of range; carries every finding.
    """
    found: list[Finding] = []
    parts, parents = _parts(_items(circuit, "parts", found), found)
    paths = _paths(parents, found)
    flows, places = _outlets(_items(circuit, "outlets", found), parts, found)
    group_of = _groups(circuit, list(flows), found)
    feeds = _feeds(circuit, parts, found)
    diffusivity = circuit.get("diffusivity_m2_s")
    if diffusivity is not None and not _in(diffusivity, 0.0, 1e-7):
        found.append(Finding(f"{diffusivity!r} is outside 0 to 1e-7", "diffusivity_m2_s", "Peroxide has 1.4e-9 at 25 degC, cells have 0."))
    temperature = circuit.get("temperature_c", 20.0)
    if not _in(temperature, 1.0, 45.0):
        found.append(Finding(f"{temperature!r} is outside 1 to 45 degC", "temperature_c", "Give the coldest water that reaches the chair."))
    if found:
        raise Mendable.of(found)
    outlets = tuple(LineOutlet(o, paths[places[o]], flow, group_of[o]) for o, flow in flows.items())
    used = {part for outlet in outlets for part in outlet.path}
    tree = Tree(
        parts=parts,
        outlets=outlets,
        dead_legs=tuple(p for p in parts if p not in used),
        diffusivity_m2_s=None if diffusivity is None else float(diffusivity),
        temperature_c=float(temperature),
        feeds=tuple(SecondFeed(f.id, paths[f.path[-1]] if f.path else (), f.flow_ml_min, f.at_end) for f in feeds),
    )
    if backward := backflow(tree):
        raise Mendable.of(backward)
    return tree


def backflow(tree: Tree) -> tuple[Finding, ...]:
    """Return the second feeds that bring at least as much as leaves below them: water would run backwards."""
    if not tree.feeds:
        return ()
    flows, found = tree.flows_ml_min(), []
    for row, feed in enumerate(tree.feeds):
        for group in {outlet.group for outlet in tree.outlets}:
            flowing = {name for opened, name in flows if opened == group}
            met, at_end = feed.entry(flowing)
            if met is None:
                continue
            entering = sum(f.flow_ml_min for f in tree.feeds if f.entry(flowing) == (met, at_end))
            left = min([flows[group, part] for part in feed.relieved(flowing)] + ([] if at_end else [flows[group, met] - entering]))
            if left <= 1e-9:
                seen = f"{feed.flow_ml_min:g} mL/min enter at {met}, and no more than that leaves below"
                mend = "Shut it or have it mended, measure the outlets again, and take it out. So much can't be reckoned with."
                found.append(Finding(seen, f"second_feeds[{row}] {feed.id!r}, flow_ml_min", mend))
                break
    return tuple(found)


def _feeds(circuit: Mapping[str, Any], parts: Mapping[str, LinePart], found: list[Finding]) -> list[SecondFeed]:
    """Return the second feeds, each with its own part alone as path."""
    if not circuit.get("second_feeds"):
        return []
    feeds: list[SecondFeed] = []
    for row, item in enumerate(_items(circuit, "second_feeds", found)):
        part, name, at = item.get("part"), item.get("id", item.get("part")), item.get("at", "start")
        where = f"second_feeds[{row}] {name!r}"
        if part is not None and part not in parts:
            found.append(Finding(f"enters at {part!r}, which is no part", f"{where}, part", "Name the part at which it enters."))
            continue
        if at not in ("start", "end"):
            found.append(Finding(f"at is {at!r}", f"{where}, at", "Write start or end, or leave it out."))
        flow = _number(item, "flow_ml_min", FEED_ML_MIN, ("second_feeds", row, name), found)
        feeds.append(SecondFeed(str(name or "second feed"), () if part is None else (part,), flow, at_end=at == "end"))
    return feeds


def _parts(items: Sequence[Mapping[str, Any]], found: list[Finding]) -> tuple[dict[str, LinePart], dict[str, str | None]]:
    parts: dict[str, LinePart] = {}
    parents: dict[str, str | None] = {}
    for row, item in enumerate(items):
        name = item.get("id")
        if not isinstance(name, str) or not name:
            found.append(Finding(f"id is {name!r}", f"parts[{row}], id", "Give every part a name of its own."))
            continue
        if name in parts:
            found.append(Finding(f"id {name!r} is used twice", f"parts[{row}] {name!r}, id", "Give every part a name of its own."))
            continue
        kind = item.get("kind", "tube")
        if kind == "tube":
            length = _number(item, "length_m", LENGTH_M, ("parts", row, name), found)
            bore = _number(item, "bore_mm", BORE_MM, ("parts", row, name), found)
            shape = item.get("shape", "straight")
            if shape not in ("straight", "coiled"):
                found.append(Finding(f"shape is {shape!r}", f"parts[{row}] {name!r}, shape", "Write straight or coiled, or leave it out."))
            parts[name] = tube(name, length, bore, "coiled" if shape == "coiled" else "straight")
        elif kind == "stirred":
            parts[name] = LinePart(name, "stirred", _number(item, "volume_ml", VOLUME_ML, ("parts", row, name), found))
        else:
            found.append(Finding(f"kind is {kind!r}", f"parts[{row}] {name!r}, kind", "Write tube or stirred."))
            parts[name] = LinePart(name, "stirred", 1.0)  # kept, so that what hangs on it is not called an orphan
        parents[name] = item.get("from")
    for name, parent in parents.items():
        if parent is not None and parent not in parts:
            found.append(Finding(f"from names {parent!r}, which is no part", f"part {name!r}, from", _PLACE_MEND))
            parents[name] = None
    return parts, parents


def _paths(parents: Mapping[str, str | None], found: list[Finding]) -> dict[str, tuple[str, ...]]:
    paths: dict[str, tuple[str, ...]] = {}
    looped: set[str] = set()
    for name in parents:
        upward: list[str] = []
        at: str | None = name
        while at is not None and at not in upward:
            upward.append(at)
            at = parents[at]
        if at is not None:  # came back to a part that is already on the way: no supply is ever reached
            ring = upward[upward.index(at) :]
            if not looped & set(ring):
                found.append(Finding(f"{' <- '.join([*ring, at])} is a loop", f"part {at!r}, from", _PLACE_MEND))
            looped.update(ring)
        paths[name] = tuple(reversed(upward))
    return paths


def _outlets(
    items: Sequence[Mapping[str, Any]], parts: Mapping[str, LinePart], found: list[Finding]
) -> tuple[dict[str, float], dict[str, str]]:
    flows: dict[str, float] = {}
    places: dict[str, str] = {}
    for row, item in enumerate(items):
        part = item.get("part")
        name = item.get("id", part)
        if part not in parts:
            where = f"outlets[{row}] {name!r}, part"
            found.append(Finding(f"hangs on {part!r}, which is no part", where, "Name the part whose end is this outlet."))
            continue
        if not isinstance(name, str) or name in flows:
            found.append(Finding(f"id {name!r} is used twice", f"outlets[{row}] {name!r}, id", "Give every outlet an id of its own."))
            continue
        flows[name] = _number(item, "flow_ml_min", FLOW_ML_MIN, ("outlets", row, name), found)
        places[name] = str(part)
    return flows, places


def _groups(circuit: Mapping[str, Any], outlets: Sequence[str], found: list[Finding]) -> dict[str, int]:
    groups = circuit.get("groups") or ()
    mode = circuit.get("mode", "alone")
    if not groups:
        if mode not in ("together", "alone"):
            found.append(Finding(f"mode is {mode!r}", "mode", "Write together or alone, or give groups."))
        return {name: 0 if mode == "together" else row for row, name in enumerate(outlets)}
    group_of: dict[str, int] = {}
    for row, group in enumerate(groups):
        names = [group] if isinstance(group, str) else list(group)
        if not names:
            found.append(Finding("the group is empty", f"groups[{row}]", "Leave it out, or name its outlets."))
        for name in names:
            if name not in outlets:
                found.append(Finding(f"{name!r} is no outlet", f"groups[{row}]", "Name outlets of this circuit."))
            elif name in group_of:
                found.append(Finding(f"{name!r} is in two groups", f"groups[{row}]", "Put every outlet into one group."))
            else:
                group_of[name] = row
    for name in outlets:
        if name not in group_of:
            found.append(Finding(f"outlet {name!r} is in no group", "groups", "Put every outlet into one group, or it is never flushed."))
    return group_of


def _items(circuit: Mapping[str, Any], key: str, found: list[Finding]) -> Sequence[Mapping[str, Any]]:
    items = circuit.get(key)
    if isinstance(items, Sequence) and not isinstance(items, str) and items and all(isinstance(i, _TABLES) for i in items):
        return items
    found.append(Finding(f"{key} is {'empty' if not items else 'no list of tables'}", key, f"Give at least one of {key}."))
    return ()


def _number(
    item: Mapping[str, Any], field: str, between: tuple[float, float], place: tuple[str, int, object], found: list[Finding]
) -> float:
    value = item.get(field)
    if _in(value, *between):
        return float(value)  # type: ignore[arg-type]  # _in has proved it a number
    seen = "is missing" if value is None else f"{value!r} is outside {between[0]:g} to {between[1]:g}"
    mend = _bore_mend(value) if field == "bore_mm" else _MEND[place[0], field]
    found.append(Finding(f"{field} {seen}", f"{place[0]}[{place[1]}] {place[2]!r}, {field}", mend))
    return between[0]


_MEND: Final = {
    ("parts", "length_m"): "Measure the hose in metres.",
    ("parts", "volume_ml"): "Give the water that it holds, in mL.",
    ("outlets", "flow_ml_min"): "Measure it with a cup and a clock while it runs as in use; a closed outlet is left out.",
    ("second_feeds", "flow_ml_min"): "Shut the supply, open the outlets, and measure what still comes with cup and clock.",
}


def _bore_mend(bore: object) -> str:
    if isinstance(bore, int | float) and 0.01 <= bore < BORE_MM[0]:
        return f"Is that inches? {bore:g} inch is {25.4 * bore:.2f} mm. Give the inner diameter in millimetres."
    return "Give the inner diameter of the hose in millimetres."


def _in(value: object, low: float, high: float) -> bool:
    return isinstance(value, _NUMBERS) and not isinstance(value, bool) and low <= value <= high  # a NaN is never in
