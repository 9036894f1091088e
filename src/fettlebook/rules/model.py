"""What a rulebook says once its layers are laid over each other: duties with steps, limits, each with its origin."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

Sure = Literal["read", "secondary", "memory", "practice"]
Force = Literal["law", "guidance", "standard", "body", "paper", "practice", "own"]


class When(StrEnum):
    """The moment by which a duty is owed."""

    BEFORE_FIRST_VISIT = "before the first visit"
    BETWEEN_VISITS = "between visits"
    END_OF_DAY = "end of day"
    AFTER_STANDING_STILL = "after standing still"
    WEEKLY = "weekly"
    BEFORE_FIRST_LOAD = "before the first load"


class Subject(StrEnum):
    """What a duty is owed to."""

    CHAIR = "chair"
    WASHER = "washer"
    ULTRASONIC = "ultrasonic bath"
    STERILIZER = "sterilizer"
    PRACTICE = "practice"


class Computed(StrEnum):
    """What `times` computes the length of a step from."""

    FLUSH = "flush"
    FILL = "fill"
    CONTACT = "contact"
    RINSE = "rinse"
    SUCTION_CONTACT = "suction contact"
    SURFACE_WET = "surface wet time"


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a value comes from. `sure` "memory" shows as unchecked."""

    layer: str
    rule_id: str
    source: str
    sure: Sure
    force: Force
    note: str = ""
    reason: str = ""  # the practice's own words, where its layer is looser than the one below; shown wherever the value is

    @property
    def checked(self) -> bool:
        """Whether a source was seen; a value from memory shows as unchecked."""
        return self.sure != "memory"


@dataclass(frozen=True, slots=True)
class Overridden:
    """A value that a later layer replaced, kept so that it can be shown."""

    value: str
    origin: Origin


@dataclass(frozen=True, slots=True)
class Step:
    """One part of a duty.

    `length` says where the time comes from: `fixed` (seconds), `measured` (the practice's stop-watch; `seconds` is the
    usual figure until it was measured), `computed` (by `times`, from `computes`; `seconds` is then the rule's floor, or None).
    """

    id: str
    name: str
    attended: bool
    length: Literal["fixed", "measured", "computed"]
    seconds: float | None
    computes: Computed | None
    outlets: Literal["all", "used", "none"]
    handpieces: Literal["on", "off", "either"]
    medium: Literal["water", "air", "water and air", "air or water", "none"]
    evidence: tuple[str, ...]
    caution: str
    origin: Origin
    overrides: tuple[Overridden, ...] = ()


@dataclass(frozen=True, slots=True)
class Duty:
    """Something that a rule asks for, of one subject, by a moment, as ordered steps."""

    id: str
    name: str
    subject: Subject
    when: When
    steps: tuple[Step, ...]
    origin: Origin
    after_idle_h: float | None = None  # for after standing still


@dataclass(frozen=True, slots=True)
class Limit:
    """A number that a result or a setting is held against.

    Several limits of one quantity stand side by side, each with its role; the strictest of a role is shown first.
    """

    id: str
    name: str
    compare: str
    value: tuple[float, ...]
    unit: str
    role: str
    trigger: str
    origin: Origin
    overrides: tuple[Overridden, ...] = ()


@dataclass(frozen=True, slots=True)
class Rulebook:
    """All that is in force for one practice, general layer first."""

    layers: tuple[str, ...]
    duties: tuple[Duty, ...]
    limits: tuple[Limit, ...]
    notes: tuple[str, ...] = ()  # conflicts between layers or label and rule, in words

    def duties_of(self, subject: Subject, when: When) -> tuple[Duty, ...]:
        """Return the duties of a kind of subject at a moment, in rulebook order."""
        return tuple(d for d in self.duties if d.subject == subject and d.when == when)
