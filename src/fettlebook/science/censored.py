"""Fits to counts of which some are only bounds, and how far replicate counts scatter beyond chance.

A '<' result is a bound, not half its limit: it enters with the probability of lying below.

Sources
-------
[T] J. Tobin, Econometrica 26 (1958) 24: regression with a limited outcome. secondary (the saved output of R's survival)
[E] US EPA, Unified Guidance (2009), chapter 15: log-normal with values below detection, by maximum likelihood. secondary (R's EnvStats)
[N] Negative binomial, variance m + m^2/k, k by maximum likelihood. secondary (R's MASS)
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq, minimize
from scipy.special import log_ndtr, psi

from fettlebook.errors import Mendable

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class CensoredFit:
    """Coefficients of a normal regression and its SD; `fitted` are the means of the rows."""

    coefficients: tuple[float, ...]
    sd: float
    fitted: tuple[float, ...]


def fit_censored(y: ArrayLike, below: ArrayLike, slopes: ArrayLike | None = None) -> CensoredFit:
    """Return the maximum-likelihood fit of y = X c + N(0, sd), where rows with `below` say only that y is under the value given [T].

    Parameters
    ----------
    y, below
        Values (n,), and which of them are upper bounds.
    slopes
        Columns beside the constant (n, m).

    Raises
    ------
    Mendable
        Fewer values seen than coefficients: all-bounds have no fit.
    """
    values, bound = np.asarray(y, dtype=np.float64), np.asarray(below, dtype=bool)
    x = np.ones((values.size, 1)) if slopes is None else np.c_[np.ones(values.size), np.asarray(slopes, dtype=np.float64)]
    if (~bound).sum() <= x.shape[1]:
        raise Mendable(
            f"{int((~bound).sum())} values seen, {int(bound.sum())} only below a limit",
            where="fit_censored: y",
            mend="Too few numbers were seen to say a mean and a spread. Only the bounds can be reported.",
        )
    centre, scale = x[:, 1:].mean(axis=0), np.maximum(x[:, 1:].std(axis=0), 1e-300)
    z = np.c_[x[:, :1], (x[:, 1:] - centre) / scale]

    def loss(p: Floats) -> tuple[float, Floats]:
        sd = math.exp(p[-1])
        r = (values - z @ p[:-1]) / sd
        log_p = log_ndtr(r)
        ratio = np.exp(-0.5 * r * r - log_p) / math.sqrt(2.0 * math.pi)
        log = np.where(bound, log_p, -0.5 * r * r - p[-1] - 0.5 * math.log(2.0 * math.pi))
        d_mean = np.where(bound, -ratio, r) / sd
        d_log_sd = np.where(bound, -ratio * r, r * r - 1.0)
        return -float(log.sum()), -np.r_[z.T @ d_mean, d_log_sd.sum()]

    seen = values[~bound]
    start = np.r_[seen.mean(), np.zeros(x.shape[1] - 1), math.log(max(float(seen.std()), 1e-6))]
    found = minimize(loss, start, jac=True, method="BFGS", options={"gtol": 1e-10, "maxiter": 500})
    slope = found.x[1:-1] / scale
    coefficients = (float(found.x[0] - slope @ centre), *(float(s) for s in slope))
    return CensoredFit(coefficients, math.exp(found.x[-1]), tuple(float(f) for f in z @ found.x[:-1]))


def log_normal_with_bounds(seen: Sequence[float], below: Sequence[float]) -> tuple[float, float]:
    """Return mean and SD of ln of values, some of which are only known to be below a limit [E]."""
    values = np.r_[np.asarray(seen, dtype=np.float64), np.asarray(below, dtype=np.float64)]
    if not (np.isfinite(values) & (values > 0.0)).all():
        raise Mendable("a value or limit not above zero", where="log_normal_with_bounds", mend="Give counts and limits above zero.")
    fit = fit_censored(np.log(values), np.r_[np.zeros(len(seen), bool), np.ones(len(below), bool)])
    return fit.coefficients[0], fit.sd


def negative_binomial_size(counts: Sequence[int], frequency: Sequence[int] | None = None) -> tuple[float, float]:
    """Return mean and size k of counts, variance m + m^2/k [N]; k is infinite when they scatter no more than Poisson."""
    y = np.asarray(counts, dtype=np.float64)
    w = np.ones(y.size) if frequency is None else np.asarray(frequency, dtype=np.float64)
    if y.size == 0 or (y < 0).any() or w.sum() < 2:
        raise Mendable(f"counts {counts!r}", where="negative_binomial_size", mend="Give at least two counts, 0 or more.")
    total = w.sum()
    mean = float((w * y).sum() / total)
    if mean == 0.0 or float((w * (y - mean) ** 2).sum() / total) <= mean:
        return mean, math.inf

    def score(log_k: float) -> float:
        k = math.exp(log_k)
        return float((w * (psi(y + k) - psi(k))).sum() + total * math.log(k / (k + mean)))

    return mean, math.exp(float(brentq(score, -20.0, 20.0, xtol=1e-12)))
