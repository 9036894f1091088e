"""The forms that all kinds of entries are made of.

Each field stands in the entry's bytes, under its own name, exactly when it isn't None. No field has another default or an alias:
either would give other bytes than those that were sealed.
"""

import hashlib
from datetime import UTC, datetime
from functools import lru_cache
from typing import Annotated, ClassVar, Final
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, Strict

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
Unit = Annotated[
    str,
    Field(
        max_length=65,
        pattern=r"^[A-Za-z0-9][A-Za-z0-9 ._-]{0,59}#[1-9][0-9]{0,3}$",
        description="one set or handpiece among those of its type: exam#3 is the third",
    ),
]
Lot = Annotated[str, Field(min_length=1, max_length=60, pattern=r"^[^\x00-\x1f\x7f]+$", description="lot, as the package says")]
Place = Annotated[int, Field(ge=-(2**53) + 1, le=2**53 - 1)]

# A reading is a whole number of a small unit, and its name ends in that unit: strip_mg_l, chamber_mc. Unit as shown, decimals.
READING_UNITS: Final[dict[str, tuple[str, int]]] = {
    "cfu_l": ("CFU/L", 0),
    "cfu_ml": ("CFU/mL", 0),
    "count": ("", 0),
    "g": ("g", 0),
    "kpa": ("kPa", 0),
    "mc": ("degC", 3),
    "mg": ("mg", 0),
    "mg_l": ("mg/L", 0),
    "mk": ("K", 3),
    "mk_min": ("K/min", 3),
    "min": ("min", 0),
    "milli_min": ("min", 3),
    "milli_pct": ("%", 3),
    "milli_ph": ("pH", 3),
    "ml": ("mL", 0),
    "ml_min": ("mL/min", 0),
    "ms": ("s", 3),
    "pa": ("Pa", 0),
    "pa_min": ("Pa/min", 0),
    "ppm": ("ppm", 0),
    "rlu": ("RLU", 0),
    "s": ("s", 0),
    "ug_cm2": ("ug/cm2", 0),
    "ug_l": ("ug/L", 0),
    "us_cm": ("uS/cm", 0),
}


@lru_cache(maxsize=500)
def unit_of_reading(name: str) -> tuple[str, int] | None:
    """Return the unit in which a reading of this name is shown and its decimals: `chamber_mc` is ("degC", 3); None: no known unit."""
    parts = name.split("_")
    endings = ("_".join(parts[i:]) for i in range(1, len(parts)))  # the longest first: ml_min before min
    return next((READING_UNITS[ending] for ending in endings if ending in READING_UNITS), None)


def _in_units(readings: dict[str, int]) -> dict[str, int]:
    for name in readings:
        if unit_of_reading(name) is None:
            raise ValueError(f"the reading {name!r:.80} does not end in a unit ({', '.join(sorted(READING_UNITS))})")
    return readings


AsTuple = Strict(strict=False)  # JSON has only lists; frozen models hold tuples. What stands in them is as strict as elsewhere
Ids = Annotated[tuple[Id, ...], AsTuple]
Units = Annotated[tuple[Unit, ...], AsTuple]
Readings = Annotated[
    dict[str, Place], Field(max_length=40, description="whole numbers; each name ends in its unit"), AfterValidator(_in_units)
]


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


class SealedText(Frozen):
    """A few words of a person, as ciphertext. The key stands apart, so that the words can be erased while every proof still holds."""

    key: Annotated[str, Field(pattern=r"^[a-z2-7]{26}$", description="name of the key")]
    words: Annotated[str, Field(min_length=40, max_length=4000, pattern=r"^[A-Za-z0-9+/]+={0,2}$", description="nonce and ciphertext")]


class HeldFile(Frozen):
    """A file whose bytes are kept beside the entries, under their digest: a cycle log, a laboratory's report."""

    digest: Digest
    length_bytes: Count
    media: Annotated[str, Field(max_length=80, pattern=r"^[a-z]+/[a-z0-9.+-]+$", description="its media type, such as text/csv")]
    name: Line | None = None


class Said(Data):
    """Base of what people and machines say of the day's work."""

    remark: SealedText | None = None  # free text is where names leak: it is never sealed as plain words
    from_paper: bool | None = None  # True: entered later from paper; `at` is the time on the paper
