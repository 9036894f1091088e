"""The days ahead and open faults: the same fold asked about coming days."""

import sys
from datetime import date, timedelta
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from small_book import READY, Book

from fettlebook.standing.ahead import EVERY_DAY, days_ahead, open_faults
from fettlebook.standing.due import due_duties

pytestmark = pytest.mark.invented
NOW = "2026-03-09 08:40"


def test_each_day_shows_what_is_due_then_and_was_not_before() -> None:
    view = Book(READY).now(NOW)
    days = days_ahead(view, 9)
    assert [one.day for one in days] == [date(2026, 3, 9) + timedelta(days=n) for n in range(9)]
    keys = [(o.subject, o.duty_id) for one in days for o in one.duties]
    assert keys
    assert len(keys) == len(set(keys))
    for one in days[1:]:
        then = view.later(view.look.basis.day_begins(one.day) + 60_000)
        due = {(o.subject, o.duty_id) for o in due_duties(then)}
        assert {(o.subject, o.duty_id) for o in one.duties} <= due


def test_the_duties_of_every_day_are_the_plans() -> None:
    view = Book(READY).now(NOW)
    when = {duty.id: duty.when for duty in view.look.basis.rulebook.duties}
    assert not [o for one in days_ahead(view) for o in one.duties if when.get(o.duty_id) in EVERY_DAY]


def test_a_later_view_is_that_of_the_fold_at_that_moment() -> None:
    book = Book(READY)
    view, then = book.now(NOW), book.now("2026-03-11 00:01")
    later = view.later(then.look.at)
    assert {s: later.standing(s).verdict for s in later.subjects()} == {s: then.standing(s).verdict for s in then.subjects()}


def test_a_fault_is_open_until_its_repair_and_a_stop_until_its_return() -> None:
    fault = '2026-03-09 08:00 ana fault.reported {chair="1", fault="lamp", what="the lamp flickers", stops_use=false}\n'
    stop = '2026-03-09 08:05 ben subject.out_of_service {machine="steam", reason="door seal torn"}\n'
    found = open_faults(Book(READY + fault + stop).now(NOW).look)
    assert [(one.subject, one.what, one.by, one.stops) for one in found] == [
        ("machine:steam", "door seal torn", "ben", True),
        ("chair:1", "the lamp flickers", "ana", False),
    ]
    repaired = '2026-03-09 08:10 ana repair.done {chair="1", fault="lamp", what="new lamp"}\n'
    back = '2026-03-09 08:20 ana subject.returned {machine="steam", reason="new seal", meaning="returned"}\n'
    assert open_faults(Book(READY + fault + stop + repaired + back).now(NOW).look) == ()
