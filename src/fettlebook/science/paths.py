"""What stands on the way to each outlet, with its flow and hydraulics, and what a reader must know beside the seconds."""

import math
from collections.abc import Sequence
from typing import Literal, NamedTuple

from fettlebook.science.chains import Delay
from fettlebook.science.hydraulics import M3_S_PER_ML_MIN, Regime, pressure_drop_kpa, regime, reynolds
from fettlebook.science.tree import LineOutlet, Tree
from fettlebook.science.ways import Ways, ways_of


class PathPart(NamedTuple):
    """One part on the way to an outlet, with the flow through it while the outlet's group is open."""

    id: str
    kind: Literal["tube", "stirred"]
    volume_ml: float
    flow_ml_min: float
    residence_s: float
    reynolds: float | None = None  # None: a stirred volume
    regime: Regime | None = None
    pressure_drop_kpa: float | None = None


def paths_of(ways: Ways) -> list[tuple[PathPart, ...]]:
    """Return the parts on the way to every outlet with their own flow, residence time, Reynolds number and pressure drop."""
    flows, temperature = ways.flows_ml_min(ways.flow_ml_min), ways.temperature_c[ways.of_part]
    numbers = reynolds(flows, ways.bore_mm, temperature)
    drops = pressure_drop_kpa(flows, ways.length_m, ways.bore_mm, temperature)
    columns = (ways.stirred, ways.volume_ml, flows, 60.0 * ways.volume_ml / flows, numbers, drops)
    made = [
        PathPart(name, "stirred", volume, flow, residence)
        if stirred
        else PathPart(name, "tube", volume, flow, residence, number, regime(number), drop)
        for name, stirred, volume, flow, residence, number, drop in zip(ways.names, *(c[:-1].tolist() for c in columns), strict=True)
    ]
    return [tuple([made[i] for i in way[:parts]]) for way, parts in zip(ways.on_way.tolist(), ways.parts.tolist(), strict=True)]


def path_of(tree: Tree, outlet: LineOutlet) -> tuple[PathPart, ...]:
    """Return the parts on the way to one outlet of a circuit."""
    return paths_of(ways_of([tree]))[tree.outlets.index(outlet)]


def delays_of(tree: Tree, path: Sequence[PathPart], diffusivity_m2_s: float) -> tuple[Delay, ...]:
    """Return a path as delays in series; tau_D = pi D L/Q of a tube does not depend on its bore."""
    by_length = math.pi * diffusivity_m2_s / M3_S_PER_ML_MIN
    return tuple(
        Delay("stirred", part.residence_s)
        if part.kind == "stirred"
        else Delay("tube", part.residence_s, by_length * tree.parts[part.id].length_m / part.flow_ml_min)
        for part in path
    )


def cautions_of(tree: Tree, path: Sequence[PathPart]) -> tuple[str, ...]:
    """Return what the reader must know beside the seconds: parts that no flush clears, flow that is not laminar."""
    rough = [p for p in path if p.regime not in (None, "laminar")]
    coiled = [p for p in path if tree.parts[p.id].shape == "coiled"]
    if not (rough or coiled or tree.dead_legs or tree.feeds):
        return ()
    said = [f"{leg}: no outlet draws through it, so no running time clears it. Remove it or drain it." for leg in tree.dead_legs]
    said += [
        f"{p.id}: Reynolds number {p.reynolds:.0f}, {p.regime}. Reckoned as laminar, which never gives a time that is too short."
        for p in rough
    ]
    said += [
        f"{p.id}: coiled. A coil mixes and clears sooner; it is reckoned as straight, and no time is shortened for it." for p in coiled
    ]
    said += [
        f"{feed.id}: {feed.flow_ml_min:g} mL/min of other water join the line. The parts above are reckoned slower by that; what product "
        "was pushed into it is not reckoned, so a strip at the last outlet decides."
        for feed in tree.feeds
    ]
    return tuple(said)
