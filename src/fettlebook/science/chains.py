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
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.fft import next_fast_len

from fettlebook.science.bound import held_bound_s, residual_bound_s
from fettlebook.science.washout_table import row

Real = NDArray[np.float64]
CELLS: Final = 320  # steps of the lattice over the time looked at; the error of a time is about (step/tbar)^2/4
COARSE: Final = 50  # a time within so few steps is looked at again on a lattice of its own
SMALLEST_SHARE: Final = 1e-9  # below, the lattice sinks into rounding and the safe bound is given instead


@dataclass(frozen=True, slots=True)
class Delay:
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

    def lowest(self, which: int) -> float:
        """Return the last value of the residual (0) or the held share (1)."""
        return float((self.residual, self.held)[which][-1])

    def residual_at(self, time_s: ArrayLike) -> Real:
        """Return the residual at any time, 1 before the lattice's first middle and its last value after its end."""
        middles = (np.arange(self.residual.size) + 0.5) * self.step_s
        return np.interp(np.asarray(time_s, np.float64), middles, self.residual, left=1.0)


def curve(delays: Sequence[Delay], end_s: float, cells: int = CELLS) -> Curve:
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
        product *= np.fft.rfft(share, length)
    residual = 1.0 - np.cumsum(np.fft.irfft(product, length)[:cells])
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

    Notes
    -----
    Shares below 1e-9 get the safe bound instead.
    """
    tubes = sum(delay.residence_s for delay in delays if delay.kind == "tube")
    vessels = [delay.residence_s for delay in delays if delay.kind == "stirred"]
    at_outlet = [residual_bound_s(share, tubes, vessels) for share in residuals]
    inside = [held_bound_s(share, tubes, vessels) for share in held]
    wanted = [(share, 0, i) for i, share in enumerate(residuals)] + [(share, 1, i) for i, share in enumerate(held)]
    open_shares = sorted(item for item in wanted if item[0] >= SMALLEST_SHARE)
    end = 0.0
    while open_shares:  # the smallest share first: its lattice serves the others too unless they lie in its first steps
        share, which, i = open_shares[0]
        bound = (at_outlet, inside)[which][i]
        end = max(end, _first_end(share, which, delays))
        look = curve(delays, end)
        if look.lowest(which) > share and end < 1.5 * bound:
            end *= 1.6
            continue
        left = []
        for share, which, i in open_shares:
            values, offset = ((look.residual, 0.5), (look.held, 0.0))[which]
            crossed = _crossing(values, share, look.step_s, offset)
            if crossed is None or (crossed < COARSE * look.step_s and crossed * 2.0 < end and (share, which, i) != open_shares[0]):
                left.append((share, which, i))
            else:
                found = (at_outlet, inside)[which]
                found[i] = min(found[i], crossed)  # reading between steps may pass the bound by a millionth
        if left and left[0] == open_shares[0]:
            left = left[1:]  # not even the lattice of the safe bound showed it: the bound stays
        open_shares, end = left, 0.0
    return at_outlet, inside


def _first_end(share: float, which: int, delays: Sequence[Delay]) -> float:
    """Return a first guess of the time to look at [s]: the law without diffusion, cut where diffusion has cut the tail."""
    end = 0.0
    tau = sum(delay.tau_d for delay in delays)
    plain = 0.55 / math.sqrt(share) if which == 0 else 0.25 / share
    cut = 1.0 + (-math.log(share) / (2.0 * tau)) ** (1.0 / 3.0) if tau > 0.0 else math.inf
    for delay in delays:
        end += delay.residence_s * (1.0 - math.log(share) if delay.kind == "stirred" else min(plain, cut) + 0.3)
    return end


def _crossing(values: Real, share: float, step_s: float, offset: float) -> float | None:
    """Return the time at which falling `values` first reach `share`, read between two steps on a log scale; None if never."""
    below = int(np.argmax(values <= share))
    if values[below] > share:
        return None
    if below == 0:
        return (offset + 0.0) * step_s
    above_value, value = float(values[below - 1]), max(float(values[below]), 1e-300)
    part = math.log(above_value / share) / math.log(above_value / value)
    return (below - 1 + part + offset) * step_s
