"""One day as people read it: everything booked is in it, nobody is in two places, nothing runs shorter than it must."""

from collections import defaultdict
from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from test_day_instance import ANA, LONDON, WEDNESDAY, practice_with, times_of, visit

from fettlebook.demo import book_ics, practice_text
from fettlebook.errors import Finding
from fettlebook.exchange.calendar import Book, read_book
from fettlebook.plan.check import check_plan, figures
from fettlebook.plan.day import DayPlan, DayVerdict
from fettlebook.plan.dayclock import DayClock
from fettlebook.plan.dispatch import dispatch
from fettlebook.plan.hands import crew_of
from fettlebook.plan.leftover import with_leftovers
from fettlebook.plan.tasks import day_instance
from fettlebook.plan.whole_day import plan_day
from fettlebook.practice.load import read_practice
from fettlebook.practice.model import Practice
from fettlebook.rules.load import load_rulebook
from fettlebook.times.model import RunningTime
from fettlebook.times.running import running_times

WEEK = [date(2026, 11, d) for d in (23, 24, 25, 26, 27)]


@cache
def demo(day: date) -> tuple[Practice, tuple[RunningTime, ...], Book]:
    practice = read_practice(practice_text(), "practice.toml").practice
    assert practice is not None
    return practice, running_times(practice, load_rulebook(practice, day)), read_book(book_ics(), "book.ics", practice, day, b"k" * 32)


@cache
def demo_plan(day: date) -> DayPlan:
    practice, times, book = demo(day)
    return plan_day(practice, times, book.visits, day, limit_s=3, seed=1, not_planned=book.not_planned)


@pytest.mark.invented
@pytest.mark.parametrize("day", WEEK)
def test_every_booked_visit_is_in_the_plan_never_before_it_is_booked(day: date) -> None:
    _, _, book = demo(day)
    plan = demo_plan(day)
    assert {v.ref for v in plan.visits} == {v.ref for v in book.visits}
    for v in plan.visits:
        assert v.start is not None
        assert v.start >= v.booked
        assert v.minutes_late == (v.start - v.booked) // timedelta(minutes=1)
        assert bool(v.why) == bool(v.minutes_late)


@pytest.mark.invented
@pytest.mark.parametrize("day", WEEK)
def test_nobody_is_in_two_places_or_at_work_outside_their_shift(day: date) -> None:
    practice, _, _ = demo(day)
    clock = DayClock(day, ZoneInfo(practice.practice.time_zone))
    crew = crew_of(practice, clock)
    windows = {p.id: [(clock.moment(a), clock.moment(b)) for a, b in p.windows()] for p in crew.people}
    work = defaultdict(list)
    for t in demo_plan(day).tasks:
        assert (t.person is not None) == t.attended
        if t.person is not None:
            work[t.person].append(t)
    for person, tasks in work.items():
        for a, b in pairwise(sorted(tasks, key=lambda t: (t.start, t.end))):
            assert a.end <= b.start, (a, b)
        for t in tasks:
            if t.kind != "test":
                assert any(a <= t.start and t.end <= b for a, b in windows[person]), t


@pytest.mark.invented
@pytest.mark.parametrize("day", WEEK)
def test_on_a_chair_every_step_runs_its_full_time_and_in_order(day: date) -> None:
    _, times, _ = demo(day)
    needed = {(t.chair, t.step_id): t.seconds for t in times}
    order = {(t.chair, t.step_id): i for i, t in enumerate(times)}
    chairs = defaultdict(list)
    for t in demo_plan(day).tasks:
        if t.kind in {"opening", "turnover", "closing", "visit"}:
            chairs[t.place].append(t)
            if t.step_id is not None:
                assert (t.end - t.start).total_seconds() >= needed[t.place, t.step_id]
    for place, tasks in chairs.items():
        for a, b in pairwise(sorted(tasks, key=lambda t: (t.start, t.end))):
            assert a.end <= b.start
            if a.kind == b.kind != "visit" and a.visit == b.visit:
                assert order[place, a.step_id] < order[place, b.step_id]


