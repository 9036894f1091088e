"""The table of the wash-out of one straight line: the share still held, ln H, as a smooth surface, and W as its slope.

The file `washout_table.npz` is made by `scripts/make_washout_table.py` from `washout_solver`; how good it is stands in
docs/carry-on/lines.md and is tested against the solver, finite volumes and random walkers.

Sources
-------
[L] Levenspiel 1999, Chemical Reaction Engineering, pp. 343-344: pure laminar convection, W = 1/(4 theta^2). secondary
[A] Aris 1956, Proc. R. Soc. A 235:67: variance 1/(24 tau_D) for slow lines; with its first correction, - 1/(384 tau_D^2). memory
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Final, Literal, overload

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline, RectBivariateSpline

Real = NDArray[np.float64]
SLOW_TO: Final = 2e-3  # tau_D up to here is read from the chart of slow diffusion
FAST_TO: Final = 10.0  # beyond, the shape at 10 is kept and only its width shrinks: in the tail that errs long
_DEGREE: Final = 5
_STRETCH: Final = 7.0  # as in the script that makes the table


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

    kind: Literal["none", "slow", "fast"]
    scale: float  # u of the slow chart; span of the fast chart
    spline: BSpline | None
    squeeze: float = 1.0  # fast chart beyond FAST_TO: the distance from theta = 1 shrinks by this; slow chart: makes the mass whole
    front: float = 0.5  # slow chart: where the first of the clean content arrives, half a front's thickness late

    def at(self, theta: Real) -> tuple[Real, Real]:
        """Return W and H at every theta above 0.5."""
        if self.kind == "none":
            return 0.25 / theta**2, 0.25 / theta
        place, inside, log = self._read(theta)
        slope = self._along(inside, 1)
        if self.kind == "slow":
            residual, held = _slow_law(theta, place, log + slope * (place - inside), slope)
            late = theta < self.front
            return np.where(late, 1.0, self.squeeze * residual), np.where(late, 1.0 - theta, self.squeeze * held)
        residual, held = _fast_law(1.0 + (theta - 1.0) / self.squeeze, log, slope, self.scale)
        return residual, self.squeeze * held

    def end(self) -> float:
        """Return theta at the end of the chart, where H is below 1e-13; infinite without diffusion."""
        if self.kind == "none":
            return math.inf
        return _charts().z_end / self.scale if self.kind == "slow" else 1.0 + self.squeeze * (self.scale - 0.5)

    def held(self, theta: Real) -> Real:
        """Return H alone at theta above 0.5 and up to the chart's end: half the work."""
        if self.kind == "none":
            return 0.25 / theta
        log = self._read(theta)[2]
        if self.kind == "slow":
            return np.where(theta < self.front, 1.0 - theta, np.exp(log) * (0.25 * self.squeeze) / theta)
        if self.squeeze != 1.0:
            return self.at(theta)[1]
        return np.exp(log)

    def _read(self, theta: Real) -> tuple[Real, Real, Real]:
        """Return the place on the chart's second axis, the same held inside the chart, and the logarithm there."""
        if self.kind == "slow":
            place = self.scale * theta
            inside = np.minimum(place, _charts().z_end)
        else:
            place = _stretch(1.0 + (theta - 1.0) / self.squeeze, self.scale)[0]
            inside = np.minimum(place, 1.0)
        return place, inside, self._along(inside, 0)

    def _along(self, inside: Real, order: int) -> Real:
        assert self.spline is not None
        return np.asarray(self.spline(inside, nu=order))


@lru_cache(maxsize=4096)
def row(tau_d: float) -> Row:
    """Return the row of one tau_D, ready to be read at any theta; kept, because chairs repeat their hoses."""
    if tau_d == 0.0:
        return Row("none", 0.0, None)
    charts = _charts()
    if tau_d < SLOW_TO:
        u, front = tau_d ** (1.0 / 3.0), _front(tau_d)
        spline = _slice(charts.slow, u)
        # The chart leaves out the front's thickness, about tau_d/6; one factor within 1e-7 of 1 makes the mass whole again.
        whole = (1.0 - front) * 4.0 * front / float(np.exp(spline(u * front)))
        return Row("slow", u, spline, whole, front)
    squeeze = float(_width(tau_d) / _width(FAST_TO)) if tau_d > FAST_TO else 1.0
    log_tau = math.log(min(tau_d, FAST_TO))
    span = math.exp(float(np.polynomial.polynomial.polyval(log_tau, charts.span)))
    return Row("fast", span, _slice(charts.fast, log_tau), squeeze)


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
    """Return the spline along the second axis at one place of the first: the six basis splines there, times the coefficients."""
    first, second, flat = surface.tck
    count = first.size - _DEGREE - 1
    left = min(int(np.searchsorted(first, at, side="right")), count) - 1
    basis = [1.0]
    for degree in range(1, _DEGREE + 1):  # the recursion of Cox and de Boor
        grown = [0.0] * (degree + 1)
        for i, value in enumerate(basis):
            low, high = float(first[left + i + 1 - degree]), float(first[left + i + 1])
            share = value / (high - low)
            grown[i] += share * (high - at)
            grown[i + 1] += share * (at - low)
        basis = grown
    rows = np.asarray(flat).reshape(count, -1)[left - _DEGREE : left + 1]
    return BSpline.construct_fast(second, np.array(basis) @ rows, _DEGREE)


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
