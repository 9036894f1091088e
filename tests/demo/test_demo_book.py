"""The invented appointment book: a full day on every working day, within what the practice owns, and with what real exports bring."""

from collections import Counter
from datetime import date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
import recurring_ical_events
from icalendar import Calendar

from fettlebook.demo import book_ics, practice_text
from fettlebook.demo.book import CANCELLED, LEFT_OUT, MOVED, MOVED_TO
from fettlebook.demo.people import invented_words
from fettlebook.practice.load import read_practice
from fettlebook.practice.model import Practice

LONDON = ZoneInfo("Europe/London")


@pytest.fixture(scope="module")
def practice() -> Practice:
    practice = read_practice(practice_text(), "practice.toml").practice
    assert practice is not None
    return practice


@pytest.fixture(scope="module")
def calendar() -> Calendar:
    return Calendar.from_ical(book_ics())


def visits(calendar: Calendar, day: date) -> list[tuple[str, str, datetime, datetime]]:
    """Read one day with the reference library: room, category, start, end, without cancelled entries and meetings."""
    found = []
    for event in recurring_ical_events.of(calendar).at(day):
        category = str(event["CATEGORIES"].cats[0]) if "CATEGORIES" in event else ""
        if category != "Meeting" and event.get("STATUS") != "CANCELLED":
            found.append((str(event["LOCATION"]), category, event["DTSTART"].dt, event["DTEND"].dt))
    return sorted(found, key=lambda visit: visit[:1] + visit[2:])


@pytest.mark.invented
@pytest.mark.parametrize("week", [date(2026, 1, 5), date(2026, 3, 30), date(2026, 10, 26), date(2026, 11, 23), date(2028, 2, 28)])
def test_every_working_day_is_full_and_within_what_the_practice_owns(calendar: Calendar, practice: Practice, week: date):
    (opening,) = practice.opening
    for number in range(5):
        day = week + timedelta(days=number)
        booked = visits(calendar, day)
        assert 26 <= len(booked) <= 30, day
        kinds = Counter(category for _, category, *_ in booked)
        assert kinds["Surgical"] <= 2
        assert kinds["Root canal"] <= 3
        for room in {visit[0] for visit in booked}:
            of_room = [visit for visit in booked if visit[0] == room]
            assert len(of_room) >= 5
            for before, after in pairwise(of_room):
                assert after[2] - before[3] >= timedelta(minutes=5), (room, before, after)
        for _, _, start, end in booked:
            assert timedelta(minutes=15) <= end - start <= timedelta(minutes=75)
            local = start.astimezone(LONDON), end.astimezone(LONDON)
            assert opening.from_ <= local[0].time()
            assert local[1].time() <= opening.to
    assert visits(calendar, week + timedelta(days=5)) == []


@pytest.mark.invented
def test_every_working_day_from_the_first_of_2026_has_visits_and_no_holiday_has(calendar: Calendar, practice: Practice):
    holidays = {holiday.date for holiday in practice.holidays}
    assert holidays
    for day in holidays:
        assert visits(calendar, day) == []
    for day in (date(2026, 1, 1) + timedelta(days=n) for n in range(14)):
        assert bool(visits(calendar, day)) == (day.weekday() < 5), day


@pytest.mark.invented
def test_rooms_and_categories_are_those_that_the_practice_file_maps(calendar: Calendar, practice: Practice):
    known = {(rule.property, rule.equals) for rule in practice.calendar.rules}
    for event in calendar.walk("VEVENT"):
        categories = [str(category) for category in event["CATEGORIES"].cats] if "CATEGORIES" in event else []
        assert all(("categories", category) in known for category in categories)
        assert categories == ["Meeting"] or ("location", str(event["LOCATION"])) in known


def test_one_visit_is_cancelled_one_left_out_and_one_moved(calendar: Calendar):
    def starts(room: str, day: date) -> set[str]:
        return {f"{start:%H:%M}" for where, _, start, _ in visits(calendar, day) if where == room}

    for room, at, day in (CANCELLED, LEFT_OUT, MOVED):
        usual = starts(room, day - timedelta(days=7))
        assert f"{at:%H:%M}" in usual
        assert usual - starts(room, day) == {f"{at:%H:%M}"}
    assert f"{MOVED_TO:%H:%M}" in starts(MOVED[0], MOVED[2])


@pytest.mark.published(
    source="RFC 5545 section 3.1: lines end in CRLF and are no longer than 75 octets without it; folds begin with a blank", sure="memory"
)
def test_lines_end_in_crlf_and_are_folded_at_75_octets():
    text = book_ics()
    assert text.endswith(b"END:VCALENDAR\r\n")
    assert text.count(b"\n") == text.count(b"\r\n")
    assert all(len(row) <= 75 for row in text.split(b"\r\n"))
    assert b"\r\n " in text


def test_it_is_the_same_each_time_and_reads_without_errors(calendar: Calendar):
    assert book_ics() == book_ics()
    assert [event.errors for event in calendar.walk() if event.errors] == []


def test_it_carries_names_that_must_never_get_through():
    text = book_ics().replace(b"\r\n ", b"").decode()
    for word in invented_words():
        assert word in text
    for name in ("SUMMARY", "ATTENDEE", "DESCRIPTION"):
        assert f"\r\n{name}" in text
    assert not [word for word in invented_words() if word.encode() in practice_text()]


def test_its_own_zone_is_london_summer_and_winter(calendar: Calendar):
    """The zone is written by hand: it must agree with the installed zone data."""
    zone = calendar.walk("VTIMEZONE")[0].to_tz()
    for day in (date(2026, 1, 5), date(2026, 3, 28), date(2026, 3, 30), date(2026, 10, 24), date(2026, 10, 26)):
        at = datetime(day.year, day.month, day.day, 12, tzinfo=LONDON)
        assert at.replace(tzinfo=zone).utcoffset() == at.utcoffset(), day
