"""Which load a cycle type is for: a wrapped or hollow set in an N cycle is unfit however good the curve is.

Sources
-------
[T] EN 13060, types of sterilization cycles, wording of 2014 as a trainer quotes it: B for wrapped or not, solid, hollow and porous; N for
    not wrapped solid products only, for use at once; S for what its maker specifies. secondary
"""

from dataclasses import dataclass
from typing import Final, Literal

from fettlebook.science.cycles.criteria import Criteria
from fettlebook.science.cycles.outcome import Outcome, evidence

Form = Literal["solid", "porous", "hollow"]
_SOURCE: Final = "EN 13060, types of sterilization cycles, as quoted"


@dataclass(frozen=True, slots=True)
class LoadForm:
    """What lies in the load: the form that is hardest for steam to reach, and whether anything is wrapped."""

    form: Form
    wrapped: bool

    def __str__(self) -> str:
        return f"{'wrapped' if self.wrapped else 'unwrapped'} {self.form}"


def of_load(criteria: Criteria, load: LoadForm | None) -> list[Outcome]:
    """Return whether such a load may ride in this type of cycle [T]; nothing where the load or the type isn't told."""
    if load is None or criteria.kind != "steam":
        return []
    if criteria.cycle_type == "N" and (load.wrapped or load.form != "solid"):
        why = f"{load} in an N cycle: N is for unwrapped solid items only"
        return [evidence("load_type", "load fits the type of cycle", why, verdict="unfit", source=_SOURCE, sure="secondary")]
    if criteria.cycle_type == "S":
        why = f"{load} in an S cycle: its maker says whether that is allowed; see the IFU"
        return [evidence("load_type", "load fits the type of cycle", why, source=_SOURCE, sure="secondary")]
    if criteria.cycle_type == "":
        return [evidence("load_type", "load fits the type of cycle", "the criteria don't say which type of cycle this is", source=_SOURCE)]
    return [evidence("load_type", "load fits the type of cycle", source=_SOURCE, sure="secondary")]
