"""Trainings held and due: the newest entry of a person and name, else the practice file's day; a day that nobody named is never guessed."""

import sys
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from small_book import PRACTICE, READY, Book, ground

from fettlebook.practice.model import Training
from fettlebook.standing.look import Look
from fettlebook.standing.trace import trace
from fettlebook.standing.training import training_due, training_names, trainings

pytestmark = pytest.mark.invented
NOW, TODAY = "2026-03-09 08:40", date(2026, 3, 9)
UNITED_STATES = PRACTICE.replace('["general", "uk"]', '["general", "us"]')


def with_file(look: Look, *written: Training) -> Look:
    """Return the look of a practice whose first person has these trainings in the practice file."""
    practice = look.basis.practice
    trained = practice.model_copy(update={"people": (practice.people[0].model_copy(update={"training": written}), *practice.people[1:])})
    return replace(look, basis=replace(look.basis, practice=trained))


def held(day: str, more: str = "", what: str = "sterilizer", at: str = "2026-03-08 10:00") -> str:
    return f'{at} ana training.held {{person="ana", what="{what}", held_on="{day}", held_by="Ben"{more}}}\n'


@pytest.mark.parametrize(("days", "shown", "over"), [(-1, True, True), (0, True, False), (60, True, False), (61, False, False)])
def test_training_is_shown_sixty_days_before_it_is_due_and_changes_no_verdict(days: int, shown: bool, over: bool) -> None:
    view = Book(READY).now(NOW)
    verdicts = {s: view.standing(s).verdict for s in view.subjects()}
    look = with_file(view.look, Training(what="sterilizer", until=TODAY + timedelta(days=days)))
    found = training_due(look)
    assert [(t.person, t.what, t.over, t.day_by) for t in found] == ([("ana", "sterilizer", over, "practice file")] if shown else [])
    changed = type(view)(look)
    assert {s: changed.standing(s).verdict for s in changed.subjects()} == verdicts


def test_a_training_held_is_due_again_when_its_entry_says_and_no_longer_by_the_practice_file() -> None:
    over = Training(what="sterilizer", until=date(2026, 3, 1))
    look = with_file(Book(READY + held("2026-03-02", ', again_on="2026-04-01"')).now(NOW).look, over)
    (one,) = training_due(look)
    assert (one.held_on, one.held_by, one.until, one.day_by, one.over) == (date(2026, 3, 2), "Ben", date(2026, 4, 1), "entry", False)
    far = with_file(Book(READY + held("2026-03-02", ', again_on="2027-03-02"')).now(NOW).look, over)
    assert training_due(far) == ()
    assert [t.until for t in trainings(far)] == [date(2027, 3, 2)]


@pytest.mark.parametrize(("written", "until"), [(date(2026, 3, 1), None), (date(2026, 5, 1), date(2026, 5, 1))])
def test_where_its_entry_names_no_day_a_later_one_of_the_file_counts_else_none_is_guessed(written: date, until: date | None) -> None:
    (one,) = trainings(with_file(Book(READY + held("2026-03-02")).now(NOW).look, Training(what="sterilizer", until=written)))
    assert (one.until, one.over) == (until, False)


def test_the_newest_day_counts_not_the_newest_entry_and_a_day_to_come_is_no_training() -> None:
    text = READY + held("2026-03-02") + held("2025-03-02", at="2026-03-08 11:00") + held("2026-04-02", at="2026-03-08 12:00")
    (one,) = trainings(Book(text).now(NOW).look)
    assert one.held_on == date(2026, 3, 2)


def test_a_training_that_was_withdrawn_was_not_held() -> None:
    text = READY + held("2026-03-02").rstrip() + " = t\n" + '2026-03-08 12:00 ana entry.withdrawn <t> {why="mistyped"}\n'
    assert trainings(Book(text).now(NOW).look) == ()


def test_a_rulebook_rows_interval_counts_and_the_earlier_of_two_days_wins() -> None:
    on = ground(UNITED_STATES)
    row = "all.ipc_lead"
    assert row in training_names(Book("", on).now(NOW).look.basis)
    assert row not in training_names(Book(READY).now(NOW).look.basis)
    alone = trainings(Book(held("2026-03-02", what=row), on).now(NOW).look)
    assert [(t.until, t.day_by) for t in alone] == [(date(2027, 3, 3), "rulebook")]
    assert "infection prevention" in alone[0].topic
    sooner = trainings(Book(held("2026-03-02", ', again_on="2026-09-01"', what=row), on).now(NOW).look)
    assert [(t.until, t.day_by) for t in sooner] == [(date(2026, 9, 1), "entry")]
    later = trainings(Book(held("2026-03-02", ', again_on="2029-09-01"', what=row), on).now(NOW).look)
    assert [(t.until, t.day_by) for t in later] == [(date(2027, 3, 3), "rulebook")]


def test_it_stands_on_the_persons_timeline() -> None:
    look = Book(READY + held("2026-03-02")).now(NOW).look
    assert any("sterilizer" in link.how and "held by Ben" in link.how for link in trace(look, "person:ana").links)
