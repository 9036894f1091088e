"""The many legal and half-legal ways in which calendar files are written."""

from datetime import date

import pytest
from book_reading import WEDNESDAY, Reader, starts, texts

from fettlebook.errors import Mendable

pytestmark = pytest.mark.invented

VISIT = """
BEGIN:VEVENT
UID:one
DTSTART;TZID=Europe/London:20261125T090000
DTEND;TZID=Europe/London:20261125T094500
LOCATION:Treatment room 1
CATEGORIES:Filling
END:VEVENT
"""
SEEN = ["09:00-09:45 chair 1 filling"]
WRAPPED = f"BEGIN:VCALENDAR\nVERSION:2.0\n{VISIT.strip()}\nEND:VCALENDAR\n"


def errors(book) -> list[str]:
    return [str(finding) for finding in book.findings if finding.weight == "error"]


@pytest.mark.parametrize(
    "data",
    [
        WRAPPED.encode(),
        WRAPPED.replace("\n", "\r\n").encode(),
        WRAPPED.replace("\n", "\r").encode(),
        b"\xef\xbb\xbf" + WRAPPED.encode(),
        WRAPPED.encode("utf-16"),
        WRAPPED.encode("utf-16-le"),
        WRAPPED.encode("utf-16-be"),
        ("\n\n" + WRAPPED + "\n\n").encode(),
        WRAPPED.replace("\n", " \n").encode(),
        WRAPPED.lower().replace("treatment", "TREATMENT").replace("europe/london", "Europe/London").encode(),
        WRAPPED.replace("LOCATION:Treatment room", "LOCATION:Treat\n ment \n  room").encode(),
        WRAPPED.replace("BEGIN:VCALENDAR\n", "").replace("END:VCALENDAR\n", "").encode(),
    ],
    ids=["lf", "crlf", "cr", "bom", "utf-16", "utf-16-le", "utf-16-be", "blank lines", "spaces", "small letters", "folded", "bare entry"],
)
def test_the_same_visit_is_read_however_the_file_is_written(read: Reader, data: bytes) -> None:
    book = read(data.replace(b"20261125t", b"20261125T"))
    assert starts(book) == SEEN
    assert errors(book) == []


@pytest.mark.parametrize(
    ("start", "end"),
    [
        ("DTSTART:20261125T090000Z", "DTEND:20261125T094500Z"),
        ("DTSTART:20261125T090000", "DTEND:20261125T094500"),
        ("DTSTART:20261125T090000", "DURATION:PT45M"),
        ("DTSTART;VALUE=DATE-TIME;TZID=Europe/Berlin:20261125T100000", "DTEND;VALUE=DATE-TIME;TZID=Europe/Berlin:20261125T104500"),
        ('DTSTART;TZID="W. Europe Standard Time":20261125T100000', 'DTEND;TZID="W. Europe Standard Time":20261125T104500'),
        ("DTSTART;TZID=GMT Standard Time:20261125T090000", "DTEND;TZID=GMT Standard Time:20261125T094500"),
        ("DTSTART;TZID=/maker.example/20260101_1/Europe/Paris:20261125T100000", "DURATION:PT45M"),
        ("DTSTART;TZID=America/New_York:20261125T040000", "DTEND;TZID=Europe/Paris:20261125T104500"),
        ("DTSTART;X-NOTE=a;TZID=Asia/Tokyo:20261125T180000", "DURATION:P0DT0H45M0S"),
    ],
)
def test_a_time_is_the_same_moment_in_every_way_of_writing_it(read: Reader, start: str, end: str) -> None:
    lines = VISIT.strip().splitlines()
    book = read("\n".join([*lines[:2], start, end, *lines[4:]]))
    assert starts(book) == SEEN
    assert errors(book) == []


