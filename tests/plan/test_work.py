"""The steps of a day: in plan order, with what the book says of each; nothing counts as done that the book doesn't prove."""

import sys
from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "standing"))
from small_book import READY, Book, Ground, ground, moment

from fettlebook.book.kinds import from_ms
from fettlebook.plan.day import DayPlan, Task
from fettlebook.plan.whole_day import plan_day
from fettlebook.plan.work import work_of
from fettlebook.plan.work_model import Work
from fettlebook.practice.visit import Visit

pytestmark = pytest.mark.invented
DONE = 'outcome="done"'
DAY = "2026-03-09"  # a Monday; the book is ready that morning


@cache
def plan() -> DayPlan:
    made: Ground = ground()
    visits = tuple(
        Visit(ref, "1", "exam", from_ms(moment(f"{DAY} {a}"), "Europe/London"), from_ms(moment(f"{DAY} {b}"), "Europe/London"))
        for ref, a, b in (("v_one", "09:00", "09:30"), ("v_two", "10:00", "10:30"), ("v_three", "11:00", "11:30"))
    )
    return plan_day(made.practice, made.times, visits, date(2026, 3, 9), limit_s=0.0, seed=1)


FRESH = "\n".join(line for line in READY.splitlines() if not line.startswith(f"{DAY} 05:1") and 'chair="1"' not in line[30:]) + "\n"


def works(text: str, at: str, *, ready: str = READY) -> dict[str, Work]:
    view = Book(ready + text).now(f"{DAY} {at}")
    return {work.id: work for work in work_of(view, plan())}


def turnover(step: str, data: str = "", visit: str = "v_one") -> str:
    at = 'chair="1", outlets=["turbine", "syringe"]'
    return f'{{duty="chair.between", step="between.{step}", {at}, visit="{visit}"{", " + data if data else ""}}}'


def close(step: str, data: str = "") -> str:
    return f'{{duty="chair.close", step="close.{step}", chair="1", outlets=["turbine", "syringe"]{", " + data if data else ""}}}'


def test_every_step_of_the_chair_comes_in_the_order_of_the_plan_with_an_id_that_stays() -> None:
    found = works("", "08:00", ready=FRESH)
    opening = [w.step for w in found.values() if w.step.startswith(("still.", "long.", "first."))]
    assert opening[0] == "long.empty"  # a week at rest: the long way stands before the opening and for its flush
    assert opening[-1] == "first.lay_out"
    begins = [w.begins_ms for w in found.values()]
    assert begins == sorted(begins)
    assert found["1/between.flush/v_one"].visit == "v_one"
    assert found["1/between.flush/v_one"].person in ("ana", "ben")  # who began the turnover, though it runs alone
    assert found["1/between.flush/v_one"].holds
    later = {work.id for work in work_of(Book(FRESH).now(f"{DAY} 08:00"), replace(plan(), tasks=tuple(reversed(plan().tasks))))}
    assert later == set(found)


def test_what_waits_for_a_contact_and_what_goes_beside_it() -> None:
    found = {w.step: w for w in works("", "12:00").values()}
    contact = next(w.id for w in found.values() if w.step == "close.contact")
    assert contact in found["close.rinse_start"].after
    assert contact not in found["close.wipe"].after  # the rulebook says that it goes beside
    assert found["close.contact"].length_s == 600


def test_a_started_step_runs_from_its_entry_and_is_done_by_the_one_that_ends_it() -> None:
    begun = f"{DAY} 09:31:00 ana step.started {turnover('flush')}\n"
    running = works(begun, "09:31:10")["1/between.flush/v_one"].said
    assert (running.state, running.started_ms, running.by) == ("running", moment(f"{DAY} 09:31:00"), "ana")
    ended = f"{DAY} 09:33:00 ben step.done {turnover('flush', DONE)}\n"
    done = works(begun + ended, "09:34")["1/between.flush/v_one"].said
    assert (done.state, done.why, done.by) == ("done", "", "ben")
    assert works(begun + ended, "09:34")["1/between.flush/v_two"].said.state == "open"


