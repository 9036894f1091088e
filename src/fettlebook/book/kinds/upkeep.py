"""Upkeep: faults, repairs, out of service and back, products and solutions, who is at work."""

from typing import Annotated, ClassVar, Literal, Self

from pydantic import Field, model_validator

from fettlebook.book.kinds.forms import Day, HeldFile, Id, Ids, Line, Lot, Ms, Readings, Said, Units


class _OfOne(Said):
    """What an entry of upkeep is about: a chair, or parts of it; a machine; sets."""

    chair: Id | None = None
    outlets: Ids | None = None  # only these of the chair
    suction: Ids | None = None
    machine: Id | None = None
    units: Units | None = None

    @model_validator(mode="after")
    def _about_something(self) -> Self:
        if self.chair is None and self.machine is None and not self.units:
            raise ValueError("say what it is about: a chair, a machine or units")
        if (self.outlets is not None or self.suction is not None) and self.chair is None:
            raise ValueError("outlets and suction lines need their chair")
        return self


class FaultReported(_OfOne):
    """Something does not work as it should."""

    KIND: ClassVar[str] = "fault.reported"

    fault: Id  # short name by which the repair refers to it
    what: Line
    stops_use: bool
    dosing: bool | None = None  # the water is not dosed as it should be: until it is repaired and the dose was looked at


class RepairDone(_OfOne):
    """Something was repaired or replaced. What must be done before use is a matter of the rulebook."""

    KIND: ClassVar[str] = "repair.done"

    fault: Id | None = None
    what: Line
    water_path_opened: bool | None = None
    firm: Line | None = None
    report: HeldFile | None = None


class OutOfService(_OfOne):
    """From now on not to be used."""

    KIND: ClassVar[str] = "subject.out_of_service"

    reason: Line


class Returned(_OfOne):
    """Back in service: a named person says so. May refer to the entry that took it out."""

    KIND: ClassVar[str] = "subject.returned"

    reason: Line
    meaning: Literal["returned"]


class PartChanged(Said):
    """A part that lasts for so long was changed, or cleaned as its instructions say: filters, separator, a chair's own water bottle."""

    KIND: ClassVar[str] = "part.changed"

    part: Literal["water filter", "water bottle", "suction filter", "separator", "other"]
    name: Id | None = None  # which one, where there are several; what it is, where it is another
    chair: Id | None = None
    machine: Id | None = None  # neither: of the building
    done: Literal["changed", "cleaned"]
    good_days: Annotated[int, Field(ge=1, le=3_660, description="how long it may stay, as its label or instructions say")] | None = None
    lot: Lot | None = None


class ProductOpened(Said):
    """A package of a product was opened."""

    KIND: ClassVar[str] = "product.opened"

    product: Id
    lot: Lot
    use_by: Day | None = None  # as printed on the package


class SolutionMixed(Said):
    """A solution was made up."""

    KIND: ClassVar[str] = "solution.mixed"

    solution: Id
    product: Id
    lot: Lot | None = None
    chair: Id | None = None  # whose bottle it went into
    machine: Id | None = None
    product_ul: Annotated[int, Field(ge=0)] | None = None
    water_ml: Annotated[int, Field(ge=0)] | None = None
    readings: Readings | None = None  # strip: strip_mg_l
    use_by_ms: Ms | None = None


class SignIn(Said):
    """A person began to work at this device."""

    KIND: ClassVar[str] = "sign.in"

    person: Id
    role: Id | None = None
    at_device: Id | None = None  # where, if the entry was made elsewhere
    how: Literal["name", "PIN", "badge"] | None = None  # by name alone only where nobody has a PIN yet


class SignOut(Said):
    """A person's session at this device ended."""

    KIND: ClassVar[str] = "sign.out"

    person: Id
    why: Literal["signed out", "inactive", "ended by another", "end of day"] | None = None
    at_device: Id | None = None
