"""The safe bound of a whole path: a time after which no solute, however it diffuses and however the joints mix, exceeds a share.

Sources
-------
[B] Our solution of the wash-out equation over all tau_D; the bounds of one line in `washout`. computed
[U] Union bound: if two delays add up, their sum passes t1 + t2 no oftener than one passes t1 or the other t2. textbook, memory
[S] Stirred vessel, W = exp(-theta), textbook. memory
"""

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from fettlebook.science.washout import bound_held_volume_changes, bound_volume_changes

# Any split of the share is safe [U], so a coarse grid costs a little time on the clock and never safety.
_SPLITS = np.concatenate([np.geomspace(1e-4, 0.5, 80), 1.0 - np.geomspace(0.5, 1e-4, 80)[1:]])


def residual_bound_s(residual: float, tubes_s: float, stirred_s: Sequence[float]) -> float:
    """Return seconds after which a path's outlet has no more than `residual` old content.

    Parameters
    ----------
    residual
        Share of old content that may come out, 0 to 1.
    tubes_s
        Residence time of all tubes on the path together [s].
    stirred_s
        Residence times of the stirred volumes on the path [s].

    Returns
    -------
    float
        Time [s].

    Notes
    -----
    The tubes count as one coherent tube with the summed residence time [B]; each stirred volume is a delay of its own [S].
    The share is split between them [U], the vessels by their residence time, and the best split of a grid is taken.
    """
    stirred = sum(stirred_s)
    if stirred == 0.0:
        return tubes_s * _changes(residual)
    if tubes_s == 0.0:
        return _vessels_s(residual, stirred_s)
    tubes = tubes_s * bound_volume_changes(residual * _SPLITS)
    vessels = sum(-own * np.log(residual * (1.0 - _SPLITS) * own / stirred) for own in stirred_s if own > 0.0)
    return float(np.min(tubes + vessels))


def held_bound_s(held: float, tubes_s: float, stirred_s: Sequence[float]) -> float:
    """Return seconds after which a path holds no more than `held` of its old content, on average over its residence time.

    Parameters
    ----------
    held
        Share of the path's content that may still be old, 0 to 1.
    tubes_s
        Residence time of all tubes on the path together [s].
    stirred_s
        Residence times of the stirred volumes on the path [s].

    Returns
    -------
    float
        Time [s].

    Notes
    -----
    What is held after t is the mean of (delay - t) above 0; for delays that add up it is no more than the sum of their
    own means above t1 and t2 with t1 + t2 = t, and no more than with the tubes joined into one coherent tube.
    """
    stirred = sum(stirred_s)
    total = tubes_s + stirred
    if stirred == 0.0:
        return tubes_s * _held_changes(held)
    if tubes_s == 0.0:
        return -stirred * math.log(held)
    budget = held * total * _SPLITS
    rest = held * total - budget
    tubes = np.where(budget < tubes_s, tubes_s * bound_held_volume_changes(np.clip(budget / tubes_s, 1e-300, 1.0 - 1e-12)), 0.0)
    vessels = np.where(rest < stirred, -stirred * np.log(rest / stirred), 0.0)
    return float(np.min(tubes + vessels))


def _vessels_s(residual: float, stirred_s: Sequence[float]) -> float:
    """Return a time that all vessels in series have passed but for `residual`; exact for one vessel [S, U]."""
    total = sum(stirred_s)
    return sum(-own * math.log(residual * own / total) for own in stirred_s if own > 0.0)


@lru_cache(maxsize=256)
def _changes(residual: float) -> float:
    return float(bound_volume_changes(residual))


@lru_cache(maxsize=256)
def _held_changes(held: float) -> float:
    return float(bound_held_volume_changes(held))
