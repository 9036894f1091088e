"""Outlets opened one group after the other: what earlier groups have already carried out of the common parts counts.

`outlet_seconds` reckons every group from lines full of old content, which is safe in any order. Here the shared parts keep
their history: each part has a clock of its own, the volume that has passed through it, and what enters it at each reading
of that clock is remembered. So a later outlet has little more than its own hose to clear, and the order matters.

Sources
-------
[R] Residence times of parts in series convolve, textbook. memory
[H] The history of a part in terms of the volume passed is exact without diffusion or if its flow stays the same; with
    diffusion the present group's tau_D is taken for all of it. computed
"""

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.signal import fftconvolve

from fettlebook.errors import Mendable
from fettlebook.science.chains import Delay
from fettlebook.science.circuits import tree_seconds
from fettlebook.science.needs import slowest_changes, worst_tau_d
from fettlebook.science.paths import cautions_of, delays_of, path_of
from fettlebook.science.tree import LineOutlet, Tree, read_tree
from fettlebook.science.washout import volume_changes
from fettlebook.science.ways import diffusivity_of

Real = NDArray[np.float64]
CELLS: Final = 900
EVERY_ORDER_TO: Final = 5  # groups; more than that, and only promising orders are tried


@dataclass(frozen=True, slots=True)
class InTurn:
    """Running times of outlets opened in turn: seconds of each outlet from the opening of its group, and of each group.

    `order` names the groups by their place in the data, in the order in which they are opened; `from_full_s` is the sum
    without credit for what earlier groups cleared.
    """

    order: tuple[int, ...]
    outlet_s: Mapping[str, float]
    group_s: tuple[float, ...]
    total_s: float
    water_ml: float
    from_full_s: float
    cautions: tuple[str, ...] = ()


def in_turn(circuit: Mapping[str, Any], share: float, *, order: Sequence[int] | None = None, solute_only: bool = False) -> InTurn:
    """Return how long each group must run if the groups are opened in this order, one after the other without a pause.

    Parameters
    ----------
    circuit
        Plain data as for `outlet_seconds`, with `groups` or mode "alone".
    share
        Share of old content that may still come out of every outlet, 0 to 1.
    order
        Groups by their place in the data; left out: as in the data.
    solute_only
        False: cells, the solute and all between, as a flush needs. True: the solute alone, as for a fill or a rinse.

    Returns
    -------
    InTurn
        Never longer than without credit.

    Raises
    ------
    Mendable
        The circuit, the share or the order can't be used.

    Notes
    -----
    Both joint readings are reckoned and the longer counts: mixed joints by convolving each part's history [R, H], a
    coherent path by following the slowest streamline that matters back through the clocks of its parts.
    """
    tree = read_tree(circuit)
    groups = tree.groups()
    chosen = tuple(range(len(groups)) if order is None else order)
    if sorted(chosen) != list(range(len(groups))):
        raise Mendable(f"order {list(chosen)} of {len(groups)} groups", where="order", mend="Name every group once, from 0 on.")
    whole = tree_seconds(tree, flush_share=share, fill_share=0.5, rinse_share=share, method="exact")
    full = {o.outlet: o.rinse_s if solute_only else o.flush_s for o in whole}
    return _run(tree, share, chosen, full, solute_only=solute_only)


def best_order(circuit: Mapping[str, Any], share: float, *, solute_only: bool = False) -> InTurn:
    """Return the order of the groups that takes least time, and of those the one with least water.

    Parameters
    ----------
    circuit, share, solute_only
        As for `in_turn`.

    Returns
    -------
    InTurn
        Every order is tried up to five groups; beyond, each group first and the others by their own length.

    Raises
    ------
    Mendable
        As `in_turn`.
    """
    tree = read_tree(circuit)
    count = len(tree.groups())
    whole = tree_seconds(tree, flush_share=share, fill_share=0.5, rinse_share=share, method="exact")
    full = {o.outlet: o.rinse_s if solute_only else o.flush_s for o in whole}
    longest = sorted(range(count), key=lambda g: -max(full[o.id] for o in tree.groups()[g]))
    orders: list[tuple[int, ...]] = [(g, *(other for other in longest if other != g)) for g in range(count)]
    if count <= EVERY_ORDER_TO:
        orders = list(itertools.permutations(range(count)))
    runs = [_run(tree, share, order, full, solute_only=solute_only) for order in orders]
    return min(runs, key=lambda run: (round(run.total_s, 3), round(run.water_ml, 3)))


@dataclass(slots=True)
class _Clock:
    """The past of one part: when it ran, at what flow, and what entered it over the volume passed [mL]."""

    passed_ml: float = 0.0
    runs: list[tuple[float, float, float]] = field(default_factory=list)  # start [s], volume passed by then, flow [mL/s]
    entered: dict[float, tuple[Real, Real]] = field(default_factory=dict)  # by diffusivity: volume, share of old content


