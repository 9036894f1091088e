"""What goes over the line under /api, as models: they check what comes in and describe it in the OpenAPI document."""

from typing import Annotated, Any, Final, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from fettlebook.book.kinds import Id, Ms
from fettlebook.book.stores.base import BATCH_MOST

BODY_MOST = 2_000_000  # bytes
DAYS_MS = 10 * 366 * 24 * 3600 * 1000


def _whole(value: object) -> object:
    return int(value) if isinstance(value, float) and value.is_integer() else value


WHOLE: Final = BeforeValidator(_whole)  # 3.0 is an integer to JSON Schema, as some writers spell it
Offset = Annotated[int, Field(ge=-DAYS_MS, le=DAYS_MS, description="the server's clock less the tablet's [ms]"), WHOLE]
Counter = Annotated[int, Field(ge=0, le=2**53 - 1), WHOLE]
Clock = Annotated[Ms, WHOLE]


class Form(BaseModel):
    """Base of all that goes over the line."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class Sent(Form):
    """One entry as the tablet made it, and what it knew of the server's clock then."""

    entry: dict[str, Any] = Field(description="an entry of the book, version 1 (docs/carry-on/book.md); another form is refused by itself")
    offset: Offset | None = Field(default=None, description="as the tablet last knew it when the entry was made")


class Held(Form):
    """The newest receipt that a tablet has."""

    book: Annotated[str, Field(max_length=200)]
    seq: Annotated[int, Field(ge=1, le=2**53 - 1), WHOLE]
    leaf_hash: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


class Batch(Form):
    """Entries that waited in a tablet."""

    device: Id = Field(description="whose counter `highest_n` is")
    now: Clock = Field(description="the tablet's wall clock as it sends [ms since 1970 UTC]")
    highest_n: Counter = Field(default=0, description="the highest number that this device has used: what is missing shows")
    receipt: Held | None = Field(default=None, description="a book that does not hold it was put back from a backup")
    entries: list[Sent] = Field(max_length=BATCH_MOST)


class Told(Form):
    """What is wrong, where, and how to mend it."""

    what: str
    where: str
    mend: str


class Trouble(Form):
    """Why nothing was done."""

    findings: list[Told]


class Result(Form):
    """What became of one entry. `kept` and `known` mean: it is durable, the tablet may drop its copy."""

    id: str | None = None
    outcome: Literal["kept", "known", "refused"]
    seq: int | None = None
    received: Ms | None = None
    leaf_hash: str | None = Field(default=None, description="SHA-256 of the sealed record, hexadecimal")
    findings: list[Told] = []


class Results(Form):
    """One result per entry, in order."""

    now: Ms = Field(description="the server's clock")
    book: str = Field(description="name of the book")
    size: int = Field(description="entries that the book holds")
    receipt_held: bool = Field(description="whether the receipt that came along is this book's; true where none came")
    missing: int = Field(description="entries that this device has numbered and that are not here; 0 where it was not asked")
    results: list[Result]


class WhoHere(Form):
    """The signed-in person at this tablet, and what its queue needs to know."""

    person: str
    name: str
    role: str
    device: str
    now: Ms = Field(description="the server's clock")
    zone: str
    book: str
    token: str = Field(description="what this device sends as X-Fettlebook-Token with whatever writes")
    highest_n: int = Field(description="the highest number of this device that the book knows of")
