"""How much a laboratory's number says: exact intervals, reductions, most probable numbers, pooled samples.

Sources
-------
[G] F. Garwood, Biometrika 28 (1936) 437: exact Poisson interval, chi2(a/2; 2k)/2 to chi2(1 - a/2; 2k + 2)/2. computed with scipy
[L] log10 reduction: log10(before / after), by definition. computed
"""

import math
from collections.abc import Sequence
from typing import Any, Final, overload

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaincinv

from fettlebook.errors import Mendable
from fettlebook.science.plates import (
    Plate,
    as_plates,
    duplicates_agree,
    expanded_uncertainty_log10,
    most_likely_cfu_per_ml,
    reported,
    round_two_digits,
    weighted_mean_cfu_per_ml,
)
from fettlebook.science.tubes import Mpn, mpn

__all__ = [
    "Mpn",
    "Plate",
    "as_plates",
    "duplicates_agree",
    "expanded_uncertainty_log10",
    "geometric_mean",
    "least_log10_reduction",
    "log10_reduction",
    "most_in_one_of_a_pool",
    "most_likely_cfu_per_ml",
    "mpn",
    "poisson_interval",
    "reported",
    "round_two_digits",
    "weighted_mean_cfu_per_ml",
]

Floats = NDArray[np.float64]
MOST_POOLED: Final = 50


@overload
def poisson_interval(count: float, level: float = 0.95) -> tuple[float, float]: ...
@overload
def poisson_interval(count: Sequence[float] | NDArray[Any], level: float = 0.95) -> tuple[Floats, Floats]: ...
def poisson_interval(count: ArrayLike, level: float = 0.95) -> tuple[Any, Any]:
    """Return the exact interval of a Poisson mean from the colonies counted [G].

    Parameters
    ----------
    count
        Colonies, a number or an array: whole numbers from 0 on. Divide the answer by the volume for CFU/mL.
    level
        0 to 1; each side has (1 - level)/2.

    Returns
    -------
    lower and upper end, floats or arrays shaped as `count`. None seen: 0 to 3.69 at 95 %, never 0 to 0.

    Raises
    ------
    Mendable
        A count that is negative or no whole number, a level outside 0 to 1.
    """
    if not 0.0 < level < 1.0:
        raise Mendable(f"level {level}", where="poisson_interval: level", mend="Give a level between 0 and 1, such as 0.95.")
    seen = np.asarray(count, dtype=np.float64)
    if not (np.isfinite(seen) & (seen >= 0.0) & (seen == np.floor(seen))).all():
        raise Mendable(f"count {count!r}", where="poisson_interval: count", mend="Give colonies as whole numbers, 0 or more.")
    tail = (1.0 - level) / 2.0
    # chi2.ppf(q; 2a)/2 is the inverse of the regularised lower incomplete gamma function of a
    low = np.where(seen > 0.0, gammaincinv(np.maximum(seen, 1.0), tail), 0.0)
    high = gammaincinv(seen + 1.0, 1.0 - tail)
    return (float(low), float(high)) if seen.ndim == 0 else (low, high)


@overload
def log10_reduction(before: float, after: float) -> float: ...
@overload
def log10_reduction(before: Sequence[float] | NDArray[Any], after: float | Sequence[float] | NDArray[Any]) -> Floats: ...
def log10_reduction(before: ArrayLike, after: ArrayLike) -> Any:
    """Return log10(before / after) [L], of counts in one unit: 4 is 99.99 %; below zero, it grew.

    Raises
    ------
    Mendable
        A count not above zero. None found isn't nothing there: `least_log10_reduction` gives what it proves.
    """
    first, last = np.asarray(before, dtype=np.float64), np.asarray(after, dtype=np.float64)
    if not (np.isfinite(first) & (first > 0.0)).all() or not (np.isfinite(last) & (last > 0.0)).all():
        raise Mendable(
            f"a reduction from {before!r} to {after!r}",
            where="log10_reduction: before, after",
            mend="Give counts above zero. For 'none found', give the detection limit and read the answer as 'at least'.",
        )
    value = np.log10(first) - np.log10(last)
    return float(value) if value.ndim == 0 else value


def least_log10_reduction(before: Plate, after: Plate, level: float = 0.95) -> float:
    """Return the reduction that two plates prove with probability `level`: lower end of before over upper end of after.

    Each end is one-sided at sqrt(level), so that both hold together with `level`. Minus infinity: nothing is proven.
    """
    both = 2.0 * math.sqrt(level) - 1.0  # the two-sided level whose ends are each one-sided at sqrt(level)
    low, _ = poisson_interval(before.colonies, both)
    if low == 0.0 or after.too_many:
        return -math.inf
    _, high = poisson_interval(after.colonies, both)
    return math.log10(low / before.volume_ml) - math.log10(high / after.volume_ml)


def geometric_mean(cfu_per_ml: Sequence[float]) -> float:
    """Return 10 to the mean of log10, of counts above zero. Censored results belong in a likelihood, never in here as half a limit."""
    values = np.asarray(cfu_per_ml, dtype=np.float64)
    if values.size == 0 or not (np.isfinite(values) & (values > 0.0)).all():
        raise Mendable(
            f"counts {cfu_per_ml}", where="geometric_mean", mend="Give counts above zero; '<' results need the model with censoring."
        )
    return float(10.0 ** np.log10(values).mean())


def most_in_one_of_a_pool(pooled_cfu_per_ml: float, chairs: int) -> float:
    """Return what one of `chairs` poured together in equal parts may hold at most [CFU/mL]: all of it, so `chairs` times the pool.

    Mass balance. A pool of five at 150 passes a limit of 500 though one of them may hold 750: it is only good news when
    this figure is within the limit too.
    """
    if not 1 <= chairs <= MOST_POOLED or not (math.isfinite(pooled_cfu_per_ml) and pooled_cfu_per_ml >= 0.0):
        raise Mendable(
            f"a pool of {chairs} at {pooled_cfu_per_ml} CFU/mL",
            where="pool: chairs",
            mend=f"Give 1 to {MOST_POOLED} chairs poured together in equal parts, and the pool's count.",
        )
    return pooled_cfu_per_ml * chairs
