"""What heat does to microbes: F, F0 and A0 of a temperature trace, the spores that are left, the longest hold in a band.

Sources
-------
[F] F(Tref, z) = integral of 10^((T - Tref)/z) dt; F0: 121.1 degC, z = 10 K (pharmacopoeias; the food trade takes 250 degF = 121.11 degC,
    which makes F 0.23 % smaller). memory
[B] EN ISO 15883-1, annex B: A0 is the equivalent time in seconds at 80 degC for z = 10 K. secondary
[L] EN ISO 15883-1: A0 counts from 65 degC up. memory
[D] D: minutes at the reference temperature for one decade; log10 N = log10 N0 - F/D, the definition of D. read
[W] Survival-kill window of a biological indicator: it survives (log10 N0 - 2) D and is dead after (log10 N0 + 4) D. secondary
[K] Below 120 degC the constant z of 10 K overstates the kill: van Doornmalen and Kopinga, J. Appl. Microbiol. 2009,
    doi 10.1111/j.1365-2672.2009.04290.x, abstract. read
"""

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fettlebook.errors import Mendable

Real = NDArray[np.float64]
F0_REFERENCE_C: Final = 121.1  # [F]
A0_REFERENCE_C: Final = 80.0  # [B]
Z_K: Final = 10.0  # [F, B]
A0_FLOOR_C: Final = 65.0  # [L]


def f0_min(time_s: ArrayLike, temperature_c: ArrayLike, *, longest_gap_s: float = math.inf) -> float:
    """Return the F0 of a temperature trace: the minutes at 121.1 degC that would have killed as many spores.

    Parameters
    ----------
    time_s, temperature_c, longest_gap_s
        As in `f_min`.

    Returns
    -------
    float
        F0 [min].

    Raises
    ------
    Mendable
        As in `f_min`.

    Notes
    -----
    Never a substitute for a hold: 134 degC for 3 min is F0 58, for 50 s it is still 16 [F]. Shown, not judged.
    Below 120 degC it says too much [K].
    """
    return f_min(time_s, temperature_c, reference_c=F0_REFERENCE_C, z_k=Z_K, longest_gap_s=longest_gap_s)


def a0_s(time_s: ArrayLike, temperature_c: ArrayLike, *, longest_gap_s: float = math.inf) -> float:
    """Return the A0 of a temperature trace: the seconds at 80 degC that would have disinfected as much.

    Parameters
    ----------
    time_s, temperature_c, longest_gap_s
        As in `f_min`.

    Returns
    -------
    float
        A0 [s]; 0.0 where it never exceeds 65 degC.

    Raises
    ------
    Mendable
        As in `f_min`.

    Notes
    -----
    Time below 65 degC counts nothing [L]; a ramp counts from the moment at which it crosses.
    For wet heat only [B]: leave hot-air drying out.
    """
    return 60.0 * f_min(time_s, temperature_c, reference_c=A0_REFERENCE_C, z_k=Z_K, floor_c=A0_FLOOR_C, longest_gap_s=longest_gap_s)


def f_min(
    time_s: ArrayLike,
    temperature_c: ArrayLike,
    *,
    reference_c: float,
    z_k: float,
    floor_c: float = -math.inf,
    longest_gap_s: float = math.inf,
) -> float:
    """Return F(Tref, z) of a temperature trace whose readings are joined by straight lines.

    Parameters
    ----------
    time_s
        Times of the readings, shape (n,) [s], strictly increasing.
    temperature_c
        Temperatures, shape (n,) [degC]. A missing one (NaN) makes a gap between its neighbours.
    reference_c, z_k
        Reference temperature [degC] and the kelvin for a tenfold rate, above 0.
    floor_c
        Temperature below which nothing counts [degC].
    longest_gap_s
        Readings farther apart than this have a gap between them, which earns nothing [s].

    Returns
    -------
    float
        F [min]; 0.0 with fewer than two readings.

    Raises
    ------
    Mendable
        Shapes differ, a time is no number or does not increase, a temperature is infinite, z is not above 0.
    """
    return float(np.sum(f_pieces_min(time_s, temperature_c, reference_c, z_k, floor_c=floor_c, longest_gap_s=longest_gap_s)))


def f_pieces_min(
    time_s: ArrayLike,
    temperature_c: ArrayLike,
    reference_c: float,
    z_k: float,
    *,
    floor_c: float = -math.inf,
    longest_gap_s: float = math.inf,
) -> Real:
    """Return what each interval between two readings adds to F, shape (n - 1,) [min]; parameters and errors as in `f_min`.

    Notes
    -----
    The exact integral over a straight line: dt 10^((T1 - Tref)/z) (e^x - 1)/x, x = ln10 (T2 - T1)/z [F]. Rectangles are wrong by 34 % on
    a steep ramp read every 30 s, the exact piece by nothing.
    """
    t, temp = _trace(time_s, temperature_c)
    if not z_k > 0.0:
        raise Mendable(f"{z_k:g} K is no z", where="z_k", mend="Give the kelvin for a tenfold rate, 10 for moist heat.")
    if t.size < 2:
        return np.zeros(0)
    dt, low, high = t[1:] - t[:-1], temp[:-1], temp[1:]
    share: Real | float = 1.0
    if math.isfinite(floor_c):
        # Only the part of a ramp above the floor counts; on it the ramp runs from the floor.
        span = np.abs(high - low)
        low_kept, high_kept = np.maximum(low, floor_c), np.maximum(high, floor_c)
        share = np.where(span > 0.0, np.abs(high_kept - low_kept) / np.where(span > 0.0, span, 1.0), low > floor_c)
        low, high = low_kept, high_kept
    per_k = math.log(10.0) / z_k
    x = per_k * (high - low)
    small = np.abs(x) < 1e-6
    mean = np.where(small, 1.0 + 0.5 * x, np.expm1(x) / np.where(small, 1.0, x))
    pieces = dt * share * np.exp(per_k * (low - reference_c)) * mean / 60.0
    return np.where(np.isnan(pieces) | (dt > longest_gap_s), 0.0, pieces)