@pytest.mark.invented
@pytest.mark.parametrize("day", WEEK)
def test_the_line_says_what_the_plan_holds(day: date) -> None:
    plan = demo_plan(day)
    late = [v for v in plan.visits if v.minutes_late]
    assert plan.verdict is (DayVerdict.LATE if late else DayVerdict.FITS)
    assert plan.end_of_day is not None
    assert f"{plan.end_of_day:%H:%M}" in plan.line
    assert (f"{len(late)} visit" in plan.line) if late else ("on time" in plan.line)
    assert plan.bound_minutes_late <= plan.weighted_minutes_late


# --- sets that no visit waits for --------------------------------------------------------------------------------


@pytest.mark.invented
@pytest.mark.parametrize("day", WEEK)
def test_the_last_sets_ride_without_moving_anything_else(day: date) -> None:
    practice, times, book = demo(day)
    instance, _ = day_instance(practice, times, book.visits, day)
    before = dispatch(instance)
    after = with_leftovers(instance, before)
    assert check_plan(instance, after) == ()
    assert (after.visits, after.steps) == (before.visits, before.steps)
    assert set(before.packs) <= set(after.packs)
    assert figures(instance, after).rank[:3] == figures(instance, before).rank[:3]
    assert sum(len(b.units) for b in after.batches) > sum(len(b.units) for b in before.batches)


# --- days of other kinds -----------------------------------------------------------------------------------------


def planned(*visits, practice: Practice | None = None, times=None, day: date = WEEK[2], **more) -> DayPlan:
    return plan_day(practice or practice_with(), times or times_of(), tuple(visits), day, limit_s=1, seed=1, **more)


@pytest.mark.invented
def test_an_empty_day_is_said_to_be_empty() -> None:
    plan = planned()
    assert (plan.verdict, plan.line, plan.tasks) == (DayVerdict.NOTHING_BOOKED, "nothing booked", ())


@pytest.mark.invented
def test_one_visit_in_a_free_day_fits() -> None:
    plan = planned(visit("v", "09:00", 20))
    assert plan.verdict is DayVerdict.FITS
    assert plan.line.startswith("fits: the one visit on time, last chair closed 09:")


@pytest.mark.invented
def test_a_gap_shorter_than_the_turnover_is_the_reason_and_can_t_be_planned_away() -> None:
    plan = planned(visit("a", "09:00", 20), visit("b", "09:22", 20))
    assert plan.line.startswith("1 visit late, 3 min in all, which no plan can better")
    assert [v.why for v in plan.visits] == ["", "the book leaves 2 min, the turnover takes 5"]


@pytest.mark.invented
def test_a_set_that_comes_back_too_late_is_named() -> None:
    practice = practice_with(
        ('id = "root canal"\nname = "Root canal set"\nowned = 2', 'id = "root canal"\nname = "Root canal set"\nowned = 1')
    )
    plan = planned(visit("a", "09:00", 20, kind="root canal"), visit("b", "09:40", 20, kind="root canal"), practice=practice)
    (late,) = [v for v in plan.visits if v.minutes_late]
    assert "waits for a set: Root canal set, back at" in late.why
    assert plan.bound_minutes_late > 0


@pytest.mark.invented
def test_too_few_sets_for_the_day_are_counted_in_words_and_a_mend_is_tried() -> None:
    practice = practice_with(('name = "Surgical set"\nowned = 2', 'name = "Surgical set"\nowned = 1'))
    hours = ("08:30", "09:30", "10:30", "11:30", "13:30", "14:30", "15:30")
    plan = planned(*(visit(f"v{i}", at, 30, kind="surgical") for i, at in enumerate(hours)), practice=practice)
    assert plan.verdict is DayVerdict.DOES_NOT_FIT
    assert "Surgical set: 1 owned, " in plan.line
    short = next(s for s in plan.shortages if s.where == "sets")
    assert short.when.startswith("by ")
    assert "Tried: 1 more of Surgical set, and all visits fit" in short.mend
    assert sum(v.start is None for v in plan.visits) >= 1


