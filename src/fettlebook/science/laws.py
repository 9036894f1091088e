"""The shares still held by many delays at once, each at its own evenly spaced times: what the lattices of a batch read.

The same table as `washout_table` reads, cut into cells once and read by cubics, so that many lines cost array work only.
Against the table's own splines the difference is below 4e-8 of the content.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline, RectBivariateSpline

from fettlebook.science.washout_table import FAST_TO, SLOW_TO, charts, fast_front, slow_front, span_of, stretch_factor, width

Real = NDArray[np.float64]
Rows = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class _Cells:
    """One chart with its second axis in even cells: at each edge the value and the slope per cell, over the first axis.

    Over the first axis they are polynomials between knots: `powers`, shape (knots - 1, 6, value and slope, edges).
    """

    knots: Real
    powers: Real
    end: float
    count: int

    def rows(self, at: Real) -> Real:
        """Return values and slopes at every edge for each place on the first axis, shape (places, 2, edges)."""
        piece = np.clip(np.searchsorted(self.knots, at, side="right") - 1, 0, self.knots.size - 2)
        way = (at - self.knots[piece])[:, None, None]
        found: Real = self.powers[piece, 0]
        for power in range(1, self.powers.shape[1]):
            found *= way
            found += self.powers[piece, power]
        return found


@lru_cache(maxsize=1)
def _cells() -> tuple[_Cells, _Cells]:
    read = charts()
    return _cut(read.slow, read.z_end, 130), _cut(read.fast, 1.0, 220)


def _cut(surface: RectBivariateSpline, end: float, count: int) -> _Cells:
    first, second, flat = surface.tck
    edges = np.linspace(0.0, end, count + 1)
    along = BSpline(second, np.asarray(flat).reshape(first.size - 6, -1).T, 5)  # for every basis of the first axis
    both = np.stack([along(edges).T, along(edges, nu=1).T * (end / count)], axis=1)
    over, knots = BSpline(first, both, 5), first[5 : first.size - 5]
    powers = np.stack([over(knots[:-1], nu=n) / math.factorial(n) for n in range(5, -1, -1)], axis=1)
    return _Cells(knots, powers, end, count)


def held_rows(tau_d: Real, theta: Real, stirred: NDArray[np.bool_]) -> Real:
    """Return the share still held by each delay at its own volume changes.

    Parameters
    ----------
    tau_d
        Dimensionless diffusion time of each delay, shape (n,).
    theta
        Volume changes, 0 or more, shape (n, times).
    stirred
        Which delays are stirred volumes, shape (n,); the others are tubes.

    Returns
    -------
    ndarray
        H, shape (n, times).
    """
    held = np.empty_like(theta)
    if stirred.any():
        held[stirred] = np.exp(-theta[stirred])
    kinds = np.where(stirred, 3, np.where(tau_d == 0.0, 0, np.where(tau_d < SLOW_TO, 1, 2)))
    for kind, law in ((0, _undiffused), (1, _slow), (2, _fast)):
        here = np.flatnonzero(kinds == kind)
        if here.size == kinds.size:
            return law(tau_d, theta)
        if here.size:
            held[here] = law(tau_d[here], theta[here])
    return held


def _undiffused(tau_d: Real, theta: Real) -> Real:
    return np.where(theta < 0.5, 1.0 - theta, 0.25 / np.maximum(theta, 0.5))


def _slow(tau_d: Real, theta: Real) -> Real:
    cells = _cells()[0]
    distinct, which = np.unique(tau_d, return_inverse=True)  # a chair's outlets share its feed
    u, front = np.cbrt(distinct), slow_front(distinct)
    edges = cells.rows(u)
    whole = (1.0 - front) * front / np.exp(_read(cells, edges, np.arange(u.size), (u * front)[:, None]))[:, 0]
    place = u[which, None] * theta
    held = np.exp(_read(cells, edges, which, place)) * whole[which, None] / np.maximum(theta, 0.25)
    held[place > cells.end] = 0.0  # less than 1e-13
    return np.where(theta < front[which, None], 1.0 - theta, held)


def _fast(tau_d: Real, theta: Real) -> Real:
    cells = _cells()[1]
    distinct, which = np.unique(tau_d, return_inverse=True)
    log_tau = np.log(np.minimum(distinct, FAST_TO))
    span, front = span_of(log_tau), fast_front(log_tau)
    squeeze = np.where(distinct > FAST_TO, width(np.maximum(distinct, FAST_TO)) / width(FAST_TO), 1.0)
    steep, step = stretch_factor(span)
    edges = cells.rows(log_tau)
    at_front = np.arcsinh((front - 0.5) * steep)[:, None] * step
    whole = (1.0 - front) / np.exp(_read(cells, edges, np.arange(front.size), at_front))[:, 0]
    way = np.maximum(theta * (steep / squeeze)[which, None] + ((0.5 - 1.0 / squeeze) * steep)[which, None], 0.0)
    place = np.log(way + np.sqrt(way * way + 1.0)) * step
    held = np.exp(_read(cells, edges, which, place)) * (whole * squeeze)[which, None]
    held[place > 1.0] = 0.0  # less than 1e-13
    return np.where(theta < (1.0 + (front - 1.0) * squeeze)[which, None], 1.0 - theta, held)


def _read(cells: _Cells, edges: Real, which: Rows, place: Real) -> Real:
    """Return the cubic through values and slopes of the cell that each place lies in; places beyond read the last edge."""
    at = np.minimum(place * (cells.count / cells.end), cells.count)
    left = np.minimum(at.astype(np.int64), cells.count - 1)
    x = at - left
    left += (which * (2 * cells.count + 2))[:, None]
    flat = edges.ravel()
    low, low_s = flat.take(left), flat.take(left + (cells.count + 1))
    left += 1
    rise, high_s = flat.take(left) - low, flat.take(left + (cells.count + 1))
    return np.asarray(low + x * (low_s + x * (3.0 * rise - 2.0 * low_s - high_s + x * (low_s + high_s - 2.0 * rise))))
