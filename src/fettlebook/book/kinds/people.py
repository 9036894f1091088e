"""People and devices: who came and went, who was refused, which device was let in. Never a PIN, a badge's code or a device's secret."""

from typing import Annotated, ClassVar, Literal

from pydantic import Field

from fettlebook.book.kinds.forms import AsTuple, Digest, Id, Line, Said


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