def test_a_file_may_bring_a_zone_of_its_own(read: Reader) -> None:
    zone = """BEGIN:VTIMEZONE
TZID:Our clock
BEGIN:STANDARD
DTSTART:16011028T030000
RRULE:FREQ=YEARLY;BYDAY=-1SU;BYMONTH=10
TZOFFSETFROM:+0600
TZOFFSETTO:+0500
END:STANDARD
BEGIN:DAYLIGHT
DTSTART:16010325T020000
RRULE:FREQ=YEARLY;BYDAY=-1SU;BYMONTH=3
TZOFFSETFROM:+0500
TZOFFSETTO:+0600
END:DAYLIGHT
END:VTIMEZONE"""
    entry = VISIT.replace("TZID=Europe/London", "TZID=Our clock").replace("T09", "T14")
    for text in (f"{zone}\n{entry}", f"{entry.strip()}\n{zone}"):  # it may also stand behind the entries
        book = read(text)
        assert starts(book) == SEEN
        assert errors(book) == []
    summer = read(f"{zone}\n{entry}".replace("20261125", "20260722"), date(2026, 7, 22))
    assert starts(summer) == ["09:00-09:45 chair 1 filling"]  # 14:00 at +6 is 08:00 UTC, 09:00 in London


def test_a_zone_name_with_commas_is_escaped_in_one_place_and_quoted_in_the_other(read: Reader) -> None:
    standard = "BEGIN:STANDARD\nDTSTART:19700101T000000\nTZOFFSETFROM:+0300\nTZOFFSETTO:+0300\nEND:STANDARD"
    zone = f"BEGIN:VTIMEZONE\nTZID:(UTC+03:00) Here\\, There\n{standard}\nEND:VTIMEZONE"
    entry = VISIT.replace("TZID=Europe/London", 'TZID="(UTC+03:00) Here, There"')
    book = read(f"{zone}\n{entry}")
    assert starts(book) == ["06:00-06:45 chair 1 filling"]
    assert errors(book) == []


def test_two_files_may_give_one_name_to_two_zones(read: Reader) -> None:
    standard = "BEGIN:STANDARD\nDTSTART:19700101T000000\nTZOFFSETFROM:+0200\nTZOFFSETTO:+0200\nEND:STANDARD"
    zone = f"BEGIN:VTIMEZONE\nTZID:Z1\n{standard}\nEND:VTIMEZONE"
    entry = VISIT.replace("TZID=Europe/London", "TZID=Z1")
    assert starts(read(f"{zone}\n{entry}")) == ["07:00-07:45 chair 1 filling"]
    assert starts(read(f"{zone.replace('+0200', '+0100')}\n{entry}")) == ["08:00-08:45 chair 1 filling"]


def test_an_unknown_zone_is_told_with_its_line_and_the_time_is_local(read: Reader) -> None:
    book = read(VISIT.replace("TZID=Europe/London", "TZID=Atlantis/Centre"))
    assert starts(book) == SEEN
    (error,) = errors(book)
    assert error.startswith("book.ics line 6: the time zone named here is not known; its times were taken as local time of Europe/London")


def test_floating_times_are_said_once(read: Reader) -> None:
    entries = "".join(
        VISIT.replace("one", f"n{hour}").replace(";TZID=Europe/London", "").replace("T09", f"T{hour}") for hour in (10, 11, 12)
    )
    floating = [str(finding) for finding in read(entries).findings if "time zone" in finding.what]
    assert floating == [
        "book.ics line 4: 3 entries name no time zone; their times were taken as local time of Europe/London. "
        "Nothing to do if the times are right."
    ]


def test_letters_of_an_old_code_page_are_read_and_told(read: Reader, practice) -> None:
    rule = practice.calendar.rules[0].model_copy(update={"equals": "Behandlungsraum Süd"})
    german = practice.model_copy(update={"calendar": practice.calendar.model_copy(update={"rules": (rule,)})})
    text = WRAPPED.replace("Treatment room 1", "Behandlungsraum Süd")
    for data in (text.encode(), text.replace("ü", "u\u0308").encode()):  # a letter in one piece, and in two
        assert starts(read(data, practice=german)) == ["09:00-09:45 chair 1 exam"]
    folded = text.encode().replace(b"S\xc3\xbcd", b"S\xc3\r\n \xbcd")  # the fold cuts the letter
    assert starts(read(folded, practice=german)) == ["09:00-09:45 chair 1 exam"]
    book = read(text.encode("cp1252"), practice=german)
    assert starts(book) == ["09:00-09:45 chair 1 exam"]
    assert "book.ics line 7: letters here are not UTF-8; read as Windows-1252" in texts(book)


