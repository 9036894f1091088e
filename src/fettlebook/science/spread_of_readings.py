"""One measured quantity from several uncertain causes: combined uncertainty, degrees of freedom, 95 % range.

Sources
-------
[G] JCGM 100:2008 (GUM): 4.2 type A, 4.3.7 rectangular, F.2.2.1 resolution, 5.1.2 combining, G.4 Welch-Satterthwaite. memory
[F] JCGM 100:2008 table G.2: t factors for 95 % over degrees of freedom; computed here from the t distribution. memory
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import stdtrit

from fettlebook.errors import Mendable


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause of uncertainty: its standard uncertainty in the unit of the result, and on how much it rests."""

    name: str
    standard: float
    dof: float = math.inf  # degrees of freedom; infinite for bounds that are known


@dataclass(frozen=True, slots=True)
class Combined:
    """Standard uncertainty of all causes together, effective degrees of freedom, coverage factor and expanded uncertainty."""

    standard: float
    dof: float
    factor: float
    expanded: float


def rectangular(half_width: float) -> float:
    """Return the standard uncertainty of a value that may lie anywhere within +-`half_width`: half_width/sqrt(3) [G]."""
    return half_width / math.sqrt(3.0)


def resolution(step: float) -> float:
    """Return the standard uncertainty of reading to the nearest `step`: 0.29 of the step [G]."""
    return rectangular(step / 2.0)


def mean_and_spread(values: Sequence[float]) -> tuple[float, float]:
    """Return the mean of repeated readings and the standard deviation of one of them [G]; 0 for a single reading."""
    mean = math.fsum(values) / len(values)
    if len(values) == 1:
        return mean, 0.0
    return mean, math.sqrt(math.fsum((v - mean) ** 2 for v in values) / (len(values) - 1))


def t_factor(dof: float, confidence: float = 0.95) -> float:
    """Return the factor for a two-sided range of `confidence`, degrees of freedom cut down to whole ones as [G] G.4.1 says."""
    whole = max(1.0, math.floor(dof + 1e-9)) if math.isfinite(dof) else 1e9
    return float(stdtrit(whole, 0.5 + confidence / 2.0))


def combine(causes: Sequence[Cause], confidence: float = 0.95) -> Combined:
    """Return what independent causes come to together.

    Parameters
    ----------
    causes
        At least one, standard uncertainties 0 or more, in the unit of the result.
    confidence
        Probability that the range shall hold, two-sided, 0 to 1.

    Returns
    -------
    Combined
        u = root of the sum of squares; effective degrees of freedom u^4 / sum(u_i^4/dof_i); expanded = t(dof) u.

    Raises
    ------
    Mendable
        There is no cause, one is negative or no number, or the confidence is not between 0 and 1.

    Notes
    -----
    [G] equations 10 and G.2b, t as in [F].
    """
    if not causes or not 0.0 < confidence < 1.0:
        raise Mendable(
            f"{len(causes)} causes at {confidence!r}", where="causes, confidence", mend="Give a cause, and a confidence like 0.95."
        )
    for cause in causes:
        if not (math.isfinite(cause.standard) and cause.standard >= 0.0):
            raise Mendable(f"{cause.standard!r} is no uncertainty", where=cause.name, mend="Give a number of 0 or more.")
    square = math.fsum(p.standard**2 for p in causes)
    below = math.fsum(p.standard**4 / p.dof for p in causes if math.isfinite(p.dof))
    dof = square**2 / below if below > 0.0 else math.inf
    factor = t_factor(dof, confidence)
    return Combined(math.sqrt(square), dof, factor, factor * math.sqrt(square))


def grubbs_critical(count: int, risk: float = 0.05) -> float:
    """Return above which distance from the mean, in standard deviations, the farthest of `count` readings is no chance.

    Notes
    -----
    Two-sided: (n-1)/sqrt(n) sqrt(t^2/(n-2+t^2)), t at risk/(2n) with n-2 degrees of freedom (Grubbs 1969). For 3 or more.
    """
    t = float(stdtrit(count - 2, 1.0 - risk / (2.0 * count)))
    return (count - 1) / math.sqrt(count) * math.sqrt(t**2 / (count - 2 + t**2))
