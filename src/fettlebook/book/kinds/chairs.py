"""What happens at a chair: visits, steps of duties, samples of its water, and a notice that bars the mains."""

from typing import Annotated, ClassVar, Literal, Self

from pydantic import Field, model_validator

from fettlebook.book.kinds.forms import (
    AsTuple,
    Count,
    Day,
    Frozen,
    HeldFile,
    Id,
    Ids,
    Line,
    Lot,
    Ms,
    Place,
    Readings,
    Said,
    Unit,
    Units,
    VisitRef,
)

# A millionth of a mL: 0.1 mL of a 1:1000 dilution is 100. No more than 10 L is ever plated.
PlatedNl = Annotated[int, Field(ge=1, le=10_000_000_000_000, description="undiluted sample on the plates, in millionths of a mL")]


class VisitStarted(Said):
    """A visit began: from now on the chair is used, and what lies on the tray counts as used."""

    KIND: ClassVar[str] = "visit.started"

    visit: VisitRef
    chair: Id
    visit_kind: Id | None = None
    surgical: bool | None = None
    units: Units | None = None  # sets and handpieces laid out
    packs: Ids | None = None  # the packs they came in
    product: Id | None = None  # the sterile water of a surgical visit, with its lot and the day printed on it
    lot: Lot | None = None
    use_by: Day | None = None


class VisitEnded(Said):
    """A visit ended: what was used is dirty now."""

    KIND: ClassVar[str] = "visit.ended"

    visit: VisitRef
    chair: Id
    units: Units  # every set and handpiece that was used or lay open; empty: none
    packs: Ids | None = None
    outlets: Ids | None = None  # those that carried water; absent: not said, so all of them may have
    product: Id | None = None  # the sterile water of a surgical visit, where its start doesn't say it
    lot: Lot | None = None
    use_by: Day | None = None


class PackOpened(Said):
    """A pack was opened for a visit."""

    KIND: ClassVar[str] = "pack.opened"

    pack: Id
    unit: Unit | None = None
    visit: VisitRef
    chair: Id
    indicator: Literal["turned", "not turned"] | None = None


class _Step(Said):
    duty: Id  # as in the rulebook: chair.close
    step: Id  # close.rinse
    chair: Id | None = None
    machine: Id | None = None  # neither chair nor machine: of the whole practice
    outlets: Ids | None = None  # which of the chair's outlets; absent: none, or not said
    suction: Ids | None = None  # which of its suction lines
    visit: VisitRef | None = None  # the visit after (or before) which it is done
    run: Id | None = None  # the same in the entry of the start and in that of the end

    @model_validator(mode="after")
    def _in_one_place(self) -> Self:
        if self.chair is not None and self.machine is not None:
            raise ValueError("a step is done at a chair or at a machine, not at both")
        if (self.outlets is not None or self.suction is not None) and self.chair is None:
            raise ValueError("outlets and suction lines need their chair")
        return self


class StepStarted(_Step):
    """A step was begun, at `at`."""

    KIND: ClassVar[str] = "step.started"


class StepDone(_Step):
    """A step is done, at `at`; `by` says by whom, unless `done_by` does.

    A length of time counts by the shorter of two clocks: those of the two entries (`at` and `mono`), or, where one entry says it
    all, `lasted_wall_ms` and `lasted_mono_ms`. Where they disagree, or one is missing, the length is not proven.
    """

    KIND: ClassVar[str] = "step.done"

    outcome: Literal["done", "broken off"]
    done_by: Id | None = None  # where another person enters it
    readings: Readings | None = None
    product: Id | None = None
    lot: Lot | None = None
    solution: Id | None = None  # the id under which it was mixed
    lasted_wall_ms: Count | None = None
    lasted_mono_ms: Count | None = None
    files: Annotated[tuple[HeldFile, ...], AsTuple] | None = None


class DutySkipped(Said):
    """A duty was left out knowingly. It is not done: this only says who decided so, and why."""

    KIND: ClassVar[str] = "duty.skipped"

    duty: Id
    step: Id | None = None  # absent: the whole duty
    chair: Id | None = None
    machine: Id | None = None
    reason: Line


class _Sampled(Said):
    chair: Id | None = None
    outlets: Ids | None = None  # several: pooled in one bottle
    machine: Id | None = None

    @model_validator(mode="after")
    def _outlets_of_a_chair(self) -> Self:
        if self.outlets is not None and self.chair is None:
            raise ValueError("outlets need their chair")
        return self


class SampleTaken(_Sampled):
    """A sample was taken; its result comes later."""

    KIND: ClassVar[str] = "sample.taken"

    sample: Id
    what: Id  # such as: water, suction, rinse water
    method: Line | None = None
    neutralised: bool | None = None  # with what stops the disinfectant; a count without it may be too low
    neutraliser: Line | None = None  # what it was, as the bottle says: sodium thiosulfate
    laboratory: Line | None = None
    lot: Lot | None = None  # of a test kit
    product: Id | None = None


class CountedPlate(Frozen):
    """One plate, or several of one dilution poured together; with `too_many`, at least so many colonies."""

    colonies: Count
    plated_nl: PlatedNl
    too_many: bool | None = None


class SampleResult(_Sampled):
    """A result: `value` * 10^-`decimals` in `value_unit`. Chair, outlets and machine are those of the sample.

    `colonies` on `plated_nl` of undiluted sample say how sure the value is; `plates` says it plate by plate. With a `mark` the colonies
    are a bound as the value is: at most, or at least so many.
    """

    KIND: ClassVar[str] = "sample.result"

    sample: Id
    quantity: Annotated[str, Field(min_length=1, max_length=60, description="what was counted, as in the rulebook: water count")]
    value: Place
    decimals: Annotated[int, Field(ge=0, le=9)] | None = None
    value_unit: Annotated[str, Field(min_length=1, max_length=20, description="as the rulebook writes it: CFU/mL")]
    mark: Literal["below", "above"] | None = None  # below: less than `value` (the method's limit); above: too many to count
    method: Line | None = None
    taken_ms: Ms | None = None
    colonies: Count | None = None
    plated_nl: PlatedNl | None = None
    plates: Annotated[tuple[CountedPlate, ...], Field(min_length=1, max_length=60), AsTuple] | None = None
    received_ms: Ms | None = None  # when the laboratory began with it
    received_mc: Annotated[int, Field(ge=-80_000, le=100_000, description="temperature on arrival, thousandths of a degC")] | None = None
    blank_colonies: Count | None = None  # on the plate of a field blank: clean water handled as the sample was
    not_valid: Line | None = None  # the laboratory's words why the sample proves nothing
    report: HeldFile | None = None
    report_number: Line | None = None  # the laboratory's own number of this result

    @model_validator(mode="after")
    def _colonies_of_a_volume(self) -> Self:
        if self.colonies is not None and self.plated_nl is None:
            raise ValueError("colonies need plated_nl: the undiluted sample that they grew from")
        return self


class NoticeBegun(Said):
    """An authority's notice holds from now on, such as to boil water."""

    KIND: ClassVar[str] = "notice.begun"

    notice: Literal["boil water", "other"]
    issued_by: Line | None = None
    text: Line | None = None


class NoticeEnded(Said):
    """The notice is over. What it asks for afterwards is a matter of the rulebook."""

    KIND: ClassVar[str] = "notice.ended"

    notice: Literal["boil water", "other"]
    issued_by: Line | None = None
