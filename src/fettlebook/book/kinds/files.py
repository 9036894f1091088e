"""Files and plans that hold from a moment on: practice file, rulebook, appointment book, day plan."""

from collections.abc import Iterable
from typing import Annotated, ClassVar, Self

from pydantic import Field, model_validator

from fettlebook.book.kinds.forms import (
    AsTuple,
    Count,
    Data,
    Day,
    Digest,
    FileText,
    Frozen,
    Id,
    Line,
    Ms,
    VisitRef,
    digest_of,
    from_ms,
    to_ms,
)
from fettlebook.practice.visit import Visit


class PracticeFileVersion(Data):
    """The practice file as it holds from now on, whole: what was true of a chair on that day can be read years later."""

    KIND: ClassVar[str] = "practice_file.version"
    MOST_BYTES: ClassVar[int] = 4 * 1024 * 1024

    digest: Digest
    text: FileText
    name: Line | None = None

    @classmethod
    def of(cls, text: str, name: str | None = None) -> Self:
        """Return the data for a file's text; `name` without folders."""
        return cls(digest=digest_of(text.encode("utf-8")), text=text, name=name)

    @model_validator(mode="after")
    def _digest_fits(self) -> Self:
        if digest_of(self.text.encode("utf-8", "surrogatepass")) != self.digest:
            raise ValueError("the digest is not that of the text")
        return self


class RulebookLayer(Frozen):
    """One pack of the rulebook, whole."""

    name: Line
    digest: Digest
    text: FileText

    @classmethod
    def of(cls, name: str, text: str) -> Self:
        """Return the layer for a pack's text."""
        return cls(name=name, digest=digest_of(text.encode("utf-8")), text=text)

    @model_validator(mode="after")
    def _digest_fits(self) -> Self:
        if digest_of(self.text.encode("utf-8", "surrogatepass")) != self.digest:
            raise ValueError("the digest is not that of the text")
        return self


class RulebookVersion(Data):
    """The rulebook that is in force from now on: its packs, undermost first."""

    KIND: ClassVar[str] = "rulebook.version"
    MOST_BYTES: ClassVar[int] = 4 * 1024 * 1024

    layers: Annotated[tuple[RulebookLayer, ...], AsTuple]


class ImportedVisit(Frozen):
    """One visit of the appointment book: an opaque reference, a chair, a kind, a time. Never a person."""

    ref: VisitRef
    chair: Id
    visit_kind: Id
    start_ms: Ms
    minutes: Annotated[int, Field(ge=0, le=7 * 24 * 60)]

    @classmethod
    def of(cls, visit: Visit) -> Self:
        """Return the visit as an entry holds it."""
        minutes = (to_ms(visit.end) - to_ms(visit.start)) // 60_000
        return cls(ref=visit.ref, chair=visit.chair, visit_kind=visit.visit_kind, start_ms=to_ms(visit.start), minutes=minutes)

    def visit(self, zone: str) -> Visit:
        """Return the visit with its moments in `zone`."""
        start, end = from_ms(self.start_ms, zone), from_ms(self.start_ms + self.minutes * 60_000, zone)
        return Visit(self.ref, self.chair, self.visit_kind, start, end)


class BookImported(Data):
    """The visits of one day, as the appointment book had them when it was read."""

    KIND: ClassVar[str] = "book.imported"
    MOST_BYTES: ClassVar[int] = 1024 * 1024

    day: Day
    calendar_digest: Digest
    visits: Annotated[tuple[ImportedVisit, ...], AsTuple]
    counts: dict[str, Count]  # what was read, mapped, left out: snake_case names

    @classmethod
    def of(cls, *, day: str, calendar: bytes, visits: Iterable[Visit], counts: dict[str, int]) -> Self:
        """Return the data for the visits of a day, read from the calendar file with these bytes."""
        held = tuple(ImportedVisit.of(visit) for visit in visits)
        return cls(day=day, calendar_digest=digest_of(calendar), visits=held, counts=counts)


class DayPlanned(Data):
    """A day was planned: what was asked (by digest), and what came out in one line."""

    KIND: ClassVar[str] = "day.planned"

    day: Day
    instance_digest: Digest
    verdict: Line
    line: Line
    method: Line | None = None


class Happened(Frozen):
    """Something that happened on a day, in words, and the minute of the day from which the rest was planned again."""

    what: Line
    minute: Count


class NotLoaded(Frozen):
    """A machine that gets no load before a minute of the day."""

    machine: Id
    until_minute: Count


class DayReplanned(Data):
    """Something happened on a planned day, and a person kept a new plan of its rest; or put it aside for that of the files.

    Day and plan stand in full, as neutral JSON: a plan that was searched for can't be found again from what was asked.
    """

    KIND: ClassVar[str] = "day.replanned"
    MOST_BYTES: ClassVar[int] = 4 * 1024 * 1024

    day: Day
    of_digest: Digest  # of the day as it was planned from the files
    line: Line
    happened: Annotated[tuple[Happened, ...], AsTuple]  # all of this day so far
    assumed: Annotated[tuple[Line, ...], AsTuple] | None = None  # what the plan takes for granted
    instance: FileText | None = None  # absent, with the plan: that of the files holds again
    plan: FileText | None = None
    not_loaded: Annotated[tuple[NotLoaded, ...], AsTuple] | None = None
    shut: Annotated[tuple[Id, ...], AsTuple] | None = None  # chairs on which no visit begins any more
