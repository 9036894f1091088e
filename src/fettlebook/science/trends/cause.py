"""Water of several chairs rose at once: which of the things that they share is it - the supply, a product's lot, the laboratory?

Each candidate says which chairs it touches. For each, the round's results are as likely as one common shift of just those chairs makes
them, averaged over the size of the shift and over what the chairs share. Beside them stand that nothing rose, and that one chair rose by
itself. Candidates that touch the same chairs can't be told apart by counts, whatever the numbers: they stand together. A shared rise is
told from `TOLD` on, and one of its causes is named only if it carries `NAMED` of theirs.

Sources
-------
[P] What is believed before (a shared rise in one round of ten, one of a single chair as often, the size of a shift, each set of chairs
    alike) and both thresholds are our own choice; their error rates are simulated (benchmarks/water_cause.py).
[G] E(log10 rate) of k colonies is psi(k + 1/2) / ln 10, its variance psi'(k + 1/2) / ln(10)^2 (gamma posterior, Jeffreys). textbook, memory
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import digamma, gammainc, gammaincc, log_ndtr, logsumexp, polygamma, xlogy

from fettlebook.science.trends.answers import Trend
from fettlebook.science.trends.model import PRIORS, Priors, Sample, regrowth_x
from fettlebook.science.trends.supply import expected_before

Floats = NDArray[np.float64]
TOLD: Final = 0.90  # [P] from this probability on a shared rise is told
NAMED: Final = 0.95  # [P] a cause that carries so much of it is named
BEFORE: Final = {"nothing": 0.8, "one chair": 0.1, "shared": 0.1}  # [P]
SHIFTS: Final = np.linspace(0.2, 2.6, 25)  # log10
SHIFT: Final = (1.0, 0.5)  # [P] middle and SD of the shift that is believed before
NODES: Final = 48
MET_NODES: Final = 12
MANY: Final = 10  # a bound of so many colonies and more is taken as one of a log-normal rate [G]
LN10: Final = math.log(10.0)


@dataclass(frozen=True, slots=True)
class Suspect:
    """What touches the same chairs, by its names, and how probable it is that just these rose, if any did."""

    names: tuple[str, ...]
    chairs: tuple[str, ...]
    probability: float


@dataclass(frozen=True, slots=True)
class RiseCause:
    """Suspects, the likeliest first, and how probable it is that any of them is one at all: chairs of theirs rose together."""

    probability: float
    suspects: tuple[Suspect, ...]

    @property
    def suspected(self) -> bool:
        """Whether a rise is told at all."""
        return self.probability >= TOLD

    @property
    def named(self) -> Suspect | None:
        """The suspects that the data single out; None where they don't. It may still have several names."""
        first = self.suspects[0] if self.suspected and self.suspects else None
        return first if first is not None and first.probability >= NAMED else None


def rise_cause(
    earlier: Sequence[Sample], last: Sequence[Sample], touches: Mapping[str, frozenset[str]], priors: Priors = PRIORS
) -> RiseCause:
    """Return what of the things that chairs share fits a rise of the last round.

    Parameters
    ----------
    earlier, last
        As for `common_rise`.
    touches
        Name of each candidate with the chairs that it touches; fewer than two of those held against their past can't be told from
        chairs of their own, and are left out.

    Raises
    ------
    Mendable
        As `common_rise`.
    """
    trend, held = expected_before(earlier, last, priors)
    return cause_of(trend, held, touches)


