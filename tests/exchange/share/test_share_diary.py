"""Duties as a calendar: read back by the calendar library, moved and not doubled when planned anew."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from importlib.resources import files

import pytest
from icalendar import Calendar

from fettlebook.exchange.share.diary import duty_diary
from fettlebook.plan.day import DayPlan, DayVerdict, Task
from fettlebook.practice.load import read_practice
from fettlebook.practice.model import Practice
from fettlebook.standing.model import Owed

pytestmark = pytest.mark.invented
NOW = datetime(2026, 11, 25, 8, tzinfo=UTC)


@pytest.fixture(scope="module")
def demo() -> Practice:
    found = read_practice(files("fettlebook.demo").joinpath("practice.toml").read_bytes(), "practice.toml").practice
    assert found is not None
    return found


def task(minute: int, length: int, what: str, *, person: str | None, place: str = "chair 1", attended: bool = True) -> Task:
    start = NOW + timedelta(minutes=minute)
    return Task("turnover", place, person, what, start, start + timedelta(minutes=length), attended, visit="v_1")


def plan(*tasks: Task) -> DayPlan:
    return DayPlan(date(2026, 11, 25), DayVerdict.FITS, "fits", tasks, (), (), 0, 0, None, {}, "by hand")


def events(made: bytes) -> list[tuple[str, str, int, str]]:
    found = Calendar.from_ical(made)
    assert [error for event in found.walk("VEVENT") for error in event.errors] == []
    return [
        (
            str(e["SUMMARY"]),
            f"{e.decoded('DTSTART'):%H:%M}",
            round((e.decoded("DTEND") - e.decoded("DTSTART")).total_seconds() / 60),
            str(e["UID"]),
        )
        for e in found.walk("VEVENT")
        if "DTEND" in e
    ]


def test_steps_in_one_go_at_one_place_are_one_entry_of_their_person(demo: Practice) -> None:
    who, other = demo.people[0].id, demo.people[1].id
    day = plan(
        task(0, 3, "take off", person=who), task(3, 4, "wipe", person=who), task(30, 2, "wipe", person=who),
        task(0, 3, "wipe", person=other, place="chair 2"), task(7, 9, "contact", person=None, attended=False),
    )  # fmt: skip
    mine = events(duty_diary(demo, [day], (), person=who, made_at=NOW))
    assert [one[:3] for one in mine] == [("chair 1: turnover", "08:00", 7), ("chair 1: turnover", "08:30", 2)]
    assert len(events(duty_diary(demo, [day], (), person=None, made_at=NOW))) == 3
    moved = plan(*(replace(t, start=t.start + timedelta(minutes=9), end=t.end + timedelta(minutes=9)) for t in day.tasks))
    again = events(duty_diary(demo, [moved], (), person=who, made_at=NOW))
    assert [one[3] for one in again] == [one[3] for one in mine]
    assert again[0][1] == "08:09"


def test_what_is_owed_has_its_moment_or_the_day(demo: Practice) -> None:
    origin = None  # the calendar shows no source
    due = round(datetime(2026, 11, 27, 12, tzinfo=UTC).timestamp() * 1000)
    owed = (
        Owed("machine:sterilizer 1", "spore", "Spore test", origin, 300, 0, due_ms=due),  # type: ignore[arg-type]
        Owed("chair:chair 2", "weekly", "Weekly suction", origin, overdue=True),  # type: ignore[arg-type]
    )
    found = list(Calendar.from_ical(duty_diary(demo, [], owed, person=None, made_at=NOW)).walk("VEVENT"))
    assert [str(one["SUMMARY"]) for one in found] == ["sterilizer 1: Spore test", "chair 2: Weekly suction (overdue)"]
    assert f"{found[0].decoded('DTSTART'):%Y-%m-%d %H:%M}" == "2026-11-27 12:00"
    assert found[1].decoded("DTSTART") == date(2026, 11, 25)
