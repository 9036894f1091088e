"""What the list scheduler knows at a minute of the day: where each chair, machine and set stands, and a job that could begin."""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from fettlebook.plan.instance import Batch, Chair, Machine, Procedure, Step, Visit, Work

NEVER = 10**9


class Job(NamedTuple):
    """Attended work that could begin now; the smallest `latest` goes first."""

    latest: float
    tie: int
    minutes: int
    work: Work
    do: Callable[[str], None]  # given the person, does it
    place: str  # chair or machine: who was last there goes on, if free


@dataclass(slots=True)
class ChairState:
    """How far a chair's day has come."""

    chair: Chair
    visits: tuple[Visit, ...]
    at: int = 0  # how many visits have begun
    procedure: Procedure | None = "opening"  # None: waiting for a visit, or closed
    index: int = 0
    ready: int = 0  # when the next thing may begin
    closed: bool = False
    after: str | None = None

    @property
    def closed_by(self) -> int:
        """The minute by which the chair must be closed, where that is not the end of the day."""
        return NEVER if self.chair.closed_by is None else self.chair.closed_by

    def steps(self) -> tuple[Step, ...]:
        """Return the steps of the procedure that is under way."""
        return self.chair.procedure(self.procedure) if self.procedure else ()


@dataclass(slots=True)
class MachineState:
    """A machine, the load in it, and how many of its tests have begun."""

    machine: Machine
    kind: Literal["bath", "wash", "sterilize"]
    batch: Batch | None = None
    free: int = 0
    tested: int = 0

    def ends(self) -> int:
        """Return when the cycle of the load inside is over."""
        assert self.batch is not None
        return self.batch.start + self.machine.cycle_minutes(self.batch.cycle)


@dataclass(slots=True)
class Stock:
    """The units of one type, by where they are."""

    clean: list[int] = field(default_factory=list)
    cooling: int = 0
    sterilizing: int = 0
    packed: deque[str] = field(default_factory=deque)
    packing: int = 0
    washed: deque[str] = field(default_factory=deque)
    washing: int = 0
    bathed: deque[str] = field(default_factory=deque)
    bathing: int = 0
    dirty: deque[str] = field(default_factory=deque)
    wanted: list[int] = field(default_factory=list)  # latest start of each use not yet begun, in order
