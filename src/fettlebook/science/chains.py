"""Parts in series: how much old content still leaves a whole path, for joints that mix and for joints that do not.

At a joint that mixes, the delays of the parts are independent and their laws are convolved. A smooth joint keeps the
profile, and a run of tubes acts like one tube with the summed residence time and the summed tau_D. Real joints lie between;
whoever needs a time takes the longer of the two. A stirred volume mixes in both readings.

Sources
-------
[R] Residence times of parts in series convolve; a stirred vessel has W = exp(-theta), textbook. memory
[O] One coherent tube with summed residence time and tau_D; exact if tau_D/tbar is the same all along. computed
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.fft import irfft, next_fast_len, rfft
from scipy.interpolate import CubicSpline

from fettlebook.science.bound import held_bound_s, residual_bound_s
from fettlebook.science.laws import held_rows
from fettlebook.science.washout import held_volume_changes, volume_changes
from fettlebook.science.washout_table import row

Real = NDArray[np.float64]
CELLS: Final = 240  # steps of the lattice over the time looked at; the error of a time is about (step/tbar)^2/4
COARSE: Final = 0.156  # a time within this share of the lattice is looked at again on a lattice of its own
CURVE_CELLS: Final = 320  # of a curve, which is read all along
MARGIN: Final = 1.04  # how far past one coherent tube's time a lattice first looks
CURVED_TO: Final = 0.5  # larger shares are found one by one
_CURVE_TAU: Final = (1e-6, 10.0)
AT_ONCE: Final = 128  # paths in one piece of array work: fits the processor's cache
SMALLEST_SHARE: Final = 1e-9  # below, the lattice sinks into rounding and the safe bound is given instead


class Delay(NamedTuple):
    """One part of a path as a delay: a tube with its tau_D, or a stirred volume."""

    kind: Literal["tube", "stirred"]
    residence_s: float
    tau_d: float = 0.0

    def still_to_come_s(self, time_s: Real) -> Real:
        """Return the mean of (delay - time) above 0 [s] at rising times: residence time times the share still held."""
        theta = time_s / self.residence_s
        if self.kind == "stirred":
            return np.asarray(self.residence_s * np.exp(-theta))
        held = np.maximum(1.0 - theta, 0.0)
        law = row(self.tau_d)
        # Times rise, so one slice lies between the first arrival and the end of the chart; beyond, less than 1e-13 is held.
        first, last = np.searchsorted(theta, 0.5, side="right"), np.searchsorted(theta, law.end(), side="right")
        held[first:last] = law.held(theta[first:last])
        return np.asarray(self.residence_s * held)


def coherent(delays: Sequence[Delay]) -> tuple[Delay, ...]:
    """Return the path with every run of tubes joined into one tube [O]; stirred volumes stay and separate the runs."""
    joined: list[Delay] = []
    for delay in delays:
        last = joined[-1] if joined else None
        if last is not None and last.kind == delay.kind == "tube":
            joined[-1] = Delay("tube", last.residence_s + delay.residence_s, last.tau_d + delay.tau_d)
        else:
            joined.append(delay)
    return tuple(joined)


@dataclass(frozen=True, slots=True)
class Curve:
    """What leaves a path over time: `residual` at the middle of each step, `held` at each step's start."""

    step_s: float
    residual: Real
    held: Real

    def residual_at(self, time_s: ArrayLike) -> Real:
        """Return the residual at any time, 1 before the lattice's first middle and its last value after its end."""
        middles = (np.arange(self.residual.size) + 0.5) * self.step_s
        return np.interp(np.asarray(time_s, np.float64), middles, self.residual, left=1.0)