def survivors_log10(log10_n0: float, d_min: float, f_minutes: float) -> float:
    """Return the decades of spores left of 10^`log10_n0` after F minutes at a D of `d_min` minutes; below 0: so many in a million [D]."""
    return log10_n0 - f_minutes / _positive(d_min, "d_min")


def kill_window_min(log10_n0: float, d_min: float) -> tuple[float, float]:
    """Return the minutes that a biological indicator must survive and those after which it must be dead [W]."""
    d = _positive(d_min, "d_min")
    return (log10_n0 - 2.0) * d, (log10_n0 + 4.0) * d


def longest_stretch(time_s: Real, holds: NDArray[np.bool_], breaks: NDArray[np.bool_]) -> tuple[float, int, int]:
    """Return the longest unbroken stretch in which a condition holds at every reading.

    Parameters
    ----------
    time_s
        Times of the readings, shape (n,) [s], increasing.
    holds
        Whether the condition holds at each reading, shape (n,).
    breaks
        Whether the interval before a reading breaks a stretch (a gap), shape (n,); the first value is not looked at.

    Returns
    -------
    tuple
        Length from the first to the last reading of the stretch [s], and the indices of the two; (0.0, 0, -1) where none holds.

    Notes
    -----
    What lies between the last reading in the band and the first one outside is not known and earns nothing.
    """
    inside = holds.nonzero()[0]
    if inside.size == 0:
        return 0.0, 0, -1
    cut = ((inside[1:] - inside[:-1] > 1) | breaks[inside[1:]]).nonzero()[0] + 1
    first = inside[np.concatenate(([0], cut))]
    last = inside[np.concatenate((cut - 1, [inside.size - 1]))]
    lengths = time_s[last] - time_s[first]
    k = int(np.argmax(lengths))
    return float(lengths[k]), int(first[k]), int(last[k])


def hold_s(time_s: ArrayLike, temperature_c: ArrayLike, low_c: float, high_c: float, *, longest_gap_s: float = math.inf) -> float:
    """Return the longest unbroken time for which a trace stays in a band.

    Parameters
    ----------
    time_s, temperature_c, longest_gap_s
        As in `f_min`; a missing temperature ends the stretch.
    low_c, high_c
        The band, both ends in it [degC].

    Returns
    -------
    float
        Seconds from the first to the last reading of the stretch; a dip below the band starts it again.

    Raises
    ------
    Mendable
        As in `f_min`, or the band is empty.
    """
    if not low_c <= high_c:
        raise Mendable(f"{low_c:g} to {high_c:g} degC is no band", where="low_c, high_c", mend="Give the lower end first.")
    t, temp = _trace(time_s, temperature_c)
    gaps = np.concatenate(([False], np.diff(t) > longest_gap_s))
    return longest_stretch(t, (temp >= low_c) & (temp <= high_c), gaps)[0]


def _trace(time_s: ArrayLike, temperature_c: ArrayLike) -> tuple[Real, Real]:
    t, temp = np.asarray(time_s, np.float64), np.asarray(temperature_c, np.float64)
    if t.ndim != 1 or t.shape != temp.shape:
        raise Mendable(f"shapes {t.shape} and {temp.shape}", where="time_s, temperature_c", mend="Give one temperature for each time.")
    if (bad := (~np.isfinite(t)).nonzero()[0]).size:
        raise Mendable("not a number", where=f"time_s[{bad[0]}]", mend="Leave the reading out; a gap is shown as a gap.")
    if (bad := np.isinf(temp).nonzero()[0]).size:
        raise Mendable("infinite", where=f"temperature_c[{bad[0]}]", mend="Give NaN where a reading is missing.")
    if (back := (t[1:] <= t[:-1]).nonzero()[0] + 1).size:
        seen = f"{t[back[0]]:g} s after {t[back[0] - 1]:g} s"
        raise Mendable(seen, where=f"time_s[{back[0]}]", mend="Time must increase: split the trace where the clock was set.")
    return t, temp


def _positive(value: float, where: str) -> float:
    if not (value > 0.0 and math.isfinite(value)):
        raise Mendable(f"{value:g} is not above 0", where=where, mend="Give minutes for one decade, such as 1.5.")
    return value
