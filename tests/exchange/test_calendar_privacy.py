"""Nothing of a person passes the door: not in what is returned, not in a message, a log or an exception."""

import dataclasses
import json
import logging
import pickle
import traceback
import warnings

import pytest
from book_reading import KEY, WEDNESDAY, Reader
from markers import CALENDAR_MARK, MARKS, entry_with_marks

from fettlebook.errors import Mendable
from fettlebook.exchange.calendar import booked_days, read_book
from fettlebook.exchange.calendar_lines import read_lines
from fettlebook.practice.model import Practice

pytestmark = pytest.mark.invented

GOOD = entry_with_marks("20261125T090000", "20261125T094500", "Treatment room 1")
SPOILT = {
    "a bad date": entry_with_marks("20261399T090000", "20261125T094500", "Treatment room 1"),
    "an end before the start": entry_with_marks("20261125T090000", "20261125T080000", "Treatment room 1"),
    "no chair": entry_with_marks("20261125T090000", "20261125T094500", "ZqUidZq's home"),
    "a bad rule": entry_with_marks("20261125T090000", "20261125T094500", "Treatment room 1", extra="RRULE:FREQ=ZqSummaryZq"),
    "a rule of seconds": entry_with_marks("20261125T090000", "20261125T094500", "Treatment room 1", extra="RRULE:FREQ=SECONDLY"),
    "an unknown zone": GOOD.replace("DTSTART:", "DTSTART;TZID=ZqSummaryZq:"),
    "a bad parameter": GOOD.replace("DTSTART:", 'DTSTART;ZqSummaryZq="ZqUidZq:'),
    "two starts": entry_with_marks("20261125T090000", "20261125T094500", "Treatment room 1", extra="DTSTART:ZqSummaryZq"),
    "no end of the entry": GOOD.replace("END:VEVENT\r\n", ""),
    "no end of the file": GOOD[: GOOD.index("DTEND")],
    "no name before the colon": GOOD.replace("SUMMARY:", ":"),
    "a line break in the summary": GOOD.replace("SUMMARY:mailto:", "SUMMARY:mailto\r\n"),
    "no calendar around it": GOOD.replace("BEGIN:VCALENDAR", "").replace("BEGIN:VEVENT", ""),
    "empty bytes": GOOD.replace("mailto:", "\0"),
}


def everything(read: Reader, practice: Practice, text: str, caplog: pytest.LogCaptureFixture) -> str:
    """Return, as one text, all that comes out when a file is read."""
    out = []
    with warnings.catch_warnings(record=True) as warned, caplog.at_level(logging.DEBUG):
        warnings.simplefilter("always")
        try:
            book = read_book(text.encode(), "book.ics", practice, WEDNESDAY, KEY)
            out += [repr(book), json.dumps(dataclasses.asdict(book), default=str), pickle.dumps(book).decode("latin-1")]
            out += map(str, book.findings)
            out += map(repr, booked_days(text.encode(), "book.ics", practice, WEDNESDAY, KEY, days=30))
        except Mendable as error:
            out += [repr(error), "".join(traceback.format_exception(error)), *map(str, error.findings)]
            out += [repr(error.__context__), repr(error.__cause__)]
    out += [str(warning.message) for warning in warned]
    out.append(caplog.text)
    return "\n".join(out)


def test_the_marked_entry_is_a_visit_so_that_the_test_can_fail(read: Reader) -> None:
    book = read(GOOD)
    assert len(book.visits) == 1
    assert all(mark in GOOD for mark in MARKS)


def test_nothing_of_a_person_is_in_what_comes_out_of_a_good_file(
    read: Reader, practice: Practice, caplog: pytest.LogCaptureFixture, capfd: pytest.CaptureFixture[str]
) -> None:
    out = everything(read, practice, GOOD, caplog) + "".join(capfd.readouterr())
    assert "v_" in out
    assert [mark for mark in MARKS if mark.casefold() in out.casefold()] == []


@pytest.mark.parametrize("spoilt", SPOILT.values(), ids=SPOILT.keys())
def test_nothing_of_a_person_is_in_what_comes_out_of_a_spoilt_file(
    read: Reader, practice: Practice, caplog: pytest.LogCaptureFixture, capfd: pytest.CaptureFixture[str], spoilt: str
) -> None:
    out = everything(read, practice, spoilt, caplog) + "".join(capfd.readouterr())
    assert "Zq" in spoilt
    assert "zq" not in out.casefold()


def test_personal_properties_are_gone_before_any_parser_sees_them() -> None:
    """Of all marks only the calendar's name is kept, for the map; the UID is a digest already."""
    kept = repr([(entry, entry.calendar) for entry in read_lines(GOOD.encode(), "book.ics", KEY).entries])
    assert [mark for mark in MARKS if mark in kept] == [CALENDAR_MARK]
    assert not any(mark.encode().hex() in kept for mark in MARKS)


def test_a_reference_depends_on_the_key_and_on_the_entry_alone(read: Reader) -> None:
    ref = read(GOOD).visits[0].ref
    moved = read(GOOD.replace("T090000", "T100000").replace("T094500", "T104500")).visits[0].ref
    renamed = read(GOOD.replace("SUMMARY:mailto", "SUMMARY:other")).visits[0].ref
    assert ref == moved == renamed, "a visit keeps its reference when it is moved or renamed"
    assert ref != read(GOOD, key=bytes(32)).visits[0].ref
    assert ref != read(GOOD.replace("UID:mailto", "UID:other")).visits[0].ref
    assert ref.startswith("v_")
    assert len(ref) == 22
    assert int(ref[2:], 16) >= 0


def test_each_instance_of_a_series_has_a_reference_of_its_own_that_stays_when_it_is_moved(read: Reader) -> None:
    series = GOOD.replace("LOCATION:", "RRULE:FREQ=DAILY;COUNT=5\r\nLOCATION:")
    first, second = read(series).visits[0], read(series, WEDNESDAY.replace(day=26)).visits[0]
    assert first.ref != second.ref
    uid = next(line for line in GOOD.splitlines() if line.startswith("UID:mailto"))
    change = (
        f"BEGIN:VEVENT\r\n{uid}\r\nRECURRENCE-ID:20261126T090000\r\nDTSTART:20261126T140000\r\nDTEND:20261126T144500\r\n"
        "LOCATION:Treatment room 1\r\nEND:VEVENT\r\nEND:VCALENDAR"
    )
    moved = read(series.replace("END:VCALENDAR", change), WEDNESDAY.replace(day=26)).visits
    assert [visit.start.hour for visit in moved] == [14]
    assert moved[0].ref == second.ref
