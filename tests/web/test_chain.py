"""The real makers behind the page: what the appointment book holds is planned, or said not to be."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

import pytest

from fettlebook.book.entries import Moment
from fettlebook.demo import book_ics, practice_text
from fettlebook.plan.day import DayVerdict
from fettlebook.plan.events import ChairOut, Emergency, FailedCycle, MachineOut
from fettlebook.plan.follow import course_of, going_on, kept, timetable
from fettlebook.web.chain import Chain
from fettlebook.web.kept_days import Kept, entry_of

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


def test_what_was_kept_of_a_day_is_there_again_after_a_restart_and_its_parts_stand_in_the_book(tmp_path):
    (tmp_path / "practice.toml").write_bytes(practice_text())
    (tmp_path / "book.ics").write_bytes(book_ics())

    def opened() -> Chain:
        return Chain(
            tmp_path / "practice.toml",
            tmp_path / "book.ics",
            tmp_path / "book.sqlite",
            clock=lambda: datetime(2026, 11, 25, 10, 42, tzinfo=ZoneInfo("Europe/London")),
        )

    day = date(2026, 11, 25)
    chain = opened()
    try:
        reading = chain.read()
        first = chain.plan(reading, day, lambda stage: None)
        assert chain.kept(day, first) is None
        events = [MachineOut("sterilizer 1"), ChairOut("chair 2", 780), FailedCycle("washer 1"), Emergency(20, "chair 4", ("exam",))]
        found = going_on(course_of(first.basis), 642, events, minute=first.basis.words.minute, rounds=0)
        course = kept(course_of(first.basis), found, events, ["sterilizer 1 is out", "chair 2 is out", "a load failed", "urgent"])
        chain.keep(reading, day, first, course, events)
    finally:
        chain.close()
    chain = opened()
    try:
        reading = chain.read()
        first = chain.plan(reading, day, lambda stage: None)
        again = chain.kept(day, first)
        assert again == Kept(course, newer=False)
        assert timetable(first, again.course).line.startswith("from 10:42: ")
        said = [r.entry for r in chain.store.read(kinds=["subject.out_of_service", "cycle.recorded", "day.replanned"])]
        assert [e.kind for e in said] == ["subject.out_of_service", "subject.out_of_service", "cycle.recorded", "day.replanned"]
        raw = said[-1].encode().decode()
        assert "Ana" not in raw  # people stand in the record by their ids
        (tmp_path / "practice.toml").write_bytes(practice_text().replace(b"owned = 14", b"owned = 13"))
        changed = chain.plan(chain.read(), day, lambda stage: None)
        assert chain.kept(day, changed).newer
        chain.keep(reading, day, first, None, [])
        assert chain.kept(day, first) is None
    finally:
        chain.close()


def test_a_kept_plan_that_can_not_be_read_any_more_is_left_alone(tmp_path):
    (tmp_path / "practice.toml").write_bytes(practice_text())
    (tmp_path / "book.ics").write_bytes(book_ics())
    chain = Chain(
        tmp_path / "practice.toml",
        tmp_path / "book.ics",
        tmp_path / "book.sqlite",
        clock=lambda: datetime(2026, 11, 25, 10, 42, tzinfo=ZoneInfo("Europe/London")),
    )
    try:
        reading = chain.read()
        first = chain.plan(reading, date(2026, 11, 25), lambda stage: None)
        good = entry_of(date(2026, 11, 25), first, course_of(first.basis))
        for broken in ({"plan": "{}"}, {"instance": "no JSON"}, {"plan": good.plan.replace('"start":5', '"start":9')}):
            data = good.model_copy(update=broken)
            chain.store.note(data, moment=Moment(1_764_000_000_000, "Europe/London"), subjects=("day:2026-11-25",))
            assert chain.kept(date(2026, 11, 25), first) is None
    finally:
        chain.close()


def test_the_page_plans_what_is_due_by_the_book_just_as_the_command_does(tmp_path):
    from fettlebook.cli.day_from_files import plan_from_files

    practice, calendar, book = tmp_path / "practice.toml", tmp_path / "book.ics", tmp_path / "book.sqlite"
    practice.write_bytes(practice_text())
    calendar.write_bytes(book_ics())
    day = date(2026, 11, 25)
    chain = Chain(practice, calendar, book, clock=lambda: datetime(2026, 11, 25, 7, 0, tzinfo=ZoneInfo("Europe/London")))
    try:
        page = chain.plan(chain.read(), day, lambda stage: None)
    finally:
        chain.close()
    asked = {"day": day, "key_file": str(tmp_path / "book.key"), "limit_s": 0.0, "seed": 1}
    command = plan_from_files(practice, calendar, data=str(book), **asked).plan
    without = plan_from_files(practice, calendar, data=None, **asked).plan

    def duties(plan):
        return sorted((d.id, d.name, d.subject) for d in plan.basis.day.duties)

    assert duties(page) == duties(command)
    assert duties(page) != duties(without), "an empty book shows no difference"
