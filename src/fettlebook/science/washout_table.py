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
# Nearer to the first arrival than this many tau_D the chart's slope is rounding: W is 1 there to 2e-4, and is read as 1.
_QUIET: Final = (
    np.log([2e-3, 2.9e-3, 4e-3, 5.6e-3, 0.011, 0.06, 0.085, 0.12, 0.17, 0.24, 0.33, 0.45, 6.0, 7.0, 8.5, 9.0, 9.5, 10.0]),
    np.array([0.110, 0.106, 0.090, 0.075, 0.068, 0.062, 0.055, 0.042, 0.030, 0.026, 0.016, 0.0, 0.0, 0.022, 0.026, 0.0274, 0.0270, 0.0255]),
)


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
    squeeze: float = 1.0  # beyond FAST_TO: the distance from theta = 1 shrinks by this
    whole: float = 1.0  # within 1e-7 of 1: makes H at the front 1 - theta, so that the integral of W is 1
    front: float = 0.5  # up to here W = 1; fast chart: in its own theta, before it is squeezed

    def at(self, theta: Real) -> tuple[Real, Real]:
        """Return W and H at every theta above 0.5."""
        if self.kind == "none":
            return 0.25 / theta**2, 0.25 / theta
        place, inside, log = self._read(theta)
        slope = self._along(inside, 1)
        if self.kind == "slow":
            residual, held = _slow_law(theta, place, log + slope * (place - inside), slope)
            return _behind(theta, self.front, self.whole, residual, held)
        own = 1.0 + (theta - 1.0) / self.squeeze
        residual, held = _behind(own, self.front, self.whole, *_fast_law(own, log, slope, self.scale))
        return residual, self.squeeze * held

    def end(self) -> float:
        """Return theta at the end of the chart, where H is below 1e-13; infinite without diffusion."""
        if self.kind == "none":
            return math.inf
        return charts().z_end / self.scale if self.kind == "slow" else 1.0 + self.squeeze * (self.scale - 0.5)

    def held(self, theta: Real) -> Real:
        """Return H alone at theta above 0.5 and up to the chart's end: half the work."""
        if self.kind == "none":
            return 0.25 / theta
        log = self._read(theta)[2]
        if self.kind == "slow":
            return np.where(theta < self.front, 1.0 - theta, np.exp(log) * (0.25 * self.whole) / theta)
        if self.squeeze != 1.0:
            return self.at(theta)[1]
        return np.where(theta < self.front, 1.0 - theta, self.whole * np.exp(log))

    def _read(self, theta: Real) -> tuple[Real, Real, Real]:
        """Return the place on the chart's second axis, the same held inside the chart, and the logarithm there."""
        if self.kind == "slow":
            place = self.scale * theta
            inside = np.minimum(place, charts().z_end)
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
    chart = charts()
    if tau_d < SLOW_TO:
        u, front = tau_d ** (1.0 / 3.0), slow_front(tau_d)
        spline = _slice(chart.slow, u)
        # The chart leaves out the front's thickness, about tau_d/6.
        return Row("slow", u, spline, 1.0, (1.0 - front) * 4.0 * front / math.exp(float(spline(u * front))), front)
    squeeze = float(width(tau_d) / width(FAST_TO)) if tau_d > FAST_TO else 1.0
    log_tau = math.log(min(tau_d, FAST_TO))
    span = math.exp(float(np.polynomial.polynomial.polyval(log_tau, chart.span)))
    spline, front = _slice(chart.fast, log_tau), float(fast_front(log_tau))
    at_front = float(spline(_stretch(np.array(front), span)[0]))
    return Row("fast", span, spline, squeeze, (1.0 - front) / math.exp(at_front), front)


@dataclass(frozen=True, slots=True)
class _Charts:
    slow: RectBivariateSpline
    fast: RectBivariateSpline
    z_end: float
    span: Real


@lru_cache(maxsize=1)
def charts() -> _Charts:
    """Return the table, read once."""
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
    chart = charts()
    residual, held = 0.25 / theta**2, 0.25 / theta
    slow = (tau_d > 0.0) & (tau_d < SLOW_TO)
    if slow.any():
        u, at = tau_d[slow] ** (1.0 / 3.0), theta[slow]
        z, front = u * at, slow_front(tau_d[slow])
        inside = np.minimum(z, chart.z_end)
        slope = chart.slow.ev(u, inside, dy=1)
        w, h = _slow_law(at, z, chart.slow.ev(u, inside) + slope * (z - inside), slope)
        whole = (1.0 - front) * 4.0 * front / np.exp(chart.slow.ev(u, u * front))
        residual[slow], held[slow] = _behind(at, front, whole, w, h)
    fast = tau_d >= SLOW_TO
    if fast.any():
        tau = tau_d[fast]
        squeeze = width(np.maximum(tau, FAST_TO)) / width(FAST_TO)
        log_tau = np.log(np.minimum(tau, FAST_TO))
        span = np.exp(np.polynomial.polynomial.polyval(log_tau, chart.span))
        stretched = 1.0 + (theta[fast] - 1.0) / squeeze
        q, _ = _stretch(stretched, span)
        inside = np.minimum(q, 1.0)
        w, h = _fast_law(stretched, chart.fast.ev(log_tau, inside), chart.fast.ev(log_tau, inside, dy=1), span)
        front = fast_front(log_tau)
        whole = (1.0 - front) / np.exp(chart.fast.ev(log_tau, _stretch(front, span)[0]))
        w, h = _behind(stretched, front, whole, w, h)
        residual[fast], held[fast] = w, squeeze * h
    return residual, held


def span_of(log_tau: Real | float) -> Real:
    """Return how far behind theta = 1/2 the fast chart ends."""
    return np.asarray(np.exp(np.polynomial.polynomial.polyval(log_tau, charts().span)))


def stretch_factor(span: Real) -> tuple[Real, float]:
    """Return a and b of the fast chart's axis q = b arcsinh(a (theta - 1/2))."""
    return np.asarray(np.sinh(_STRETCH) / span), 1.0 / _STRETCH


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
    return np.asarray(-held * rate), np.asarray(held)


def _behind(theta: Real, front: Real | float, whole: Real | float, residual: Real, held: Real) -> tuple[Real, Real]:
    """Return W and H with nothing arriving before the front; from it on W is the slope of H, so that none is lost."""
    early = theta < front
    return np.where(early, 1.0, np.minimum(whole * residual, 1.0)), np.where(early, 1.0 - theta, whole * held)


def fast_front(log_tau: Real | float) -> Real:
    """Return where the first clean content arrives in the fast chart."""
    return np.asarray(0.5 + np.exp(log_tau) * np.interp(log_tau, *_QUIET))


@overload
def slow_front(tau_d: float) -> float: ...
@overload
def slow_front(tau_d: Real) -> Real: ...
def slow_front(tau_d: float | Real) -> float | Real:
    """Return where the first clean content arrives in the slow chart, half a front's thickness late."""
    return 0.5 + tau_d / 6.0


def width(tau_d: Real | float) -> Real:
    """Return the width of a fast line's front in volume changes [A]."""
    return np.sqrt((1.0 - 0.0625 / np.asarray(tau_d)) / (24.0 * np.asarray(tau_d)))  # [A]
