"""What the fit says of each chair: today's level with its range, the chance of being over a limit, and the day when that matters."""

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

from fettlebook.errors import Mendable
from fettlebook.science.trends.chairs import Moments
from fettlebook.science.trends.model import Priors, regrowth_x

Floats = NDArray[np.float64]
RISK: Final = 0.10  # treat when the chance of being over is that high: over and left alone costs ten times a treatment
HORIZON_DAYS: Final = 365
EXACT: Final = 1e-7  # log10 CFU/mL, of a quantile
MOST_STEPS: Final = 60  # halvings alone need 28
COARSE: Final = 24


@dataclass(frozen=True)
class Trend:
    """The fit of a practice. `effective` under `LEAST_POINTS`: the answer is not to be trusted, and a face says so."""

    chairs: tuple[str, ...]
    samples: tuple[int, ...]
    weights: Floats  # (points,)
    hyper: Floats  # (points, 5): mu, beta, ln s_a, ln s_b, ln s
    moments: Moments
    effective: float
    priors: Priors

    def of(self, chair: str) -> "ChairTrend":
        """Return what it says of one chair."""
        i = self.chairs.index(chair)
        m = self.moments
        return ChairTrend(
            chair,
            self.samples[i],
            self.weights,
            m.a[:, i],
            m.b[:, i],
            m.var_a[:, i],
            m.var_b[:, i],
            m.cov[:, i],
            np.exp(self.hyper[:, 4]),
        )

    @cached_property
    def shared(self) -> dict[str, tuple[float, float]]:
        """Mean and SD of what the chairs share: mu, beta, s_a, s_b, s."""
        values = self.hyper.copy()
        values[:, 2:] = np.exp(values[:, 2:])
        mean = self.weights @ values
        sd = np.sqrt(self.weights @ (values - mean) ** 2)
        return {name: (float(m), float(s)) for name, m, s in zip(("mu", "beta", "s_a", "s_b", "s"), mean, sd, strict=True)}


