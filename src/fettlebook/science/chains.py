"""Parts in series: how much old content still leaves a whole path, for joints that mix and for joints that do not.

At a joint that mixes, the delays of the parts are independent and their laws are convolved. A smooth joint keeps the
profile, and a run of tubes acts like one tube with the summed residence time and the summed tau_D. Real joints lie between;
whoever needs a time takes the longer of the two. A stirred volume mixes in both readings.

Sources
-------
[R] Residence times of parts in series convolve; a stirred vessel has W = exp(-theta), textbook. memory
[O] One coherent tube with summed residence time and tau_D; exact if tau_D/tbar is the same all along. computed
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.fft import irfft, next_fast_len, rfft

from fettlebook.science.series import Real, Series, seconds_of
from fettlebook.science.washout_table import row

CURVE_CELLS: Final = 320  # of a curve, which is read all along


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


def series_of(paths: Sequence[Sequence[Delay]]) -> Series:
    """Return paths as arrays; each of at least one part."""
    most = max((len(path) for path in paths), default=1)
    none = Delay("tube", 0.0)
    cells = [delay for path in paths for delay in (*path, *[none] * (most - len(path)))]
    shape = len(paths), most
    return Series.of(
        residence_s=np.array([delay.residence_s for delay in cells], np.float64).reshape(shape),
        tau_d=np.array([delay.tau_d for delay in cells], np.float64).reshape(shape),
        stirred=np.array([delay.kind == "stirred" for delay in cells], np.bool_).reshape(shape),
        count=np.array([len(path) for path in paths], np.int64),
    )


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
    at_outlet, inside = seconds_of(series_of([delays]), residuals, held)
    return at_outlet[0].tolist(), inside[0].tolist()