def curve(delays: Sequence[Delay], end_s: float, cells: int = CURVE_CELLS) -> Curve:
    """Return the wash-out of delays in series from 0 to `end_s`.

    Parameters
    ----------
    delays
        Parts in series, at least one.
    end_s
        Last time looked at [s].
    cells
        Steps of the lattice.

    Returns
    -------
    Curve
        Residual and held share; both start at 1 and fall.

    Notes
    -----
    Each delay's law is put on the lattice so that its mean is kept and its spread grows by about step^2/6, never shrinks;
    the transforms are multiplied [R]. Mass balance holds to rounding: the integral of the residual is the mean delay.
    """
    step = end_s / cells
    time_s: Real = np.arange(cells + 1) * np.float64(step)
    if len(delays) == 1:
        to_come = delays[0].still_to_come_s(time_s)
        return Curve(step, -np.diff(to_come) / step, to_come / delays[0].residence_s)
    length = next_fast_len(cells * len(delays), real=True)
    product = np.ones(length // 2 + 1, np.complex128)
    for delay in delays:
        to_come = delay.still_to_come_s(time_s)
        share = np.empty(cells)
        share[0] = 1.0 + (to_come[1] - to_come[0]) / step
        share[1:] = (to_come[:-2] - 2.0 * to_come[1:-1] + to_come[2:]) / step
        product *= rfft(share, length)
    residual = 1.0 - np.cumsum(irfft(product, length)[:cells])
    mean = sum(delay.residence_s for delay in delays)
    held = 1.0 - np.concatenate([[0.0], np.cumsum(residual)]) * step / mean
    return Curve(step, residual, held)


def seconds(delays: Sequence[Delay], residuals: Sequence[float], held: Sequence[float] = ()) -> tuple[list[float], list[float]]:
    """Return when a path's outlet is down to each residual, and when the path is down to each held share.

    Parameters
    ----------
    delays
        Parts in series, at least one.
    residuals
        Shares of old content that may come out, each between 0 and 1.
    held
        Shares of the path's content that may be old, each between 0 and 1.

    Returns
    -------
    tuple of list
        Seconds for `residuals` and for `held`, in their order.
    """
    at_outlet, inside = seconds_of_all([delays], residuals, held)
    return at_outlet[0].tolist(), inside[0].tolist()


def seconds_of_all(
    paths: Sequence[Sequence[Delay]], residuals: Sequence[float], held: Sequence[float] = (), *, cells: int = CELLS
) -> tuple[Real, Real]:
    """Return the same as `seconds` for many paths, much faster than one by one.

    Parameters
    ----------
    paths
        Each path's parts in series, at least one part.
    residuals, held
        Shares as for `seconds`, the same for every path.
    cells
        Steps of the lattice.

    Returns
    -------
    tuple of ndarray
        Seconds, shapes (paths, residuals) and (paths, held).

    Notes
    -----
    Shares below 1e-9 get the safe bound instead.
    """
    at_outlet, inside = np.empty((len(paths), len(residuals))), np.empty((len(paths), len(held)))
    lengths = np.array([len(path) for path in paths])
    for count in np.unique(lengths):
        alike = np.flatnonzero(lengths == count)
        for start in range(0, alike.size, AT_ONCE):
            some = alike[start : start + AT_ONCE]
            if count == 1:
                at_outlet[some], inside[some] = _alone([paths[i][0] for i in some], residuals, held)
            else:
                at_outlet[some], inside[some] = _alike([paths[i] for i in some], residuals, held, cells)
    return at_outlet, inside


def _alone(delays: Sequence[Delay], residuals: Sequence[float], held: Sequence[float]) -> tuple[Real, Real]:
    """Return the seconds of paths of one part, without a lattice."""
    series = _Series.of([(delay,) for delay in delays])
    found: list[Real] = []
    for which, shares in ((0, residuals), (1, held)):
        times = np.empty((len(delays), len(shares)))
        for j, share in enumerate(shares):
            times[:, j] = bound = series.bound(share, which)
            if share >= SMALLEST_SHARE:
                own = series.residence_s[:, 0] * np.where(series.stirred[:, 0], -math.log(share), changes(share, which, series.tau_d[:, 0]))
                times[:, j] = np.minimum(bound, own)
        found.append(times)
    return found[0], found[1]


def changes(share: float, which: int, tau_d: Real) -> Real:
    """Return the volume changes of one tube down to a residual (0) or a held share (1), read from a curve over tau_D."""
    inverse = held_volume_changes if which else volume_changes
    if share > CURVED_TO:
        return inverse(share, tau_d)
    over = np.log(np.clip(tau_d, *_CURVE_TAU))
    found = _changes_curve(share, which)(over)
    outside = (tau_d < _CURVE_TAU[0]) | (tau_d > _CURVE_TAU[1])
    if outside.any():
        found[outside] = inverse(share, tau_d[outside])
    return np.asarray(found)


@lru_cache(maxsize=64)
def _changes_curve(share: float, which: int) -> CubicSpline:
    grid = np.linspace(math.log(_CURVE_TAU[0]), math.log(_CURVE_TAU[1]), 260)
    return CubicSpline(grid, (held_volume_changes if which else volume_changes)(share, np.exp(grid)))


def _alike(paths: Sequence[Sequence[Delay]], residuals: Sequence[float], held: Sequence[float], cells: int) -> tuple[Real, Real]:
    """Return the seconds of paths with the same number of parts."""
    series = _Series.of(paths)
    wanted = sorted([(share, 0, i) for i, share in enumerate(residuals)] + [(share, 1, i) for i, share in enumerate(held)])
    bounds = np.column_stack([series.bound(share, which) for share, which, _ in wanted])
    found = bounds.copy()
    pending = np.tile([share >= SMALLEST_SHARE for share, _, _ in wanted], (len(paths), 1))
    end = np.zeros(len(paths))
    while pending.any():  # the smallest share first: its lattice serves the others too unless they lie in its first steps
        rows = np.flatnonzero(pending.any(axis=1))
        first = pending[rows].argmax(axis=1)
        for j in np.unique(first):
            mine = rows[first == j]
            end[mine] = np.maximum(end[mine], series.first_end(wanted[j][0], wanted[j][1])[mine])
        look = series.at(rows).lattice(end[rows], cells)
        shares = np.array([share for share, _, _ in wanted])
        lowest = np.where([[which == 0 for _, which, _ in wanted]], look[0][:, -1:], look[1][:, -1:])
        here = np.arange(rows.size)
        further = (lowest[here, first] > shares[first]) & (end[rows] < 1.5 * bounds[rows, first])
        for j, (share, which, _) in enumerate(wanted):
            crossed = _crossings(look[which], share, 0.5 if which == 0 else 0.0) * (end[rows] / cells)
            smallest = first == j
            seen = np.isfinite(crossed) & (smallest | (crossed >= COARSE * end[rows]) | (crossed * 2.0 >= end[rows]))
            done = pending[rows, j] & ~further & seen
            # Reading between steps may pass the bound by a millionth. What not even the bound's own lattice shows keeps it.
            found[rows[done], j] = np.minimum(found[rows[done], j], crossed[done])
            pending[rows[done | (smallest & ~further)], j] = False
        end[rows] = np.where(further, 1.25 * end[rows], 0.0)
    at_outlet, inside = np.empty((len(paths), len(residuals))), np.empty((len(paths), len(held)))
    for j, (_, which, i) in enumerate(wanted):
        (at_outlet, inside)[which][:, i] = found[:, j]
    return at_outlet, inside


@dataclass(frozen=True, slots=True)
class _Series:
    """Paths with the same number of parts as arrays of shape (paths, parts)."""

    residence_s: Real
    tau_d: Real
    stirred: NDArray[np.bool_]

    @classmethod
    def of(cls, paths: Sequence[Sequence[Delay]]) -> "_Series":
        kinds, residence, tau = zip(*(delay for path in paths for delay in path), strict=True)
        shape = len(paths), len(paths[0])
        stirred = np.array([kind == "stirred" for kind in kinds]).reshape(shape)
        return cls(np.array(residence, np.float64).reshape(shape), np.array(tau, np.float64).reshape(shape), stirred)

    def at(self, rows: NDArray[np.int64]) -> "_Series":
        return _Series(self.residence_s[rows], self.tau_d[rows], self.stirred[rows])

    def bound(self, share: float, which: int) -> Real:
        """Return the safe bound of every path [s] for a residual (0) or a held share (1)."""
        bound = held_bound_s if which else residual_bound_s
        tubes, alone = np.where(self.stirred, 0.0, self.residence_s).sum(axis=1), bound(share, 1.0, ())
        own = self.stirred.any(axis=1)
        found = tubes * alone
        for i in np.flatnonzero(own):
            found[i] = bound(share, float(tubes[i]), self.residence_s[i][self.stirred[i]].tolist())
        return np.asarray(found)

    def first_end(self, share: float, which: int) -> Real:
        """Return a first guess of the time to look at [s]: all tubes as one coherent tube, and the vessels' mean and spread."""
        tubes, vessels = np.where(self.stirred, 0.0, self.residence_s), np.where(self.stirred, self.residence_s, 0.0)
        found = MARGIN * changes(share, which, self.tau_d.sum(axis=1)) * tubes.sum(axis=1)
        return np.asarray(found + vessels.sum(axis=1) - math.log(share) * np.sqrt((vessels**2).sum(axis=1)))

    def lattice(self, end_s: Real, cells: int) -> tuple[Real, Real]:
        """Return residual and held share of every path as `curve` does, each on its own lattice from 0 to its end."""
        paths, parts = self.residence_s.shape
        step = end_s / cells
        theta = (step[:, None] / self.residence_s)[:, :, None] * np.arange(cells + 1.0)
        held = held_rows(self.tau_d.ravel(), theta.reshape(paths * parts, -1), self.stirred.ravel()).reshape(theta.shape)
        if parts == 1:
            return -np.diff(held[:, 0]) / theta[:, 0, 1:2], held[:, 0]
        # In units of the step, so that the second differences are the shares of each step.
        held /= theta[:, :, 1:2]
        falls = np.empty((paths, parts, cells + 1))
        falls[:, :, 0] = 1.0
        np.subtract(held[:, :, :-1], held[:, :, 1:], out=falls[:, :, 1:])
        length = next_fast_len(cells * parts, real=True)
        product = np.multiply.reduce(rfft(falls[:, :, :-1] - falls[:, :, 1:], length, axis=2), axis=1)
        residual = 1.0 - np.cumsum(irfft(product, length, axis=1)[:, :cells], axis=1)
        inside = np.ones((paths, cells + 1))
        np.cumsum(residual, axis=1, out=inside[:, 1:])
        inside[:, 1:] *= -(step / self.residence_s.sum(axis=1))[:, None]
        inside[:, 1:] += 1.0
        return residual, inside


def _crossings(values: Real, share: float, offset: float) -> Real:
    """Return at which step falling `values` first reach `share`, read between two steps on a log scale; infinite if never."""
    below = (values <= share).argmax(axis=1)
    here = np.arange(values.shape[0])
    at = values[here, below]
    above, low = values[here, np.maximum(below - 1, 0)], np.maximum(at, 1e-300)
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.log(above / share) / np.log(above / low)
    return np.where(at > share, np.inf, offset + np.where(below == 0, 0.0, below - 1 + part))
