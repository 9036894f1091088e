"""The shares still held by many delays at once, each at its own evenly spaced times: what the lattices of a batch read.

The same table as `washout_table` reads, cut into cells once and read by cubics, so that many lines cost array work only.
Against the table's own splines the difference is below 2e-9 of the content.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline, RectBivariateSpline

from fettlebook.science.washout_table import FAST_TO, SLOW_TO, charts, fast_front, slow_front, span_of, stretch_factor, width

Real = NDArray[np.float64]
_FINER: Final = 2  # cells per step of the table


@dataclass(frozen=True, slots=True)
class _Cells:
    """One chart's second axis in even cells: at each edge the value and the slope per cell, by basis of the first axis."""

    first: Real  # knots of the first axis
    value: Real
    slope: Real
    end: float
    count: int

    def rows(self, at: Real) -> tuple[Real, Real]:
        """Return values and slopes at every edge for each place on the first axis."""
        basis = BSpline.design_matrix(at, self.first, 5)
        return np.asarray(basis @ self.value), np.asarray(basis @ self.slope)


@lru_cache(maxsize=1)
def _cells() -> tuple[_Cells, _Cells]:
    read = charts()
    return _cut(read.slow, read.z_end, 130), _cut(read.fast, 1.0, 220)


def _cut(surface: RectBivariateSpline, end: float, steps: int) -> _Cells:
    first, second, flat = surface.tck
    count = steps * _FINER
    edges = np.linspace(0.0, end, count + 1)
    weights = np.asarray(flat).reshape(first.size - 6, -1).T  # along the second axis, for every basis of the first
    along = BSpline(second, weights, 5)
    return _Cells(first, np.asarray(along(edges).T), np.asarray(along(edges, nu=1).T) * (end / count), end, count)


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
    u, front = np.cbrt(tau_d), slow_front(tau_d)
    edges = cells.rows(u)
    whole = (1.0 - front) * 4.0 * front / np.exp(_read(cells, edges, (u * front)[:, None]))[:, 0]
    place = u[:, None] * theta
    held = np.exp(_read(cells, edges, place)) * (0.25 * whole)[:, None] / np.maximum(theta, 0.25)
    held[place > cells.end] = 0.0  # less than 1e-13
    return np.where(theta < front[:, None], 1.0 - theta, held)


def _fast(tau_d: Real, theta: Real) -> Real:
    cells = _cells()[1]
    log_tau = np.log(np.minimum(tau_d, FAST_TO))
    span, front = span_of(log_tau), fast_front(log_tau)
    squeeze = np.where(tau_d > FAST_TO, width(np.maximum(tau_d, FAST_TO)) / width(FAST_TO), 1.0)
    steep, step = stretch_factor(span)
    edges = cells.rows(log_tau)
    at_front = np.arcsinh((front - 0.5) * steep)[:, None] * step
    whole = (1.0 - front) / np.exp(_read(cells, edges, at_front))[:, 0]
    way = np.maximum(theta * (steep / squeeze)[:, None] + ((0.5 - 1.0 / squeeze) * steep)[:, None], 0.0)
    place = np.log(way + np.sqrt(way * way + 1.0)) * step
    held = np.exp(_read(cells, edges, place)) * (whole * squeeze)[:, None]
    held[place > 1.0] = 0.0  # less than 1e-13
    return np.where(theta < (1.0 + (front - 1.0) * squeeze)[:, None], 1.0 - theta, held)


def _read(cells: _Cells, edges: tuple[Real, Real], place: Real) -> Real:
    """Return the cubic through values and slopes of the cell that each place lies in; places beyond read the last edge."""
    value, slope = edges
    at = np.minimum(place * (cells.count / cells.end), cells.count)
    left = np.minimum(at.astype(np.int64), cells.count - 1)
    x = at - left
    left += np.arange(value.shape[0])[:, None] * value.shape[1]
    v, s = value.ravel(), slope.ravel()
    low, low_s = v.take(left), s.take(left)
    left += 1
    rise, high_s = v.take(left) - low, s.take(left)
    return np.asarray(low + x * (low_s + x * (3.0 * rise - 2.0 * low_s - high_s + x * (low_s + high_s - 2.0 * rise))))
