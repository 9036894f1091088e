"""Files that are too large, too deep, too often or simply broken: a message, never a traceback, and a bound on work.

The bound is counted, not timed: the tests look at what was spent.
"""

import random
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from book_reading import KEY, WEDNESDAY, Reader, starts, texts
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fettlebook.errors import Finding, Mendable
from fettlebook.exchange import calendar_open, calendar_repeat
from fettlebook.exchange.calendar import booked_days, read_book
from fettlebook.exchange.calendar_entries import Entry, read_entry
from fettlebook.exchange.calendar_lines import MAX_BYTES, read_lines
from fettlebook.exchange.calendar_repeat import RULE_STEPS, Budget, instances
from fettlebook.exchange.calendar_zones import Zones
from fettlebook.practice.model import Practice

pytestmark = pytest.mark.invented


def entry(*lines: str, start: str = "20200101T090000", uid: str = "one") -> str:
    body = "\n".join(lines)
    return f"BEGIN:VEVENT\nUID:{uid}\nDTSTART:{start}\nDURATION:PT30M\nLOCATION:Treatment room 1\n{body}\nEND:VEVENT\n"


def spent(text: str, day: date = WEDNESDAY) -> tuple[Budget, list[object] | Finding]:
    """Expand one entry and return what it cost."""
    zone = ZoneInfo("Europe/London")
    (raw,) = read_lines(f"BEGIN:VCALENDAR\n{text}END:VCALENDAR\n".encode(), "book.ics", KEY).entries
    found = read_entry(raw, Zones("book.ics", zone))
    assert isinstance(found, Entry)
    budget, start = Budget(), datetime(day.year, day.month, day.day, tzinfo=zone)
    return budget, instances([found], start, start + timedelta(days=1), budget, "book.ics")


# --- repeats ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "rule", ["FREQ=DAILY;COUNT=1000000", "FREQ=DAILY;UNTIL=50200101T000000Z", "FREQ=DAILY", "FREQ=HOURLY;INTERVAL=24;COUNT=1000000"]
)
def test_a_rule_of_a_million_repeats_is_walked_to_the_day_and_no_further(read: Reader, rule: str) -> None:
    assert starts(read(entry(f"RRULE:{rule}"))) == ["09:00-09:30 chair 1 exam"]
    budget, _ = spent(entry(f"RRULE:{rule}"))
    days = (WEDNESDAY - date(2020, 1, 1)).days
    assert days <= budget.rule_steps <= days + 20


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        ("FREQ=SECONDLY", "this entry repeats every few seconds (FREQ=SECONDLY)"),
        ("FREQ=SECONDLY;INTERVAL=3600", "this entry repeats every few seconds (FREQ=SECONDLY)"),
        ("FREQ=MINUTELY", "the repeat rule does not reach this day within 200,000 steps"),
        ("FREQ=DAILY;INTERVAL=0", "the repeat rule does not reach this day within 200,000 steps"),
        ("FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30", "the repeat rule does not reach this day within 200,000 steps"),
        ("FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30", ""),
        ("FREQ=HOURLY;BYMONTH=2;BYMONTHDAY=30", "the repeat rule does not reach this day within 200,000 steps"),
        ("FREQ=YEARLY;BYDAY=MO;BYSETPOS=" + ",".join(map(str, range(1, 90))), ""),
        ("FREQ=DAILY;BYHOUR=" + ",".join(map(str, range(24))) + ";BYMINUTE=0,10,20,30,40,50", "this entry would stand 144 times a day"),
        ("FREQ=DAILY;BYYEARDAY=" + ",".join(map(str, range(1, 366))), "the repeat rule is longer than 500 characters"),
        ("FREQ=DAILY;INTERVAL=99999999999999999999", ""),
        ("FREQ=DAILY;COUNT=-5", ""),
        ("FREQ=DAILY;BYHOUR=99", ""),
        ("FREQ=WEEKLY;BYDAY=XX", ""),
        ("FREQ=DAILY;UNTIL=tomorrow", ""),
        ("COUNT=5", ""),
        ("", ""),
    ],
)
def test_a_rule_that_no_visit_has_is_refused_with_its_line(read: Reader, rule: str, words: str) -> None:
    book = read(entry(f"RRULE:{rule}"))
    errors = [finding for finding in book.findings if finding.weight == "error"]
    if words:
        assert book.visits == ()
        assert errors[0].where in ("book.ics line 9", "book.ics line 4")
        assert words in errors[0].what
    else:
        assert errors or starts(book) in (["09:00-09:30 chair 1 exam"], []), "any answer but a traceback"