def cause_of(trend: Trend, held: Sequence[Sample], touches: Mapping[str, frozenset[str]]) -> RiseCause:
    """Return the same from a fit of the results before the round (`supply.expected_before`)."""
    sets: dict[frozenset[str], list[str]] = {}
    here = frozenset(sample.chair for sample in held)
    for name, chairs in touches.items():
        if len(chairs & here) >= min(2, len(here)):
            sets.setdefault(chairs & here, []).append(name)
    if not sets:
        return RiseCause(0.0, ())
    calm, shifted = _log_likelihoods(trend, held)
    weight = -0.5 * ((SHIFTS - SHIFT[0]) / SHIFT[1]) ** 2
    weight -= logsumexp(weight)
    log_w = np.log(trend.weights)

    def evidence(chairs: frozenset[str]) -> float:
        """Return the log likelihood of the round where just these chairs shifted."""
        inside = np.array([sample.chair in chairs for sample in held])
        total = shifted[:, inside, :].sum(axis=1) + calm[:, ~inside].sum(axis=1)[:, None]
        return float(logsumexp(total + log_w[:, None] + weight[None, :]))

    shared = np.array([evidence(chairs) for chairs in sets])
    single = np.array([evidence(frozenset({chair})) for chair in sorted(here)])
    nothing = float(logsumexp(calm.sum(axis=1) + log_w))
    any_shared = float(logsumexp(shared)) - math.log(shared.size)
    each = [
        math.log(BEFORE["nothing"]) + nothing,
        math.log(BEFORE["one chair"]) + float(logsumexp(single)) - math.log(single.size),
        math.log(BEFORE["shared"]) + any_shared,
    ]
    probability = math.exp(each[2] - float(logsumexp(each)))
    share = np.exp(shared - logsumexp(shared))
    suspects = [Suspect(tuple(names), tuple(sorted(chairs)), float(p)) for (chairs, names), p in zip(sets.items(), share, strict=True)]
    return RiseCause(probability, tuple(sorted(suspects, key=lambda one: -one.probability)))


def _log_likelihoods(trend: Trend, held: Sequence[Sample]) -> tuple[Floats, Floats]:
    """Return the log likelihood of each result as expected, (points, chairs), and under each shift, (points, chairs, shifts)."""
    calm = np.zeros((trend.weights.size, len(held)))
    shifted = np.zeros((trend.weights.size, len(held), SHIFTS.size))
    for number, sample in enumerate(held):
        chair, x = trend.of(sample.chair), float(regrowth_x(sample.days_since_intensive))
        mean = chair.a + chair.b * x
        var = chair.var_a + 2.0 * chair.cov * x + chair.var_b * x**2 + chair.sd_sample**2
        calm[:, number] = _log_p(sample, mean[:, None], var[:, None])[:, 0]
        shifted[:, number, :] = _log_p(sample, mean[:, None] + SHIFTS[None, :], var[:, None])
    return calm, shifted


def _log_p(sample: Sample, mean: Floats, var: Floats) -> Floats:
    """Return the log probability of a result (up to what no shift changes) where log10 of its concentration is N(mean, var)."""
    k, volume = sample.colonies, sample.volume_ml
    if k >= (1 if sample.kind == "count" else MANY):  # [G]
        middle = (float(digamma(k + 0.5)) - math.log(volume)) / LN10
        own = float(polygamma(1, k + 0.5)) / LN10**2
        if sample.kind == "count":
            return _log_p_count(sample, mean, var, (middle, own))
        z = (mean - middle) / np.sqrt(var + own)
        tail: Floats = log_ndtr(z if sample.kind == "above" else -z)
        return tail
    node, weight = np.polynomial.hermite_e.hermegauss(NODES)
    rate = volume * 10.0 ** np.minimum(mean[..., None] + np.sqrt(var)[..., None] * node, 9.0)
    if sample.kind == "above":
        log = np.log(np.maximum(gammainc(float(k), rate), 1e-300))
    else:  # none seen is the same as at most none
        log = np.log(np.maximum(gammaincc(k + 1.0, rate), 1e-300))
    summed: Floats = logsumexp(log, b=weight / weight.sum(), axis=-1)
    return summed


def _log_p_count(sample: Sample, mean: Floats, var: Floats, about: tuple[float, float]) -> Floats:
    """Return the same of a count, by few nodes where rate and expectation meet: `about` is mean and variance of the rate alone [G]."""
    pull = 1.0 / (1.0 / var + 1.0 / about[1])
    middle = pull * (mean / var + about[0] / about[1])
    node, weight = np.polynomial.hermite_e.hermegauss(MET_NODES)
    level = middle[..., None] + np.sqrt(pull)[..., None] * node
    rate = sample.volume_ml * 10.0 ** np.minimum(level, 9.0)
    log = xlogy(float(sample.colonies), rate) - rate - 0.5 * (level - mean[..., None]) ** 2 / var[..., None] + 0.5 * node**2
    value: Floats = logsumexp(log, b=weight, axis=-1) + 0.5 * np.log(pull / var)
    return value