@dataclass(frozen=True)
class ChairTrend:
    """One chair: a mixture of normals over the points. Levels are log10 CFU/mL of the geometric mean.

    `samples` is 0 for a chair that was never sampled: what follows is then the practice's spread, and proves nothing of it.
    """

    chair: str
    samples: int
    weights: Floats
    a: Floats
    b: Floats
    var_a: Floats
    var_b: Floats
    cov: Floats
    sd_sample: Floats

    def level(self, days: float) -> tuple[float, float]:
        """Return mean and SD of the level so many days after an intensive treatment."""
        mean, var = self._at(days)
        middle = float(self.weights @ mean)
        return middle, float(np.sqrt(self.weights @ (var + (mean - middle) ** 2)))

    def quantiles(self, days: float, shares: ArrayLike = (0.05, 0.5, 0.95)) -> Floats:
        """Return quantiles of the level."""
        mean, var = self._at(days)
        return _quantiles(self.weights, mean, np.sqrt(var), shares)

    def next_quantiles(self, days: float, shares: ArrayLike = (0.05, 0.5, 0.95)) -> Floats:
        """Return quantiles of the next sample's own concentration, counting error left out."""
        mean, var = self._at(days)
        return _quantiles(self.weights, mean, np.sqrt(var + self.sd_sample**2), shares)

    def share_below(self, level_log10: float, days: float) -> float:
        """Return the probability that the level is below `level_log10`."""
        mean, var = self._at(days)
        return float(self.weights @ ndtr((level_log10 - mean) / np.sqrt(var)))

    def p_above(self, limit_cfu_ml: float, days: float) -> float:
        """Return the probability that the level is above the limit."""
        mean, var = self._at(days)
        return float(self.weights @ ndtr((mean - _log(limit_cfu_ml)) / np.sqrt(var)))

    def p_next_above(self, limit_cfu_ml: float, days: float) -> float:
        """Return the probability that the next sample's own concentration is above the limit."""
        mean, var = self._at(days)
        return float(self.weights @ ndtr((mean - _log(limit_cfu_ml)) / np.sqrt(var + self.sd_sample**2)))

    def days_until(self, limit_cfu_ml: float, days: float, risk: float = RISK, horizon: int = HORIZON_DAYS) -> int | None:
        """Return in how many whole days, without treatment, `p_above` reaches `risk`: 0 today, None not within the horizon."""
        limit = _log(limit_cfu_ml)

        def over(ahead: NDArray[np.intp]) -> NDArray[np.bool_]:
            x = regrowth_x(days + ahead)[:, None]
            sd = np.sqrt(self.var_a + 2.0 * self.cov * x + self.var_b * x**2)
            chance: Floats = ndtr((self.a + self.b * x - limit) / sd) @ self.weights
            return chance >= risk

        # the chance goes with the logarithm of the days, so a few steps find the stretch, and that is looked through day by day
        steps = np.unique(np.r_[0, np.geomspace(1, horizon, COARSE).astype(np.intp), horizon])
        hit = over(steps)
        if not hit.any():
            return None
        first = int(hit.argmax())
        stretch = np.arange(steps[first - 1] + 1 if first else 0, steps[first] + 1)
        return int(stretch[over(stretch).argmax()])

    def reduction(self, days_before: float) -> tuple[float, float]:
        """Return mean and SD of what an intensive treatment took away so many days after the one before [log10]: b x."""
        x = float(regrowth_x(days_before))
        middle = float(self.weights @ self.b) * x
        return middle, float(np.sqrt(self.weights @ (self.var_b * x**2 + (self.b * x - middle) ** 2)))

    def value_of_a_sample(self, limit_cfu_ml: float, days: float, treating: float = RISK) -> float:
        """Return by how much one more sample today lowers the expected loss.

        Loss 1 if the chair is over and left alone, `treating` if it is treated; counting error left out.
        """
        mean, var = self._at(days)
        limit = _log(limit_cfu_ml)
        total = np.sqrt(var + self.sd_sample**2)
        t = np.linspace(float((mean - 6.0 * total).min()), float((mean + 6.0 * total).max()), 801)[:, None]
        density = np.exp(-0.5 * ((t - mean) / total) ** 2) / (total * np.sqrt(2.0 * np.pi)) * self.weights
        pull = var / total**2
        after = mean + pull * (t - mean)
        over = ndtr((after - limit) / np.sqrt(np.maximum(var * (1.0 - pull), 1e-300)))
        expected = float(np.trapezoid(np.minimum(treating * density.sum(axis=1), (density * over).sum(axis=1)), t[:, 0]))
        return max(0.0, min(treating, self.p_above(limit_cfu_ml, days)) - expected)

    def _at(self, days: float) -> tuple[Floats, Floats]:
        x = float(regrowth_x(days))
        return self.a + self.b * x, self.var_a + 2.0 * self.cov * x + self.var_b * x**2


def _log(limit_cfu_ml: float) -> float:
    if not limit_cfu_ml > 0.0:
        raise Mendable(f"limit {limit_cfu_ml} CFU/mL", where="limit", mend="Give a limit above zero, such as 500.")
    return float(np.log10(limit_cfu_ml))


def _quantiles(weights: Floats, mean: Floats, sd: Floats, shares: ArrayLike) -> Floats:
    """Return quantiles of a mixture of normals by Newton's steps, halving where one would leave what is known to hold it."""
    wanted = np.asarray(shares, dtype=np.float64)
    low = np.full(wanted.shape, float((mean - 9.0 * sd).min()))
    high = np.full(wanted.shape, float((mean + 9.0 * sd).max()))
    middle = float(weights @ mean)
    at: Floats = middle + float(np.sqrt(weights @ (sd**2 + (mean - middle) ** 2))) * ndtri(np.clip(wanted, 1e-9, 1.0 - 1e-9))
    density = weights / (sd * math.sqrt(2.0 * math.pi))
    for _ in range(MOST_STEPS):
        z = (at[..., None] - mean) / sd
        off = ndtr(z) @ weights - wanted
        low, high = np.where(off < 0.0, at, low), np.where(off < 0.0, high, at)
        with np.errstate(divide="ignore", invalid="ignore"):
            after = at - off / (np.exp(-0.5 * z * z) @ density)
        after = np.where((after > low) & (after < high), after, (low + high) / 2.0)
        moved, at = np.abs(after - at).max(initial=0.0), after
        if moved < EXACT:
            break
    return at
