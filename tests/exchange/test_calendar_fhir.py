"""An appointment book as a FHIR R4 Bundle: the same visits as from a calendar file, and nothing of a person."""

import json
import os
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from book_reading import KEY, Reader, starts, texts
from fhir.resources.R4B.bundle import Bundle
from hypothesis import given, settings
from hypothesis import strategies as st

from fettlebook.errors import Mendable
from fettlebook.exchange.calendar import read_book
from fettlebook.exchange.calendar_fhir import read_fhir
from fettlebook.practice.model import Practice
from fettlebook.web.source import newest_book

pytestmark = pytest.mark.invented

ROOM = {"resourceType": "Location", "id": "r1", "name": "Treatment room 1"}


def appointment(**more: Any) -> dict[str, Any]:
    return {
        "resourceType": "Appointment",
        "id": "a1",
        "status": "booked",
        "start": "2026-11-25T09:00:00+00:00",
        "end": "2026-11-25T09:45:00+00:00",
        "participant": [{"actor": {"reference": "Location/r1"}, "status": "accepted"}],
    } | more


def bundle(*resources: dict[str, Any], indent: int | None = 1) -> bytes:
    whole = {"resourceType": "Bundle", "type": "collection", "entry": [{"resource": one} for one in resources]}
    return json.dumps(whole, indent=indent).encode()


def test_a_room_and_a_coded_kind_become_chair_and_kind(read: Reader) -> None:
    coded = {"serviceType": [{"coding": [{"system": "urn:invented", "code": "f", "display": "Filling"}]}]}
    book = read(bundle(appointment(**coded), ROOM))
    assert starts(book) == ["09:00-09:45 chair 1 filling"]
    assert [one for one in book.findings if one.weight == "error"] == []


def test_a_room_may_hang_on_the_schedule_of_a_slot(read: Reader) -> None:
    held = appointment(participant=[{"actor": {"reference": "Patient/p"}, "status": "accepted"}], slot=[{"reference": "Slot/s"}])
    slot = {"resourceType": "Slot", "id": "s", "schedule": {"reference": "https://book.invalid/fhir/Schedule/d"}}
    schedule = {"resourceType": "Schedule", "id": "d", "actor": [{"reference": "Location/r1"}]}
    assert starts(read(bundle(held, slot, schedule, ROOM))) == ["09:00-09:45 chair 1 exam"]


@pytest.mark.parametrize("status", ["cancelled", "noshow", "entered-in-error"])
def test_what_did_not_take_place_is_counted_as_cancelled(read: Reader, status: str) -> None:
    book = read(bundle(appointment(status=status), ROOM))
    assert (book.visits, book.counts.cancelled) == ((), 1)


def test_what_is_only_proposed_is_told_and_not_planned(read: Reader) -> None:
    book = read(bundle(appointment(), appointment(id="a2", status="waitlist"), ROOM))
    assert book.counts.visits == 1
    assert "1 appointments are only proposed or on a waiting list" in texts(book)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"start": "tomorrow"}, "the field start is not as FHIR R4 has it"),
        ({"start": "2026-11-25T09:00:00"}, "the field start is not as FHIR R4 has it"),  # an instant has a zone
        ({"end": None}, "end is missing"),
        ({"status": "Mrs Example"}, "the field status is not as FHIR R4 has it"),
        ({"participant": "Mrs Example"}, "the field participant is not as FHIR R4 has it"),
        ({"serviceType": "Mrs Example"}, "the field serviceType"),
    ],
)
def test_a_malformed_appointment_is_told_by_line_and_field_and_the_others_are_read(read: Reader, more: dict[str, Any], said: str) -> None:
    book = read(bundle(appointment(id="a2", **more), appointment(), ROOM))
    assert starts(book) == ["09:00-09:45 chair 1 exam"]
    assert said in texts(book)
    assert "book.ics line 5" in texts(book)  # the first member of `entry` opens on the fifth line of the file
    assert "Example" not in texts(book)


