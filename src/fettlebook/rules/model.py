"""What a rulebook says once its layers are laid over each other: duties with steps, limits, each with its origin."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Literal

from fettlebook.practice.model import Chair, SupplyKind

Sure = Literal["read", "secondary", "memory", "practice"]
Force = Literal["law", "guidance", "standard", "body", "paper", "practice", "own"]
Stricter = Literal["lower", "higher", "inside", "none"]
Only = Literal["every chair", "bottle", "suction"]


class When(StrEnum):
    """The moment by which a duty is owed."""

    BEFORE_FIRST_VISIT = "before the first visit"
    BETWEEN_VISITS = "between visits"
    END_OF_SESSION = "end of session"
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
    """A value that another one replaced, kept so that it can be shown."""

    value: str
    origin: Origin


@dataclass(frozen=True, slots=True)
class Step:
    """One part of a duty.

    `origin` is that of `seconds`; where the rulebook gives none, it is that of `asked_by`: a usual figure of common
    practice must never look as if the authority that asks for the step had named it.

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
    floor_range_s: tuple[float, float] | None = None  # the rule names a range: both ends; `seconds` is the upper one
    only: Only = "every chair"  # which chairs the step exists on
    asked_by: Origin | None = None  # who asks for the step at all: the row with most force, else the duty's origin
    rules: tuple[str, ...] = ()  # ids of every row in force that asks for this step
    product: str = ""  # which of the products in use it is done with; empty: none of them, or not said
    beside: tuple[str, ...] = ()  # steps that a person can do on the same chair while this one runs by itself

    def exists_on(self, chair: Chair) -> bool:
        """Return whether this chair has what the step works on."""
        if self.only == "bottle":
            return chair.supply.kind is SupplyKind.BOTTLE
        return self.only != "suction" or bool(chair.suction)


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
    covers: tuple[str, ...] = ()  # steps of other duties that are done with this one, so that nothing is asked for twice

    def steps_on(self, chair: Chair) -> tuple[Step, ...]:
        """Return the steps that exist on this chair, in order: no bottle to fill where the mains feed it."""
        return tuple(step for step in self.steps if step.exists_on(chair))


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
    quantity: str = ""  # what the number is of; limits are compared only within one quantity and role
    stricter: Stricter = "none"  # which way is tighter; none: the numbers describe, they don't bind
    yields_to: str = ""  # id of the stricter limit in force for the same quantity and role
    within_s: float | None = None  # the number must be reached within so long, such as of running a tap


@dataclass(frozen=True, slots=True)
class Requirement:
    """What a document asks for, in our own words, number or not, as its row in the pack says."""

    id: str
    group: str
    topic: str
    trigger: str
    compare: str
    jurisdiction: str
    origin: Origin
    reading: str = ""  # how fettlebook applies it, where the source leaves room; ours, not the source's
    response_step: str = ""  # place in a branching response, such as after a positive spore test
    valid_from: date | None = None
    valid_to: date | None = None
    quantity: str = ""  # what it is about, by which the code finds it: ids belong to their documents


@dataclass(frozen=True, slots=True)
class Rulebook:
    """All that is in force for one practice, general layer first."""

    layers: tuple[str, ...]
    duties: tuple[Duty, ...]
    limits: tuple[Limit, ...]
    notes: tuple[str, ...] = ()  # conflicts between layers or label and rule, in words
    requirements: tuple[Requirement, ...] = ()
    on: date | None = None  # the day that the rules were asked for; None: the newest ones

    def duties_of(self, subject: Subject, when: When) -> tuple[Duty, ...]:
        """Return the duties of a kind of subject at a moment, in rulebook order."""
        return tuple(d for d in self.duties if d.subject == subject and d.when == when)

    def step(self, step_id: str) -> Step | None:
        """Return the step of this id, or None where it isn't in force."""
        return next((step for duty in self.duties for step in duty.steps if step.id == step_id), None)

    def limit(self, limit_id: str) -> Limit | None:
        """Return the limit of this id, or None where it isn't in force."""
        return next((limit for limit in self.limits if limit.id == limit_id), None)

    def strictest(self, quantity: str, role: str) -> Limit | None:
        """Return the limit that binds for a quantity in a role; the others of that role yield to it."""
        return next((m for m in self.limits if m.quantity == quantity and m.role == role and not m.yields_to), None)
