"""The safe bound of a whole path: a time after which no solute, however it diffuses and however the joints mix, exceeds a share.

Sources
-------
[B] Our solution of the wash-out equation over all tau_D; the bounds of one line in `washout`. computed
[U] Union bound: if two delays add up, their sum passes t1 + t2 no oftener than one passes t1 or the other t2. textbook, memory
[S] Stirred vessel, W = exp(-theta), textbook. memory
"""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fettlebook.science.washout import bound_held_volume_changes, bound_volume_changes

Real = NDArray[np.float64]
# Any split of the share is safe [U], so a coarse grid costs a little time on the clock and never safety.
_SPLITS = np.concatenate([np.geomspace(1e-4, 0.5, 80), 1.0 - np.geomspace(0.5, 1e-4, 80)[1:]])


def residual_bound_s(residual: float, tubes_s: Real, stirred_s: Real) -> Real:
    """Return seconds after which each path's outlet has no more than `residual` old content.

    Parameters
    ----------
    residual
        Share of old content that may come out, 0 to 1.
    tubes_s
        Residence time of all tubes on each path together, shape (paths,) [s].
    stirred_s
        Residence times of the stirred volumes on each path, shape (paths, volumes); 0 where there is none [s].

    Returns
    -------
    ndarray
        Times, shape (paths,) [s].

    Notes
    -----
    The tubes count as one coherent tube with the summed residence time [B]; each stirred volume is a delay of its own [S].
    The share is split between them [U], the vessels by their residence time, and the best split of a grid is taken. Without
    a tube the whole share is the vessels', which is exact for one vessel.
    """
    found = tubes_s * _changes(residual)
    stirred = stirred_s.sum(axis=1)
    rows = np.flatnonzero(stirred)
    if rows.size:
        own, whole, tubes = stirred_s[rows], stirred[rows], tubes_s[rows]
        uneven = np.sum(own * np.log(np.where(own > 0.0, own, 1.0) / np.where(own > 0.0, whole[:, None], 1.0)), axis=1)
        splits = tubes[:, None] * bound_volume_changes(residual * _SPLITS) - whole[:, None] * np.log(residual * (1.0 - _SPLITS))
        found[rows] = np.where(tubes > 0.0, splits.min(axis=1), -whole * np.log(residual)) - uneven
    return found


def held_bound_s(held: float, tubes_s: Real, stirred_s: Real) -> Real:
    """Return seconds after which each path holds no more than `held` of its old content, on average over its residence time.

    Parameters
    ----------
    held
        Share of the path's content that may still be old, 0 to 1.
    tubes_s, stirred_s
        As for `residual_bound_s`.

    Returns
    -------
    ndarray
        Times, shape (paths,) [s].

    Notes
    -----
    What is held after t is the mean of (delay - t) above 0; for delays that add up it is no more than the sum of their
    own means above t1 and t2 with t1 + t2 = t, and no more than with the tubes joined into one coherent tube.
    """
    found = tubes_s * _held_changes(held)
    stirred = stirred_s.sum(axis=1)
    rows = np.flatnonzero(stirred)
    if rows.size:
        whole, tubes = stirred[rows][:, None], tubes_s[rows][:, None]
        most = held * (whole + tubes)
        budget, rest = most * _SPLITS, most - most * _SPLITS
        share = np.clip(budget / np.where(tubes > 0.0, tubes, 1.0), 1e-300, 1.0 - 1e-12)
        by_tubes = np.where(budget < tubes, tubes * bound_held_volume_changes(share), 0.0)
        by_vessels = np.where(rest < whole, -whole * np.log(rest / whole), 0.0)
        alone = -whole[:, 0] * np.log(held)
        found[rows] = np.where(tubes[:, 0] > 0.0, (by_tubes + by_vessels).min(axis=1), alone)
    return found


@lru_cache(maxsize=256)
def _changes(residual: float) -> float:
    return float(bound_volume_changes(residual))


@lru_cache(maxsize=256)
def _held_changes(held: float) -> float:
    return float(bound_held_volume_changes(held))
