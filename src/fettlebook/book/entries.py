"""Entries, version 1: one fact each, made on a tablet or by the program, never changed afterwards.

Sources
-------
[U] RFC 9562 section 5.7: UUID version 7, milliseconds first. An id is a name here: neither its time nor its order is trusted. secondary
"""

import re
from dataclasses import dataclass
from typing import Annotated, Any, Final, Self

import uuid_utils
from pydantic import Field, SerializeAsAny, ValidationError, model_validator

from fettlebook.book import canonical
from fettlebook.book.kinds import KINDS, AsTuple, Data, Frozen, Id, Ms, OtherData, subjects_of
from fettlebook.errors import Finding, Mendable

VERSION: Final = 1
PROGRAM: Final = "program"  # who made it, where no person did
SERVER_FIELDS: Final = ("seq", "received", "offset", "via")
MOST_BYTES: Final = max(OtherData.MOST_BYTES, *(model.MOST_BYTES for model in KINDS.values()))
ID: Final = r"^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$"  # [U], this spelling only
_ID: Final = re.compile(ID[1:-1])
_DEVICE: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9 ._-]{0,59}")

EntryId = Annotated[str, Field(pattern=ID)]
Kind = Annotated[str, Field(max_length=60, pattern=r"^[a-z][a-z0-9_]*\.[a-z][a-z0-9_]*$")]
Subject = Annotated[str, Field(max_length=130, pattern=r"^[a-z][a-z_]*:[^\x00-\x1f\x7f]+$", description="what it is about: `chair:2`")]
Zone = Annotated[str, Field(max_length=64, pattern=r"^[A-Za-z][A-Za-z0-9_+/-]*$", description="name in the IANA time zone database")]


class Mono(Frozen):
    """A clock that only runs forward: comparable within one session of the tablet's program."""

    session: Id
    ms: Annotated[int, Field(ge=0)]


class Entry(Frozen):
    """One fact, as its maker wrote it. What the receiver adds (order, time of receipt) stands apart, in `Received`."""

    v: Annotated[int, Field(ge=VERSION, le=VERSION)]
    id: EntryId
    kind: Kind
    at: Ms  # as the maker's wall clock had it
    zone: Zone
    mono: Mono | None = None  # None: no such clock; a length of time is then not proven by this entry
    device: Id
    n: Annotated[int, Field(ge=1, description="gapless counter of this device: it makes a missing entry visible")]
    by: Id
    role_as_shown: Id | None = None
    subjects: Annotated[tuple[Subject, ...], AsTuple]
    data: SerializeAsAny[Data]
    refers_to: EntryId | None = None

    @model_validator(mode="after")
    def _fits_its_kind(self) -> Self:
        if type(self.data) is not KINDS.get(self.kind, OtherData):
            raise ValueError(f"the data are those of {self.data.KIND!r}")
        if self.data.REFERS and self.refers_to is None:
            raise ValueError(f"{self.kind} needs refers_to, the id of the entry that it is about")
        return self

    def encode(self) -> bytes:
        """Return the canonical bytes: the same that were read, where it was read. Raises `Mendable` where there can be none."""
        return canonical.encode(self.model_dump(exclude_none=True), where="entry")


@dataclass(frozen=True, slots=True)
class Moment:
    """When, as a face's clocks had it: wall clock in ms since 1970 UTC, zone name, and the clock that only runs forward."""

    at: int
    zone: str
    mono: Mono | None = None


def new_id(at: int) -> str:
    """Return a new entry id for the moment `at` [ms since 1970-01-01 UTC]."""
    return str(uuid_utils.uuid7(nanoseconds=at * 1_000_000))


def is_id(text: str) -> bool:
    """Tell whether `text` is an entry id in the one spelling that is taken."""
    return _ID.fullmatch(text) is not None


def is_device(text: str) -> bool:
    """Tell whether `text` can be the id of a device."""
    return _DEVICE.fullmatch(text) is not None


def new_entry(
    data: Data, *, moment: Moment, device: str, n: int, by: str, subjects: tuple[str, ...] = (), refers_to: str | None = None
) -> Entry:
    """Return a new entry that says `data`.

    Parameters
    ----------
    data
        One of the models in `fettlebook.book.kinds`; it decides the kind.
    moment
        When it is said to be, from the clocks of whoever makes it.
    device, n
        The maker's device and its gapless counter, from 1.
    by
        Who: a person's id, or `PROGRAM`.
    subjects
        What else it is about, beside what `subjects_of(data)` gives.
    refers_to
        Id of the earlier entry that it corrects or withdraws.

    Raises
    ------
    Mendable
        Something in it is outside what an entry can hold; all of it is named.
    """
    fields = {
        "v": VERSION,
        "id": new_id(moment.at),
        "kind": data.KIND,
        "at": moment.at,
        "zone": moment.zone,
        "mono": moment.mono,
        "device": device,
        "n": n,
        "by": by,
        "subjects": tuple(dict.fromkeys((*subjects_of(data), *subjects))),
        "data": data,
        "refers_to": refers_to,
    }
    return entry_of(fields)


def read_entry(raw: bytes) -> Entry:
    """Return the entry whose canonical bytes are `raw`, as a device sent them.

    Raises
    ------
    Mendable
        `raw` is not canonical JSON, is of a newer version, sets what only the receiver sets, or does not have an entry's form.
    """
    value = canonical.read(raw, where="entry", most_bytes=MOST_BYTES)
    if not isinstance(value, dict):
        raise Mendable(f"a {type(value).__name__}", where="entry", mend="Send one entry as a JSON object.")
    version = value.get("v")
    if isinstance(version, int) and version > VERSION:
        mend = f"Update fettlebook on this server; it reads entries up to version {VERSION}."
        raise Mendable(f"an entry of version {version}", where="entry.v", mend=mend)
    if taken := [field for field in SERVER_FIELDS if field in value]:
        raise Mendable(f"sets {', '.join(taken)}", where=f"entry.{taken[0]}", mend="Leave it out; only the receiver sets it.")
    entry = entry_of(value)
    if len(raw) > entry.data.MOST_BYTES:
        what = f"{len(raw):,} bytes; {entry.kind} takes at most {entry.data.MOST_BYTES:,}"
        raise Mendable(what, where="entry", mend="Send less in one entry.")
    return entry


def entry_of(fields: dict[str, Any]) -> Entry:
    """Return the entry with these fields; raises `Mendable` with all that is wrong."""
    kind, data = fields.get("kind"), fields.get("data")
    found: list[Finding] = []
    if isinstance(data, dict):  # here, not in a validator of the field: that would cost as much again as all the rest
        model = KINDS.get(kind, OtherData) if isinstance(kind, str) else OtherData
        try:
            fields = {**fields, "data": model.model_validate(data)}
        except ValidationError as error:
            found = _findings(error, "data")
            fields = {**fields, "data": model.model_construct()}
    try:
        entry = Entry.model_validate(fields)
    except ValidationError as error:
        raise Mendable.of([*_findings(error), *found]) from None
    if found:
        raise Mendable.of(found)
    return entry


def _findings(error: ValidationError, *within: str) -> list[Finding]:
    return [_finding((*within, *part["loc"]), part["msg"], part["input"]) for part in error.errors(include_url=False)]


def _finding(loc: tuple[int | str, ...], said: str, seen: object) -> Finding:
    where = "entry" + "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in loc)
    shown = "" if isinstance(seen, dict | Frozen) else f"{seen!r:.60}: "
    return Finding(shown + said[0].lower() + said[1:], where, "Send this field in the form that the documentation of entries names.")