def test_a_rule_from_the_year_one_stops_after_its_steps(read: Reader) -> None:
    budget, found = spent(entry("RRULE:FREQ=DAILY", start="00010101T090000Z"))
    assert isinstance(found, Finding)
    assert RULE_STEPS < budget.rule_steps <= RULE_STEPS + 366


def test_a_file_of_hostile_rules_stops_when_its_work_is_spent(read: Reader, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(calendar_repeat, "RULE_STEPS", 2_000)
    monkeypatch.setattr(calendar_open, "Budget", lambda: Budget(steps=10_000))
    many = "".join(entry("RRULE:FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30", uid=str(n)) for n in range(40))
    book = read(many + entry(start="20261125T090000", uid="good"))
    told = texts(book)
    assert starts(book) == ["09:00-09:30 chair 1 exam"], "what does not repeat is read all the same"
    assert "entries were not read: the file holds or repeats more than one book should" in told
    assert told.count("does not reach this day") <= 6


def test_an_entry_on_the_day_more_often_than_any_visit_is_refused(read: Reader) -> None:
    dates = ",".join(f"20261125T{hour:02}{minute:02}00" for hour in range(24) for minute in range(0, 60, 5))
    book = read(entry(f"RDATE:{dates}"))
    assert book.visits == ()
    assert "this entry stands 288 times on this day; the limit is 96" in texts(book)


def test_a_list_of_too_many_dates_is_refused(read: Reader) -> None:
    book = read(entry("RDATE:" + ",".join(["20261125T090000Z"] * 5_001)))
    assert "this entry lists 5,001 dates; the limit is 5,000" in texts(book)
    long = read(entry("RDATE:" + ",".join(["20261125T090000Z"] * 50_000)))
    assert "line 4: this entry can't be read: RDATE has more than 100,000 bytes" in texts(long)


def test_more_entries_than_a_day_can_hold_are_told(read: Reader) -> None:
    book = read("".join(entry(start="20261125T090000", uid=str(n)) for n in range(2_100)))
    assert "2,100 entries stand on this day; the limit is 2,000, the rest is not planned" in texts(book)
    assert (len(book.visits), len(book.not_planned), book.counts.not_mapped) == (1, 1_999, 100)
    assert "more entries of this day" in texts(book)
    assert len(book.findings) < 500


def test_a_zone_that_changes_every_second_is_not_followed(read: Reader) -> None:
    zone = (
        "BEGIN:VTIMEZONE\nTZID:Mad\nBEGIN:STANDARD\nDTSTART:19700101T000000\nRRULE:FREQ=SECONDLY\n"
        "TZOFFSETFROM:+0100\nTZOFFSETTO:+0200\nEND:STANDARD\nEND:VTIMEZONE\n"
    )
    book = read(zone + entry(start="20261125T090000").replace("DTSTART:", "DTSTART;TZID=Mad:"))
    assert starts(book) == ["09:00-09:30 chair 1 exam"]
    assert "the time zone named here is not known" in texts(book)


# --- size and depth -----------------------------------------------------------------------------------------------------


def test_a_hundred_megabytes_are_refused_before_anything_is_read(read: Reader) -> None:
    with pytest.raises(Mendable) as caught:
        read(bytes(100_000_000))
    assert caught.value.what == "the file has 100 MB; the limit is 20 MB"
    assert caught.value.mend == "Export a shorter stretch of time, for example the next three months."


def test_noise_of_the_largest_size_is_read_through_and_refused(read: Reader) -> None:
    with pytest.raises(Mendable, match="this is not a calendar"):
        read(random.Random(1).randbytes(1_000_000) * (MAX_BYTES // 1_000_000))


def test_a_line_of_ten_megabytes_costs_its_entry_at_most(read: Reader) -> None:
    for name, kept in (("DESCRIPTION", 2), ("LOCATION", 1)):
        book = read(entry(f"{name}:" + "x" * 10_000_000, start="20261125T090000") + entry(start="20261125T110000", uid="two"))
        assert len(book.visits) == kept
    assert "LOCATION has more than 100,000 bytes" in texts(book)


def test_a_fold_of_ten_thousand_lines_costs_its_entry_at_most(read: Reader) -> None:
    book = read(entry("CATEGORIES:" + "\n ".join(["x" * 70] * 10_000), start="20261125T090000"))
    assert "CATEGORIES has more than 100,000 bytes" in texts(book)


def test_deep_nesting_is_told_and_costs_no_stack(read: Reader) -> None:
    deep = "BEGIN:X-BOX\n" * 50_000
    book = read(entry(deep + "END:X-BOX\n" * 50_000, start="20261125T090000"))
    assert starts(book) == ["09:00-09:30 chair 1 exam"]
    assert "parts are nested 20 deep here: the file is damaged" in texts(book)
    unclosed = read(deep + entry(start="20261125T090000"))
    assert unclosed.visits == ()
    assert "END:VCALENDAR is missing" not in texts(unclosed)


def test_entries_inside_entries_are_told(read: Reader) -> None:
    book = read("BEGIN:VEVENT\nUID:x\n" * 3_000 + entry(start="20261125T090000"))
    assert book.counts.unreadable == 3_000
    assert "2,800 more entries that can't be read" in texts(book)


def test_more_entries_than_a_book_has_are_refused(read: Reader) -> None:
    with pytest.raises(Mendable) as caught:
        read("BEGIN:VEVENT\n" * 100_001)
    assert caught.value.what == "the file has more than 100,000 entries"


def test_what_is_not_read_for_want_of_work_is_told(read: Reader, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(calendar_open, "Budget", lambda: Budget(entries=3))
    book = read("".join(entry(start=f"20261125T{hour:02}0000", uid=str(hour)) for hour in range(9, 14)))
    assert len(book.visits) == 3
    assert "error book.ics line 25: 2 entries were not read" in texts(book)


def test_empty_bytes_are_told(read: Reader) -> None:
    book = read(entry(start="20261125T090000").replace("Treatment", "Treat\0\0ment"))
    assert starts(book) == ["09:00-09:30 chair 1 exam"]
    assert "error book.ics line 8: 2 bytes of the file are empty (NUL)" in texts(book)


# --- anything at all ----------------------------------------------------------------------------------------------------

SEED = (
    b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nX-WR-CALNAME:Book\r\n"
    b"BEGIN:VTIMEZONE\r\nTZID:Own\r\nBEGIN:STANDARD\r\nDTSTART:19701025T030000\r\nRRULE:FREQ=YEARLY;BYMONTH=10;BYDAY=-1SU\r\n"
    b"TZOFFSETFROM:+0200\r\nTZOFFSETTO:+0100\r\nEND:STANDARD\r\nEND:VTIMEZONE\r\n"
    b"BEGIN:VEVENT\r\nUID:a\r\nDTSTART;TZID=Own:20261104T100000\r\nDTEND;TZID=Own:20261104T103000\r\n"
    b"RRULE:FREQ=WEEKLY;UNTIL=20261231T000000Z;BYDAY=WE,FR\r\nEXDATE;TZID=Own:20261118T100000\r\nRDATE:20261126T100000Z\r\n"
    b"LOCATION:Treatment\r\n  room 1\r\nCATEGORIES:Filling,Blue\r\nSUMMARY:x\r\nEND:VEVENT\r\n"
    b"BEGIN:VEVENT\r\nUID:a\r\nRECURRENCE-ID;RANGE=THISANDFUTURE;TZID=Own:20261125T100000\r\nSEQUENCE:1\r\n"
    b"DTSTART;TZID=Own:20261125T120000\r\nDURATION:PT1H\r\nRESOURCES:Unit 4\r\nSTATUS:CONFIRMED\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"
)
PIECES = [line + b"\r\n" for line in SEED.split(b"\r\n") if line]
ODD = [
    b"\0",
    b"\xff",
    b":",
    b";",
    b'"',
    b"\r\n ",
    b"\n",
    b"=",
    b"-1",
    b"99999999999999",
    b"Z",
    b"BEGIN:VEVENT\n",
    b"END:VEVENT\n",
    b"DTSTART:0\n",
    b"\xc3",
]


@st.composite
def damaged(draw: st.DrawFn) -> bytes:
    """A good calendar with lines dropped, doubled or swapped, and bytes cut out, turned or put in."""
    pieces = list(PIECES)
    for _ in range(draw(st.integers(0, 4))):
        at, to = draw(st.integers(0, len(pieces) - 1)), draw(st.integers(0, len(pieces) - 1))
        if draw(st.booleans()) and len(pieces) > 1:
            del pieces[at]
        else:
            pieces.insert(to, pieces[at])
    data = b"".join(pieces)
    for _ in range(draw(st.integers(0, 6))):
        at = draw(st.integers(0, len(data)))
        cut = draw(st.integers(0, 12))
        data = data[:at] + draw(st.one_of(st.sampled_from(ODD), st.binary(max_size=3), st.just(b""))) + data[at + cut :]
    return data


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(damaged())
def test_a_damaged_calendar_gives_a_book_or_a_mendable_and_nothing_else(practice: Practice, data: bytes) -> None:
    try:
        book = read_book(data, "book.ics", practice, WEDNESDAY, KEY)
        booked_days(data, "book.ics", practice, WEDNESDAY, KEY, days=40)
    except Mendable:
        return
    counts = book.counts
    parts = (counts.visits, counts.not_planned, counts.ignored, counts.cancelled, counts.all_day, counts.not_mapped)
    assert sum(parts) == counts.on_day
    assert all(visit.start < visit.end and visit.start.date() == WEDNESDAY for visit in book.visits)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=400), st.binary(max_size=200))
def test_any_bytes_give_a_book_or_a_mendable_and_nothing_else(practice: Practice, inside: bytes, around: bytes) -> None:
    for data in (around, b"BEGIN:VCALENDAR\nBEGIN:VEVENT\n" + inside + b"\nEND:VEVENT\nEND:VCALENDAR\n" + around):
        try:
            read_book(data, "book.ics", practice, WEDNESDAY, KEY)
        except Mendable:
            continue


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.randoms(use_true_random=False))
def test_the_order_of_entries_in_the_file_changes_no_visit(practice: Practice, shuffle: random.Random) -> None:
    entries = [entry(start=f"20261125T{hour:02}0000", uid=str(hour)) for hour in range(8, 18)]
    entries += [entry("RRULE:FREQ=WEEKLY", start=f"20261104T{hour:02}3000", uid=f"w{hour}") for hour in range(8, 18)]
    in_order = read_book(f"BEGIN:VCALENDAR\n{''.join(entries)}END:VCALENDAR".encode(), "b", practice, WEDNESDAY, KEY)
    shuffle.shuffle(entries)
    shuffled = read_book(f"BEGIN:VCALENDAR\n{''.join(entries)}END:VCALENDAR".encode(), "b", practice, WEDNESDAY, KEY)
    assert len(in_order.visits) == 20
    assert shuffled.visits == in_order.visits


@st.composite
def any_entry(draw: st.DrawFn) -> str:
    """An entry around the day, of any usual kind: alone, in a series, all day, long, in another zone."""
    near = WEDNESDAY + timedelta(days=draw(st.sampled_from([-400, -40, -12, -9, -8, -7, -3, -2, -1, 0, 1, 2, 3, 7, 40])))
    clock = f"{draw(st.integers(0, 23)):02}{draw(st.sampled_from(['00', '30']))}00"
    zone = draw(st.sampled_from(["", ";TZID=Pacific/Kiritimati", ";TZID=Pacific/Pago_Pago", ";TZID=America/New_York"]))
    start = draw(
        st.sampled_from([f"DTSTART{zone}:{near:%Y%m%d}T{clock}", f"DTSTART:{near:%Y%m%d}T{clock}Z", f"DTSTART;VALUE=DATE:{near:%Y%m%d}"])
    )
    length = draw(st.sampled_from(["", "DURATION:PT45M", "DURATION:PT240H", "DURATION:P3D", "DURATION:P2W", "DURATION:-PT1H"]))
    rules = [
        "",
        "RRULE:FREQ=DAILY",
        "RRULE:FREQ=WEEKLY;COUNT=3",
        f"RRULE:FREQ=DAILY;UNTIL={WEDNESDAY - timedelta(days=draw(st.integers(0, 12))):%Y%m%d}",
    ]
    lines = [f"UID:{draw(st.integers(0, 99))}", start, length, draw(st.sampled_from(rules)), "LOCATION:Treatment room 1"]
    return "\n".join(["BEGIN:VEVENT", *lines, "END:VEVENT", ""])


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(any_entry(), min_size=1, max_size=6))
def test_passing_over_entries_that_are_surely_elsewhere_changes_nothing(practice: Practice, entries: list[str]) -> None:
    data = f"BEGIN:VCALENDAR\n{''.join(entries)}END:VCALENDAR\n".encode()
    quick = read_book(data, "b", practice, WEDNESDAY, KEY)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(calendar_open, "surely_elsewhere", lambda *_: False)
        thorough = read_book(data, "b", practice, WEDNESDAY, KEY)
    assert quick.visits == thorough.visits
    assert quick.not_planned == thorough.not_planned
    assert quick.counts.on_day == thorough.counts.on_day
