"""A running time with its reasons: the candidates, which of them set it, and the derivation in words."""

from dataclasses import dataclass
from typing import Literal

from fettlebook.rules.model import Origin, When

SetBy = Literal["rule", "label", "line", "fixed", "measured"]


@dataclass(frozen=True, slots=True)
class Candidate:
    """One of the lengths that a step must reach: the longest sets the time."""

    set_by: SetBy
    seconds: float
    why: str
    origin: Origin | None = None


@dataclass(frozen=True, slots=True)
class OutletTime:
    """What one outlet of the chair needs, in the group in which it is opened."""

    outlet: str
    group: int
    seconds: float
    residual: float  # share of old water (flush, rinse) or of feed strength missing (fill) that is aimed at
    flow_ml_min: float
    measured: bool


@dataclass(frozen=True, slots=True)
class RunningTime:
    """How long one step runs on one chair.

    `seconds` is the largest candidate, rounded up to whole seconds; None when it can't be said (`missing` tells why
    and how to mend it), and then the step must not be planned as done.
    """

    chair: str
    duty_id: str
    when: When
    step_id: str
    name: str
    attended: bool
    seconds: int | None
    set_by: SetBy | None
    candidates: tuple[Candidate, ...]
    outlets: tuple[OutletTime, ...] = ()
    derivation: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    missing: str = ""
    water_ml: float = 0.0
    product_ml: float = 0.0
