"""An appointment book as FHIR R4: a Bundle of Appointment, Slot, Schedule and Location, read into the same raw entries as a calendar file.

Only what a visit needs is taken: a digest of the id, start, end, status, the places and devices that take part, and the coded kinds.
Who takes part (patients, practitioners, related persons), comments, reasons and descriptions are never looked at, and no message quotes
a value. Each appointment's form is checked by the R4B models (the same shape for these resources).

Source: HL7 FHIR R4 (4.0.1), resources Appointment, Slot, Schedule, Location, Bundle [memory: their pages were not at hand; the models of
fhir.resources, made from the specification's definitions, decide].
"""

import hmac
import json
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from typing import Any, Final

from fettlebook.errors import Finding, Mendable
from fettlebook.exchange.calendar_lines import MAX_BYTES, MAX_ENTRIES, Line, RawBook, RawCalendar, RawEntry
from fettlebook.exchange.json_text import read_json

PLACES: Final = ("Location", "HealthcareService")
CHAIRS: Final = ("Device",)
KINDS: Final = ("serviceType", "appointmentType", "specialty", "serviceCategory")
CANCELLED: Final = ("cancelled", "noshow", "entered-in-error")
NO_TIME_YET: Final = ("proposed", "waitlist")
STATUSES: Final = (*CANCELLED, *NO_TIME_YET, "pending", "booked", "arrived", "fulfilled", "checked-in")  # the code's required values
NEEDED: Final = ("resourceType", "id", "status", "start", "end", "participant", "minutesDuration", *KINDS)


def looks_like_fhir(data: bytes) -> bool:
    """Tell whether a file is meant as FHIR's JSON rather than as a calendar; `read_fhir` judges what is in it."""
    return data.removeprefix(b"\xef\xbb\xbf").lstrip()[:1] == b"{" and b'"resourceType"' in data


def read_fhir(data: bytes, file: str, key: bytes) -> RawBook:
    """Return the appointments of a FHIR R4 Bundle as raw entries, without anything personal.

    Parameters
    ----------
    data
        The file's bytes, UTF-8 JSON, at most `MAX_BYTES`.
    file
        Its name, for messages.
    key
        The practice's secret key, for the digest of the id.

    Raises
    ------
    Mendable
        Too large, no JSON, no Bundle, no appointment in it, too many, or the FHIR models are not installed.
    """
    if len(data) > MAX_BYTES:
        raise Mendable(
            f"the file has {len(data) / 1e6:,.0f} MB; the limit is {MAX_BYTES / 1e6:,.0f} MB", where=file, mend="Export a shorter stretch."
        )
    bundle, text = read_json(data, file)
    if not isinstance(bundle, dict) or bundle.get("resourceType") != "Bundle" or not isinstance(bundle.get("entry", []), list):
        raise Mendable(
            "this JSON is no FHIR Bundle", where=file, mend='Export a Bundle (type "searchset" or "collection") of Appointment resources.'
        )
    resources = [
        (line, one["resource"]) for line, one in _with_lines(text, bundle.get("entry", [])) if isinstance(one.get("resource"), dict)
    ]
    book = _book(resources, file, key)
    if not book.entries:
        raise Mendable(
            "there is no Appointment in this Bundle",
            where=file,
            mend="Export Appointment resources, with Slot and Schedule if rooms hang there.",
        )
    return book


def _book(resources: list[tuple[int, dict[str, Any]]], file: str, key: bytes) -> RawBook:
    book, calendar = RawBook(), RawCalendar(1)
    rooms = _Rooms(resources)
    waiting = 0
    for line, resource in resources:
        if resource.get("resourceType") != "Appointment":
            continue
        if len(book.entries) >= MAX_ENTRIES:
            raise Mendable(f"more than {MAX_ENTRIES:,} appointments", where=f"{file} line {line}", mend="Export a shorter stretch of time.")
        if resource.get("status") in NO_TIME_YET:
            waiting += 1
            continue
        book.entries.append(_entry(line, resource, rooms, calendar, key))
    if waiting:
        what = f"{waiting:,} appointments are only proposed or on a waiting list and were passed over"
        book.findings.append(Finding(what, file, "Nothing to do: they count once they are booked.", "warning"))
    return book


def _entry(line: int, resource: dict[str, Any], rooms: "_Rooms", calendar: RawCalendar, key: bytes) -> RawEntry:
    entry = RawEntry(line, calendar)
    named = str(resource.get("id") or "") or _identifier(resource)
    if named:
        entry.uid = hmac.digest(key, b"uid|" + named.encode("utf-8", "replace"), "sha256").hex()
    if fault := _fault(resource):
        entry.broken = fault
        return entry
    values: dict[str, list[str]] = {
        "DTSTART": [_utc(resource["start"])],
        "DTEND": [_utc(resource["end"])],
        "LOCATION": rooms.of(resource, PLACES)[:1],
        "RESOURCES": [",".join(map(_escaped, rooms.of(resource, (*PLACES, *CHAIRS))))],
        "CATEGORIES": [",".join(map(_escaped, _kinds(resource)))],
        "STATUS": ["CANCELLED"] if resource.get("status") in CANCELLED else [],
    }
    values["LOCATION"] = [_escaped(one) for one in values["LOCATION"]]
    for name, said in values.items():
        if kept := [Line(line, "", value) for value in said if value]:
            entry.properties[name] = kept
    return entry


