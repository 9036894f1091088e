"""The sampling diary as a calendar, read back by a general library: every sample once, on its day, the same entry when it moves."""

import sys
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import icalendar
import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "standing"))
from small_book import READY, Book, ground
from test_sampling_diary import asked, sampled

from fettlebook.exchange.laboratory.sampling_calendar import sampling_calendar

pytestmark = pytest.mark.invented
NOW = datetime(2026, 3, 20, 8, 0, tzinfo=UTC)


def entries(due, today: date = date(2026, 3, 20)):
    made = sampling_calendar(ground().practice, due, today=today, made_at=NOW)
    assert b"\r\n" in made
    assert max(len(line) for line in made.split(b"\r\n")) <= 75  # RFC 5545 3.1: lines are folded
    return icalendar.Calendar.from_ical(made).walk("VEVENT")


def test_each_sample_is_one_entry_of_one_day_with_its_reason() -> None:
    _, _, due = asked(Book(READY).write(sampled("2026-03-10", 2, "turbine", 20)))
    (event,) = entries(due)
    assert event.decoded("dtstart") == due[0].due
    assert event.decoded("dtend") - event.decoded("dtstart") == timedelta(days=1)
    assert str(event["summary"]) == "Water sample: 1, syringe"
    assert due[0].why in str(event["description"])
    assert "Rule: " in str(event["description"])
    assert event.decoded("dtstamp") == NOW


def test_what_is_overdue_stands_today_and_a_sample_that_moves_keeps_its_uid() -> None:
    _, _, (one,) = asked(Book(READY).write(sampled("2026-03-10", 2, "turbine", 20)))
    late = replace(one, due=date(2026, 3, 1))
    (before,), (after,) = entries([one]), entries([late])
    assert after.decoded("dtstart") == date(2026, 3, 20)
    assert str(after["summary"]).endswith("(owed since 2026-03-01)")
    assert before["uid"] == after["uid"]
    two = entries([one, replace(one, chair="2")])
    assert len({str(event["uid"]) for event in two}) == 2


def test_words_of_a_chair_with_signs_of_the_format_come_back_whole() -> None:
    _, _, (one,) = asked(Book())
    (event,) = entries([replace(one, why="a; b, c\\d \u00fc" * 12, from_day=date(2026, 4, 2))])
    assert "a; b, c\\d \u00fc" * 12 in str(event["description"])
    assert "Not before 2026-04-02." in str(event["description"])