def test_a_contact_called_done_before_its_time_is_a_problem_not_done() -> None:
    book = (
        f"{DAY} 11:40:00 ana step.started {close('contact')}\n"
        f"{DAY} 11:44:00 ana step.done {close('contact', DONE)}\n"
    )  # fmt: skip
    said = next(w for w in works(book, "11:45").values() if w.step == "close.contact").said
    assert said.state == "problem"
    assert "ran 4:00, must run 10:00" in said.why
    again = book + f"{DAY} 11:45:00 ana step.started {close('contact')}\n"
    assert next(w for w in works(again, "11:46").values() if w.step == "close.contact").said.state == "running"


def test_a_late_entry_of_a_tablet_without_network_is_judged_by_what_it_claims() -> None:
    book = (
        f"{DAY} 11:40:00 (2h) ana step.started {close('contact')}\n"
        f"{DAY} 11:50:01 (2h) ana step.done {close('contact', DONE)}\n"
    )  # fmt: skip
    said = next(w for w in works(book, "14:30").values() if w.step == "close.contact").said
    assert (said.state, said.why) == ("done", "")


def test_a_strip_over_the_residual_and_outlets_left_out_are_problems() -> None:
    strip = close("strip_rinse", DONE + ", readings={strip_mg_l=25}")
    wet = f"{DAY} 11:55 ana step.done {strip}\n"
    found = {w.step: w for w in works(wet, "11:56").values()}
    assert found["close.strip_rinse"].said.state == "problem"
    (asked,) = found["close.strip_rinse"].readings
    assert (asked.name, asked.high, asked.unit, asked.required) == ("strip_mg_l", 10.0, "mg/L", True)
    (feed,) = found["close.strip_feed"].readings
    assert feed.low == pytest.approx(30_000 * 0.95)  # 3 % w/v, of which a fill may miss 5 %
    assert feed.at_least == "strip_at_least_mg_l"
    lasted = "lasted_wall_ms=900000, lasted_mono_ms=900000"
    one = f'{{duty="chair.first", step="first.flush", chair="1", outlets=["turbine"], {lasted}, outcome="done"}}'
    said = works(f"{DAY} 08:10 ana step.done {one}\n", "08:11")["1/first.flush/opening"].said
    assert (said.state, said.why) == ("problem", "not in the book for syringe")


def test_a_step_asks_for_the_product_in_use_with_its_open_lot_and_what_to_wear() -> None:
    found = {w.step: w for w in works("", "08:00").values()}
    held = found["between.wipe"].handling
    assert held is not None
    assert (held.product, held.lot, held.asks_lot) == ("wipes", "B1", True)
    empty = found["close.empty"]
    assert empty.handling is not None
    assert (empty.handling.product, empty.amount_ml and empty.amount_ml > 0) == ("h2o2", True)
    assert "Gloves" in empty.cautions[0]
    assert not [r for r in found["first.fill_bottle"].readings if r.name == "strip_mg_l"]  # nothing is dosed here


def test_left_out_and_out_of_service_are_not_offered_again() -> None:
    skipped = f'{DAY} 09:32 ben duty.skipped {{duty="chair.between", step="between.clear", chair="1", reason="no time"}}\n'
    found = works(skipped, "09:33")
    assert found["1/between.wipe/v_one"].to_do
    assert (found["1/between.clear/v_one"].to_do, found["1/between.clear/v_one"].said.why) == (False, "left out: no time")
    out = works(f'{DAY} 09:40 ana subject.out_of_service {{chair="1", reason="leaks"}}\n', "09:41")
    assert out["1/between.lay_out/v_two"].said == replace(out["1/between.lay_out/v_two"].said, state="problem", why="out of service: leaks")
    assert not out["1/between.lay_out/v_two"].to_do


