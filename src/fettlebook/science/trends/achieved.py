"""What one treatment took away: the result before it against the one after it, with counting error and the scatter between samples.

Sources
-------
[J] Strength of a Poisson count k on volume v: Gamma(k + 1/2) / v (Jeffreys' prior). memory
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincinv, ndtr

from fettlebook.science.trends.seen import Seen

Floats = NDArray[np.float64]
STEPS: Final = 96
HALVINGS: Final = 40


@dataclass(frozen=True, slots=True)
class Reduction:
    """log10 that a treatment took away: nine times in ten from `low` to `high`. A bound on either side leaves `middle` and `high` open."""

    low: float
    middle: float | None
    high: float | None


def reduction_of(before: Seen, after: Seen, sd_between: float) -> Reduction | None:
    """Return what two results say of a treatment between them.

    Parameters
    ----------
    before, after
        Results of one chair. Too many to count before, or below a bound after: the reduction is at least `low`.
    sd_between
        Scatter between samples of a chair [log10]: each result stands for the level only so far.

    Returns
    -------
    None where the results bound nothing: below a bound before, or too many after.
    """
    if before.kind == "below" or after.kind == "above":
        return None
    bound = before.kind == "above" or after.kind == "below"
    first = _log10_strength(before.colonies if before.kind == "above" else before.colonies + 0.5, before.volume_ml)
    last = _log10_strength(after.colonies + (1.0 if after.kind == "below" else 0.5), after.volume_ml)
    difference = (first[:, None] - last[None, :]).ravel()
    spread = max(sd_between, 1e-6) * math.sqrt(2.0)
    low, middle, high = (_quantile(difference, spread, share) for share in (0.05, 0.5, 0.95))
    return Reduction(low, None if bound else middle, None if bound else high)


def _log10_strength(shape: float, volume_ml: float) -> Floats:
    shares = (np.arange(STEPS) + 0.5) / STEPS
    value: Floats = np.log10(np.maximum(gammaincinv(shape, shares), 1e-12) / volume_ml)
    return value


def _quantile(values: Floats, spread: float, share: float) -> float:
    low, high = float(values.min()) - 9.0 * spread, float(values.max()) + 9.0 * spread
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        if float(ndtr((middle - values) / spread).mean()) < share:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
