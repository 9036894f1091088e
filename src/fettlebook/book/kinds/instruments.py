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


class LoadPacked(Said):
    """A load was put together for one machine."""

    KIND: ClassVar[str] = "load.packed"

    load: Id
    machine: Id
    cycle: Id | None = None  # the cycle it is meant for
    items: Annotated[tuple[InLoad, ...], AsTuple]


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


class LoadRejected(Said):
    """A named person put a load aside, or called it back after its release."""

    KIND: ClassVar[str] = "load.rejected"

    load: Id
    meaning: Literal["rejected", "recalled"]
    reason: Line
    machine: Id | None = None
    units: Units | None = None  # only these of the load; absent: all
    packs: Ids | None = None


class MachineTest(Said):
    """A test of a machine, with its outcome. A spore test names the run it rode in and when that was."""

    KIND: ClassVar[str] = "machine.test"

    machine: Id
    test: Id  # as in the practice file, or: spore test, air-removal test, leak test
    outcome: Literal["passed", "failed", "aborted"]
    ran_ms: Ms | None = None  # when the test ran, where the outcome was read later
    load: Id | None = None
    cycle: Id | None = None
    control: Literal["as it should", "not as it should", "none"] | None = None
    readings: Readings | None = None
    product: Id | None = None  # the test's own product and lot
    lot: Lot | None = None
    log: HeldFile | None = None


class SetRetired(Said):
    """A set or handpiece is used no more."""

    KIND: ClassVar[str] = "set.retired"

    unit: Unit
    reason: Line