def test_several_calendars_in_one_file_are_all_read(read: Reader, practice) -> None:
    rules = tuple(practice.calendar.rules[at].model_copy(update={"property": "calendar", "equals": f"Chair {at + 1}"}) for at in (0, 1))
    named = practice.model_copy(update={"calendar": practice.calendar.model_copy(update={"rules": rules})})
    bare = VISIT.replace("LOCATION:Treatment room 1\n", "").strip()
    both = "".join(f"BEGIN:VCALENDAR\nX-WR-CALNAME:chair {n}\n{bare}\nEND:VCALENDAR\n" for n in (1, 2))
    assert starts(read(both, practice=named)) == ["09:00-09:45 chair 1 exam", "09:00-09:45 chair 2 exam"]
    behind = f"BEGIN:VCALENDAR\n{bare}\nX-WR-CALNAME:chair 2\nEND:VCALENDAR\n"
    assert starts(read(behind, practice=named)) == ["09:00-09:45 chair 2 exam"]


@pytest.mark.parametrize(
    ("line", "chair"),
    [
        ("LOCATION:Treatment room 2", "chair 2"),
        ("LOCATION;LANGUAGE=en:treatment  ROOM 2 ", "chair 2"),
        ('LOCATION;ALTREP="https://rooms.example:8080/2":Treatment room 2', "chair 2"),
        ("LOCATION:Room 2\\, second floor", "chair 3"),
        ("LOCATION:Room 2, second floor", "chair 3"),
        ("RESOURCES:Projector,Unit 4", "chair 4"),
        ("RESOURCES:Projector\nRESOURCES:Unit 4", "chair 4"),
        ("CATEGORIES:Hygiene,Blue", "chair 1"),
        ("CATEGORIES:Red\nCATEGORIES:Long,Blue", "chair 1"),
    ],
)
def test_lists_and_escaped_commas_are_read_as_meant(read: Reader, practice, line: str, chair: str) -> None:
    first = practice.calendar.rules[0]
    rules = tuple(
        first.model_copy(update={"property": name, "equals": value, "chair": to})
        for name, value, to in [
            ("location", "Treatment room 2", "chair 2"),
            ("location", "Room 2, second floor", "chair 3"),
            ("resources", "Unit 4", "chair 4"),
            ("categories", "Blue", "chair 1"),
        ]
    )
    own = practice.model_copy(update={"calendar": practice.calendar.model_copy(update={"rules": rules})})
    entry = VISIT.replace("LOCATION:Treatment room 1\n", "").replace("CATEGORIES:Filling", line)
    assert [visit.chair for visit in read(entry, practice=own).visits] == [chair]


@pytest.mark.parametrize(
    "lines",
    [
        "RRULE:FREQ=WEEKLY;",
        "RRULE:freq=weekly",
        "RRULE:FREQ=WEEKLY; BYDAY=WE",
        "RRULE:FREQ=WEEKLY;X-PATTERN=1",
        "RRULE:RSCALE=GREGORIAN;FREQ=WEEKLY;SKIP=OMIT",
        "RRULE:FREQ=WEEKLY\nEXDATE:",
        "RRULE:FREQ=WEEKLY\nEXDATE;TZID=Europe/Paris:\nEXDATE:20261118T090000Z,",
        "RRULE:FREQ=WEEKLY\nRDATE:",
        "RRULE:FREQ=WEEKLY\nSEQUENCE:none",
        "RDATE:20261125T090000Z",
    ],
)
def test_a_series_is_read_with_what_exports_add_to_it(read: Reader, lines: str) -> None:
    book = read(VISIT.replace("20261125", "20261104").replace("CATEGORIES", f"{lines}\nCATEGORIES"))
    assert starts(book) == SEEN
    assert errors(book) == []


