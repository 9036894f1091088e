"""A step of somebody's working day: what is to be done where, how long, what it asks, and what the book says was done of it already."""

from dataclasses import dataclass
from typing import Literal

from fettlebook.rules.model import Computed, Step
from fettlebook.standing.step_asks import AskedReading, Handling

State = Literal["open", "running", "done", "problem"]
Kind = Literal["step", "instruments", "test"]


@dataclass(frozen=True, slots=True)
class SaidOf:
    """What the book says of one step of the day. Moments are ms since 1970 UTC; `why` says what is wrong, or what its length proves."""

    state: State = "open"
    started_ms: int | None = None
    ended_ms: int | None = None
    by: str | None = None
    why: str = ""


NOTHING_SAID = SaidOf()


@dataclass(frozen=True, slots=True)
class Work:
    """One step of the day.

    Of kind `step` it is one of the rulebook's, done at a chair, a machine or for the whole practice; of kind `instruments` it is a load,
    an unloading or a packing of the plan; a `test` of a machine is entered where its result is. `person` is whose it is by the plan,
    None where the plan gives it to nobody. `holds` is true of a step that is not done before its length has passed, `after` names the
    steps of the same place that must be over first.
    """

    id: str  # the same after each new plan of the day
    kind: Kind
    subject: str  # as the book writes it
    place: str
    duty: str
    duty_name: str
    step: str
    name: str
    attended: bool
    begins_ms: int
    since_ms: int = 0  # when the visit before it starts by the plan: what was done earlier is not this step
    person: str | None = None
    length_s: int | None = None
    holds: bool = False
    visit: str | None = None
    run: str | None = None
    outlets: tuple[str, ...] = ()
    suction: tuple[str, ...] = ()
    groups: tuple[tuple[tuple[str, ...], int], ...] = ()  # outlets that are opened together, and for how many seconds
    after: tuple[str, ...] = ()
    readings: tuple[AskedReading, ...] = ()
    handling: Handling | None = None
    cautions: tuple[str, ...] = ()
    amount_ml: int | None = None  # of mixed product to put in
    said: SaidOf = NOTHING_SAID
    passed: bool = False  # nothing in the book, and the day has gone on: a later visit or step at this place came
    owed: bool = False  # by the standing, beside the plan
    due_ms: int | None = None
    overdue: bool = False
    units: tuple[str, ...] = ()
    rule: Step | None = None

    @property
    def computes(self) -> Computed | None:
        """What its length is computed from."""
        return self.rule.computes if self.rule is not None else None

    @property
    def to_do(self) -> bool:
        """Whether it is still to be done today."""
        return self.said.state in ("open", "running") and not self.passed
