"""What version 2 of the day instance adds: cycles to choose from, tests owed first, transport, duties with a window.

docs/carry-on/day-instance.md says what each field means and what a plan must hold of it. All of it is optional; a day
without it is schema 1.
"""

from typing import Annotated

from pydantic import Field

from fettlebook.plan.form import Id, Length, Minute, Part


class Cycle(Part):
    """A program of a machine; `kind` is what a set type's `rides` names."""

    id: Id
    kind: Id
    minutes: Length


class OwedTest(Part):
    """A test that a machine owes before its first load: hands first, then the machine alone."""

    name: Annotated[str, Field(min_length=1, max_length=200)]
    attended_minutes: Minute
    alone_minutes: Minute = 0

    @property
    def minutes(self) -> int:
        """How long the machine is taken."""
        return self.attended_minutes + self.alone_minutes


class Transport(Part):
    """Minutes that a set is on its way between two rooms, either way."""

    from_: Annotated[Id, Field(alias="from")]
    to: Id
    minutes: Length


class DutyStep(Part):
    """One step of a duty; while it runs unattended, its person is free for other work."""

    name: Annotated[str, Field(min_length=1, max_length=200)]
    minutes: Length
    attended: bool


class Duty(Part):
    """Something owed today beside the visits: its steps follow each other without a pause, by one person.

    `subject` is a chair or a machine, which the duty takes for its whole length; left out, it takes only the person.
    `who` may do it; left out, everybody. `after` is a visit that must have ended before.
    """

    id: Id
    name: Annotated[str, Field(min_length=1, max_length=300)]
    steps: Annotated[tuple[DutyStep, ...], Field(min_length=1)]
    earliest: Minute
    latest: Minute  # must have ended by then
    subject: Id | None = None
    who: tuple[Id, ...] = ()
    after: Id | None = None

    @property
    def minutes(self) -> int:
        """From its begin to its end."""
        return sum(s.minutes for s in self.steps)

    @property
    def attended(self) -> bool:
        """Whether it needs a person at all."""
        return any(s.attended for s in self.steps)

    def hands(self, start: int) -> tuple[tuple[int, int], ...]:
        """Return the stretches in which it needs its person, if it begins at `start`."""
        out, at = [], start
        for s in self.steps:
            if s.attended:
                out.append((at, at + s.minutes))
            at += s.minutes
        return tuple(out)


class PlannedTest(Part):
    """When the `index`-th test of a machine begins, and who does it (None: it needs nobody)."""

    machine: Id
    index: Annotated[int, Field(ge=0)]
    start: Minute
    person: Id | None


class PlannedDuty(Part):
    """When a duty begins, and who does it (None: it needs nobody)."""

    id: Id
    start: Minute
    person: Id | None
