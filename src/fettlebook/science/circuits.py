"""How long each outlet of a chair must run until it is flushed, filled and rinsed.

`outlet_seconds` is the entry: a circuit as plain data and the shares that are aimed at, seconds per outlet out. Outlets
that are opened one after another are each reckoned from lines full of old content: what an earlier group has already
carried out of the common parts is not credited, so no time is too short for it.

A flush carries out what is dissolved and what floats: cells that hardly diffuse, the solute, and all between (viruses,
proteins). Neither end is the slowest: with a little diffusion the wall feeds the stream longest. So a flush is reckoned for
no diffusion, for the solute and for the worst between them, and the longest counts; a fill and a rinse for the solute.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final, Literal

import numpy as np

from fettlebook.errors import Mendable
from fettlebook.science.bound import held_bound_s, residual_bound_s
from fettlebook.science.chains import Delay, coherent, seconds
from fettlebook.science.hydraulics import M3_S_PER_ML_MIN, Regime, pressure_drop_kpa, regime, reynolds
from fettlebook.science.tree import LineOutlet, Tree, read_tree
from fettlebook.science.washout import volume_changes
from fettlebook.science.water import peroxide_diffusivity_m2_s

Method = Literal["exact", "safe bound"]
Reading = Literal["bound", "mixed", "coherent"]
Carried = Literal["anything", "cells", "between", "solute"]
FLUSH_SHARE: Final = 0.05
FILL_SHARE: Final = 0.95
RINSE_SHARE: Final = 1.0 / 3000.0


@dataclass(frozen=True, slots=True)
class PathPart:
    """One part on the way to an outlet, with the flow through it while the outlet's group is open."""

    id: str
    kind: Literal["tube", "stirred"]
    volume_ml: float
    flow_ml_min: float
    residence_s: float
    reynolds: float | None = None  # None: a stirred volume
    regime: Regime | None = None
    pressure_drop_kpa: float | None = None


@dataclass(frozen=True, slots=True)
class OutletSeconds:
    """What one outlet needs, from the moment its group is opened; not rounded.

    `nominal_s` is one volume change, V/Q summed over the path. `fill_s` is the longer of `fill_outlet_s` (the outlet
    carries the share of feed strength) and `fill_held_s` (so does what the path holds, on average). The readings tell
    which joint model set the time, `flush_carried` which part of the old water: cells, solute or the worst between.
    """

    outlet: str
    group: int
    flow_ml_min: float
    nominal_s: float
    flush_s: float
    fill_s: float
    rinse_s: float
    fill_outlet_s: float
    fill_held_s: float
    flush_reading: Reading
    fill_reading: Reading
    rinse_reading: Reading
    path: tuple[PathPart, ...]
    cautions: tuple[str, ...] = ()
    flush_carried: Carried = "anything"


def outlet_seconds(
    circuit: Mapping[str, Any],
    *,
    flush_share: float = FLUSH_SHARE,
    fill_share: float = FILL_SHARE,
    rinse_share: float = RINSE_SHARE,
    method: Method = "exact",
) -> tuple[OutletSeconds, ...]:
    """Return the seconds that each outlet must run to be flushed, filled and rinsed.

    Parameters
    ----------
    circuit
        Plain data: `parts` [{id, from, kind "tube" with length_m and bore_mm, or kind "stirred" with volume_ml}],
        `outlets` [{part, flow_ml_min, and id where two hang on one part}], `mode` "together" or "alone" or `groups`
        [[outlet, ...], ...] opened one after another, `diffusivity_m2_s` (left out: hydrogen peroxide), `temperature_c`
        (left out: 20).
    flush_share
        Share of old water that may still come out after a flush, 0 to 1.
    fill_share
        Share of the feed strength that must come out after a fill and be held by the path, 0 to 1.
    rinse_share
        Share of the strength that may still come out after a rinse, 0 to 1: the limit in mg/L over the strength in mg/L.
    method
        "exact": the solved wash-out of this solute, in the longer of the two joint readings; "safe bound": never less than
        any line and any solute needs, several times longer for a rinse.

    Returns
    -------
    tuple of OutletSeconds
        One for each outlet, in the order of the data.

    Raises
    ------
    Mendable
        The data or a share can't be used; every finding names part and field.
    """
    return tree_seconds(read_tree(circuit), flush_share=flush_share, fill_share=fill_share, rinse_share=rinse_share, method=method)


