"""How long each outlet of a chair must run until it is flushed, filled and rinsed.

`outlet_seconds` is the entry: a circuit as plain data and the shares that are aimed at, seconds per outlet out. Outlets
that are opened one after another are each reckoned from lines full of old content: what an earlier group has already
carried out of the common parts is not credited, so no time is too short for it.

A flush carries out what is dissolved and what floats: cells that hardly diffuse, the solute, and all between (viruses,
proteins). Neither end is the slowest: with a little diffusion the wall feeds the stream longest. So a flush is reckoned for
no diffusion, for the solute and for the worst between them, and the longest counts; a fill and a rinse for the solute.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fettlebook.errors import Mendable
from fettlebook.science.bound import held_bound_s, residual_bound_s
from fettlebook.science.chains import CELLS, Delay, coherent, seconds_of_all
from fettlebook.science.hydraulics import M3_S_PER_ML_MIN, Regime, pressure_drop_kpa, regime, reynolds
from fettlebook.science.second_feed import undiluted_share
from fettlebook.science.tree import LineOutlet, LinePart, Tree, read_tree
from fettlebook.science.washout import volume_changes
from fettlebook.science.water import peroxide_diffusivity_m2_s

Method = Literal["exact", "safe bound"]
Reading = Literal["bound", "mixed", "coherent"]
Carried = Literal["anything", "cells", "between", "solute"]
Series = Sequence[tuple[LinePart, float]]  # parts on the way, each with its flow [mL/min]
_CELLS: Final[Carried] = "cells"
_BETWEEN: Final[Carried] = "between"
SCREEN_CELLS: Final = 48  # steps of the lattice that tells whether a finer one is needed at all
RATIO_CELLS: Final = 160  # steps where only the ratio of two times counts
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
        Plain data: `parts` [{id, from, kind "tube" with length_m, bore_mm
        and perhaps shape "coiled", or kind "stirred" with volume_ml}],
        `outlets` [{part, flow_ml_min, and id where two hang on one part}], perhaps `second_feeds` [{part, flow_ml_min, id, at}],
        `mode` "together" or "alone" or `groups`
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
        The data or a share can't be used, or a second feed keeps the fill from ever reaching its share; every finding
        names part and field.
    """
    tree = read_tree(circuit)
    asked = undiluted_share(tree, fill_share) if 0.0 < fill_share < 1.0 else fill_share
    return tree_seconds(tree, flush_share=flush_share, fill_share=asked, rinse_share=rinse_share, method=method)


def tree_seconds(tree: Tree, *, flush_share: float, fill_share: float, rinse_share: float, method: Method) -> tuple[OutletSeconds, ...]:
    """Return the same as `outlet_seconds` for a circuit that is already checked."""
    return trees_seconds([tree], flush_share=flush_share, fill_share=fill_share, rinse_share=rinse_share, method=method)[0]


def trees_seconds(
    trees: Sequence[Tree], *, flush_share: float, fill_share: float, rinse_share: float, method: Method
) -> list[tuple[OutletSeconds, ...]]:
    """Return the same as `outlet_seconds` for many checked circuits, much faster than one by one."""
    for name, share in (("flush_share", flush_share), ("fill_share", fill_share), ("rinse_share", rinse_share)):
        if not 0.0 < share < 1.0:
            mend = "Give a share above 0 and below 1: 0.05 for 5 %. Nothing is ever flushed to 0 or filled to 1."
            raise Mendable(f"{share!r} is not between 0 and 1", where=name, mend=mend)
    if method not in ("exact", "safe bound"):
        raise Mendable(f"method is {method!r}", where="method", mend="Use exact or safe bound.")
    fill_left = 1.0 - fill_share
    if method == "safe bound":
        return [tuple(_bounded(tree, outlet, flush_share, fill_left, rinse_share) for outlet in tree.outlets) for tree in trees]
    times = exact_times(trees, flush_share, fill_left, rinse_share)
    return [
        tuple(_shown(tree, outlet, path, time) for outlet, path, time in zip(tree.outlets, paths_of(tree), row, strict=True))
        for tree, row in zip(trees, times, strict=True)
    ]


class Times(NamedTuple):
    """One outlet's exact seconds, and what set them."""

    flush_s: float
    fill_s: float
    rinse_s: float
    fill_outlet_s: float
    fill_held_s: float
    flush_reading: Reading
    fill_reading: Reading
    rinse_reading: Reading
    flush_carried: Carried


