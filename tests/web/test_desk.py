"""The desk: pages never wait, changed files are planned again, a broken file leaves the last good plan."""

import logging
import threading

import made_up_day as made_up
import pytest

from fettlebook.errors import Mendable
from fettlebook.web import desk as desk_module
from fettlebook.web.desk import Desk, Makers

pytestmark = pytest.mark.invented


def test_a_day_is_answered_at_once_while_it_is_being_planned(hands, desk, settled):
    hands.may_plan.clear()
    first = desk.day(made_up.DAY)
    assert (first.plan, bool(first.stage)) == (None, True)
    settled(lambda: desk.day(made_up.DAY).stage == "working out the day")
    hands.may_plan.set()
    settled(lambda: desk.day(made_up.DAY).plan is not None)
    assert desk.day(made_up.DAY).stage == ""


def test_asking_twice_plans_once(hands, desk, settled):
    made = []
    plan = hands.plan
    hands.plan = lambda read, day, tell, stop: made.append(day) or plan(read, day, tell, stop)
    for _ in range(5):
        desk.day(made_up.DAY)
    settled(lambda: desk.day(made_up.DAY).plan is not None)
    assert made == [made_up.DAY]


def test_a_changed_file_is_read_and_the_day_planned_again(monkeypatch, hands, settled):
    monkeypatch.setattr(desk_module, "LOOK_EVERY_S", 0.05)
    desk = Desk(hands, lambda: made_up.at(10))
    desk.day(made_up.DAY)
    settled(lambda: desk.day(made_up.DAY).version == 1)
    hands.now_mark = "another"
    hands.reading = made_up.reading("another")
    settled(lambda: desk.day(made_up.DAY).version == 2)
    assert desk.close(10)


def test_a_file_that_broke_leaves_the_last_plan_and_says_why(monkeypatch, hands, settled):
    monkeypatch.setattr(desk_module, "LOOK_EVERY_S", 0.05)
    desk = Desk(hands, lambda: made_up.at(10))
    desk.day(made_up.DAY)
    settled(lambda: desk.day(made_up.DAY).plan is not None)
    hands.now_mark, hands.reading = "broken", Mendable("no such key", where="practice.toml line 3", mend="Take it out.")
    settled(lambda: bool(desk.trouble))
    assert desk.trouble[0].where == "practice.toml line 3"
    assert desk.day(made_up.DAY).plan is not None
    hands.now_mark, hands.reading = "mended", made_up.reading("mended")
    settled(lambda: not desk.trouble)
    assert desk.close(10)


def test_a_day_that_can_not_be_planned_says_why_and_the_worker_goes_on(hands, desk, settled):
    hands.plans[made_up.DAY] = Mendable("no shift covers the day", where="people", mend="Add a shift.")
    desk.day(made_up.DAY)
    settled(lambda: bool(desk.day(made_up.DAY).trouble))
    assert desk.day(made_up.DAY).trouble[0].what == "no shift covers the day"
    hands.plans[made_up.DAY] = made_up.plan()
    desk.again(made_up.DAY)
    settled(lambda: desk.day(made_up.DAY).plan is not None)
    assert desk.day(made_up.DAY).trouble == ()


def test_a_fault_is_logged_by_number_and_place_but_never_with_its_text(hands, desk, settled, caplog):
    hands.plans[made_up.DAY] = ValueError("SUMMARY:Root canal for Mr Marker")
    with caplog.at_level(logging.ERROR):
        desk.day(made_up.DAY)
        settled(lambda: bool(desk.day(made_up.DAY).trouble))
    said = desk.day(made_up.DAY).trouble[0].what
    number = said.rpartition(" ")[2]
    assert number in caplog.text
    assert "ValueError" in caplog.text
    assert "made_up_day.py" in caplog.text
    assert "Marker" not in caplog.text + said


def test_a_plan_that_is_being_made_is_taken_as_it_is_once_it_is_enough(hands, desk, settled):
    hands.until_enough = True
    desk.day(made_up.DAY)
    settled(lambda: desk.day(made_up.DAY).stage == "working out the day")
    desk.enough(made_up.DAY.replace(day=1))  # another day: nothing
    assert desk.day(made_up.DAY).plan is None
    desk.enough(made_up.DAY)
    settled(lambda: desk.day(made_up.DAY).plan is not None)
    hands.until_enough = False


def test_unreadable_files_at_the_start_are_an_error(hands):
    hands.reading = Mendable("there is no such file", where="book.ics", mend="Correct the name.")
    with pytest.raises(Mendable, match=r"book\.ics"):
        Desk(hands, lambda: made_up.at(10))
    assert not [t for t in threading.enumerate() if t.name == "planner"]


def test_the_makers_of_the_tests_have_the_form_of_the_real_ones(hands):
    def takes(makers: Makers) -> Makers:
        return makers

    assert takes(hands) is hands