@pytest.mark.published(source="RFC 5545 section 3.3.5, page 35: without leap seconds, second 60 SHOULD be read as 59", sure="read")
def test_a_leap_second_is_read_as_the_second_before(read: Reader) -> None:
    (visit,) = read(VISIT.replace("T090000", "T085960")).visits
    assert f"{visit.start:%H:%M:%S}" == "08:59:59"


# --- what can't be read -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("was", "now", "words"),
    [
        (
            "DTSTART;TZID=Europe/London:20261125T090000",
            "DTSTART:20261399T090000",
            "line 6: DTSTART of the entry that begins in line 4 can't be read",
        ),
        (
            "DTSTART;TZID=Europe/London:20261125T090000",
            "DTSTART:tomorrow",
            "line 6: DTSTART of the entry that begins in line 4 can't be read",
        ),
        (
            "DTEND;TZID=Europe/London:20261125T094500",
            "DTEND:20261125T254500",
            "line 7: DTEND of the entry that begins in line 4 can't be read",
        ),
        (
            "DTEND;TZID=Europe/London:20261125T094500",
            "DTEND;VALUE=DATE:20261125",
            "line 7: DTEND of the entry that begins in line 4 has a time",
        ),
        (
            "DTEND;TZID=Europe/London:20261125T094500",
            "DURATION:45 minutes",
            "line 7: DURATION of the entry that begins in line 4 can't be read",
        ),
        ("DTSTART;TZID=Europe/London:20261125T090000\n", "", "line 4: this entry has no start (DTSTART)"),
        ("CATEGORIES:Filling", "RECURRENCE-ID:P3D", "line 9: RECURRENCE-ID of the entry that begins in line 4 can't be read"),
        ("CATEGORIES:Filling", "RDATE:PT1H", "line 9: RDATE of the entry that begins in line 4 can't be read"),
        ("DTSTART;TZID=Europe/London:20261125T090000", "DTSTART:-PT1H", "line 6: DTSTART of the entry that begins in line 4 can't be read"),
        (
            "DTEND;TZID=Europe/London:20261125T094500",
            "DURATION:20261125",
            "line 7: DURATION of the entry that begins in line 4 can't be read",
        ),
        ("CATEGORIES:Filling", "RRULE:FREQ=SOMETIMES", "line 9: RRULE of the entry that begins in line 4 can't be read"),
        ("CATEGORIES:Filling", "DTSTART:20261125T100000", "line 9: DTSTART of the entry that begins in line 4 stands here twice"),
        ("CATEGORIES:Filling", "EXRULE:FREQ=DAILY", "line 4: this entry leaves out days by a rule (EXRULE)"),
        ("END:VEVENT", "", "line 4: this entry can't be read: END:VEVENT is missing"),
        ("DTEND;TZID=Europe/London:20261125T094500", "", "line 4: the entry at 09:00 to 09:00 has no length"),
        ("20261125T094500", "20261125T084500", "line 4: the entry at 09:00 to 08:45 ends before it begins"),
        ("20261125T094500", "20261126T094500", "line 4: the entry at Wed 09:00 to Thu 09:45 lasts 24.75 hours"),
        ("VERSION:2.0", "VERSION:1.0", "line 2: this is the old vCalendar form"),
        ("VERSION:2.0", "VERSION:2.0\nCALSCALE:HEBREW", "line 5: this entry counts its dates in another calendar"),
    ],
)
def test_what_cant_be_read_is_told_with_its_line_and_not_planned(read: Reader, was: str, now: str, words: str) -> None:
    text = f"BEGIN:VCALENDAR\nVERSION:2.0\nPRODID:-//invented//EN\n{VISIT.strip()}\nEND:VCALENDAR\n"
    assert was in text
    book = read(text.replace(was, now))
    assert any(error.startswith(f"book.ics {words}") for error in errors(book)), texts(book)
    assert "1.0" in now or book.visits == ()