def exact_times(trees: Sequence[Tree], flush: float, fill: float, rinse: float, cells: int = CELLS) -> list[list[Times]]:
    """Return flush, fill and rinse of every outlet of every circuit by the solved wash-out, in the longer of both readings.

    Parameters
    ----------
    trees
        Checked circuits.
    flush, fill, rinse
        Shares that may be left, 0 to 1.
    cells
        Steps of the lattice.
    """
    solutes = [(diffusivity_of(tree), series) for tree in trees for series in _series_of(tree)]
    mixed = [_delays(d, series) for d, series in solutes]
    joined = [coherent(delays) for delays in mixed]
    one_tube = [len(run) == 1 and len(delays) > 1 for run, delays in zip(joined, mixed, strict=True)]
    other = _both(joined, (flush, fill, rinse), cells)
    own = np.array(other)
    apart = [i for i, delays in enumerate(mixed) if joined[i] != delays]
    if cells > SCREEN_CELLS:
        # A lattice errs long, the coarser the longer: mixed joints that one shows below the one coherent tube are below it.
        screened = [i for i in apart if one_tube[i]]
        own[screened] = _both([mixed[i] for i in screened], (flush, fill, rinse), SCREEN_CELLS)
        apart = [i for i in apart if not one_tube[i] or np.any(own[i] > other[i])]
    own[apart] = _both([mixed[i] for i in apart], (flush, fill, rinse), cells)
    longer, smooth = np.maximum(own, other), other > own
    smooth_fill = np.maximum(other[:, 1], other[:, 3]) > np.maximum(own[:, 1], own[:, 3])
    held = _every_part_s(mixed, fill, np.maximum(longer[:, 1], longer[:, 3]), cells)
    old = _old_water(solutes, mixed, joined, flush, cells)
    found: list[Times] = []
    for i, (flush_s, fill_s, rinse_s, _) in enumerate(longer.tolist()):
        flush_by: tuple[float, Reading, Carried] = (flush_s, "coherent" if smooth[i, 0] else "mixed", "solute")
        slowest = max([flush_by, *old[i]], key=lambda by: by[0])
        found.append(
            Times(
                flush_s=slowest[0],
                fill_s=max(fill_s, held[i]),
                rinse_s=rinse_s,
                fill_outlet_s=fill_s,
                fill_held_s=held[i],
                flush_reading=slowest[1],
                fill_reading="coherent" if smooth_fill[i] else "mixed",
                rinse_reading="coherent" if smooth[i, 2] else "mixed",
                flush_carried=slowest[2],
            )
        )
    rows = iter(found)
    return [[next(rows) for _ in tree.outlets] for tree in trees]


def _both(paths: Sequence[Sequence[Delay]], shares: tuple[float, float, float], cells: int) -> NDArray[np.float64]:
    """Return seconds to flush, fill and rinse at the outlet, and to fill by what is held."""
    at_outlet, held = seconds_of_all(paths, shares, shares[1:2], cells=cells)
    return np.column_stack([at_outlet, held])


def _every_part_s(paths: Sequence[Sequence[Delay]], share: float, path_s: NDArray[np.float64], cells: int) -> list[float]:
    """Return when each path, and each part of it by itself, holds no more than `share` of old content.

    The mean over a path alone would let a short clean hose hide a slow feed, and a longer hose would need less time.
    """
    most = held_bound_s(share, 1.0, ()), held_bound_s(share, 0.0, (1.0,))
    held: list[float] = path_s.tolist()
    slow = [(i, delay) for i, path in enumerate(paths) for delay in path if delay.residence_s * most[delay.kind == "stirred"] > held[i]]
    if slow:
        for (i, _), own_s in zip(slow, seconds_of_all([(d,) for _, d in slow], (), (share,), cells=cells)[1][:, 0].tolist(), strict=True):
            held[i] = max(held[i], own_s)
    return held


def _old_water(
    solutes: Sequence[tuple[float, Series]],
    mixed: Sequence[tuple[Delay, ...]],
    joined: Sequence[tuple[Delay, ...]],
    share: float,
    cells: int,
) -> list[list[tuple[float, Reading, Carried]]]:
    """Return the flush of what else old water holds beside the solute: cells, which don't diffuse, and whatever lies between.

    In a path of tubes the slowest of these in one coherent tube outlasts every one of them with mixed joints, and has a
    closed form; with stirred volumes on the path they are tried one by one.
    """
    found: list[list[tuple[float, Reading, Carried]]] = [[] for _ in mixed]
    tries: list[tuple[int, Reading, Carried, tuple[Delay, ...]]] = []
    worst, cells_alone = worst_tau_d(share), 0.5 / math.sqrt(share)
    for i, (delays, run) in enumerate(zip(mixed, joined, strict=True)):
        whole = sum(delay.tau_d for delay in delays)
        if len(run) == 1 and run[0].kind == "tube":
            changes, what = cells_alone, _CELLS
            if whole > worst and (between := slowest_changes(share, worst)) > changes:  # up to the worst tau_D the solute is the slowest
                changes, what = between, _BETWEEN
            found[i].append((changes * run[0].residence_s, "coherent" if len(delays) > 1 else "mixed", what))
        elif whole > 0.0:
            diffusivity, series = solutes[i]
            # A stirred volume shifts the worst one; three tries are within 1 % of a fine search on random chairs.
            others = [diffusivity * worst / whole * factor for factor in (0.25, 1.0, 4.0)]
            for d in (0.0, *(d for d in others if d < diffusivity)):
                own = _delays(d, series)
                readings: dict[Reading, tuple[Delay, ...]] = {"mixed": own, "coherent": coherent(own)}
                for reading, tried in readings.items():
                    if reading == "mixed" or tried != own:
                        tries.append((i, reading, _BETWEEN if d else _CELLS, tried))
    if tries:
        for (i, reading, what, _), slow in zip(
            tries, seconds_of_all([t[3] for t in tries], (share,), cells=cells)[0][:, 0].tolist(), strict=True
        ):
            found[i].append((slow, reading, what))
    return found


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
    return _delays(diffusivity_m2_s, [(tree.parts[part.id], part.flow_ml_min) for part in path])


