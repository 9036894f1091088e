"""Every outlet's way from the supply, of many circuits at once, as flat arrays: what the reckoning of a practice works on.

A part stands once for each group that draws through it, with that group's flow. The last part is none: no length, no
volume; ways with fewer parts than the longest are filled up with it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fettlebook.science.hydraulics import M3_S_PER_ML_MIN
from fettlebook.science.series import Real, Rows, Series
from fettlebook.science.tree import Tree
from fettlebook.science.water import peroxide_diffusivity_m2_s


@dataclass(frozen=True, slots=True)
class Ways:
    """The outlets' ways. Arrays of parts have one more than there are parts; `of_part`, `of_outlet` name the circuit.

    `relief` is how much less flows in a part by the second feeds below it, in mL/min.
    """

    names: tuple[str, ...]  # of each part
    volume_ml: Real
    length_m: Real
    bore_mm: Real
    stirred: NDArray[np.bool_]
    of_part: Rows
    relief_ml_min: Real
    on_way: Rows  # shape (outlets, most parts): which part
    parts: Rows  # of each way
    flow_ml_min: Real  # of each outlet
    of_outlet: Rows
    diffusivity_m2_s: Real  # of each circuit
    temperature_c: Real  # of each circuit

    def flows_ml_min(self, outlet_ml_min: Real, feeds: Real | float = 1.0) -> Real:
        """Return the flow through each part if outlets give so much, and second feeds so many times their own."""
        counts = np.bincount(self.on_way.ravel(), np.repeat(outlet_ml_min, self.on_way.shape[1]), self.volume_ml.size)
        flows = counts - self.relief_ml_min * feeds
        flows[-1] = 1.0
        return np.asarray(flows)

    def nominal_s(self) -> Real:
        """Return one volume change of each outlet's way, V/Q summed over it [s]."""
        return np.asarray((60.0 * self.volume_ml / self.flows_ml_min(self.flow_ml_min))[self.on_way].sum(axis=1))

    def series(
        self,
        *,
        outlet_ml_min: Real | None = None,
        feeds: Real | float = 1.0,
        wider_mm: Real | float = 0.0,
        longer: Real | float = 1.0,
    ) -> Series:
        """Return each outlet's way as delays in series; tau_D = pi D L/Q of a tube does not depend on its bore.

        Parameters
        ----------
        outlet_ml_min
            Flow of each outlet, shape (outlets,) [mL/min]; left out: its own.
        feeds
            Second feeds times this, shape (parts + 1,) or one number.
        wider_mm, longer
            Bore of tubes wider by this [mm], length times this; shape (parts + 1,) or one number.
        """
        flows = self.flows_ml_min(self.flow_ml_min if outlet_ml_min is None else outlet_ml_min, feeds)
        bore, length = self.bore_mm + wider_mm, self.length_m * longer
        volume = np.where(self.stirred, self.volume_ml, math.pi / 4.0 * bore**2 * length)
        by_length = math.pi * self.diffusivity_m2_s / M3_S_PER_ML_MIN
        residence, tau = 60.0 * volume / flows, by_length[self.of_part] * length / flows
        return Series(residence, tau, self.stirred, self.on_way, self.parts)


def ways_of(trees: Sequence[Tree]) -> Ways:
    """Return the ways of all outlets of checked circuits, in their order."""
    names: list[str] = []
    sizes: list[tuple[float, float, float, bool, int, float]] = []
    ways: list[list[int]] = []
    flows: list[float] = []
    of_outlet: list[int] = []
    for number, tree in enumerate(trees):
        place: dict[tuple[int, str], int] = {}
        relief = _relief(tree) if tree.feeds else {}
        for outlet in tree.outlets:
            way = []
            group = outlet.group
            for name in outlet.path:
                at = place.get((group, name))
                if at is None:
                    at = place[group, name] = len(names)
                    part = tree.parts[name]
                    names.append(name)
                    less = relief[group, name] if relief else 0.0
                    sizes.append((part.volume_ml, part.length_m, part.bore_mm or 1.0, part.kind == "stirred", number, less))
                way.append(at)
            ways.append(way)
            flows.append(outlet.flow_ml_min)
            of_outlet.append(number)
    none = len(names)
    most = max((len(way) for way in ways), default=1)
    sizes.append((0.0, 0.0, 1.0, False, 0, 0.0))  # a bore, so that nothing is divided by 0
    volume, length, bore, stirred, of_part, less_ml_min = np.array(sizes, np.float64).T
    return Ways(
        names=tuple(names),
        volume_ml=volume,
        length_m=length,
        bore_mm=bore,
        stirred=stirred > 0.0,
        of_part=of_part.astype(np.int64),
        relief_ml_min=less_ml_min,
        on_way=np.array([way + [none] * (most - len(way)) for way in ways], np.int64),
        parts=np.array([len(way) for way in ways], np.int64),
        flow_ml_min=np.array(flows),
        of_outlet=np.array(of_outlet, np.int64),
        diffusivity_m2_s=np.array([diffusivity_of(tree) for tree in trees]),
        temperature_c=np.array([tree.temperature_c for tree in trees]),
    )


def _relief(tree: Tree) -> dict[tuple[int, str], float]:
    """Return how much less flows in each part, by group and part, than its outlets give."""
    full: dict[tuple[int, str], float] = {}
    for outlet in tree.outlets:
        for part in outlet.path:
            full[outlet.group, part] = full.get((outlet.group, part), 0.0) + outlet.flow_ml_min
    return {key: full[key] - flow for key, flow in tree.flows_ml_min().items()}


def diffusivity_of(tree: Tree) -> float:
    """Return the solute's diffusion coefficient [m2/s]: the circuit's own, or that of hydrogen peroxide at its temperature."""
    return _peroxide_m2_s(tree.temperature_c) if tree.diffusivity_m2_s is None else tree.diffusivity_m2_s


@lru_cache(maxsize=64)
def _peroxide_m2_s(temperature_c: float) -> float:
    return float(peroxide_diffusivity_m2_s(temperature_c))
