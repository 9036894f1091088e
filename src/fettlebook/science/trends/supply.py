"""Did all chairs rise together? Then what they share is to be looked at first: the supply, a product's lot, the laboratory.

The last result of each chair is held against what the results before it let expect. Given what the chairs share these are independent,
so their normal scores add up (Stouffer): Z = sum of scores / sqrt(chairs). Its tail is averaged over what the chairs share.

Sources
-------
[S] S. A. Stouffer et al., The American Soldier (1949): sum of normal scores. memory
[L] H. O. Lancaster, J Am Stat Assoc 56 (1961) 223: mid-P of counts; it errs to the quiet side in such sums. memory
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammainc, gammaincc, ndtr, ndtri

from fettlebook.errors import Mendable
from fettlebook.science.trends.answers import Trend
from fettlebook.science.trends.model import PRIORS, Priors, Sample, regrowth_x
from fettlebook.science.trends.practice import fit_practice

Floats = NDArray[np.float64]
FALSE_ALARM: Final = 0.01  # in so many rounds of a practice where nothing is shared, at most, a rise is told all the same
FEWEST_CHAIRS: Final = 3
NODES: Final = 32
MOST_OF_ONE: Final = 1.5  # no chair adds more than this many SD: one chair far off is no rise of all, and the tail errs to the quiet side


@dataclass(frozen=True, slots=True)
class CommonRise:
    """How likely chairs lie this far above what was expected, all together, by chance; `higher` of `chairs` lie above their middle."""

    p_by_chance: float
    chairs: int
    higher: int

    @property
    def suspected(self) -> bool:
        """Whether it is told."""
        return self.p_by_chance < FALSE_ALARM


def common_rise(earlier: Sequence[Sample], last: Sequence[Sample], priors: Priors = PRIORS) -> CommonRise:
    """Return whether the last round lies higher than the results before it let expect.

    Parameters
    ----------
    earlier
        All results before the round.
    last
        The round: one result a chair; only chairs with an earlier result count.

    Raises
    ------
    Mendable
        Fewer than three such chairs, or two results of one chair in the round.
    """
    trend, held = expected_before(earlier, last, priors)
    return rise_of(trend, held)


def expected_before(earlier: Sequence[Sample], last: Sequence[Sample], priors: Priors = PRIORS) -> tuple[Trend, list[Sample]]:
    """Return the fit of the results before the last round, and those of the round that can be held against it; raises as `common_rise`."""
    known = {sample.chair for sample in earlier}
    held = [sample for sample in last if sample.chair in known]
    if len(held) < FEWEST_CHAIRS or len({sample.chair for sample in held}) < len(held):
        raise Mendable(
            f"{len(held)} chairs with earlier results",
            where="common_rise: last",
            mend=f"Give one result a chair, of at least {FEWEST_CHAIRS} chairs that were sampled before.",
        )
    return fit_practice(earlier, sorted(known), priors), held


def rise_of(trend: Trend, held: Sequence[Sample]) -> CommonRise:
    """Return how far results lie above what a fit of earlier ones expects, all together."""
    shares = np.stack([_share_below(trend, sample) for sample in held], axis=1)  # (points, chairs)
    z = np.clip(ndtri(shares), -MOST_OF_ONE, MOST_OF_ONE).sum(axis=1) / math.sqrt(len(held))
    middle = trend.weights @ shares
    return CommonRise(float(trend.weights @ ndtr(-z)), len(held), int((middle > 0.5).sum()))


def _share_below(trend: Trend, sample: Sample) -> Floats:
    """Return for each point the mid-P of a result: the chance of fewer colonies, and half that of as many [L]."""
    chair = trend.of(sample.chair)
    x = float(regrowth_x(sample.days_since_intensive))
    sd = np.sqrt(chair.var_a + 2.0 * chair.cov * x + chair.var_b * x**2 + chair.sd_sample**2)
    node, weight = np.polynomial.hermite_e.hermegauss(NODES)
    expected = sample.volume_ml * 10.0 ** ((chair.a + chair.b * x)[:, None] + sd[:, None] * node)
    weight = weight / weight.sum()
    fewer = (gammaincc(float(sample.colonies), expected) if sample.colonies > 0 else np.zeros_like(expected)) @ weight
    at_most = gammaincc(sample.colonies + 1.0, expected) @ weight
    if sample.kind == "above":
        share: Floats = fewer + 0.5 * (gammainc(float(sample.colonies), expected) @ weight)
    elif sample.kind == "below":
        share = 0.5 * at_most
    else:
        share = 0.5 * (fewer + at_most)
    return share