def test_the_day_goes_on_where_nobody_entered_anything() -> None:
    at_ten = works("", "10:10")
    assert not at_ten["1/between.clear/v_one"].passed  # the next visit has not ended: it may still run late
    assert works("", "10:45")["1/between.clear/v_one"].passed
    begun = f'{DAY} 10:02 ana visit.started {{visit="v_two", chair="1"}}\n'
    assert works(begun, "10:10")["1/between.clear/v_one"].passed
    later = f"{DAY} 10:33 ana step.done {turnover('clear', DONE, 'v_two')}\n"
    found = works(later, "10:34")
    assert found["1/between.wipe/v_one"].passed
    assert not found["1/between.wipe/v_two"].passed


def test_what_is_owed_after_standing_still_comes_first_and_covers_the_flush_of_the_opening() -> None:
    found = list(works("", "08:00", ready=FRESH).values())
    at_chair = [w.step for w in found if w.subject == "chair:1" and not w.owed]
    assert at_chair[0].startswith(("still.", "long."))
    assert "first.flush" not in at_chair
    begun = f'{DAY} 07:00 ana step.done {{duty="chair.long_still", step="long.empty", chair="1", product="h2o2", lot="A1", {DONE}}}\n'
    after = works(begun, "08:00", ready=FRESH)
    assert after["1/long.empty/opening"].said.state == "done"  # it is still seen, though it is owed no longer
    assert after["1/long.fill/opening"].to_do
    whole = works("", "08:00")["1/first.flush/opening"].said
    assert whole.state == "done"
    assert whole.why.startswith("done with ")


def test_a_machine_owes_its_weekly_checks_beside_the_plan() -> None:
    found = works("", "08:00", ready=FRESH.replace('duty="washer.weekly"', 'duty="washer.first"'))
    weekly = [w for w in found.values() if w.step == "weekly.washer_checks"]
    assert weekly
    assert weekly[0].owed
    assert weekly[0].person is None
    done = f'{DAY} 08:30 ben step.done {{duty="washer.weekly", step="weekly.washer_checks", machine="washer", outcome="done"}}\n'
    left = [w for w in works(done, "08:31", ready=FRESH).values() if w.step == "weekly.washer_checks" and w.to_do]
    assert left == []


def test_a_load_is_crossed_off_by_its_own_run_and_a_test_by_its_result() -> None:
    found = works("", "08:00", ready=FRESH)
    test = next(w for w in found.values() if w.kind == "test")
    assert test.said.state == "open"
    passed = f'{DAY} 08:05 ana machine.test {{machine="steam", test="daily", outcome="passed"}}\n'
    assert works(passed, "08:06", ready=FRESH)[test.id].said.state == "done"
    load = next(w for w in found.values() if w.name == "load")
    run = f'machine="{load.place}", run="{load.run}", {DONE}'
    done = f'{DAY} 11:00 ben step.done {{duty="instruments", step="instruments.load", {run}}}\n'
    assert works(done, "11:01")[load.id].said.state == "done"


def test_what_was_done_before_the_visit_is_not_the_step_after_it() -> None:
    early = f'{DAY} 09:10 ana step.done {{duty="chair.between", step="between.wipe", chair="1", {DONE}}}\n'
    found = works(early, "10:20")
    assert found["1/between.wipe/v_two"].said.state == "open"
    before = works(early.replace("09:10", "08:50"), "09:20")
    assert {w.said.state for w in before.values() if w.step == "between.wipe"} == {"open"}


def test_what_the_plan_found_room_for_is_whose_the_plan_says() -> None:
    view = Book(FRESH.replace('duty="washer.weekly"', 'duty="washer.first"')).now(f"{DAY} 08:00")
    alone = {w.id: w for w in work_of(view, plan())}
    weekly = next(w for w in alone.values() if w.step == "weekly.washer_checks")
    assert weekly.owed
    at = from_ms(moment(f"{DAY} 13:00"), "Europe/London")
    bar = Task("duty", "washer", "ben", weekly.name, at, at + timedelta(minutes=10), True)
    given = {w.id: w for w in work_of(view, replace(plan(), tasks=(*plan().tasks, bar)))}[weekly.id]
    assert (given.person, given.owed, given.begins_ms) == ("ben", False, moment(f"{DAY} 13:00"))
