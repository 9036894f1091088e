"""Control charts of readings, and how long each runs before it signals. A picture for the reader; verdicts come from elsewhere.

Sources
-------
[S] Shewhart chart: run length 1/P(signal). textbook, memory
[B] D. Brook, D. A. Evans, Biometrika 59 (1972) 539: run length of a one-sided CUSUM. secondary
[L] J. M. Lucas, R. B. Crosier, Technometrics 24 (1982) 199: two one-sided CUSUMs, 1/L = 1/L+ + 1/L-. secondary
[C] S. V. Crowder, Technometrics 29 (1987) 401: integral equation of an EWMA's run length. secondary
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from fettlebook.errors import Mendable
from fettlebook.said import said

Floats = NDArray[np.float64]
NODES: Final = 80
FEWEST: Final = 5  # readings from which centre and spread are taken at the least; common practice asks for 20 and more
FIRST_READINGS: Final = 10  # that centre and limits come from, where there are so many
MOVING_RANGE: Final = 1.128  # mean range of two normal readings over their SD (d2 for n = 2). textbook, memory


def shewhart_run_length(limit_sd: float = 3.0, shift_sd: float = 0.0) -> float:
    """Return the average number of readings until one lies beyond `limit_sd`, when the mean is off by `shift_sd` [S]."""
    return 1.0 / float(ndtr(-limit_sd - shift_sd) + ndtr(-limit_sd + shift_sd))


def cusum_run_length(k: float, h: float, shift_sd: float = 0.0, two_sided: bool = True) -> float:
    """Return the average run length of a CUSUM with reference `k` and decision `h`, in SD [B, L].

    L(z) = 1 + L(0) Phi(k - z) + integral over (0, h) of L(y) phi(y + k - z) dy, by Gauss-Legendre.
    """
    up = _one_sided(k, h, shift_sd)
    return up if not two_sided else 1.0 / (1.0 / up + 1.0 / _one_sided(k, h, -shift_sd))


def _one_sided(k: float, h: float, shift: float) -> float:
    x, w = np.polynomial.legendre.leggauss(NODES)
    y, w = (x + 1.0) * h / 2.0, w * h / 2.0
    at = np.r_[0.0, y]
    kernel = np.c_[ndtr(k - at - shift), w * _density(y[None, :] + k - at[:, None] - shift)]
    return float(np.linalg.solve(np.eye(at.size) - kernel, np.ones(at.size))[0])


def ewma_run_length(weight: float, limit_sd: float, shift_sd: float = 0.0) -> float:
    """Return the average run length of a two-sided EWMA begun at its centre, limits at `limit_sd` of its long-run SD [C]."""
    c = limit_sd * math.sqrt(weight / (2.0 - weight))
    x, w = np.polynomial.legendre.leggauss(NODES)
    y, w = x * c, w * c
    kernel = w * _density((y[None, :] - (1.0 - weight) * y[:, None]) / weight - shift_sd) / weight
    inside = np.linalg.solve(np.eye(NODES) - kernel, np.ones(NODES))
    return 1.0 + float((w * _density(y / weight - shift_sd) / weight) @ inside)


def _density(z: Floats) -> Floats:
    value: Floats = np.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)
    return value


@dataclass(frozen=True, slots=True)
class Chart:
    """Readings with centre and limits, which lie beyond them, and where a slow drift (EWMA 0.2, 2.962) signals.

    `readings_per_false_alarm` is the run length of the limits alone when nothing is wrong.
    """

    readings: tuple[float, ...]
    centre: float
    sd: float
    low: float
    high: float
    beyond: tuple[int, ...]
    smoothed: tuple[float, ...]
    drifted: tuple[int, ...]
    readings_per_false_alarm: float


def chart(readings: Sequence[float], first: int | None = None, limit_sd: float = 3.0) -> Chart:
    """Return the chart of single readings. Centre and SD come from the `first` readings (None: all), SD from moving ranges.

    Raises
    ------
    Mendable
        Fewer than `FEWEST` readings, one that is no number, or no spread at all (a reading that never moves is no measurement).
    """
    values = np.asarray(readings, dtype=np.float64)
    basis = values[: first or values.size]
    if basis.size < FEWEST or not np.isfinite(values).all():
        raise Mendable(
            f"{basis.size} readings", where="chart: readings", mend=f"Give at least {FEWEST} numbers to take centre and spread from."
        )
    centre, sd = float(basis.mean()), float(np.abs(np.diff(basis)).mean() / MOVING_RANGE)
    if sd == 0.0:
        raise Mendable(
            f"all readings are {centre:g}",
            where="chart: readings",
            mend="Readings that never move say nothing of spread. Is the sensor stuck?",
        )
    low, high = centre - limit_sd * sd, centre + limit_sd * sd
    smooth, level = [], centre
    for value in values:
        level += 0.2 * (float(value) - level)
        smooth.append(level)
    slack = 2.962 * sd * math.sqrt(0.2 / 1.8)  # run length 500 at the centre: counts.md, computed by the equation above
    return Chart(
        tuple(float(v) for v in values),
        centre,
        sd,
        low,
        high,
        tuple(int(i) for i in np.flatnonzero((values < low) | (values > high))),
        tuple(smooth),
        tuple(i for i, s in enumerate(smooth) if abs(s - centre) > slack),
        shewhart_run_length(limit_sd),
    )


def chart_says(readings: Sequence[float], first: int = FIRST_READINGS) -> tuple[Chart | None, str]:
    """Return the chart of readings and what it says of the newest: steady, drifting, beyond its limits; no chart, and why."""
    if len(readings) < FEWEST:
        return None, said("{many} readings, a chart needs {FEWEST}", many=len(readings), FEWEST=FEWEST)
    try:
        drawn = chart(readings, min(first, len(readings)))
    except Mendable as error:
        return None, error.findings[0].what
    last = len(readings) - 1
    if last in drawn.beyond:
        return drawn, said("beyond its limits")
    return drawn, said("drifting") if last in drawn.drifted else said("steady")
