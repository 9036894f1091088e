"""The real makers behind the page: what the appointment book holds is planned, or said not to be."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

import pytest

from fettlebook.demo import practice_text
from fettlebook.plan.day import DayVerdict
from fettlebook.web.chain import Chain

pytestmark = pytest.mark.invented

TWO_AT_ONCE = b"""BEGIN:VCALENDAR
VERSION:2.0
PRODID:-//invented//EN
BEGIN:VEVENT
UID:a
DTSTAMP:20260101T000000Z
DTSTART;TZID=Europe/London:20261126T090000
DTEND;TZID=Europe/London:20261126T100000
LOCATION:Treatment room 1
END:VEVENT
BEGIN:VEVENT
UID:b
DTSTAMP:20260101T000000Z
DTSTART;TZID=Europe/London:20261126T093000
DTEND;TZID=Europe/London:20261126T101500
LOCATION:Treatment room 1
END:VEVENT
END:VCALENDAR
"""


def test_a_visit_on_a_taken_chair_keeps_the_day_from_fitting_and_stands_in_the_record(tmp_path):
    (tmp_path / "practice.toml").write_bytes(practice_text())
    (tmp_path / "book.ics").write_bytes(TWO_AT_ONCE.replace(b"\n", b"\r\n"))
    chain = Chain(
        tmp_path / "practice.toml",
        tmp_path / "book.ics",
        tmp_path / "book.sqlite",
        clock=lambda: datetime(2026, 11, 26, 8, 0, tzinfo=ZoneInfo("Europe/London")),
    )
    try:
        day = chain.plan(chain.read(), date(2026, 11, 26), lambda stage: None)
        imported = chain._store.latest("book.imported")
    finally:
        chain.close()
    assert day.verdict is not DayVerdict.FITS
    assert [v.start is None for v in day.visits].count(True) == 1
    assert imported is not None
    assert len(imported.entry.data.visits) == 2