@pytest.mark.invented
def test_a_set_type_never_owned_is_named_with_its_visit() -> None:
    sets = tuple(t.model_copy(update={"owned": 0}) if t.id == "surgical" else t for t in practice_with().sets)
    practice = practice_with().model_copy(update={"sets": sets})
    plan = planned(visit("a", "09:00", 20), visit("b", "10:00", 20, kind="surgical"), practice=practice)
    assert plan.verdict is DayVerdict.DOES_NOT_FIT
    assert "needs 1 of Surgical set, 0 owned" in plan.line
    assert [v.ref for v in plan.visits if v.start is None] == ["b"]
    assert next(v for v in plan.visits if v.ref == "a").start is not None


@pytest.mark.invented
def test_a_visit_that_ends_after_everyone_has_gone_does_not_fit() -> None:
    plan = planned(visit("a", "09:00", 20), visit("b", "17:00", 120))
    assert plan.verdict is DayVerdict.DOES_NOT_FIT
    assert "1 visit of 2 not served" in plan.line
    assert next(v for v in plan.visits if v.ref == "b").why


@pytest.mark.invented
def test_a_step_of_unknown_length_shows_in_the_line_and_at_the_step() -> None:
    times = tuple(replace(t, seconds=None, missing="flow not measured") if t.step_id == "wet" else t for t in times_of())
    plan = planned(visit("a", "09:00", 20), visit("b", "10:00", 20), times=times)
    assert "counts on 1 step of unknown length" in plan.line
    assert any("length unknown" in t.what for t in plan.tasks if t.step_id == "wet")


@pytest.mark.invented
def test_a_visit_that_the_book_could_not_plan_counts_as_not_served() -> None:
    taken = visit("taken", "09:10", 20)
    found = (Finding("the chair is taken", "book.ics line 9", "Move one."),)
    plan = planned(visit("a", "09:00", 20), findings=found, not_planned=(taken,))
    assert plan.verdict is DayVerdict.DOES_NOT_FIT
    assert [v.ref for v in plan.visits if v.start is None] == ["taken"]
    assert plan.findings[0] == found[0]


@pytest.mark.invented
@pytest.mark.parametrize("day", [date(2026, 3, 29), date(2026, 10, 25)])
def test_both_days_of_the_clock_change_are_planned_by_the_wall_clock(day: date) -> None:
    sunday = practice_with((ANA, ANA.replace('["mon",', '["sun", "mon",')), ('days = ["mon",', 'days = ["sun", "mon",'))
    plan = planned(visit("a", "08:00", 20, day=day), visit("b", "09:00", 20, day=day), practice=sunday, day=day)
    assert plan.verdict is DayVerdict.FITS
    first = min(t.start for t in plan.tasks if t.kind == "opening")
    assert f"{first:%H:%M}" == "07:30"  # as Ana comes; the machines' tests wait until the chair is ready
    assert [f"{v.start:%H:%M}" for v in plan.visits if v.start] == ["08:00", "09:00"]


@pytest.mark.invented
def test_an_evening_over_midnight_is_one_day() -> None:
    night = 'shifts = [{ days = ["wed"], from = 20:00:00, to = 02:00:00, over_midnight = true }]'
    plan = planned(visit("a", "22:00", 60), visit("b", "23:30", 60), practice=practice_with((ANA, night)))
    assert plan.verdict is DayVerdict.FITS
    assert plan.end_of_day is not None
    assert plan.end_of_day.astimezone(LONDON).date() == WEDNESDAY + timedelta(days=1)
    assert "(+1 d)" in plan.line
