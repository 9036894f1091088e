"""What still comes out of each outlet over time: the curves behind the running times, for people to look at.

Old water is drawn for the slowest of all that it carries, a solute for itself; of the two joint readings the larger share.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from fettlebook.science.chains import CURVE_CELLS, Delay, coherent, curve
from fettlebook.science.needs import worst_tau_d
from fettlebook.science.paths import delays_of, path_of
from fettlebook.science.tree import LineOutlet, Tree, read_tree
from fettlebook.science.ways import diffusivity_of

Real = NDArray[np.float64]
FLOOR: Final = 1e-6  # nothing below is drawn
_DEPTHS: Final = (0.3, 0.1, 0.05, 0.02, 0.01, 3e-3, 1e-3, 3e-4, 1e-4)  # the slowest diffusion depends on how deep one looks


@dataclass(frozen=True, slots=True)
class OutletCurve:
    """One outlet from the moment its group is opened: share of old water and of the solute that still comes out.

    `missing` is what a fill is judged by: the share of the feed strength missing at the outlet or, if more, in the path;
    `missing_most` is the same for the slowest of all solutes.
    """

    outlet: str
    group: int
    time_s: Real
    old_water: Real
    solute: Real
    missing: Real
    missing_most: Real


def outlet_curves(circuit: Mapping[str, Any], end_s: float, points: int = 240) -> tuple[OutletCurve, ...]:
    """Return the curves of every outlet from 0 to `end_s`.

    Parameters
    ----------
    circuit
        Plain data as for `outlet_seconds`.
    end_s
        Last time looked at [s], above 0.
    points
        Times on each curve.

    Returns
    -------
    tuple of OutletCurve
        In the order of the data; shares from 1 down to 1e-6, never rising.

    Raises
    ------
    Mendable
        The circuit can't be used.
    """
    tree = read_tree(circuit)
    time_s: Real = np.linspace(0.0, end_s, points)
    return tuple(_curve(tree, outlet, time_s) for outlet in tree.outlets)


def _curve(tree: Tree, outlet: LineOutlet, time_s: Real) -> OutletCurve:
    path = path_of(tree, outlet)
    solute = diffusivity_of(tree)
    own = delays_of(tree, path, solute)
    whole = sum(delay.tau_d for delay in own)
    others = {0.0} | {solute * worst_tau_d(depth) / whole for depth in _DEPTHS if whole > 0.0}
    left, held = _left(own, time_s)
    rest = [_left(delays_of(tree, path, d), time_s) for d in others if d < solute]
    old = np.maximum.reduce([left, *(at_outlet for at_outlet, _ in rest)])
    most = np.maximum.reduce([old, held, *(inside for _, inside in rest)])
    return OutletCurve(outlet.id, outlet.group, time_s, old, left, np.maximum(left, held), most)


def _left(delays: tuple[Delay, ...], time_s: Real) -> tuple[Real, Real]:
    """Return the larger share of both joint readings, at the outlet and held by the path."""
    looks = [curve(series, float(time_s[-1]), max(CURVE_CELLS, 2 * time_s.size)) for series in {delays, coherent(delays)}]
    at_outlet = np.maximum.reduce([look.residual_at(time_s) for look in looks])
    starts = np.linspace(0.0, float(time_s[-1]), looks[0].held.size)
    inside = np.maximum.reduce([np.interp(time_s, starts, look.held) for look in looks])
    return _falling(at_outlet), _falling(inside)


def _falling(share: Real) -> Real:
    return np.asarray(np.clip(np.minimum.accumulate(share), FLOOR, 1.0))