def _run(tree: Tree, share: float, order: Sequence[int], full: Mapping[str, float], *, solute_only: bool) -> InTurn:
    clocks = {name: _Clock() for name in tree.parts}
    solutes = _solutes(tree, share, solute_only=solute_only)
    outlet_s: dict[str, float] = {}
    group_s: list[float] = []
    now_s = water_ml = 0.0
    for group in order:
        outlets = tree.groups()[group]
        most_s = max(full[o.id] for o in outlets)
        for name in {part for o in outlets for part in o.path}:
            clocks[name].runs.append((now_s, clocks[name].passed_ml, tree.flow_ml_min(name, group) / 60.0))
        mixed = _mixed_s(tree, outlets, share, most_s, (clocks, solutes))
        for o in outlets:
            slow = max(mixed[o.id], _coherent_s(tree, o, share, now_s, (clocks, full[o.id], solute_only)))
            outlet_s[o.id] = min(slow, full[o.id])
        took = max(outlet_s[o.id] for o in outlets)
        group_s.append(took)
        now_s += took
        water_ml += took * sum(o.flow_ml_min for o in outlets) / 60.0
        for name in {part for o in outlets for part in o.path}:
            clocks[name].passed_ml += took * clocks[name].runs[-1][2]
    from_full_s = sum(max(full[o.id] for o in group) for group in tree.groups())
    said = cautions_of(tree, tuple(p for o in tree.outlets for p in path_of(tree, o)))
    return InTurn(tuple(order), outlet_s, tuple(group_s), now_s, water_ml, from_full_s, tuple(dict.fromkeys(said)))


def _solutes(tree: Tree, share: float, *, solute_only: bool) -> tuple[float, ...]:
    """Return the diffusion coefficients to try: the solute's alone, or also none and the slowest between."""
    solute = diffusivity_of(tree)
    if solute_only or solute == 0.0:
        return (solute,)
    taus = [sum(delay.tau_d for delay in delays_of(tree, path_of(tree, o), solute)) for o in tree.outlets]
    between = {solute * worst_tau_d(share) / tau for tau in taus if tau > worst_tau_d(share)}
    return (0.0, *sorted(between), solute)


def _mixed_s(
    tree: Tree, outlets: Sequence[LineOutlet], share: float, most_s: float, past: tuple[Mapping[str, _Clock], Sequence[float]]
) -> dict[str, float]:
    """Return each outlet's time with mixed joints, and write into each clock what enters its part."""
    clocks, solutes = past
    slow = dict.fromkeys((o.id for o in outlets), 0.0)
    time_s = np.linspace(0.0, most_s * 1.02, CELLS)
    for diffusivity in solutes:
        leaves: dict[str, Real] = {}
        for o in outlets:
            above: Real = np.zeros(CELLS)  # what the supply gives is clean
            for delay, name in zip(delays_of(tree, path_of(tree, o), diffusivity), o.path, strict=True):
                if name not in leaves:
                    leaves[name] = _through(clocks[name], delay, above, time_s, diffusivity)
                above = leaves[name]
            done = np.flatnonzero(above > share)
            last = int(done[-1]) + 1 if done.size else 0
            slow[o.id] = max(slow[o.id], float(time_s[min(last, CELLS - 1)]))
    return slow


def _through(clock: _Clock, delay: Delay, above: Real, time_s: Real, diffusivity: float) -> Real:
    """Return what leaves a part while its group is open: its own old content and what entered it, earlier and now."""
    flow = clock.runs[-1][2]
    volume_ml = delay.residence_s * flow
    then, was = clock.entered.get(diffusivity, (np.zeros(1), np.zeros(1)))
    now_ml = clock.passed_ml + flow * time_s
    keep = then < clock.passed_ml
    past_ml, past = np.concatenate([then[keep], now_ml]), np.concatenate([was[keep], above])
    clock.entered[diffusivity] = past_ml, past
    step_ml = now_ml[-1] / (2 * CELLS)
    grid = np.arange(2 * CELLS + 1) * step_ml
    held_ml = delay.still_to_come_s(grid / volume_ml * delay.residence_s) * flow
    weights = np.empty(grid.size - 1)
    weights[0] = 1.0 + (held_ml[1] - held_ml[0]) / step_ml
    weights[1:] = np.diff(held_ml, 2) / step_ml
    # Each step's own old content is the mean over the step; read at its end it errs long, since it only falls.
    left = -np.diff(held_ml) / step_ml
    leaves = left + fftconvolve(weights, np.interp(grid[:-1], past_ml, past))[: weights.size]
    return np.asarray(np.interp(now_ml, grid[1:], leaves))


def _coherent_s(tree: Tree, outlet: LineOutlet, share: float, start_s: float, past: tuple[Mapping[str, _Clock], float, bool]) -> float:
    """Return when the last streamline that matters brings clean content, followed back through the parts' clocks."""
    clocks, full_s, solute_only = past
    delays = delays_of(tree, path_of(tree, outlet), diffusivity_of(tree))
    tau = sum(delay.tau_d for delay in delays)
    changes = float(volume_changes(share, tau)) if solute_only else slowest_changes(share, tau)
    vessel = -math.log(share)
    low, high = 0.0, full_s
    for _ in range(40):
        middle = 0.5 * (low + high)
        at_s, old = start_s + middle, False
        for name, delay in zip(reversed(outlet.path), reversed(delays), strict=True):
            clock = clocks[name]
            begun, passed, flow = next(run for run in reversed(clock.runs) if run[0] <= at_s + 1e-9)
            behind = passed + flow * (at_s - begun) - (changes if delay.kind == "tube" else vessel) * tree.parts[name].volume_ml
            if behind < 0.0:
                old = True
                break
            begun, passed, flow = next(run for run in reversed(clock.runs) if run[1] <= behind + 1e-12)
            at_s = begun + (behind - passed) / flow
        low, high = (middle, high) if old else (low, middle)
    return high
