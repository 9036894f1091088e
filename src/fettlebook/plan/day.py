"""One day's plan as people read it: the verdict in one line, who does what when, which visits start late, what is short."""

from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum
from typing import TYPE_CHECKING, Literal

from fettlebook.errors import Finding

if TYPE_CHECKING:
    from fettlebook.plan.basis import Basis


class DayVerdict(StrEnum):
    """What the plan says of the whole day."""

    FITS = "fits"
    LATE = "late"
    DOES_NOT_FIT = "does not fit"
    NOTHING_BOOKED = "nothing booked"


@dataclass(frozen=True, slots=True)
class Task:
    """One bar of the timetable.

    `person` is None for unattended steps, running cycles and visits; `place` is a chair's or a machine's id (or
    "packing"). `step_id` leads to the running time and its reasons, where the bar is a step of a duty.
    """

    kind: Literal["opening", "turnover", "closing", "visit", "load", "cycle", "unload", "pack", "test", "duty"]
    place: str
    person: str | None
    what: str
    start: datetime
    end: datetime
    attended: bool
    visit: str | None = None
    units: tuple[str, ...] = ()
    step_id: str | None = None


@dataclass(frozen=True, slots=True)
class PlannedVisit:
    """A visit with the moment at which its chair will be ready for it."""

    ref: str
    chair: str
    visit_kind: str
    booked: datetime
    start: datetime | None  # None: left out
    minutes_late: int
    units: tuple[str, ...]
    why: str = ""  # late: what it waits for; left out: why it can't be served


@dataclass(frozen=True, slots=True)
class Shortage:
    """What is short, where and when, and what would mend it."""

    what: str
    where: str
    when: str
    mend: str


@dataclass(frozen=True, slots=True)
class DayPlan:
    """The day, planned. All moments are aware, in the practice's zone."""

    day: date
    verdict: DayVerdict
    line: str  # the verdict in one line
    tasks: tuple[Task, ...]
    visits: tuple[PlannedVisit, ...]
    shortages: tuple[Shortage, ...]
    weighted_minutes_late: int
    bound_minutes_late: int  # proven: no plan of this booking is less late
    end_of_day: datetime | None
    attended_minutes: dict[str, int]  # person -> minutes of work
    method: str  # which scheduler gave it, and whether it is proven best
    findings: tuple[Finding, ...] = ()  # what in the files needs a look (not mapped, not measured ...)
    basis: "Basis | None" = field(default=None, compare=False, repr=False)  # what it was made from; not exported
