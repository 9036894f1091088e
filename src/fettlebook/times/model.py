"""A running time with its reasons: the candidates, which of them set it, and the derivation in words."""

from dataclasses import dataclass
from typing import Literal

from fettlebook.rules.model import Origin, When

# "usual": the rulebook leaves the length to the practice, and nobody has measured it here yet.
SetBy = Literal["rule", "label", "line", "fixed", "measured", "usual"]


@dataclass(frozen=True, slots=True)
class Candidate:
    """One of the lengths that a step must reach: the longest sets the time.

    `seconds` is not rounded. Where groups of outlets run one after the other, it is the sum over the groups.
    """

    set_by: SetBy
    seconds: float
    why: str
    origin: Origin | None = None


@dataclass(frozen=True, slots=True)
class OutletTime:
    """What one outlet of the chair needs, in the group in which it is opened."""

    outlet: str
    group: int
    seconds: float  # holds in 95 of 100 cases, although bore, length and flow are not known exactly
    residual: float  # share of old water (flush, rinse) or of feed strength missing (fill) that is aimed at
    flow_ml_min: float
    measured: bool
    nominal_s: float = 0.0  # by best estimate
    bound_s: float = 0.0  # safe bound: long enough for any straight line and whatever dissolves in the water
    reading: str = ""  # which reading of the joints set it: mixed, coherent, bound
    measure_first: str = ""  # the input whose error lengthens the time most: flow, bore, length
    strips_s: float | None = None  # what strips at this outlet ask for; where they ask for more it is `seconds`


@dataclass(frozen=True, slots=True)
class GroupTime:
    """Outlets that are opened together, and how long; the groups of a step follow one another."""

    group: int
    outlets: tuple[str, ...]
    seconds: int
    set_by: SetBy


@dataclass(frozen=True, slots=True)
class RunningTime:
    """How long one step runs on one chair.

    `seconds` is the longest candidate of each group, rounded up to whole seconds and summed over the groups; None when
    it can't be said (`missing` tells why and how to mend it), and then the step must not be planned as done.
    `set_by` is the candidate without which the time would fall most, and `margin_s` is by how much; `runner_up` is what
    would set it then. Both are None where only one candidate asks.

    The line's candidate is the need that holds in 95 of 100 cases (`p95_s`); `nominal_s` is its best estimate.
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
    product_ml: float = 0.0  # mixed solution, as it enters the line
    duty_name: str = ""
    groups: tuple[GroupTime, ...] = ()
    margin_s: int | None = None
    runner_up: SetBy | None = None
    notes: tuple[str, ...] = ()  # short, shown beside the time: flow not measured, unchecked source, bottle refills
    out_of_service: bool = False
    nominal_s: float | None = None  # what the line needs by best estimate, summed over the groups; None: no line in this step
    p95_s: float | None = None  # what the line needs in 95 of 100 cases, summed over the groups
    measure_first: str = ""  # in words: the input worth measuring first
    waste_ml: float = 0.0  # what leaves the line
    bottle_fills: int = 0  # how often the bottle is filled for this step; 0: no bottle, or nothing drawn

    @property
    def unchecked(self) -> bool:
        """Whether a candidate rests on a source that nobody has seen."""
        return any(c.origin is not None and not c.origin.checked for c in self.candidates)

    @property
    def unmeasured(self) -> tuple[str, ...]:
        """The outlets whose flow was typed in without a day of measurement."""
        return tuple(o.outlet for o in self.outlets if not o.measured)


@dataclass(frozen=True, slots=True)
class DutyTotal:
    """Seconds and volumes of one duty on one chair; lower bounds where `missing` names steps without a time."""

    chair: str
    duty_id: str
    duty_name: str
    when: When
    attended_s: int
    unattended_s: int
    missing: tuple[str, ...] = ()
    water_ml: float = 0.0
    product_ml: float = 0.0
    waste_ml: float = 0.0
    bottle_fills: int = 0

    @property
    def complete(self) -> bool:
        """Whether every step of the duty has a time."""
        return not self.missing
