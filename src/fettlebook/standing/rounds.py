"""What was looked at at one chair beside its water: suction and surfaces together."""

from dataclasses import dataclass

from fettlebook.practice.model import Chair
from fettlebook.standing.look import Look
from fettlebook.standing.model import Verdict
from fettlebook.standing.suction import HoseDraws, SuctionCare, hoses_draw, suction_care
from fettlebook.standing.surfaces import WetTime, wet_times


@dataclass(frozen=True, slots=True)
class ChairChecks:
    """A chair's suction and surfaces in a stretch of time."""

    chair: str
    hoses: tuple[HoseDraws, ...]
    care: tuple[SuctionCare, ...]
    wet: tuple[WetTime, ...]

    @property
    def in_order(self) -> bool:
        """Whether there is something in the book of each kind that the chair has, and none of it is bad or missing."""
        suction = not self.hoses or (bool(self.care) and all(hose.steady is True for hose in self.hoses))
        verdicts = [*(one.verdict for one in self.care), *(one.verdict for one in self.wet)]
        return suction and bool(self.wet) and all(verdict is Verdict.FIT for verdict in verdicts)


def chair_checks(look: Look, chair: Chair, since: int = 0) -> ChairChecks:
    """Return what the book says of a chair's suction and surfaces from `since` [ms] on."""
    return ChairChecks(chair.id, hoses_draw(look, chair, since), suction_care(look, chair, since), wet_times(look, chair, since))