def _delays(diffusivity_m2_s: float, series: Series) -> tuple[Delay, ...]:
    by_length = math.pi * diffusivity_m2_s / M3_S_PER_ML_MIN
    return tuple(
        Delay("stirred", 60.0 * part.volume_ml / flow)
        if part.kind == "stirred"
        else Delay("tube", 60.0 * part.volume_ml / flow, by_length * part.length_m / flow)
        for part, flow in series
    )


def _series_of(tree: Tree) -> list[list[tuple[LinePart, float]]]:
    """Return each outlet's way from the supply on: the parts with their flow while its group is open."""
    flows = tree.flows_ml_min()
    return [[(tree.parts[name], flows[outlet.group, name]) for name in outlet.path] for outlet in tree.outlets]


def _shown(tree: Tree, outlet: LineOutlet, path: tuple[PathPart, ...], times: Times) -> OutletSeconds:
    return OutletSeconds(
        outlet=outlet.id,
        group=outlet.group,
        flow_ml_min=outlet.flow_ml_min,
        nominal_s=sum(p.residence_s for p in path),
        flush_s=times.flush_s,
        fill_s=times.fill_s,
        rinse_s=times.rinse_s,
        fill_outlet_s=times.fill_outlet_s,
        fill_held_s=times.fill_held_s,
        flush_reading=times.flush_reading,
        fill_reading=times.fill_reading,
        rinse_reading=times.rinse_reading,
        path=path,
        cautions=cautions_of(tree, path),
        flush_carried=times.flush_carried,
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
    return paths_of(tree)[tree.outlets.index(outlet)]


def paths_of(tree: Tree) -> list[tuple[PathPart, ...]]:
    """Return the same for every outlet, each part once per group."""
    flows = tree.flows_ml_min()
    tubes = [(key, flow, tree.parts[key[1]]) for key, flow in flows.items() if tree.parts[key[1]].kind == "tube"]
    flow_ml_min, length_m, bore_mm = np.array([(flow, part.length_m, part.bore_mm) for _, flow, part in tubes]).reshape(-1, 3).T
    numbers = reynolds(flow_ml_min, bore_mm, tree.temperature_c).tolist()
    drops = pressure_drop_kpa(flow_ml_min, length_m, bore_mm, tree.temperature_c).tolist()
    made = {
        key: PathPart(part.id, "tube", part.volume_ml, flow, 60.0 * part.volume_ml / flow, number, regime(number), drop)
        for (key, flow, part), number, drop in zip(tubes, numbers, drops, strict=True)
    }
    for (group, name), flow in flows.items():
        if (part := tree.parts[name]).kind == "stirred":
            made[group, name] = PathPart(name, "stirred", part.volume_ml, flow, 60.0 * part.volume_ml / flow)
    return [tuple(made[outlet.group, name] for name in outlet.path) for outlet in tree.outlets]


def cautions_of(tree: Tree, path: tuple[PathPart, ...]) -> tuple[str, ...]:
    """Return what the reader must know beside the seconds: parts that no flush clears, flow that is not laminar."""
    said = [f"{leg}: no outlet draws through it, so no running time clears it. Remove it or drain it." for leg in tree.dead_legs]
    said += [
        f"{p.id}: Reynolds number {p.reynolds:.0f}, {p.regime}. Reckoned as laminar, which never gives a time that is too short."
        for p in path
        if p.reynolds is not None and p.regime != "laminar"
    ]
    said += [
        f"{p.id}: coiled. A coil mixes and clears sooner; it is reckoned as straight, and no time is shortened for it."
        for p in path
        if tree.parts[p.id].shape == "coiled"
    ]
    said += [
        f"{feed.id}: {feed.flow_ml_min:g} mL/min of other water join the line. The parts above are reckoned slower by that; what product "
        "was pushed into it is not reckoned, so a strip at the last outlet decides."
        for feed in tree.feeds
    ]
    return tuple(said)
