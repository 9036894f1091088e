"""From plates to CFU/mL: colonies over the undiluted sample they came from, and what plates beyond counting still say.

Colonies and volume are what a plate knows; their quotient forgets how sure it is. So everything here takes the two.

Sources
-------
[B] FDA, Bacteriological Analytical Manual, chapter 3 (2001): sum C / ((1 n1 + 0.1 n2) d), range 25 to 250, rounding. read
    (a copy of the chapter). ISO 7218 and ISO 8199 have the same ratio with the volume put in. secondary
[H] C. N. Haas, B. Heller, Appl Environ Microbiol 54 (1988) 2069: plates too numerous to count enter as P(Y >= limit). secondary
[D] Duplicates of one well-mixed sample scatter as Poisson: sum (C - mean)^2 / mean is chi-square on n - 1. textbook, memory
[U] ISO/TS 19036:2006/Amd 1:2009, clause 8, equation (1): U = 2 sqrt(s_R^2 + 0.18861 / sum C). read in a copy
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Final

import numpy as np
from scipy.optimize import brentq
from scipy.special import chdtrc, gammainc, gammaln, xlogy

from fettlebook.errors import Mendable

MOST_COLONIES: Final = 100_000  # a plate holds no more that anybody would count
SMALLEST_ML: Final = 1e-9
LARGEST_ML: Final = 10_000.0
SCATTER_TO_LOOK_AT: Final = 1e-3  # [D] duplicates further apart than this ask for a look at the plates
TINY: Final = 1e-280
LOG10_E_SQUARED: Final = math.log10(math.e) ** 2  # [U] the 0.18861 of the equation


@dataclass(frozen=True, slots=True)
class Plate:
    """One plate, or several of one dilution poured together.

    `colonies` seen on `volume_ml` of *undiluted* sample; with `too_many`, at least that many (TNTC at that limit).
    """

    colonies: int
    volume_ml: float
    too_many: bool = False

    def __post_init__(self) -> None:
        if isinstance(self.colonies, bool) or self.colonies != int(self.colonies) or not 0 <= self.colonies <= MOST_COLONIES:
            raise Mendable(
                f"{self.colonies!r} colonies on a plate",
                where="plates: colonies",
                mend=f"Give a whole number from 0 to {MOST_COLONIES:,}. A plate that can't be counted is 'too many' at its limit.",
            )
        if not SMALLEST_ML <= self.volume_ml <= LARGEST_ML:  # also NaN
            raise Mendable(
                f"{self.volume_ml!r} mL of undiluted sample",
                where="plates: volume_ml",
                mend="Give the volume plated times the dilution, such as 0.01 for 1 mL of a 1:100 dilution.",
            )


PlatesLike = Mapping[float | str, Sequence[int]] | Iterable[Plate | tuple[int, float]]


def as_plates(plates: PlatesLike, volume_ml: float = 1.0) -> tuple[Plate, ...]:
    """Return plates from what a laboratory sheet has.

    Parameters
    ----------
    plates
        Dilution (0.01 for 1:100) to the colonies on each of its plates, or plates, or pairs (colonies, mL of undiluted sample).
    volume_ml
        What was poured on each plate of a dilution [mL]; only for the form by dilution.

    Raises
    ------
    Mendable
        No plate, a count that is no whole number, a dilution or volume that can't be.
    """
    if isinstance(plates, Mapping):
        found = tuple(Plate(c, volume_ml * _dilution(d)) for d, counts in plates.items() for c in counts)
    else:
        found = tuple(p if isinstance(p, Plate) else Plate(*p) for p in plates)
    if not found:
        raise Mendable("no plate", where="plates", mend="Give at least one plate: without one there is no result, not zero.")
    return found


def _dilution(text: float | str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not 0.0 < value <= 1.0:
        raise Mendable(f"dilution {text!r}", where="plates: dilution", mend="Give it as a share, such as 0.01 for 1:100; undiluted is 1.")
    return value


def weighted_mean_cfu_per_ml(plates: PlatesLike, volume_ml: float = 1.0, countable: tuple[int, int] | None = None) -> float:
    """Return the count of the undiluted sample [CFU/mL]: all colonies over all the sample that they came from [B].

    Parameters
    ----------
    plates, volume_ml
        As for `as_plates`.
    countable
        The method's countable range, both ends included, such as (25, 250). Only plates inside count then; None: all of them do.

    Raises
    ------
    Mendable
        A plate that is too many to count (`most_likely_cfu_per_ml` reads those), or none inside the range.
    """
    counted = as_plates(plates, volume_ml)
    if countable is not None:
        inside = tuple(p for p in counted if countable[0] <= p.colonies <= countable[1] and not p.too_many)
        if not inside:
            raise Mendable(
                f"no plate has {countable[0]} to {countable[1]} colonies",
                where="plates: colonies",
                mend=f"Report it as {reported(counted, countable)} and keep the counts: they are used as they are.",
            )
        counted = inside
    if any(p.too_many for p in counted):
        raise Mendable(
            "a plate too numerous to count", where="plates: colonies", mend="It says 'at least', not a number: leave it to the likelihood."
        )
    return sum(p.colonies for p in counted) / math.fsum(p.volume_ml for p in counted)


def most_likely_cfu_per_ml(plates: PlatesLike) -> float:
    """Return the most likely count [CFU/mL] when some plates are too many to count [H]; infinite if all of them are.

    Counted plates are Poisson; a plate of at least L colonies has the probability P(Y >= L), the regularised lower
    incomplete gamma function of (L, strength times volume). The log-likelihood is concave in ln strength: one root.
    """
    known = as_plates(plates)
    counted, over = [p for p in known if not p.too_many], [p for p in known if p.too_many and p.colonies > 0]
    if not over:
        return weighted_mean_cfu_per_ml(counted) if counted else 0.0
    if not counted:
        return math.inf
    colonies, poured = sum(p.colonies for p in counted), math.fsum(p.volume_ml for p in counted)

    def slope(log_strength: float) -> float:
        mean = np.exp(log_strength) * np.array([p.volume_ml for p in over])
        limit = np.array([float(p.colonies) for p in over])
        log_density = xlogy(limit, mean) - mean - gammaln(limit)  # d P(Y >= limit) / d ln(strength)
        reached = gammainc(limit, mean)
        # far below the limit P goes as strength^limit, so the slope of its logarithm is the limit itself
        gain = np.where(reached > TINY, np.exp(log_density) / np.maximum(reached, TINY), limit)
        return float(colonies - poured * math.exp(log_strength) + gain.sum())

    low = math.log(max(colonies, 0.5) / poured) - 1e-9
    high = math.log((colonies + sum(p.colonies for p in over) + 1.0) / min(p.volume_ml for p in known)) + 5.0
    return math.exp(float(brentq(slope, low, high, xtol=1e-12))) if slope(low) > 0.0 else math.exp(low)


def reported(plates: PlatesLike, countable: tuple[int, int], volume_ml: float = 1.0) -> str:
    """Return how a laboratory writes the result [CFU/mL]: two digits; '<' below the range, '>' above it [B].

    For reports only. A sum of counts below the range is still a count, and inference uses it.
    """
    known = as_plates(plates, volume_ml)
    least, most = countable
    if all(p.colonies < least and not p.too_many for p in known):
        return f"<{_plain(least / max(p.volume_ml for p in known))}"
    if all(p.colonies > most or p.too_many for p in known):
        return f">{_plain(most / min(p.volume_ml for p in known))}"
    inside = [p for p in known if least <= p.colonies <= most and not p.too_many]
    return _plain(round_two_digits(weighted_mean_cfu_per_ml(inside or [p for p in known if not p.too_many])))


def _plain(value: float) -> str:
    return f"{value:.6g}" if value < 1e6 else f"{value:.0f}"


def round_two_digits(value: float) -> float:
    """Return `value` with two digits, half to even [B]: 12,700 to 13,000, 14,500 to 14,000."""
    if value == 0.0:
        return 0.0
    exact = Decimal(repr(value))
    return float(exact.quantize(Decimal((0, (1,), exact.adjusted() - 1)), rounding=ROUND_HALF_EVEN))


def duplicates_agree(colonies: Sequence[int]) -> float:
    """Return how likely plates of one sample and volume lie this far apart by chance [D]; 1.0 for one plate, or all zero.

    Under `SCATTER_TO_LOOK_AT` somebody should look at the plates: spreaders, a mix-up, a sample that wasn't shaken.
    """
    mean = sum(colonies) / len(colonies) if colonies else 0.0
    if len(colonies) < 2 or mean == 0.0:
        return 1.0
    return float(chdtrc(len(colonies) - 1, sum((c - mean) ** 2 for c in colonies) / mean))


def expanded_uncertainty_log10(colonies: int, sd_reproducibility: float) -> float:
    """Return the laboratory's expanded uncertainty (k = 2) of log10 CFU [U], from colonies counted and its own SD in log10."""
    if colonies <= 0 or not 0.0 <= sd_reproducibility < 3.0:
        raise Mendable(
            f"{colonies} colonies, SD {sd_reproducibility}",
            where="uncertainty: colonies",
            mend="The equation needs at least one colony and an SD in log10, such as 0.15. For none, use the exact interval.",
        )
    return 2.0 * math.sqrt(sd_reproducibility**2 + LOG10_E_SQUARED / colonies)
