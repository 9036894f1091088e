"""People and devices: who was refused, which device was let in, who was trained. Never a PIN, a badge's code or a device's secret."""

from datetime import date
from typing import Annotated, ClassVar, Literal, Self

from pydantic import Field, model_validator

from fettlebook.book.kinds.forms import AsTuple, Day, Digest, Id, Line, Said

TrainingName = Annotated[
    str, Field(min_length=1, max_length=120, description="by its name in the practice file, else the rulebook row's id")
]


class SignRefused(Said):
    """Wrong PINs or badges in a row at a device, so many that one has to wait before the next."""

    KIND: ClassVar[str] = "sign.refused"

    person: Id | None = None  # whose name was chosen; None: a badge or a device's code that nobody has
    at_device: Id | None = None
    tries: Annotated[int, Field(ge=1)]
    wait_s: Annotated[int, Field(ge=0)]


class DeviceEnrolled(Said):
    """A device was let in by the lead."""

    KIND: ClassVar[str] = "device.enrolled"

    device: Id
    name: Line


class DeviceRenamed(Said):
    """A device has another name."""

    KIND: ClassVar[str] = "device.renamed"

    device: Id
    name: Line


class DeviceWithdrawn(Said):
    """A device is not let in any more."""

    KIND: ClassVar[str] = "device.withdrawn"

    device: Id
    name: Line


class PinChanged(Said):
    """A person's PIN or badge was given, changed or taken away."""

    KIND: ClassVar[str] = "pin.changed"

    person: Id
    what: Literal["PIN", "badge"]
    how: Literal["given", "changed", "taken away"]


class CertificateMade(Said):
    """The server's certificate for the local network was made or renewed."""

    KIND: ClassVar[str] = "certificate.made"

    fingerprint: Digest
    authority: Digest
    until: Line
    names: Annotated[tuple[Line, ...], AsTuple]


class TrainingHeld(Said):
    """A member of staff was trained in something. Of staff only: nothing of a patient.

    Notes
    -----
    How it is read (`standing.training`): `what` is the name of a training in the practice file (`people.training.what`) or the id of
    a row of the rulebook whose `quantity` is "training" (`all.ipc_lead`); another name stands by itself. `held_on` is the day it was
    held, which may be before the entry's own moment; the newest `held_on` of a person and name counts. `held_by` is one of the staff
    by name, or a firm. `again_on` is the day by which certificate, rule or practice want it again. Absent: a rulebook row's interval
    counts, else a later day of the practice file, else no day is known.
    Its subject is the person (`person:ana`), its maker (`by`) whoever entered it. It shows that somebody entered a training, not what
    anybody can do; it changes no verdict.
    """

    KIND: ClassVar[str] = "training.held"

    person: Id
    what: TrainingName
    held_on: Day
    held_by: Line
    again_on: Day | None = None

    @model_validator(mode="after")
    def _days_that_there_are(self) -> Self:
        for day in (self.held_on, self.again_on):
            try:
                date.fromisoformat(day or self.held_on)
            except ValueError:
                raise ValueError(f"there is no day {day}") from None
        if self.again_on is not None and self.again_on <= self.held_on:
            raise ValueError("again_on must be after held_on")
        return self
