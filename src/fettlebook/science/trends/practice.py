"""What the chairs share, by importance weights on evenly spread points of a normal that learns where the answer lies.

Sources
-------
[R] Points: additive recurrence with powers of the root g of g^6 = g + 1 (generalised golden ratio, M. Roberts 2018). memory
[K] L. Kish, Survey Sampling (1965): effective number of weighted points, (sum w)^2 / sum w^2. memory
"""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from fettlebook.errors import Mendable
from fettlebook.science.trends.answers import Trend
from fettlebook.science.trends.chairs import Look, moments
from fettlebook.science.trends.levels import Data
from fettlebook.science.trends.likelihood import results_of, tables
from fettlebook.science.trends.model import PRIORS, Priors, Sample, regrowth_x

Floats = NDArray[np.float64]
LEARNING: Final = (64, 128, 128)
POINTS: Final = 512
ENOUGH_POINTS: Final = 80.0
LEAST_POINTS: Final = 50.0  # fewer effective points: a warning instead of an answer
AGAIN: Final = 3
WIDER: Final = 1.25
TRUST: Final = 6.0  # how many effective points the spread known so far is worth
NEGLIGIBLE: Final = 9.0  # a point with e^-9 of the best one's weight is left out
ROOT: Final = 1.1347241384015194  # [R]


def fit_practice(samples: Sequence[Sample], chairs: Sequence[str], priors: Priors = PRIORS, points: int = POINTS) -> Trend:
    """Return where each chair of a practice stands.

    Parameters
    ----------
    samples
        Results of valid samples, any order.
    chairs
        All chairs; one without a sample is told from the others' spread, and is marked as having none.
    priors
        What is believed before any result.
    points
        Of the final round; 512 keeps P within 0.01 of full sampling.

    Raises
    ------
    Mendable
        A sample of a chair that isn't listed, or no chair.
    """
    place = {chair: i for i, chair in enumerate(chairs)}
    unknown = sorted({s.chair for s in samples} - set(place))
    if unknown or not place:
        raise Mendable(
            f"samples of {', '.join(unknown)}" if unknown else "no chair",
            where="fit_practice: chairs",
            mend="List every chair that has samples. Was a chair renamed?",
        )
    data = data_of(samples, place)
    mean, cov = priors.centre()
    for count in LEARNING:
        hyper, spread = _points(mean, cov, count)
        mean, cov = _learn(hyper, spread + _log_density(data, priors, hyper), mean, cov)
    enough = ENOUGH_POINTS * points / POINTS
    for left in reversed(range(AGAIN)):
        hyper, spread = _points(mean, cov, points)
        outside = spread + priors.log_density(hyper)
        look = Look(data, hyper)
        rough = outside + look.log_evidence.sum(axis=1)
        if left and _effective(_shares(rough)) < enough:  # known before the full work: look elsewhere
            mean, cov = _learn(hyper, rough, mean, cov)
            continue
        heavy = np.flatnonzero(rough > rough.max() - NEGLIGIBLE)
        hyper, found = hyper[heavy], look.moments(heavy)
        log_w = outside[heavy] + found.log_evidence.sum(axis=1)
        weights = _shares(log_w)
        effective = _effective(weights)
        if effective >= enough:
            break
        mean, cov = _learn(hyper, log_w, mean, cov)
    counts = np.bincount(data.of, minlength=len(place))
    return Trend(tuple(chairs), tuple(int(c) for c in counts), weights, hyper, found, effective, priors)


def data_of(samples: Sequence[Sample], place: dict[str, int]) -> Data:
    """Return the samples as arrays sorted by chair."""
    ordered = sorted(samples, key=lambda s: (place[s.chair], s.days_since_intensive, s.kind, s.colonies, s.volume_ml))
    distinct, which = results_of(ordered)
    table = tables(distinct) if distinct else np.zeros((0, 0, 0))
    x = regrowth_x([s.days_since_intensive for s in ordered])
    return Data(table, which, x, np.array([place[s.chair] for s in ordered], dtype=np.intp), len(place))


def _points(mean: Floats, cov: Floats, count: int) -> tuple[Floats, Floats]:
    """Return points of the widened normal [R], and the log of one over its density there, constants left out."""
    z = ndtri((0.5 + np.outer(np.arange(1, count + 1), ROOT ** -np.arange(1.0, 6.0))) % 1.0)
    return mean + z @ (np.linalg.cholesky(cov) * WIDER).T, 0.5 * (z**2).sum(axis=1)


def _log_density(data: Data, priors: Priors, hyper: Floats) -> Floats:
    """Return the log density of what the chairs share, by Laplace: good enough to learn where to look."""
    value: Floats = priors.log_density(hyper) + moments(data, hyper, nodes=1).log_evidence.sum(axis=1)
    return value


def _shares(log_w: Floats) -> Floats:
    w: Floats = np.exp(log_w - log_w.max())
    return np.asarray(w / w.sum())


def _effective(w: Floats) -> float:
    return 1.0 / float((w**2).sum())  # [K]


def _learn(hyper: Floats, log_w: Floats, mean: Floats, cov: Floats) -> tuple[Floats, Floats]:
    w = _shares(log_w)
    effective = _effective(w)
    new = w @ hyper
    off = hyper - new
    seen = (off * w[:, None]).T @ off
    return new, (effective * seen + TRUST * cov) / (effective + TRUST) if effective < 10.0 * TRUST else seen