def test_an_entry_that_is_not_closed_does_not_swallow_the_next(read: Reader) -> None:
    book = read(VISIT.replace("END:VEVENT\n", "") + VISIT.replace("one", "two").replace("T09", "T11"))
    assert starts(book) == ["11:00-11:45 chair 1 filling"]
    assert "line 4: this entry can't be read: END:VEVENT is missing: the next entry begins inside it" in texts(book)


def test_a_note_with_a_line_break_is_passed_over_and_told(read: Reader) -> None:
    book = read(VISIT.replace("LOCATION", "DESCRIPTION:first line\nand a second one without a fold\nLOCATION"))
    assert starts(book) == SEEN
    assert "warning book.ics line 9: 1 lines are no calendar lines and were passed over" in texts(book)


def test_the_dates_of_an_alarm_or_a_task_are_not_those_of_the_entry(read: Reader) -> None:
    alarm = "BEGIN:VALARM\nTRIGGER:-PT5M\nDTSTART:20200101T000000\nLOCATION:elsewhere\nEND:VALARM\n"
    task = "BEGIN:VTODO\nUID:t\nDTSTART:20261125T090000\nLOCATION:Treatment room 1\nEND:VTODO\n"
    book = read(VISIT.replace("CATEGORIES", alarm + "CATEGORIES") + task)
    assert starts(book) == SEEN
    assert "1 tasks, notes or free-busy blocks are no appointments" in texts(book)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "the file is empty"),
        (b" \r\n\0\0 \n", "the file is empty"),
        (b"PK\x03\x04\x14\0\0\0\x08\0", "it looks like a ZIP archive"),
        (b"%PDF-1.7\n1 0 obj\n", "it looks like a PDF"),
        (b"Date;Time;Chair\n2026-11-25;09:00;1\n", "it looks like another kind of file"),
        (b"<!doctype html><title>Sign in</title>", "it looks like a web page"),
        (b'{"items": []}', "it looks like JSON"),
        (bytes(range(256)) * 50, "it looks like another kind of file"),
        (b"BEGIN:VCARD\nFN:Jo\nEND:VCARD\n", "it looks like another kind of file"),
    ],
)
def test_what_is_no_calendar_says_what_it_looks_like(read: Reader, data: bytes, words: str) -> None:
    with pytest.raises(Mendable) as caught:
        read(data)
    assert words in caught.value.what
    assert caught.value.where == "book.ics"
    assert "Export" in caught.value.mend


def test_a_file_cut_off_in_the_middle_says_so(read: Reader) -> None:
    book = read(WRAPPED[: WRAPPED.index("LOCATION")])
    assert "END:VCALENDAR is missing: the file stops in the middle" in texts(book)
    assert "END:VEVENT is missing: the file ends inside it" in texts(book)
    assert book.visits == ()


# --- the empty day ------------------------------------------------------------------------------------------------------


def test_an_empty_day_is_an_empty_book_with_a_note_and_no_error(read: Reader) -> None:
    book = read(VISIT, date(2026, 11, 24))
    assert book.visits == ()
    assert [finding.weight for finding in book.findings] == ["warning"]
    assert book.findings[0].what == "no visit is booked on Tuesday 24 November 2026"
    assert book.counts.entries == 1


def test_an_empty_day_outside_the_file_says_how_far_the_file_reaches(read: Reader) -> None:
    note = texts(read(VISIT, date(2026, 12, 9)))
    assert "The file's entries begin between 2026-11-25 and 2026-11-25: export again if it is old." in note


def test_a_calendar_without_entries_is_an_empty_day(read: Reader) -> None:
    book = read("BEGIN:VCALENDAR\nVERSION:2.0\nEND:VCALENDAR\n", WEDNESDAY)
    assert (book.visits, book.counts.entries) == ((), 0)
