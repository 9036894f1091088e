"""What one result's plates say in the form that the model takes: colonies on a volume, or a bound on them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from scipy.special import gammainc

from fettlebook.science.counts import poisson_interval
from fettlebook.science.plates import Plate
from fettlebook.science.trends.model import Kind

CERTAIN: Final = 0.95  # a plate too many to count adds nothing where the counted ones expect that with such a chance


@dataclass(frozen=True, slots=True)
class Seen:
    """`colonies` on `volume_ml` of undiluted sample; by `kind` so many, at most, or at least so many."""

    kind: Kind
    colonies: int
    volume_ml: float


def seen_on(plates: Sequence[Plate], per_ml: float, mark: str | None, volume_ml: float) -> Seen | None:
    """Return what a result says; None where its plates don't go together.

    Parameters
    ----------
    plates
        Plates with their colonies; none: only the number of the report is known.
    per_ml, mark
        The report's number [CFU/mL]: `below` less than it, `above` more than it.
    volume_ml
        Undiluted sample on the plates, for a report without colonies [mL].

    Notes
    -----
    All plates counted: their sums (Poisson). All too many: the plate that says most, at least its limit. Some of each: the counted
    ones alone, where even the low end of their 95 % interval expects the others to be too many; else they contradict each other.
    """
    if not plates:
        expected = per_ml * volume_ml
        if mark == "below":
            return Seen("below", max(0, math.ceil(expected - 1e-9) - 1), volume_ml)
        if mark == "above":
            return Seen("above", max(1, math.floor(expected + 1e-9) + 1), volume_ml)
        return Seen("count", round(expected), volume_ml)
    over = [plate for plate in plates if plate.too_many]
    counted = [plate for plate in plates if not plate.too_many]
    if not counted:
        most = max(over, key=lambda plate: plate.colonies / plate.volume_ml)
        return Seen("above", max(1, most.colonies), most.volume_ml)
    colonies, poured = sum(plate.colonies for plate in counted), math.fsum(plate.volume_ml for plate in counted)
    low = poisson_interval(colonies)[0] / poured
    if any(gammainc(float(max(1, plate.colonies)), low * plate.volume_ml) < CERTAIN for plate in over):
        return None
    return Seen("count", colonies, poured)
