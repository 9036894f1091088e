"""What happens to instruments and machines: loads, cycles, tests, release."""

from typing import Annotated, ClassVar, Literal

from pydantic import Field

from fettlebook.book.kinds.forms import AsTuple, Frozen, HeldFile, Id, Ids, Line, Lot, Ms, Readings, Said, Unit, Units


class InLoad(Frozen):
    """One thing in a load."""

    unit: Unit
    pack: Id | None = None  # absent: unwrapped, as in a washer
    form: Literal["solid", "porous", "hollow"] | None = None  # what is hardest for steam to reach in it
    implant: bool | None = None
    position: Id | None = None  # where it lies in the machine: tray 2
    oiled: bool | None = None  # a handpiece was lubricated by its IFU before it was packed


class LoadPacked(Said):
    """A load was put together for one machine."""

    KIND: ClassVar[str] = "load.packed"

    load: Id
    machine: Id
    cycle: Id | None = None  # the cycle it is meant for
    items: Annotated[tuple[InLoad, ...], AsTuple]
    indicator: bool | None = None  # an indicator lies in each pack


class CycleRecorded(Said):
    """A machine ran a cycle. What it says of it is kept as said; whether it was good is judged from the log."""

    KIND: ClassVar[str] = "cycle.recorded"

    machine: Id
    cycle: Id
    load: Id | None = None
    number: Annotated[int, Field(ge=0)] | None = None  # the machine's own counter
    began_ms: Ms | None = None
    ended_ms: Ms | None = None
    said: Literal["passed", "failed", "aborted", "nothing"]
    log: HeldFile | None = None
    readings: Readings | None = None  # what was read out of the log
    reader: Line | None = None  # by which program


class CycleJudged(Said):
    """A cycle was judged from its log. Refers to the entry of the cycle."""

    KIND: ClassVar[str] = "cycle.judged"
    REFERS: ClassVar[bool] = True

    machine: Id
    load: Id | None = None
    verdict: Literal["fit", "unfit", "unproven"]
    reasons: Annotated[tuple[Line, ...], AsTuple]
    judged_with: Line  # program and version


class LoadReleased(Said):
    """A named person released a load. May refer to the cycle on whose evidence it stands."""

    KIND: ClassVar[str] = "load.released"

    load: Id
    meaning: Literal["released"]
    machine: Id | None = None
    units: Units | None = None  # only these of the load; absent: all
    packs: Ids | None = None
    dry: bool | None = None
    indicators_turned: bool | None = None
    override: Line | None = None  # why it was released against the judgement
    second: Id | None = None  # the second person, where one is asked for


class LoadReleasedEarly(Said):
    """A named person let a load be used before the result of its spore test, and said why. It proves nothing by itself."""

    KIND: ClassVar[str] = "load.released_early"

    load: Id
    meaning: Literal["released before its spore result"]
    reason: Line
    machine: Id | None = None
    units: Units | None = None  # only these of the load; absent: all
    packs: Ids | None = None
    dry: bool | None = None
    indicators_turned: bool | None = None


class LoadRejected(Said):
    """A named person put a load aside, or called it back after its release."""

    KIND: ClassVar[str] = "load.rejected"

    load: Id
    meaning: Literal["rejected", "recalled"]
    reason: Line
    found: Literal["wet", "torn", "opened", "indicator not turned"] | None = None  # what was seen at the packs
    machine: Id | None = None
    units: Units | None = None  # only these of the load; absent: all
    packs: Ids | None = None


class MachineTest(Said):
    """A test of a machine, with its outcome. A spore test names the run it rode in and when that was."""

    KIND: ClassVar[str] = "machine.test"

    machine: Id
    test: Id  # as in the practice file, or: spore test, air-removal test, leak test
    outcome: Literal["passed", "failed", "aborted", "unproven"]  # unproven: it ran, and its log does not tell
    ran_ms: Ms | None = None  # when the test ran, where the outcome was read later
    load: Id | None = None
    cycle: Id | None = None
    control: Literal["as it should", "not as it should", "none"] | None = None
    readings: Readings | None = None
    product: Id | None = None  # the test's own product and lot
    lot: Lot | None = None
    log: HeldFile | None = None
    judged_with: Line | None = None  # program and criteria, where the outcome comes from its log


class FailureStep(Said):
    """A named person did, or decided, one step of what follows a failure. Refers to the entry of the failure."""

    KIND: ClassVar[str] = "failure.step"
    REFERS: ClassVar[bool] = True

    machine: Id
    step: Id  # as the page of the failure lists them: review
    outcome: Literal["done", "not needed"]
    reason: Line  # what was found, or why it is not needed


class SetRetired(Said):
    """A set or handpiece is used no more."""

    KIND: ClassVar[str] = "set.retired"

    unit: Unit
    reason: Line
