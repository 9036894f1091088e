"""Invented water of a chair: it grows while it stands, treatment throws it back, and a laboratory counts colonies of it.

None of the figures is a fact of the trade; only the shape is: slow regrowth from what sits on the wall, quick loss by treatment,
counts that scatter as colonies on a plate do. Where a real laboratory's results shall come in, `counted` is the place.
"""

import math
import random
from dataclasses import dataclass
from typing import Final, Literal

LOWEST, HIGHEST = 0.3, 5.3  # log10 CFU/mL that a line's water comes to
GROWS_A_DAY: Final = 0.22
DAILY_TREATMENT: Final = 0.34  # log10 that the end of a day takes from it
LONG_TREATMENT: Final = 1.6
PLATES_ML: Final = (1.0, 0.1, 0.01)
METHOD: Final = "pour plate (invented)"
MOST_COLONIES: Final = 300  # more on one plate can't be counted


@dataclass(frozen=True, slots=True)
class Count:
    """A laboratory's number [CFU/mL]; `mark` as in an entry: below the method's limit, or above what could be counted."""

    value: int
    mark: Literal["below", "above"] | None
    method: str
    colonies: int | None = None  # on `plated_nl` of undiluted sample, in millionths of a mL
    plated_nl: int | None = None


@dataclass(slots=True)
class Water:
    """The water of one chair's lines; `level` is log10 CFU/mL of what comes out after standing."""

    chance: random.Random
    level: float = 1.2
    pace: float = 1.0  # some lines grow faster than others

    def stand(self, days: float) -> None:
        """Let it grow, the slower the nearer it is to the most that the line feeds."""
        room = max(0.0, 1.0 - self.level / HIGHEST)
        self.level = min(HIGHEST, self.level + self.pace * GROWS_A_DAY * days * (0.35 + room))

    def treated(self, *, long: bool = False) -> None:
        """Take what a treatment takes."""
        self.level = max(LOWEST, self.level - (LONG_TREATMENT if long else DAILY_TREATMENT))

    def counted(self) -> Count:
        """Return what a laboratory reports of a sample taken now: colonies on the first plate that can be counted."""
        there = 10 ** (self.level + self.chance.gauss(0.0, 0.12))
        for volume in PLATES_ML:
            colonies = _poisson(self.chance, there * volume)
            if colonies <= MOST_COLONIES:
                plated_nl = round(volume * 1e6)
                if colonies == 0 and volume == 1.0:
                    return Count(1, "below", METHOD, 0, plated_nl)
                return Count(round(colonies / volume), None, METHOD, colonies, plated_nl)
        return Count(round(MOST_COLONIES / PLATES_ML[-1]), "above", METHOD, MOST_COLONIES, round(PLATES_ML[-1] * 1e6))


def _poisson(chance: random.Random, mean: float) -> int:
    if mean > 50:
        return max(0, round(chance.gauss(mean, math.sqrt(mean))))
    left, count = math.exp(-mean), 0
    product = chance.random()
    while product > left:
        count += 1
        product *= chance.random()
    return count