def test_nothing_of_a_person_is_kept(practice: Practice) -> None:
    told = appointment(
        comment="Secretname", description="Secretname", patientInstruction="Secretname", text={"div": "Secretname", "status": "generated"},
        participant=[
            {"actor": {"reference": "Patient/Secretname", "display": "Secretname"}, "status": "accepted"},
            {"actor": {"reference": "Practitioner/Secretname", "display": "Secretname"}, "status": "accepted"},
            {"actor": {"reference": "Location/r1"}, "status": "accepted"},
        ],
    )  # fmt: skip
    person = {"resourceType": "Patient", "id": "Secretname", "name": [{"family": "Secretname"}]}
    raw = read_fhir(bundle(told, person, ROOM), "book.json", KEY)
    assert "Secretname" not in repr(raw)
    assert len(raw.entries) == 1
    assert "Secretname" not in repr(read_book(bundle(told, person, ROOM), "book.json", practice, date(2026, 11, 25), KEY))


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b'{"resourceType":"Bundle","entry":[{"resource":', "no whole JSON"),
        (b'{"resourceType":"Patient"}', "no FHIR Bundle"),
        (b'{"resourceType":"Bundle","entry":7}', "no FHIR Bundle"),
        (b'{"resourceType":"Bundle","entry":[1,null,{"resource":[]}]}', "no Appointment"),
        (b'{"resourceType":"Bundle","type":"\xff"}', "not UTF-8"),
        (b'{"a":' * 100_000, "nested far too deep"),
    ],
)
def test_what_is_no_bundle_of_appointments_is_refused_in_words(data: bytes, said: str) -> None:
    with pytest.raises(Mendable, match=said):
        read_fhir(data, "book.json", KEY)


@given(
    st.lists(
        st.tuples(st.integers(0, 90), st.integers(10, 60), st.sampled_from(["1", "2"])), max_size=8, unique_by=lambda one: (one[0], one[2])
    ),
    st.sampled_from([None, 1]),
)
@settings(max_examples=60, deadline=None)
def test_a_bundle_and_a_calendar_of_the_same_appointments_give_the_same_visits(
    practice: Practice, booked: list[tuple[int, int, str]], indent: int | None
) -> None:
    begin = datetime(2026, 11, 25, 8, tzinfo=UTC)
    lines, resources = [], []
    for number, (five, length, room) in enumerate(booked):
        start = begin + timedelta(minutes=5 * five)
        end = start + timedelta(minutes=length)
        lines.append(
            f"BEGIN:VEVENT\nUID:u{number}\nDTSTART:{start:%Y%m%dT%H%M%SZ}\nDTEND:{end:%Y%m%dT%H%M%SZ}\n"
            f"LOCATION:Treatment room {room}\nEND:VEVENT\n"
        )
        place = [{"actor": {"reference": "Location/x", "display": f"Treatment room {room}"}, "status": "accepted"}]
        resources.append(appointment(id=f"u{number}", start=start.isoformat(), end=end.isoformat(), participant=place))
    calendar = f"BEGIN:VCALENDAR\nVERSION:2.0\n{''.join(lines)}END:VCALENDAR\n".encode()
    Bundle.model_validate_json(bundle(*resources))  # what we read is what the specification's models take
    if not booked:
        return
    one, two = (read_book(data, "b", practice, begin.date(), KEY) for data in (calendar, bundle(*resources, indent=indent)))
    assert one.visits == two.visits
    assert one.not_planned == two.not_planned


@pytest.mark.published(source="HL7 FHIR R4, Appointment, the example named 'example'", sure="memory")
def test_the_example_of_the_specification_is_read(practice: Practice) -> None:
    example = {
        "resourceType": "Appointment", "id": "example", "status": "booked",
        "serviceCategory": [{"coding": [{"system": "http://example.org/service-category", "code": "gp", "display": "General Practice"}]}],
        "serviceType": [{"coding": [{"code": "52", "display": "General Discussion"}]}],
        "appointmentType": {"coding": [{"system": "http://terminology.hl7.org/CodeSystem/v2-0276", "code": "FOLLOWUP"}]},
        "reasonReference": [{"reference": "Condition/example", "display": "Severe burn of left ear"}], "priority": 5,
        "description": "Discussion on the results of your recent MRI",
        "start": "2013-12-10T09:00:00Z", "end": "2013-12-10T11:00:00Z", "created": "2013-10-10",
        "participant": [
            {"actor": {"reference": "Patient/example", "display": "Peter James Chalmers"}, "required": "required", "status": "accepted"},
            {"actor": {"reference": "Location/1", "display": "South Wing, second floor"}, "required": "required", "status": "accepted"},
        ],
    }  # fmt: skip
    entry = read_fhir(bundle(example), "book.json", KEY).entries[0]
    assert not entry.broken
    assert (entry.first("DTSTART"), entry.first("DTEND")) == ("20131210T090000Z", "20131210T110000Z")
    assert entry.first("LOCATION") == "South Wing\\, second floor"
    assert "Chalmers" not in repr(entry)


def test_of_a_folder_the_newest_export_is_the_book(tmp_path: Path) -> None:
    with pytest.raises(Mendable, match="no appointment book lies in this folder yet"):
        newest_book(tmp_path)
    for age, name in ((30, "old.ics"), (10, "new.json"), (1, "newer.txt"), (1, ".half.ics")):
        path = tmp_path / name
        path.write_bytes(b"x")
        os.utime(path, (1_800_000_000 - age, 1_800_000_000 - age))
    assert newest_book(tmp_path).name == "new.json"
    assert newest_book(tmp_path / "old.ics").name == "old.ics"
