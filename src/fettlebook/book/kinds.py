"""What an entry can say: one frozen model per kind. Kinds and fields of a newer program are kept as they came.

Each field stands in the entry's bytes, under its own name, exactly when it isn't None. No field has another default or an alias:
either would give other bytes than those that were sealed.
"""

import hashlib
from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Annotated, Any, ClassVar, Final, Self
from zoneinfo import ZoneInfo

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from fettlebook.practice.visit import Visit

EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
YEAR_9999_MS: Final = 253_402_300_799_999

Id = Annotated[str, Field(min_length=1, max_length=60, pattern=r"^[A-Za-z0-9][A-Za-z0-9 ._-]*$")]
Line = Annotated[str, Field(min_length=1, max_length=500)]
Digest = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$", description="SHA-256, hexadecimal")]
Day = Annotated[str, Field(pattern=r"^[0-9]{4}-[01][0-9]-[0-3][0-9]$")]
Ms = Annotated[int, Field(ge=0, le=YEAR_9999_MS, description="milliseconds since 1970-01-01 UTC")]
VisitRef = Annotated[str, Field(min_length=1, max_length=64, pattern=r"^[A-Za-z0-9_-]+$")]
FileText = Annotated[str, Field(max_length=1_000_000)]
Count = Annotated[int, Field(ge=0)]


def _tuple(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value


AsTuple = BeforeValidator(_tuple)  # JSON has only lists; frozen models hold tuples


def digest_of(content: bytes) -> str:
    """Return the SHA-256 of `content` in hexadecimal, as entries hold it."""
    return hashlib.sha256(content).hexdigest()


def to_ms(moment: datetime) -> int:
    """Return milliseconds since 1970-01-01 UTC of an aware moment, whole ones, rounded down."""
    if moment.tzinfo is None:
        raise ValueError("a moment needs its zone")
    since = moment - EPOCH
    return (since.days * 86_400 + since.seconds) * 1000 + since.microseconds // 1000


def from_ms(ms: int, zone: str = "UTC") -> datetime:
    """Return the aware moment, in `zone`, of milliseconds since 1970-01-01 UTC."""
    seconds, rest = divmod(ms, 1000)
    return datetime.fromtimestamp(seconds, tz=ZoneInfo(zone)).replace(microsecond=rest * 1000)


class Frozen(BaseModel):
    """Base of all that stands in an entry: never changes, takes no other type for the one asked, keeps unknown fields."""

    model_config = ConfigDict(
        frozen=True, strict=True, extra="allow", serialize_by_alias=True, validate_by_alias=True, validate_by_name=True
    )


class Data(Frozen):
    """What one entry says."""

    KIND: ClassVar[str] = ""
    MOST_BYTES: ClassVar[int] = 64 * 1024
    REFERS: ClassVar[bool] = False  # whether the entry is about an earlier one


class OtherData(Data):
    """Data of a kind that this program doesn't know; kept, never interpreted."""

    MOST_BYTES: ClassVar[int] = 1024 * 1024


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


class EntryCorrected(Data):
    """An earlier entry says something wrong in one field. Both values stay in the book."""

    KIND: ClassVar[str] = "entry.corrected"
    REFERS: ClassVar[bool] = True

    field: Line
    was: Any = None  # absent: the field was not there
    now: Any = None  # absent: the field should not be there
    why: Line


class EntryWithdrawn(Data):
    """An earlier entry should not have been made. It stays in the book, with this one beside it."""

    KIND: ClassVar[str] = "entry.withdrawn"
    REFERS: ClassVar[bool] = True

    why: Line


class EntryClash(Data):
    """Another content came under the id of an entry that is already in the book. It was refused; its digest is kept here.

    Only the store writes this kind.
    """

    KIND: ClassVar[str] = "entry.clash"
    REFERS: ClassVar[bool] = True

    digest: Digest
    via: Id


KINDS: Final[dict[str, type[Data]]] = {
    model.KIND: model
    for model in (PracticeFileVersion, RulebookVersion, BookImported, DayPlanned, EntryCorrected, EntryWithdrawn, EntryClash)
}
