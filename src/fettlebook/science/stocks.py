"""How long a stock lasts by what was really used: packages opened, or amounts week by week. The past goes on as it was.

Sources
-------
[P] Openings as a Poisson process: after n openings in T days the time to the k-th next one is T * k/n * F(2k, 2n), the ratio of two gamma
    variables. textbook, memory
[T] The total of n weeks, after m weeks with mean M and SD S, lies within n M -+ t S sqrt(n + n^2/m), t with m - 1 degrees of freedom: the
    sum of n new normal values, its mean taken from m old ones. textbook, memory
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.optimize import brentq
from scipy.stats import f as f_distribution
from scipy.stats import t as t_distribution

from fettlebook.errors import Mendable

FEWEST_OPENED: Final = 2
FEWEST_WEEKS: Final = 4
LONGEST_DAYS: Final = 36_500.0
DAYS_A_WEEK: Final = 7.0


@dataclass(frozen=True, slots=True)
class Lasts:
    """Days from now until it runs out: the middle, and an interval. `latest_days` None: no end can be told within 100 years."""

    earliest_days: float
    middle_days: float
    latest_days: float | None


def packages_last(opened: int, in_days: float, closed: int, level: float = 0.9) -> Lasts:
    """Return when the next package is wanted and none is left [P].

    Parameters
    ----------
    opened, in_days
        Openings seen, at least two, and in how many days [d].
    closed
        Closed packages in stock; one is taken to be open, so the one after the last is what is missing.
    level
        Share of cases in which the interval holds, 0 to 1.

    Raises
    ------
    Mendable
        Too few openings, no time, or a stock below zero.
    """
    if opened < FEWEST_OPENED or not (math.isfinite(in_days) and in_days > 0.0) or closed < 0 or not 0.0 < level < 1.0:
        raise Mendable(
            f"{opened} opened in {in_days:g} days, {closed} in stock",
            where="stock: packages",
            mend=f"Give at least {FEWEST_OPENED} openings in more than 0 days.",
        )
    wanted = closed + 1
    early, middle, late = (
        float(in_days * wanted / opened * f_distribution.ppf(q, 2 * wanted, 2 * opened)) for q in (0.5 - level / 2, 0.5, 0.5 + level / 2)
    )
    return Lasts(early, middle, late if late <= LONGEST_DAYS else None)


def amount_lasts(weeks: Sequence[float], left: float, level: float = 0.9) -> Lasts:
    """Return when an amount is used up [T].

    Parameters
    ----------
    weeks
        Amounts used in whole weeks, at least four, in any unit.
    left
        What is left, in the same unit, not below zero.
    level
        Share of cases in which the interval holds, 0 to 1.

    Raises
    ------
    Mendable
        Too few weeks, nothing used in them, or a number that can't be.
    """
    used = np.asarray(weeks, dtype=np.float64)
    if used.size < FEWEST_WEEKS or not np.isfinite(used).all() or (used < 0.0).any() or used.sum() == 0.0:
        raise Mendable(
            f"{used.size} weeks, {float(used.sum()):g} used in all",
            where="stock: weeks",
            mend=f"Give at least {FEWEST_WEEKS} whole weeks in which something was used.",
        )
    if not (math.isfinite(left) and left >= 0.0) or not 0.0 < level < 1.0:
        raise Mendable(f"{left:g} left", where="stock: left", mend="Count what is there: no less than nothing.")
    mean, sd, m = float(used.mean()), float(used.std(ddof=1)), used.size
    half = float(t_distribution.ppf(0.5 + level / 2, m - 1)) * sd

    def beyond(n: float, sign: float) -> float:
        return n * mean + sign * half * math.sqrt(n + n * n / m) - left

    middle, most = left / mean, LONGEST_DAYS / DAYS_A_WEEK
    if left == 0.0 or half == 0.0:  # over now, or the same every week
        return Lasts(middle * DAYS_A_WEEK, middle * DAYS_A_WEEK, middle * DAYS_A_WEEK)
    early = float(brentq(beyond, 0.0, middle, args=(1.0,)))
    late = float(brentq(beyond, middle, most, args=(-1.0,))) if beyond(most, -1.0) >= 0.0 else None
    return Lasts(early * DAYS_A_WEEK, middle * DAYS_A_WEEK, None if late is None else late * DAYS_A_WEEK)
