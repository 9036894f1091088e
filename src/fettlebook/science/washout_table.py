"""The table of the wash-out of one straight line: the share still held, ln H, as a smooth surface, and W as its slope.

The file `washout_table.npz` is made by `scripts/make_washout_table.py` from `washout_solver`; how good it is stands in
docs/carry-on/lines.md and is tested against the solver, finite volumes and random walkers.

Sources
-------
[L] Levenspiel 1999, Chemical Reaction Engineering, pp. 343-344: pure laminar convection, W = 1/(4 theta^2). secondary
[A] Aris 1956, Proc. R. Soc. A 235:67: variance 1/(24 tau_D) for slow lines; with its first correction, - 1/(384 tau_D^2). memory
"""

from dataclasses import dataclass, replace
from functools import lru_cache
from importlib.resources import files
from typing import Final, overload

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline, RectBivariateSpline

Real = NDArray[np.float64]
SLOW_TO: Final = 2e-3  # tau_D up to here is read from the chart of slow diffusion
FAST_TO: Final = 10.0  # beyond, the shape at 10 is kept and only its width shrinks: in the tail that errs long
_DEGREE: Final = 5
_STRETCH: Final = 5.5  # as in the script that makes the table


def residual_and_held(theta: Real, tau_d: Real) -> tuple[Real, Real]:
    """Return W and H for theta and tau_d of one shape, both 0 or more and finite."""
    shape, theta, tau_d = theta.shape, theta.reshape(-1), tau_d.reshape(-1)
    residual, held = np.ones(theta.size), np.asarray(np.maximum(1.0 - theta, 0.0))
    moving = theta > 0.5  # before half a volume change nothing has come through: W = 1, H = 1 - theta
    distinct = np.unique(tau_d[moving])
    if distinct.size <= 24:
        for tau in distinct:
            here = moving & (tau_d == tau)
            residual[here], held[here] = row(float(tau)).at(theta[here])
    else:
        residual[moving], held[moving] = _scattered(theta[moving], tau_d[moving])
    return residual.reshape(shape), held.reshape(shape)


@dataclass(frozen=True, slots=True)
class Row:
    """The wash-out of one tau_D over theta. `kind` says which law: no diffusion, slow chart, fast chart."""

    kind: str
    scale: float  # u of the slow chart; span of the fast chart
    spline: BSpline | None
    slope: BSpline | None
    squeeze: float = 1.0  # beyond FAST_TO: the distance from theta = 1 shrinks by this
    front: float = 0.5  # slow chart: where the first of the clean content arrives, half a front's thickness late

    def at(self, theta: Real) -> tuple[Real, Real]:
        """Return W and H at every theta above 0.5."""
        if self.spline is None or self.slope is None:
            return 0.25 / theta**2, 0.25 / theta
        if self.kind == "slow":
            residual, held = self._slow(theta)
            late = theta < self.front
            return np.where(late, 1.0, self.squeeze * residual), np.where(late, 1.0 - theta, self.squeeze * held)
        stretched = 1.0 + (theta - 1.0) / self.squeeze
        q, _ = _stretch(stretched, self.scale)
        inside = np.minimum(q, 1.0)
        residual, held = _fast_law(stretched, np.asarray(self.spline(inside)), np.asarray(self.slope(inside)), self.scale)
        return residual, self.squeeze * held

    def _slow(self, theta: Real) -> tuple[Real, Real]:
        assert self.spline is not None
        assert self.slope is not None
        z = self.scale * theta
        inside = np.minimum(z, _charts().z_end)
        slope = np.asarray(self.slope(inside))
        return _slow_law(theta, z, np.asarray(self.spline(inside)) + slope * (z - inside), slope)


@lru_cache(maxsize=4096)
def row(tau_d: float) -> Row:
    """Return the row of one tau_D, ready to be read at any theta; kept, because chairs repeat their hoses."""
    if tau_d == 0.0:
        return Row("none", 0.0, None, None)
    charts = _charts()
    if tau_d < SLOW_TO:
        u = tau_d ** (1.0 / 3.0)
        spline = _slice(charts.slow, u)
        bare = Row("slow", u, spline, spline.derivative())
        front = _front(tau_d)
        # The chart leaves out the front's thickness, about tau_d/6; one factor within 1e-7 of 1 makes the mass whole again.
        return replace(bare, front=front, squeeze=(1.0 - front) / float(bare._slow(np.array([front]))[1][0]))
    squeeze = float(_width(tau_d) / _width(FAST_TO)) if tau_d > FAST_TO else 1.0
    log_tau = float(np.log(min(tau_d, FAST_TO)))
    spline = _slice(charts.fast, log_tau)
    return Row("fast", float(np.exp(np.polynomial.polynomial.polyval(log_tau, charts.span))), spline, spline.derivative(), squeeze)


