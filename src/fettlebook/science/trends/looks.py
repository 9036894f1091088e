"""Results and stretches that ask for a look: a result that the rest of the chair's results don't expect, and a level that turned.

A result is held against the chair without it. A turn is one chair taken as two, as different as chairs of this practice are:
the weight of evidence for that over one chair comes from the same sums, and no new model is needed.

Sources
-------
[J] H. Jeffreys, Theory of Probability (1961), appendix B: a Bayes factor above 10^1.5 is very strong. memory
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import gammainc, gammaincc, logsumexp

from fettlebook.science.trends.answers import Trend
from fettlebook.science.trends.chairs import Moments, moments
from fettlebook.science.trends.model import Sample, regrowth_x
from fettlebook.science.trends.practice import data_of, fit_practice

HEAVIEST: Final = 48  # points of what the chairs share that are used
NODES: Final = 64
STRONG: Final = 10.0**1.5  # [J]
FEWEST: Final = 2  # samples on either side of a turn


@dataclass(frozen=True, slots=True)
class OddResult:
    """How a sample lies to what the chair's other results expect: share of samples at or below it, and at or above it."""

    sample: Sample
    p_as_low: float
    p_as_high: float


@dataclass(frozen=True, slots=True)
class TurnOfLevel:
    """A chair's level turned between two samples: `after` is the place of the first later one in the samples given.

    `times_likelier` than no turn at all; `change` is the later level less the earlier one at the same age [log10].
    """

    chair: str
    after: int
    times_likelier: float
    change: float


def odd_results(trend: Trend, samples: Sequence[Sample], share: float = 0.005) -> list[OddResult]:
    """Return the samples that the chair's other results expect in under `share` of cases on one side, in the order given."""
    rest: list[Sample] = []
    for i, one in enumerate(samples):
        rest += [_as(other, str(i)) for j, other in enumerate(samples) if other.chair == one.chair and j != i]
    found, weights, hyper = _again(trend, rest, [str(i) for i in range(len(samples))])
    odd = []
    z, w = np.polynomial.hermite_e.hermegauss(NODES)
    w = w / w.sum()
    for i, one in enumerate(samples):
        x = float(regrowth_x(one.days_since_intensive))
        mean = found.a[:, i] + found.b[:, i] * x
        var = found.var_a[:, i] + 2.0 * found.cov[:, i] * x + found.var_b[:, i] * x**2
        level = mean[:, None] + np.sqrt(var + np.exp(2.0 * hyper[:, 4]))[:, None] * z
        expected = one.volume_ml * 10.0**level
        as_high = np.ones_like(expected) if one.colonies == 0 else gammainc(float(one.colonies), expected)
        as_low = gammaincc(one.colonies + 1.0, expected)
        low = 1.0 if one.kind == "above" else float(weights @ (as_low @ w))
        high = 1.0 if one.kind == "below" else float(weights @ (as_high @ w))
        if min(low, high) < share:
            odd.append(OddResult(one, low, high))
    return odd


def turns_of_level(trend: Trend, samples: Sequence[Sample]) -> list[TurnOfLevel]:
    """Return for each chair the likeliest turn, where a turn is strongly likelier than none. Samples in order of time.

    `change` comes from a fit of its own in which the chair stands as two: the scatter that the turn feigned is gone there.
    """
    parts: list[Sample] = []
    names: list[str] = []
    cuts: dict[str, list[tuple[int, int]]] = {}
    for chair in dict.fromkeys(s.chair for s in samples):
        own = [i for i, s in enumerate(samples) if s.chair == chair]
        for cut in range(FEWEST, len(own) - FEWEST + 1):
            cuts.setdefault(chair, []).append((own[cut], len(names)))
            names += [f"{len(names)}", f"{len(names) + 1}"]
            parts += [_as(samples[i], names[-2]) for i in own[:cut]]
            parts += [_as(samples[i], names[-1]) for i in own[cut:]]
    if not names:
        return []
    found, weights, _ = _again(trend, parts, names)
    heavy = _heaviest(trend)
    turns = []
    for chair, places in cuts.items():
        whole = trend.moments.log_evidence[heavy, trend.chairs.index(chair)]
        gains = [float(logsumexp(found.log_evidence[:, at] + found.log_evidence[:, at + 1] - whole, b=weights)) for _, at in places]
        factor = float(np.exp(logsumexp(gains))) / len(gains)
        if factor > STRONG:
            after, _ = places[int(np.argmax(gains))]
            turns.append(TurnOfLevel(chair, after, factor, _change(trend, samples, chair, after)))
    return turns


def _change(trend: Trend, samples: Sequence[Sample], chair: str, after: int) -> float:
    """Return the chair's later level less its earlier one, both at its samples' middle age [log10]."""
    earlier, later = f"{chair}\x00", f"{chair}\x01"
    parts = [_as(s, s.chair if s.chair != chair else earlier if i < after else later) for i, s in enumerate(samples)]
    fit = fit_practice(parts, [*(c for c in trend.chairs if c != chair), earlier, later], trend.priors)
    days = float(np.median([s.days_since_intensive for s in samples if s.chair == chair]))
    return fit.of(later).level(days)[0] - fit.of(earlier).level(days)[0]


def _as(sample: Sample, chair: str) -> Sample:
    return Sample(chair, sample.days_since_intensive, sample.kind, sample.colonies, sample.volume_ml)


def _heaviest(trend: Trend) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
    return np.argsort(-trend.weights, kind="stable")[:HEAVIEST]


def _again(
    trend: Trend, samples: Sequence[Sample], names: Sequence[str]
) -> tuple[Moments, np.ndarray[tuple[int], np.dtype[np.float64]], np.ndarray[tuple[int, int], np.dtype[np.float64]]]:
    heavy = _heaviest(trend)
    hyper = trend.hyper[heavy]
    weights = trend.weights[heavy] / trend.weights[heavy].sum()
    return moments(data_of(samples, {name: i for i, name in enumerate(names)}), hyper), weights, hyper
