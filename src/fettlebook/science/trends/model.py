"""What goes in: results as a laboratory saw them, and the priors."""

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fettlebook.errors import Mendable

Floats = NDArray[np.float64]
Kind = Literal["count", "below", "above"]
MOST_DAYS: Final = 3_650.0
MOST_COLONIES: Final = 10_000_000
VOLUMES_ML: Final = (1e-9, 10_000.0)
WEEK: Final = 7.0  # [P] regrowth is counted in weeks


@dataclass(frozen=True, slots=True)
class Sample:
    """One sample's result.

    Attributes
    ----------
    chair
        Which chair.
    days_since_intensive
        Days since the last intensive treatment when it was taken.
    kind
        `count`: `colonies` were seen; `below`: at most so many; `above`: at least so many (too many to count).
    colonies
        On all plates together.
    volume_ml
        Undiluted sample on those plates.
    """

    chair: str
    days_since_intensive: float
    kind: Kind
    colonies: int
    volume_ml: float

    def __post_init__(self) -> None:
        if not 0.0 <= self.days_since_intensive <= MOST_DAYS:
            raise Mendable(
                f"{self.days_since_intensive} days since the last intensive treatment",
                where=f"sample of {self.chair}: days_since_intensive",
                mend=f"Give 0 to {MOST_DAYS:.0f} days. Is the sample dated before the treatment?",
            )
        least = 1 if self.kind == "above" else 0
        if not least <= self.colonies <= MOST_COLONIES:
            raise Mendable(
                f"{self.colonies} colonies ({self.kind})",
                where=f"sample of {self.chair}: colonies",
                mend=f"Give a whole number from {least} to {MOST_COLONIES:,}.",
            )
        if not VOLUMES_ML[0] <= self.volume_ml <= VOLUMES_ML[1]:
            raise Mendable(
                f"{self.volume_ml} mL",
                where=f"sample of {self.chair}: volume_ml",
                mend="Give the undiluted sample on the plates in mL, such as 0.1.",
            )


@dataclass(frozen=True, slots=True)
class Priors:
    """What is believed before any result [P]; log10 units. `version` goes into the book with each answer."""

    mu: tuple[float, float] = (2.0, 1.0)
    beta: tuple[float, float] = (0.2, 0.2)
    sd_level: float = 0.6  # half-normal
    sd_rise: float = 0.15  # half-normal
    log_sd_sample: tuple[float, float] = (math.log(0.4), 0.4)
    version: str = "1"

    def log_density(self, hyper: Floats) -> Floats:
        """Return the log density, constants left out, of rows (mu, beta, ln s_a, ln s_b, ln s)."""
        mu, beta, log_sa, log_sb, log_s = hyper.T
        value: Floats = (
            -0.5 * ((mu - self.mu[0]) / self.mu[1]) ** 2
            - 0.5 * ((beta - self.beta[0]) / self.beta[1]) ** 2
            - 0.5 * (np.exp(log_sa) / self.sd_level) ** 2
            + log_sa
            - 0.5 * (np.exp(log_sb) / self.sd_rise) ** 2
            + log_sb
            - 0.5 * ((log_s - self.log_sd_sample[0]) / self.log_sd_sample[1]) ** 2
        )
        return value

    def centre(self) -> tuple[Floats, Floats]:
        """Return mean and covariance of a normal near the prior, to begin with."""
        # ln of a half-normal of scale t: mean ln t - 0.635, SD 1.11
        mean = np.array([self.mu[0], self.beta[0], math.log(self.sd_level) - 0.635, math.log(self.sd_rise) - 0.635, self.log_sd_sample[0]])
        return mean, np.diag(np.array([self.mu[1], self.beta[1], 0.8, 0.8, self.log_sd_sample[1]]) ** 2)


PRIORS: Final = Priors()


def regrowth_x(days: ArrayLike) -> Floats:
    """Return x = ln(1 + d/7) of days since the last intensive treatment [P]."""
    return np.log1p(np.asarray(days, dtype=np.float64) / WEEK)