@dataclass(frozen=True, slots=True)
class _Charts:
    slow: RectBivariateSpline
    fast: RectBivariateSpline
    z_end: float
    span: Real


@lru_cache(maxsize=1)
def _charts() -> _Charts:
    with files("fettlebook.science").joinpath("washout_table.npz").open("rb") as handle, np.load(handle, allow_pickle=False) as table:
        slow = RectBivariateSpline(table["u"], table["z"], table["slow"], kx=_DEGREE, ky=_DEGREE)
        fast = RectBivariateSpline(table["log_tau"], table["q"], table["fast"], kx=_DEGREE, ky=_DEGREE)
        return _Charts(slow, fast, float(table["z"][-1]), table["span"])


def _slice(surface: RectBivariateSpline, at: float) -> BSpline:
    """Return the spline along the second axis at one place of the first: the basis there, times the coefficients."""
    first, second, flat = surface.tck
    count = first.size - _DEGREE - 1
    basis = BSpline.design_matrix(np.array([at]), first, _DEGREE).toarray()[0]
    return BSpline(second, basis @ np.asarray(flat).reshape(count, -1), _DEGREE)


def _scattered(theta: Real, tau_d: Real) -> tuple[Real, Real]:
    charts = _charts()
    residual, held = 0.25 / theta**2, 0.25 / theta
    slow = (tau_d > 0.0) & (tau_d < SLOW_TO)
    if slow.any():
        u, at = tau_d[slow] ** (1.0 / 3.0), theta[slow]
        z, front = u * at, _front(tau_d[slow])
        inside = np.minimum(z, charts.z_end)
        slope = charts.slow.ev(u, inside, dy=1)
        w, h = _slow_law(at, z, charts.slow.ev(u, inside) + slope * (z - inside), slope)
        whole = (1.0 - front) * 4.0 * front / np.exp(charts.slow.ev(u, u * front))
        residual[slow], held[slow] = np.where(at < front, 1.0, whole * w), np.where(at < front, 1.0 - at, whole * h)
    fast = tau_d >= SLOW_TO
    if fast.any():
        tau = tau_d[fast]
        squeeze = _width(np.maximum(tau, FAST_TO)) / _width(FAST_TO)
        log_tau = np.log(np.minimum(tau, FAST_TO))
        span = np.exp(np.polynomial.polynomial.polyval(log_tau, charts.span))
        stretched = 1.0 + (theta[fast] - 1.0) / squeeze
        q, _ = _stretch(stretched, span)
        inside = np.minimum(q, 1.0)
        w, h = _fast_law(stretched, charts.fast.ev(log_tau, inside), charts.fast.ev(log_tau, inside, dy=1), span)
        residual[fast], held[fast] = w, squeeze * h
    return residual, held


def _stretch(theta: Real, span: Real | float) -> tuple[Real, Real]:
    """Return q and dq/dtheta of the fast chart, theta - 1/2 = span sinh(k q)/sinh(k)."""
    steep = np.sinh(_STRETCH) / span
    way = np.maximum(theta - 0.5, 0.0) * steep
    return np.asarray(np.arcsinh(way) / _STRETCH), np.asarray(steep / _STRETCH / np.sqrt(1.0 + way**2))


def _slow_law(theta: Real, z: Real, log_g: Real, slope: Real) -> tuple[Real, Real]:
    held = np.exp(log_g) * 0.25 / theta
    return np.asarray(held / theta * (1.0 - z * slope)), np.asarray(held)


def _fast_law(theta: Real, log_h: Real, slope: Real, span: Real | float) -> tuple[Real, Real]:
    q, dq = _stretch(theta, span)
    # Beyond the chart ln H goes on as a straight line in theta; the true one bends down, so this errs long.
    end = 0.5 + span
    beyond = np.maximum(theta - end, 0.0)
    dq_end = np.tanh(_STRETCH) / (_STRETCH * span)
    rate = slope * np.where(q > 1.0, dq_end, dq)
    held = np.exp(log_h + rate * beyond)
    early = theta <= 0.5
    return np.where(early, 1.0, np.minimum(-held * rate, 1.0)), np.where(early, 1.0 - theta, held)


@overload
def _front(tau_d: float) -> float: ...
@overload
def _front(tau_d: Real) -> Real: ...
def _front(tau_d: float | Real) -> float | Real:
    return 0.5 + tau_d / 6.0


def _width(tau_d: Real | float) -> Real:
    return np.sqrt((1.0 - 0.0625 / np.asarray(tau_d)) / (24.0 * np.asarray(tau_d)))  # [A]