def tree_seconds(tree: Tree, *, flush_share: float, fill_share: float, rinse_share: float, method: Method) -> tuple[OutletSeconds, ...]:
    """Return the same as `outlet_seconds` for a circuit that is already checked."""
    for name, share in (("flush_share", flush_share), ("fill_share", fill_share), ("rinse_share", rinse_share)):
        if not 0.0 < share < 1.0:
            mend = "Give a share above 0 and below 1: 0.05 for 5 %. Nothing is ever flushed to 0 or filled to 1."
            raise Mendable(f"{share!r} is not between 0 and 1", where=name, mend=mend)
    if method not in ("exact", "safe bound"):
        raise Mendable(f"method is {method!r}", where="method", mend="Use exact or safe bound.")
    reckon = _exact if method == "exact" else _bounded
    return tuple(reckon(tree, outlet, flush_share, 1.0 - fill_share, rinse_share) for outlet in tree.outlets)


def _exact(tree: Tree, outlet: LineOutlet, flush: float, fill: float, rinse: float) -> OutletSeconds:
    path = path_of(tree, outlet)
    solute = delays_of(tree, path, diffusivity_of(tree))
    joined = coherent(solute)
    readings: dict[Reading, tuple[Delay, ...]] = {"mixed": solute} if joined == solute else {"mixed": solute, "coherent": joined}
    times: dict[Reading, tuple[float, float, float, float, float]] = {}
    for reading, delays in readings.items():
        (flush_s, fill_s, rinse_s), (held_s,) = seconds(delays, (flush, fill, rinse), (fill,))
        times[reading] = flush_s, max(fill_s, held_s), rinse_s, fill_s, held_s
    held_s = _every_part_s(solute, fill, max(row[4] for row in times.values()))
    by: list[Reading] = [max(readings, key=lambda reading, i=i: times[reading][i]) for i in range(3)]  # type: ignore[misc]
    flush_s, flush_reading, carried = _old_water_s(tree, path, flush, (times[by[0]][0], by[0]))
    return OutletSeconds(
        outlet=outlet.id,
        group=outlet.group,
        flow_ml_min=outlet.flow_ml_min,
        nominal_s=sum(p.residence_s for p in path),
        flush_s=flush_s,
        fill_s=max(times[by[1]][1], held_s),
        rinse_s=times[by[2]][2],
        fill_outlet_s=max(row[3] for row in times.values()),
        fill_held_s=held_s,
        flush_reading=flush_reading,
        fill_reading=by[1],
        rinse_reading=by[2],
        path=path,
        cautions=cautions_of(tree, path),
        flush_carried=carried,
    )


def _every_part_s(delays: tuple[Delay, ...], share: float, path_s: float) -> float:
    """Return when the path, and each part of it by itself, holds no more than `share` of old content.

    The mean over a path alone would let a short clean hose hide a slow feed, and a longer hose would need less time.
    """
    for delay in delays:
        most = held_bound_s(share, delay.residence_s, ()) if delay.kind == "tube" else held_bound_s(share, 0.0, (delay.residence_s,))
        if most > path_s:
            path_s = max(path_s, seconds((delay,), (), (share,))[1][0])
    return path_s


def _old_water_s(tree: Tree, path: tuple[PathPart, ...], share: float, solute_s: tuple[float, Reading]) -> tuple[float, Reading, Carried]:
    """Return the flush for all that old water holds: cells, which don't diffuse, the solute, and whatever lies between.

    In a path of tubes the slowest of these in one coherent tube outlasts every one of them with mixed joints, and has a
    closed form; with stirred volumes on the path they are tried one by one.
    """
    diffusivity = diffusivity_of(tree)
    delays = delays_of(tree, path, diffusivity)
    whole = sum(delay.tau_d for delay in delays)
    found, reading = solute_s
    carried: Carried = "solute"
    worst = worst_tau_d(share)
    tries: dict[float, Carried] = {}
    if len(coherent(delays)) == 1 and delays[0].kind == "tube":
        changes = 0.5 / math.sqrt(share)
        what: Carried = "cells"
        if whole > worst and (between := slowest_changes(share, worst)) > changes:  # up to the worst tau_D the solute itself is the slowest
            changes, what = between, "between"
        coherent_s = changes * sum(delay.residence_s for delay in delays)
        if coherent_s > found:
            return coherent_s, "coherent" if len(delays) > 1 else "mixed", what
        return found, reading, carried
    if whole > 0.0:
        # A stirred volume shifts the worst one; three tries are within 1 % of a fine search on random chairs.
        tries[0.0] = "cells"
        for d in (diffusivity * worst / whole * factor for factor in (0.25, 1.0, 4.0)):
            if d < diffusivity:
                tries[d] = "between"
    for d, what in tries.items():
        mixed = delays_of(tree, path, d)
        series_by: dict[Reading, tuple[Delay, ...]] = {"mixed": mixed, "coherent": coherent(mixed)}
        for name, series in series_by.items():
            if name == "coherent" and series == mixed:
                continue
            other_s = seconds(series, (share,))[0][0]
            if other_s > found:
                found, reading, carried = other_s, name, what
    return found, reading, carried


