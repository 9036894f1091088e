"""What is said of a subject: verdict, the conditions that made it, until when it holds, and the way back to fit."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

from fettlebook.rules.model import Origin
from fettlebook.said import said


class Verdict(StrEnum):
    """Three values. Absence of evidence is `unproven`, never `fit`."""

    FIT = "fit"
    UNFIT = "unfit"
    UNPROVEN = "unproven"


SHAPES: Final = {Verdict.FIT: "●", Verdict.UNPROVEN: "▲", Verdict.UNFIT: "■"}  # a shape beside the word: never colour alone
_RANK: Final = {Verdict.FIT: 0, Verdict.UNPROVEN: 1, Verdict.UNFIT: 2}


def worst(verdicts: Iterable[Verdict]) -> Verdict:
    """Return `unfit` where any is unfit, else `unproven` where any is, else `fit`; of nothing, `unproven`."""
    return max(verdicts, key=_RANK.__getitem__, default=Verdict.UNPROVEN)


@dataclass(frozen=True, slots=True)
class Condition:
    """One thing that must hold of a subject, and what the book says of it.

    `evidence` names the entries that it rests on, newest first. Of a fit condition each is required: without any one of them it would
    not be fit, unless another entry in the book says the same. It is empty where the practice file alone says it, or where nothing bad
    is known ("last cycle did not fail"). Moments are ms since 1970 UTC. `expires_ms` is the first moment at which it holds no longer,
    None where no rule ends it. `duty_id` is the duty or test that renews it.
    """

    what: str
    verdict: Verdict
    why: str
    origin: Origin
    evidence: tuple[str, ...] = ()
    since_ms: int | None = None
    expires_ms: int | None = None
    mend: tuple["Owed", ...] = ()  # what turns it to fit; empty where it is fit
    duty_id: str = ""
    failed: str = ""  # how people say that it does not hold, whole; empty: "what: why" says it well

    def __post_init__(self) -> None:
        if self.verdict is Verdict.FIT and self.mend:
            raise ValueError("nothing is owed where it is fit")

    @property
    def told(self) -> str:
        """What it says, in one line: a condition that fails never reads as if it held."""
        return self.failed or said("{what}: {why}", what=self.what, why=self.why)


@dataclass(frozen=True, slots=True)
class Owed:
    """A duty, or a part of one, that is owed by a subject.

    `steps` are the ids of those that are still missing. `wait_h` is time that no work can shorten (a laboratory's). `missing_time`
    names steps whose length can't be said: the minutes are then lower bounds. `due_ms` is the moment by which it is owed.
    """

    subject: str
    duty_id: str
    name: str
    origin: Origin
    attended_s: int = 0
    unattended_s: int = 0
    steps: tuple[str, ...] = ()
    covers: tuple[str, ...] = ()
    missing_time: tuple[str, ...] = ()
    wait_h: float = 0.0
    since_ms: int | None = None
    due_ms: int | None = None
    overdue: bool = False

    @property
    def attended_min(self) -> float:
        """Minutes with somebody there."""
        return self.attended_s / 60

    @property
    def unattended_min(self) -> float:
        """Minutes that run alone."""
        return self.unattended_s / 60


@dataclass(frozen=True, slots=True)
class WayToFit:
    """The shortest list of duties that turns a verdict to fit, and what no duty here can mend."""

    duties: tuple[Owed, ...] = ()
    stuck: tuple[str, ...] = ()  # what neither waiting nor work on this subject mends

    @property
    def attended_s(self) -> int:
        """Seconds with somebody there, all duties."""
        return sum(duty.attended_s for duty in self.duties)

    @property
    def unattended_s(self) -> int:
        """Seconds that run alone, one duty after the other."""
        return sum(duty.unattended_s for duty in self.duties)


@dataclass(frozen=True, slots=True)
class Standing:
    """What book and rulebook together say of a subject at a moment, by what had been received at another.

    `valid_until_ms` is the moment at which the first condition of a fit verdict ends; None where the verdict isn't fit, or
    no rule ends it.
    """

    subject: str
    at_ms: int
    known_at_ms: int
    conditions: tuple[Condition, ...]
    way_to_fit: WayToFit = field(default_factory=WayToFit)

    @property
    def verdict(self) -> Verdict:
        """The worst of the conditions; without any, unproven."""
        return worst(condition.verdict for condition in self.conditions)

    @property
    def valid_until_ms(self) -> int | None:
        """When the verdict ends by itself [ms since 1970 UTC]."""
        if self.verdict is not Verdict.FIT:
            return None
        return min((c.expires_ms for c in self.conditions if c.expires_ms is not None), default=None)

    @property
    def failing(self) -> tuple[Condition, ...]:
        """The conditions that aren't fit, the unfit ones first."""
        return tuple(sorted((c for c in self.conditions if c.verdict is not Verdict.FIT), key=lambda c: -_RANK[c.verdict]))