def _fault(resource: dict[str, Any]) -> str:
    """Return what is wrong with an appointment's form, naming the field, never its value; empty if nothing is."""
    try:
        from fhir.resources.R4B.appointment import Appointment  # noqa: PLC0415 - 0.25 s, only where a Bundle is read
    except ImportError:
        mend = "Install the program with its FHIR part (the set-up of this project does), or export the book as iCalendar."
        raise Mendable("the FHIR models are not installed here", where="appointment book", mend=mend) from None
    from pydantic import ValidationError  # noqa: PLC0415

    for name in ("start", "end"):
        if not resource.get(name):
            return f"{name} is missing"
    if resource.get("status") not in STATUSES:
        return "the field status is not as FHIR R4 has it"
    try:
        # Only what is needed goes on to the models: nothing else of an appointment is any business of this program.
        Appointment.model_validate({name: _needed(name, resource[name]) for name in NEEDED if name in resource})
    except ValidationError as error:
        first = error.errors(include_input=False, include_url=False, include_context=False)[0]
        return f"the field {'.'.join(map(str, first['loc'])) or 'resource'} is not as FHIR R4 has it"
    except Exception:
        return "it is not as FHIR R4 has it"
    return ""


def _needed(name: str, value: Any) -> Any:
    """Return a field without what says who takes part: a participant keeps its status, and its actor only where that is a place."""
    if name != "participant" or not isinstance(value, list):
        return value
    return [{"status": one.get("status"), "actor": {"reference": "Location/x"}} if isinstance(one, dict) else one for one in value]


class _Rooms:
    """What places are called, and which slot belongs to which of them."""

    def __init__(self, resources: list[tuple[int, dict[str, Any]]]) -> None:
        self.named: dict[str, Mapping[str, Any]] = {}
        for _, one in resources:
            self.named[f"{one.get('resourceType')}/{one.get('id')}"] = one

    def of(self, appointment: Mapping[str, Any], types: tuple[str, ...]) -> list[str]:
        """Return what the places of an appointment are called: by their resource's name, its own words, or its id."""
        actors = [one.get("actor") for one in _list(appointment, "participant")]
        for slot in _list(appointment, "slot"):
            schedule = self._resource(self._resource(slot).get("schedule"))
            actors += _list(schedule, "actor")
        found: dict[str, None] = {}
        for actor in actors:
            if not isinstance(actor, dict):
                continue
            reference = actor.get("reference")
            if not isinstance(reference, str) or not reference.rpartition("/")[0].endswith(types):
                continue
            resource = self._resource(actor)
            for name in (resource.get("name"), actor.get("display"), reference.rpartition("/")[2]):
                if isinstance(name, str) and name.strip():
                    found[name] = None
        return list(found)

    def _resource(self, reference: Any) -> Mapping[str, Any]:
        said = reference.get("reference") if isinstance(reference, dict) else None
        if not isinstance(said, str):
            return {}
        return self.named.get("/".join(said.split("/")[-2:]), {})


def _list(resource: Mapping[str, Any], name: str) -> list[dict[str, Any]]:
    value = resource.get(name)
    return [one for one in value if isinstance(one, dict)] if isinstance(value, list) else []


def _identifier(resource: Mapping[str, Any]) -> str:
    return next((f"{one.get('system', '')}|{one['value']}" for one in _list(resource, "identifier") if one.get("value")), "")


def _kinds(resource: Mapping[str, Any]) -> list[str]:
    found: dict[str, None] = {}
    for name in KINDS:
        value = resource.get(name)
        for concept in value if isinstance(value, list) else [value]:
            if not isinstance(concept, dict):
                continue
            for coding in _list(concept, "coding"):
                found |= {word: None for word in (coding.get("display"), coding.get("code")) if isinstance(word, str)}
            if isinstance(concept.get("text"), str):
                found[concept["text"]] = None
    return list(found)


def _utc(instant: str) -> str:
    return datetime.fromisoformat(instant).astimezone(UTC).strftime("%Y%m%dT%H%M%SZ")


def _escaped(text: str) -> str:
    """Return a text as a calendar's text value (RFC 5545 section 3.3.11)."""
    return text.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,").replace("\r", " ").replace("\n", "\\n")


def _with_lines(text: str, entries: list[Any]) -> Iterator[tuple[int, dict[str, Any]]]:
    """Yield each member of the Bundle's `entry` with the line on which it begins."""
    starts = _starts(text)
    line, seen = 1, 0
    for entry in entries:
        at = next(starts, seen)
        line += text.count("\n", seen, at)
        seen = at
        if isinstance(entry, dict):
            yield line, entry


def _starts(text: str) -> Iterator[int]:
    """Yield where each member of the top object's `entry` begins. The text is known to be whole JSON."""
    decoder = json.JSONDecoder()
    at = _skip(text, _skip(text, 0) + 1)
    while text[at] == '"':
        name, at = decoder.raw_decode(text, at)
        at = _skip(text, _skip(text, at) + 1)  # past the colon
        if name == "entry":
            at = _skip(text, at + 1)
            while text[at] != "]":
                yield at
                _, at = decoder.raw_decode(text, at)
                at = _skip(text, at)
                at = _skip(text, at + 1) if text[at] == "," else at
            return
        _, at = decoder.raw_decode(text, at)
        at = _skip(text, at)
        at = _skip(text, at + 1) if text[at] == "," else at


def _skip(text: str, at: int) -> int:
    while at < len(text) and text[at] in " \t\r\n":
        at += 1
    return at
