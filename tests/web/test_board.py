"""The day as lanes and bands: nothing is lost, nothing is drawn at a wrong time, each card can be touched."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import made_up_day as made_up
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fettlebook.plan.day import DayPlan, Task
from fettlebook.practice.model import Person, Practice
from fettlebook.web.board import MARGIN_MIN, TOUCH_MIN, Board, Piece, lay_out
from fettlebook.web.presence import away_of

LONDON = ZoneInfo("Europe/London")
PRACTICE = made_up.practice()
pytestmark = pytest.mark.invented


def day_of(*tasks: Task) -> DayPlan:
    return replace(made_up.plan(), tasks=tasks, visits=())


def lane(board: Board, key: str) -> tuple:
    return next(lane.blocks for lane in board.lanes if lane.id == key)


def pieces(board: Board, key: str) -> list[list[Piece]]:
    return [list(found) for band in board.bands for lane, found, _ in band.rows if lane.id == key]


def test_the_steps_of_one_turnover_are_one_block_whose_strip_tells_hands_from_running_alone():
    nine = made_up.at(9)
    board = lay_out(
        day_of(
            made_up.task("turnover", "chair 1", "Clear", nine, 2, "ben"),
            made_up.task("turnover", "chair 1", "Flush", nine + timedelta(minutes=2), 3),
            made_up.task("turnover", "chair 1", "Lay out", nine + timedelta(minutes=6), 2, "ana"),
        ),
        PRACTICE,
        "chair",
    )
    (block,) = lane(board, "chair 1")
    assert (block.word, block.who, block.minutes) == ("Turnover", "Ben, Ana", 8)
    assert [(part.start, part.length, part.attended) for part in block.strip] == [(0, 2, True), (2, 3, False), (6, 2, True)]


def test_a_visit_is_never_joined_with_the_work_around_it():
    nine = made_up.at(9)
    tasks = (
        made_up.task("turnover", "chair 1", "Clear", nine, 5, "ben"),
        made_up.task("visit", "chair 1", "visit", nine + timedelta(minutes=5), 20, visit="x"),
        made_up.task("turnover", "chair 1", "Clear", nine + timedelta(minutes=25), 5, "ben"),
    )
    assert [block.family for block in lane(lay_out(day_of(*tasks), PRACTICE, "chair"), "chair 1")] == ["chair work", "visit", "chair work"]


def test_a_load_that_waits_for_hands_is_still_one_block_until_it_is_unloaded():
    nine = made_up.at(9)
    tasks = (
        made_up.task("load", "washer 1", "Load", nine, 3, "dev"),
        made_up.task("cycle", "washer 1", "Cycle", nine + timedelta(minutes=3), 48, units=("exam 1", "exam 2")),
        made_up.task("unload", "washer 1", "Unload", nine + timedelta(minutes=90), 3, "dev"),
        made_up.task("load", "washer 1", "Load", nine + timedelta(minutes=93), 3, "dev"),
    )
    first, second = lane(lay_out(day_of(*tasks), PRACTICE, "machine"), "washer 1")
    assert (first.word, first.minutes, second.word) == ("Load of 2", 93, "Load")


def test_a_person_sees_where_to_go_on_the_narrowest_card():
    (block,) = lane(lay_out(day_of(made_up.task("turnover", "chair 2", "Clear", made_up.at(9), 2, "ben")), PRACTICE, "person"), "ben")
    assert block.short == "chair 2"


def test_a_block_over_a_bands_end_goes_on_in_the_next_band():
    tasks = (
        made_up.task("opening", "chair 1", "Covers", made_up.at(8), 5, "ana"),
        made_up.task("visit", "chair 2", "visit", made_up.at(9, 40), 60, visit="x"),
        made_up.task("closing", "chair 1", "Finish", made_up.at(15), 5, "ana"),
    )
    board = lay_out(day_of(*tasks), PRACTICE, "chair")
    assert [band.minutes for band in board.bands] == [120] * 4
    assert board.bands[1].ticks[0].text == "10:00"
    (one,), (two,) = pieces(board, "chair 2")[:2]
    assert (one.start, one.goes_on, one.went_on) == (100, True, False)
    assert (two.start, two.length, two.goes_on, two.went_on) == (0, 40, False, True)


def test_the_night_of_a_clock_change_keeps_true_lengths():
    """25 October 2026, London: from 02:00 back to 01:00, so 00:30 to 01:30 by the second round is two hours."""
    start = datetime(2026, 10, 25, 0, 30, tzinfo=LONDON)
    end = datetime(2026, 10, 25, 1, 30, tzinfo=LONDON, fold=1)
    task = Task("visit", "chair 1", None, "visit", start, end, attended=False, visit="x")
    board = lay_out(replace(day_of(task), day=date(2026, 10, 25)), PRACTICE, "chair")
    assert lane(board, "chair 1")[0].minutes == 120
    assert [tick.text for tick in board.bands[0].ticks] == ["00:30", "01:00", "01:30", "01:00"]


def test_a_day_without_tasks_has_no_bands():
    assert lay_out(made_up.empty(made_up.DAY), PRACTICE, "chair").bands == ()


def test_a_person_is_away_before_and_after_the_shift_and_in_the_break():
    ana = PRACTICE.people[0]
    away = [
        (a.start.astimezone(LONDON).strftime("%H:%M"), a.end.astimezone(LONDON).strftime("%H:%M"), a.word)
        for a in away_of(ana, made_up.DAY, LONDON)
    ]
    assert away == [("00:00", "07:30", "not here"), ("12:30", "13:00", "break"), ("16:30", "00:00", "not here")]


def test_a_shift_over_midnight_ends_in_the_next_mornings_away():
    night = Person.model_validate(
        {
            "id": "n",
            "name": "Nil",
            "skills": ("chairs",),
            "shifts": ({"days": ("tue",), "from": time(20), "to": time(6), "over_midnight": True},),
        }
    )
    away = [(a.start.astimezone(LONDON).strftime("%a %H:%M"), a.word) for a in away_of(night, date(2026, 11, 25), LONDON)]
    assert away == [("Wed 06:00", "not here")]


@st.composite
def somebodys_day(draw: st.DrawFn) -> tuple[Task, ...]:
    """Return tasks of one person, one after another, with any gaps."""
    moment, tasks = made_up.at(7, 30).astimezone(UTC), []
    for _ in range(draw(st.integers(1, 25))):
        moment += timedelta(minutes=draw(st.integers(0, 30)))
        length = draw(st.integers(1, 20))
        kind = draw(st.sampled_from(["turnover", "load", "unload", "pack"]))
        place = draw(st.sampled_from(["chair 1", "chair 2"])) if kind == "turnover" else "washer 1"
        tasks.append(made_up.task(kind, place, "work", moment, length, "ben"))
        moment += timedelta(minutes=length)
    return tuple(tasks)


@settings(max_examples=60, deadline=None)
@given(somebodys_day())
def test_every_task_stands_in_one_block_and_every_card_of_a_person_can_be_touched(tasks):
    board = lay_out(day_of(*tasks), PRACTICE, "person")
    blocks = lane(board, "ben")
    assert [task for block in blocks for task in block.tasks] == list(tasks)
    for band, found in zip(board.bands, pieces(board, "ben"), strict=True):
        for piece, after in zip(found, [*found[1:], None], strict=True):
            assert piece.length >= TOUCH_MIN
            assert piece.start + piece.length <= (after.start if after else band.minutes + MARGIN_MIN)
    shown = {piece.block.id for found in pieces(board, "ben") for piece in found}
    assert shown == {block.id for block in blocks}


def test_the_practice_of_the_demo_is_the_one_on_the_board():
    assert isinstance(PRACTICE, Practice)
    assert [lane.name for lane in lay_out(made_up.plan(), PRACTICE, "machine").lanes][-1] == "packing"
