"""Most probable number: tubes that turned or didn't, and the strength that makes just that most likely.

Sources
-------
[M] FDA, Bacteriological Analytical Manual, appendix 2: sum v g / (1 - exp(-L v)) = sum n v. read (a copy)
[R] M. S. Ridout, Biometrics 50 (1994) 289, table 1: interval by likelihood ratio. secondary
[S] FDA solver sheet of 2002: log-normal limits from the observed information of ln L, and the rarity index. read (a copy)
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import chdtri, gammaln, xlogy

from fettlebook.errors import Mendable

Floats = NDArray[np.float64]
RARE: Final = 1e-4  # [S] below this rarity the tubes are not to be trusted
MOST_TUBES: Final = 1_000


@dataclass(frozen=True, slots=True)
class Mpn:
    """A most probable number per unit of the volumes given, and how sure it is. `float()` gives the estimate.

    Attributes
    ----------
    estimate
        0 when no tube turned, infinite when every tube did (then only `low` says something).
    low, high
        The interval by likelihood ratio [R].
    log10_se
        Standard error of log10 of the estimate, observed information [S]; NaN when there is no inner maximum.
    rarity
        Likelihood of these tubes over the likeliest outcome at the same strength [S]: under `RARE`, don't trust them.
    """

    estimate: float
    low: float
    high: float
    log10_se: float
    rarity: float

    def __float__(self) -> float:
        return self.estimate

    @property
    def trustworthy(self) -> bool:
        """Whether such tubes are likely enough to be believed [S]."""
        return self.rarity >= RARE


def mpn(tubes: Sequence[int], volumes: Sequence[float], positive: Sequence[int], level: float = 0.95) -> Mpn:
    """Return the most probable number [per unit of `volumes`] with its interval.

    Parameters
    ----------
    tubes, volumes, positive
        For each row: number of tubes, undiluted sample in each of them (mL or g), how many turned.
    level
        Of the interval, 0 to 1.

    Raises
    ------
    Mendable
        Rows of unlike length, no tube, a volume not above zero, more positive tubes than tubes.
    """
    n, v, g = _checked(tubes, volumes, positive)
    if not 0.0 < level < 1.0:
        raise Mendable(f"level {level}", where="mpn: level", mend="Give a level between 0 and 1, such as 0.95.")
    total = float(n @ v)
    drop = float(chdtri(1, 1.0 - level)) / 2.0
    if not g.any():
        return Mpn(0.0, 0.0, drop / total, math.nan, 1.0)

    def log_likelihood(strength: float) -> float:
        return float(xlogy(g, -np.expm1(-strength * v)).sum() - strength * ((n - g) @ v))

    if (g == n).all():
        low = _root(lambda x: log_likelihood(math.exp(x)) + drop, math.log(1e-6 / total), math.log(60.0 / v.min()))
        return Mpn(math.inf, math.exp(low), math.inf, math.nan, 1.0)

    def score(x: float) -> float:
        strength = math.exp(x)
        return float((v * g / -np.expm1(-strength * v)).sum() - total)

    lowest, highest = math.log(1e-3 / total), math.log(100.0 / v.min())
    peak = _root(score, lowest, highest)
    best = math.exp(peak)
    top = log_likelihood(best) - drop

    def below(x: float) -> float:
        return log_likelihood(math.exp(x)) - top

    return Mpn(
        best,
        math.exp(_root(below, lowest - 30.0, peak)),
        math.exp(_root(below, peak, highest + 5.0)),
        _log10_se(best, v, g),
        _rarity(best, n, v, g),
    )


def _root(function: object, low: float, high: float) -> float:
    return float(brentq(function, low, high, xtol=1e-13, rtol=1e-13))


def _log10_se(strength: float, v: Floats, g: Floats) -> float:
    """Return the standard error of log10, observed information of ln L: sum g (L v)^2 e^-Lv / (1 - e^-Lv)^2 less the score's own."""
    x = strength * v
    turned = -np.expm1(-x)
    # d/d ln L of sum over g of x e^-x/(1 - e^-x), less sum (n - g) x; at the root the latter equals the former
    slope = g * x * np.exp(-x) / turned
    curvature = float((slope * (x / turned - 1.0)).sum() + slope.sum())
    return 1.0 / math.sqrt(curvature) / math.log(10.0)


def _rarity(strength: float, n: Floats, v: Floats, g: Floats) -> float:
    share = -np.expm1(-strength * v)
    likeliest = np.minimum(np.floor((n + 1.0) * share), n)
    return float(np.exp((_log_binomial(n, g, share) - _log_binomial(n, likeliest, share)).sum()))


def _log_binomial(n: Floats, k: Floats, share: Floats) -> Floats:
    choose = gammaln(n + 1.0) - gammaln(k + 1.0) - gammaln(n - k + 1.0)
    value: Floats = choose + xlogy(k, share) + xlogy(n - k, 1.0 - share)
    return value


def _checked(tubes: Sequence[int], volumes: Sequence[float], positive: Sequence[int]) -> tuple[Floats, Floats, Floats]:
    if not len(tubes) == len(volumes) == len(positive) or len(tubes) == 0:
        raise Mendable(
            f"{len(tubes)} numbers of tubes, {len(volumes)} volumes, {len(positive)} positive",
            where="mpn: rows",
            mend="Give all three for each dilution, at least one.",
        )
    for row, (n, v, g) in enumerate(zip(tubes, volumes, positive, strict=True), start=1):
        if n != int(n) or not 1 <= n <= MOST_TUBES:
            raise Mendable(f"{n} tubes", where=f"mpn: row {row}", mend=f"Give a whole number from 1 to {MOST_TUBES:,}.")
        if not (math.isfinite(v) and v > 0.0):
            raise Mendable(f"volume {v}", where=f"mpn: row {row}", mend="Give the undiluted sample in each tube, above zero.")
        if g != int(g) or not 0 <= g <= n:
            raise Mendable(f"{g} of {n} tubes turned", where=f"mpn: row {row}", mend="Give a whole number from 0 to the number of tubes.")
    return np.asarray(tubes, float), np.asarray(volumes, float), np.asarray(positive, float)
