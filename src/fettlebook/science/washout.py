"""How much old content is left in a straight line after it has been changed n times: the safe bound.

One volume change does not change the water: the middle of a laminar hose runs at twice the mean speed and the wall
stands still. After n volume changes about 1/(4 n^2) of the old content still comes out, and a little diffusion makes
that worse by up to 1.54 times before it makes it better.

Sources
-------
[L] Levenspiel 1999, Chemical Reaction Engineering, pp. 343-344: pure laminar convection, 1 - F = 1/(4 theta^2). secondary
[B] Our solution of the wash-out equation over all tau_D: the residual never exceeds 1.54/(4 n^2) below 10 %. computed
"""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fettlebook.errors import Mendable

BOUND: Final = 0.63  # [B] sqrt(1.54)/2 = 0.6205, rounded up
BOUND_VALID_TO: Final = 0.1  # [B]


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
