"""The wall board's rows and forecasts: what the book proves, what is left by the plan, and no time where none can be told."""

import sys
from datetime import date
from functools import cache
from itertools import pairwise
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "standing"))
from small_book import READY, Book, Ground, ground, moment

from fettlebook.book.kinds import from_ms
from fettlebook.plan.day import DayPlan
from fettlebook.plan.forecast import run_through
from fettlebook.plan.wall import Wall, WallRow, wall_of
from fettlebook.plan.whole_day import plan_day
from fettlebook.plan.work import work_of
from fettlebook.practice.visit import Visit
from fettlebook.standing.model import Verdict

pytestmark = pytest.mark.invented
DAY = "2026-03-09"
MINUTE_MS = 60_000
SEEN = '{chair="1", visit="v_one"}'


@cache
def plan() -> DayPlan:
    made: Ground = ground()
    visits = tuple(
        Visit(ref, "1", "exam", from_ms(moment(f"{DAY} {a}"), "Europe/London"), from_ms(moment(f"{DAY} {b}"), "Europe/London"))
        for ref, a, b in (("v_one", "09:00", "09:30"), ("v_two", "09:45", "10:15"))
    )
    return plan_day(made.practice, made.times, visits, date(2026, 3, 9), limit_s=0.0, seed=1)


def wall(text: str, at: str, made: DayPlan | None = None) -> Wall:
    return wall_of(Book(READY + text).now(f"{DAY} {at}"), made or plan())


def chair(text: str, at: str) -> WallRow:
    return next(row for row in wall(text, at).chairs if row.place == "1")


def between(at: str, last: str) -> str:
    """The turnover after v_one, done to the last step, each step's end a second after the other."""
    view = Book(READY).now(f"{DAY} {at}")
    steps = [w for w in work_of(view, plan()) if w.duty == "chair.between" and w.visit == "v_one"]
    where = 'chair="1", outlets=["turbine", "syringe"]'
    lines, ms = [], moment(f"{DAY} {at}")
    for work in steps:
        start, end = (from_ms(m, "Europe/London").strftime("%H:%M:%S") for m in (ms, ms + 1000 * (work.length_s or 1)))
        fields = f'duty="chair.between", step="{work.step}", {where}, visit="v_one"'
        lines += [f"{DAY} {start} ana step.started {{{fields}}}", f'{DAY} {end} ana step.done {{{fields}, outcome="done"}}']
        ms += 1000 * (work.length_s or 1)
        if work.step == last:
            break
    return "\n".join(lines) + "\n"


BEGAN = f"{DAY} 09:00 ana visit.started {SEEN}\n"
ENDED = BEGAN + f"{DAY} 09:30 ana visit.ended {SEEN[:-1]}, units=[]}}\n"


def test_a_row_says_what_standing_says_and_nothing_else() -> None:
    view = Book(READY + ENDED).now(f"{DAY} 09:31")
    for row in (*wall_of(view, plan()).chairs, *wall_of(view, plan()).machines):
        standing = view.standing(row.subject)
        assert row.verdict is standing.verdict
        first = standing.failing[0] if standing.failing else None
        assert (row.what, row.why) == (("", "") if first is None else ("", first.failed) if first.failed else (first.what, first.why))
        assert row.until_ms == standing.valid_until_ms


def test_the_next_visit_is_the_first_that_has_not_begun() -> None:
    before, running = chair("", "08:40").visit, chair(BEGAN, "09:10").visit
    assert before is not None
    assert running is not None
    assert (before.ref, running.ref) == ("v_one", "v_two")
    assert running.booked_ms == moment(f"{DAY} 09:45")
    assert chair("", "11:00").visit is None


def test_a_turnover_that_is_left_is_counted_from_now_on() -> None:
    """Nobody began it; the later it gets, the later the chair is fit, minute by minute: what is left has a length of its own."""
    row = chair(ENDED, "09:31")
    assert row.verdict is not Verdict.FIT
    assert row.next is not None
    assert row.forecast is not None
    assert row.forecast.fit_ms is not None
    left = sum(w.length_s or 0 for w in work_of(Book(READY + ENDED).now(f"{DAY} 09:31"), plan()) if w.visit == "v_one" and w.to_do)
    assert row.next.seconds == left
    assert row.forecast.fit_ms >= moment(f"{DAY} 09:31") + 1000 * left // 2
    later = chair(ENDED, "09:44").forecast
    assert later is not None
    assert later.state == "late"
    assert later.fit_ms is not None
    assert later.late_min == (later.fit_ms - moment(f"{DAY} 09:45")) // MINUTE_MS > 0
    assert later.fit_ms > row.forecast.fit_ms


def test_a_done_turnover_leaves_the_chair_fit_in_time() -> None:
    done = ENDED + between("09:31", "between.lay_out")
    row = chair(done, "09:44")
    assert row.verdict is Verdict.FIT, row.why
    assert row.forecast is not None
    assert row.forecast.state == "in time"
    assert row.forecast.fit_ms == moment(f"{DAY} 09:44")


def test_no_time_is_told_of_what_only_a_person_or_a_laboratory_ends() -> None:
    out = ENDED + f'{DAY} 09:35 ana subject.out_of_service {{chair="1", reason="the light flickers"}}\n'
    says = chair(out, "09:36").forecast
    assert says is not None
    assert says.state == "unsaid"
    assert says.fit_ms is None
    assert says.why


def test_nobody_is_at_two_chairs_at_once_and_what_waits_comes_after() -> None:
    view = Book(READY + ENDED).now(f"{DAY} 09:31")
    works = [w for w in work_of(view, plan()) if w.to_do]
    ends = run_through(works, view.look.at)
    for work in works:
        end = ends[work.id]
        if end is None or work.length_s is None:
            continue
        assert end >= max(view.look.at, work.begins_ms) + (0 if work.said.state == "running" else 1000 * work.length_s)
        assert all((ends.get(name) or 0) + 1000 * work.length_s <= end for name in work.after if name in ends)
    spans = sorted(
        (e - 1000 * (w.length_s or 0), e, w.person) for w in works if w.attended and w.kind == "step" and (e := ends[w.id]) is not None
    )
    for person in {p for *_, p in spans if p}:
        own = [(a, b) for a, b, p in spans if p == person]
        assert all(first[1] <= then[0] for first, then in pairwise(own))


def test_without_a_plan_nothing_is_told_of_what_comes() -> None:
    found = wall_of(Book(READY).now(f"{DAY} 08:40"), None)
    assert not found.planned
    assert all(row.visit is None and row.next is None for row in found.chairs)


def test_the_first_end_of_a_verdict_is_told() -> None:
    view = Book(READY).now(f"{DAY} 08:40")
    ends = [s.valid_until_ms for s in view.all() if s.valid_until_ms is not None and s.valid_until_ms > view.look.at]
    assert wall_of(view, plan()).changes_ms == min(ends)
