"""A day followed step by step: each new plan goes on from the last, holds every rule, and becomes a timetable again."""

from datetime import date

import pytest

from fettlebook.demo import book_ics, practice_text
from fettlebook.errors import Mendable
from fettlebook.exchange.calendar import read_book
from fettlebook.plan.basis import named_day, named_plan
from fettlebook.plan.day import DayPlan, DayVerdict
from fettlebook.plan.events import ChairOut, Emergency, FailedCycle, MachineOut, Missing, Overrun
from fettlebook.plan.explain import dirty_at_night
from fettlebook.plan.follow import URGENT, Course, course_of, going_on, kept, problems, timetable
from fettlebook.plan.replan import replan
from fettlebook.plan.whole_day import plan_day
from fettlebook.practice.load import read_practice
from fettlebook.rules.load import load_rulebook
from fettlebook.times.running import running_times

DAY = date(2026, 11, 25)
pytestmark = pytest.mark.invented


@pytest.fixture(scope="module")
def first() -> DayPlan:
    practice = read_practice(practice_text(), "practice.toml").practice
    assert practice
    book = read_book(book_ics(), "book.ics", practice, DAY, b"k" * 32)
    times = running_times(practice, load_rulebook(practice, on=DAY))
    return plan_day(practice, times, book.visits, DAY, limit_s=0.0, seed=1)


def _on(first: DayPlan, course: Course, at: int, *events: object) -> Course:
    assert first.basis
    found = going_on(course, at, events, minute=first.basis.words.minute, rounds=0)  # type: ignore[arg-type]
    after = kept(course, found, events, [type(e).__name__ for e in events])  # type: ignore[arg-type]
    assert not problems(after)
    return after


def test_one_happening_after_another_each_plan_holds_every_rule_and_what_was_done_stays(first: DayPlan) -> None:
    assert first.basis
    course = course_of(first.basis)
    length = {v.id: v.minutes for v in course.day.visits}
    running = next(v for v in course.plan.visits if v.start < 600 < v.start + length[v.id])
    steps = [
        (600, [Overrun(running.id, 12)]),
        (642, [MachineOut("sterilizer 1")]),
        (700, [Missing("Chloe", 760), FailedCycle("washer 1")]),
        (720, [Emergency(30, None, ("exam",))]),
        (800, [ChairOut("chair 2", None, ("chair 1", "chair 3"))]),
        (860, [Emergency(20, None, ())]),
    ]
    for at, events in steps:
        before = course
        course = _on(first, course, at, *events)
        begun = {v.id: v.start for v in before.plan.visits if v.start < at}
        assert begun.items() <= {v.id: v.start for v in course.plan.visits}.items()
        assert not [b for b in course.plan.batches if b.machine == "sterilizer 1" and b.load_start >= 642 and at >= 642]
        shown = timetable(first, course)
        assert {v.ref for v in first.visits} <= {v.ref for v in shown.visits}
        assert {t.visit for t in shown.tasks if t.kind == "visit"} == {v.ref for v in shown.visits if v.start}
    assert [said.at for said in course.told] == [600, 642, 700, 700, 720, 800, 860]
    urgent = [v for v in timetable(first, course).visits if v.visit_kind == URGENT]
    assert len(urgent) == 2
    assert all(v.chair != "chair 2" for v in urgent if v.start and v.booked.hour >= 14)


def test_nothing_happened_and_the_timetable_is_the_same_but_for_its_search(first: DayPlan) -> None:
    assert first.basis
    shown = timetable(first, course_of(first.basis))
    assert (shown.tasks, shown.verdict, shown.end_of_day) == (first.tasks, first.verdict, first.end_of_day)
    assert shown.attended_minutes == first.attended_minutes
    assert [(v.ref, v.start, v.minutes_late, v.units) for v in shown.visits] == [
        (v.ref, v.start, v.minutes_late, v.units) for v in first.visits
    ]


def test_a_visit_that_waits_for_its_chair_is_late_against_its_own_hour(first: DayPlan) -> None:
    assert first.basis
    course = _on(first, course_of(first.basis), 642, ChairOut("chair 3", 762))
    shown = timetable(first, course)
    waiting = [v for v in shown.visits if v.chair == "chair 3" and v.start and v.start.hour * 60 + v.start.minute >= 762]
    booked_before = [v for v in waiting if v.booked.hour * 60 + v.booked.minute < 762]
    assert booked_before
    for v in booked_before:
        assert v.start
        assert v.minutes_late == round((v.start - v.booked).total_seconds() / 60) > 0
    assert shown.verdict is DayVerdict.LATE


def test_what_no_visit_waits_for_still_goes_through_washer_and_sterilizer(first: DayPlan) -> None:
    assert first.basis
    course = _on(first, course_of(first.basis), 642, MachineOut("sterilizer 1"))
    alone = replan(first.basis.day, first.basis.plan, at=642, events=[MachineOut("sterilizer 1")], rounds=0)
    assert sum(dirty_at_night(course.day, course.plan).values()) < sum(dirty_at_night(alone.day, alone.plan).values())
    more = [b for b in course.plan.batches if b not in alone.plan.batches]
    assert more
    assert all(b.load_start >= 642 and b.machine != "sterilizer 1" for b in more)


def test_a_course_comes_back_from_references_the_same(first: DayPlan) -> None:
    basis = first.basis
    assert basis
    course = _on(first, course_of(basis), 642, Emergency(30, "chair 4", ("exam",)))
    refs, ids = dict(basis.refs), dict(basis.ids)
    there = named_day(course.day, refs, ids), named_plan(course.plan, refs, ids)
    assert "Ana" not in there[1].model_dump_json()
    back = {ref: name for name, ref in refs.items()}, {key: name for name, key in ids.items()}
    assert named_day(there[0], *back) == course.day
    assert named_plan(there[1], *back) == course.plan


def test_going_back_in_time_is_refused(first: DayPlan) -> None:
    assert first.basis
    course = _on(first, course_of(first.basis), 700)
    with pytest.raises(Mendable, match="already made again at 11:40"):
        going_on(course, 650, [], minute=first.basis.words.minute, rounds=0)


def test_an_urgent_visit_on_a_chair_that_is_out_is_refused(first: DayPlan) -> None:
    assert first.basis
    course = _on(first, course_of(first.basis), 642, ChairOut("chair 1"))
    with pytest.raises(Mendable, match="chair 1 is out of service"):
        going_on(course, 650, [Emergency(20, "chair 1")], minute=str, rounds=0)