@lru_cache(maxsize=64)
def worst_tau_d(share: float) -> float:
    """Return the tau_D at which one tube needs most volume changes down to `share`."""
    grid = np.geomspace(1e-7, 0.3, 260)
    return float(grid[int(np.argmax(volume_changes(share, grid)))])


@lru_cache(maxsize=1024)
def slowest_changes(share: float, tau_d: float) -> float:
    """Return the most volume changes that one tube needs for anything that diffuses no faster than `tau_d`."""
    return max(0.5 / math.sqrt(share), float(volume_changes(share, min(tau_d, worst_tau_d(share)))))


def diffusivity_of(tree: Tree) -> float:
    """Return the solute's diffusion coefficient [m2/s]: the circuit's own, or that of hydrogen peroxide at its temperature."""
    return _peroxide_m2_s(tree.temperature_c) if tree.diffusivity_m2_s is None else tree.diffusivity_m2_s


@lru_cache(maxsize=64)
def _peroxide_m2_s(temperature_c: float) -> float:
    return float(peroxide_diffusivity_m2_s(temperature_c))


def delays_of(tree: Tree, path: tuple[PathPart, ...], diffusivity_m2_s: float) -> tuple[Delay, ...]:
    """Return a path as delays in series; tau_D = pi D L/Q of a tube does not depend on its bore."""
    return tuple(
        Delay("stirred", part.residence_s)
        if part.kind == "stirred"
        else Delay(
            "tube", part.residence_s, math.pi * diffusivity_m2_s * tree.parts[part.id].length_m / (part.flow_ml_min * M3_S_PER_ML_MIN)
        )
        for part in path
    )


def _bounded(tree: Tree, outlet: LineOutlet, flush: float, fill: float, rinse: float) -> OutletSeconds:
    path = path_of(tree, outlet)
    tubes_s = sum(p.residence_s for p in path if p.kind == "tube")
    stirred_s = [p.residence_s for p in path if p.kind == "stirred"]
    at_outlet, held = residual_bound_s(fill, tubes_s, stirred_s), held_bound_s(fill, tubes_s, stirred_s)
    held = max(held, *(held_bound_s(fill, 0.0, (own,)) for own in stirred_s), 0.0)  # each part by itself; tubes are in it
    return OutletSeconds(
        outlet=outlet.id,
        group=outlet.group,
        flow_ml_min=outlet.flow_ml_min,
        nominal_s=tubes_s + sum(stirred_s),
        flush_s=residual_bound_s(flush, tubes_s, stirred_s),
        fill_s=max(at_outlet, held),
        rinse_s=residual_bound_s(rinse, tubes_s, stirred_s),
        fill_outlet_s=at_outlet,
        fill_held_s=held,
        flush_reading="bound",
        fill_reading="bound",
        rinse_reading="bound",
        path=path,
        cautions=cautions_of(tree, path),
    )


def path_of(tree: Tree, outlet: LineOutlet) -> tuple[PathPart, ...]:
    """Return the parts on the way to an outlet with their own flow, residence time, Reynolds number and pressure drop."""
    parts = [tree.parts[name] for name in outlet.path]
    flows = [tree.flow_ml_min(part.id, outlet.group) for part in parts]
    tubes = [(flow, part.length_m, part.bore_mm) for flow, part in zip(flows, parts, strict=True) if part.kind == "tube"]
    flow_ml_min, length_m, bore_mm = np.array(tubes).reshape(-1, 3).T
    numbers = iter(reynolds(flow_ml_min, bore_mm, tree.temperature_c).tolist())
    drops = iter(pressure_drop_kpa(flow_ml_min, length_m, bore_mm, tree.temperature_c).tolist())
    path: list[PathPart] = []
    for flow, part in zip(flows, parts, strict=True):
        residence_s = 60.0 * part.volume_ml / flow
        if part.kind == "stirred":
            path.append(PathPart(part.id, "stirred", part.volume_ml, flow, residence_s))
        else:
            re = next(numbers)
            path.append(PathPart(part.id, "tube", part.volume_ml, flow, residence_s, re, regime(re), next(drops)))
    return tuple(path)


def cautions_of(tree: Tree, path: tuple[PathPart, ...]) -> tuple[str, ...]:
    """Return what the reader must know beside the seconds: parts that no flush clears, flow that is not laminar."""
    said = [f"{leg}: no outlet draws through it, so no running time clears it. Remove it or drain it." for leg in tree.dead_legs]
    said += [
        f"{p.id}: Reynolds number {p.reynolds:.0f}, {p.regime}. Reckoned as laminar, which never gives a time that is too short."
        for p in path
        if p.reynolds is not None and p.regime != "laminar"
    ]
    return tuple(said)
