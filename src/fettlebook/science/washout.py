"""How much old content is left in a straight line after it has been changed n times.

One volume change does not change the water: the middle of a laminar hose runs at twice the mean speed and the wall
stands still. After n volume changes about 1/(4 n^2) of the old content still comes out, and a little diffusion makes
that worse by up to 1.54 times before it makes it better. `residual_fraction` is the exact W of a line and a solute,
`held_fraction` what the line still holds, `volume_changes` the way back; `bound_volume_changes` holds for every solute.

Sources
-------
[L] Levenspiel 1999, Chemical Reaction Engineering, pp. 343-344: pure laminar convection, 1 - F = 1/(4 theta^2). secondary
[B] Our solution of the wash-out equation over all tau_D: the residual never exceeds 1.54/(4 n^2) below 10 %. computed
"""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fettlebook.errors import Mendable
from fettlebook.science.washout_table import residual_and_held

BOUND: Final = 0.63  # [B] sqrt(1.54)/2 = 0.6205, rounded up
BOUND_VALID_TO: Final = 0.1  # [B]


def residual_fraction(volume_changes: ArrayLike, tau_d: ArrayLike) -> NDArray[np.float64]:
    """Return W, the flow-averaged share of the old content that still leaves a straight laminar line.

    Parameters
    ----------
    volume_changes
        theta, how often the line's volume has passed, 0 or more, any shape.
    tau_d
        Dimensionless diffusion time D tbar/a^2 = pi D L/Q, 0 (cells, particles) or more, any shape that broadcasts.

    Returns
    -------
    ndarray
        W, broadcast shape, between 0 and 1; falls with theta.

    Raises
    ------
    Mendable
        A value is negative or not a number.

    Notes
    -----
    Without diffusion 1/(4 theta^2) from theta = 1/2 on [L]; else read from a table of the solved wash-out equation. A fill
    is the same curve: the outlet carries 1 - W of the feed strength. Straight smooth round lines only: fittings, coils and
    hoses that take up the solute are not in it.
    """
    theta, tau = _line(volume_changes, tau_d)
    return residual_and_held(theta, tau)[0]


def held_fraction(volume_changes: ArrayLike, tau_d: ArrayLike) -> NDArray[np.float64]:
    """Return H, the share of the line's content that is still old: the integral of W from theta on.

    Parameters
    ----------
    volume_changes
        theta, 0 or more, any shape.
    tau_d
        Dimensionless diffusion time, 0 or more, any shape that broadcasts.

    Returns
    -------
    ndarray
        H, broadcast shape, between 0 and 1.

    Raises
    ------
    Mendable
        A value is negative or not a number.
    """
    theta, tau = _line(volume_changes, tau_d)
    return residual_and_held(theta, tau)[1]


def volume_changes(residual: ArrayLike, tau_d: ArrayLike) -> NDArray[np.float64]:
    """Return the volume changes after which W is no more than `residual`: the inverse of `residual_fraction`.

    Parameters
    ----------
    residual
        Share of old content that may still come out, above 0 and below 1, any shape.
    tau_d
        Dimensionless diffusion time, 0 or more, any shape that broadcasts.

    Returns
    -------
    ndarray
        theta, broadcast shape; the upper end of the last bracket, so W there is never above `residual`.

    Raises
    ------
    Mendable
        A share is not between 0 and 1, or tau_d is negative or not a number.
    """
    return _inverse(residual, tau_d, 0, "residual")


def held_volume_changes(held: ArrayLike, tau_d: ArrayLike) -> NDArray[np.float64]:
    """Return the volume changes after which the line holds no more than `held` of its old content.

    Parameters
    ----------
    held
        Share of the content that may still be old, above 0 and below 1, any shape.
    tau_d
        Dimensionless diffusion time, 0 or more, any shape that broadcasts.

    Returns
    -------
    ndarray
        theta, broadcast shape; H there is never above `held`.

    Raises
    ------
    Mendable
        A share is not between 0 and 1, or tau_d is negative or not a number.
    """
    return _inverse(held, tau_d, 1, "held")


def bound_volume_changes(residual: ArrayLike) -> NDArray[np.float64]:
    """Return volume changes after which no straight line, and no solute, has more than `residual` old content at its end.

    Parameters
    ----------
    residual
        Share of old content that may still come out, any shape, 0 < residual < 1.

    Returns
    -------
    ndarray
        Volume changes, same shape; falls as `residual` grows.

    Raises
    ------
    Mendable
        A residual is not between 0 and 1.

    Notes
    -----
    n = 0.63/sqrt(W) for W <= 10 % [B]. Above 10 % the smaller of two values that both hold there: the one for 10 %
    (what is enough for 10 % is enough for more) and 1/W (W falls and its integral is 1, so W theta <= 1).
    """
    w = _shares(residual, "residual")
    below = BOUND / np.sqrt(np.minimum(w, BOUND_VALID_TO))
    return np.asarray(np.where(w <= BOUND_VALID_TO, below, np.minimum(below, 1.0 / w)))


def bound_held_volume_changes(held: ArrayLike) -> NDArray[np.float64]:
    """Return volume changes after which no straight line still holds more than `held` of its old content.

    Parameters
    ----------
    held
        Share of the line's content that may still be old, any shape, 0 < held < 1.

    Returns
    -------
    ndarray
        Volume changes, same shape.

    Raises
    ------
    Mendable
        A share is not between 0 and 1.

    Notes
    -----
    H(theta) is the integral of W from theta on. Diffusion only ever lowers it [B], so the law without diffusion holds for
    all: H = 1/(4 theta) from theta = 1/2 on [L], H = 1 - theta before.
    """
    h = _shares(held, "held")
    return np.asarray(np.where(h < 0.5, 0.25 / h, 1.0 - h))


def _shares(share: ArrayLike, name: str) -> NDArray[np.float64]:
    w = np.asarray(share, np.float64)
    outside = ~((w > 0.0) & (w < 1.0))
    if np.any(outside):
        raise Mendable(
            f"{float(w[outside].flat[0]):g} is not a share between 0 and 1",
            where=name,
            mend="Give a share above 0 and below 1: 0.05 for 5 %. Nothing can be flushed to exactly 0.",
        )
    return w


def _line(volume_changes: ArrayLike, tau_d: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    theta, tau = np.broadcast_arrays(np.asarray(volume_changes, np.float64), np.asarray(tau_d, np.float64))
    for name, value in (("volume_changes", theta), ("tau_d", tau)):
        bad = ~((value >= 0.0) & (value < np.inf))
        if np.any(bad):
            raise Mendable(f"{float(value[bad].flat[0]):g} is not a number from 0 on", where=name, mend="Give 0 or more.")
    return theta, tau


def _inverse(share: ArrayLike, tau_d: ArrayLike, which: int, name: str) -> NDArray[np.float64]:
    wanted, tau = np.broadcast_arrays(_shares(share, name), np.asarray(tau_d, np.float64))
    _line(0.0, tau)
    bound = bound_volume_changes(wanted) if which == 0 else bound_held_volume_changes(wanted)
    # W has its step at 1/2 without diffusion, H none; the bound is always on the far side.
    low, high = np.zeros_like(bound) if which else np.full_like(bound, 0.5), 1.001 * bound + 1e-9
    for _ in range(60):  # halving until the bracket is as narrow as a double can be
        middle = 0.5 * (low + high)
        enough = residual_and_held(middle, tau)[which] <= wanted
        high, low = np.where(enough, middle, high), np.where(enough, low, middle)
        if np.all(high - low <= 4e-16 * high):
            break
    return np.asarray(high)
