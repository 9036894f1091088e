"""What is owed today, by when, with how many minutes; and the shortest way to fit."""

import pytest
from small_book import PRACTICE, READY, Book, ground, moment
from test_chair_standing import TURNOVER, VISIT

from fettlebook.standing.due import due_duties
from fettlebook.standing.model import Owed, Verdict

pytestmark = pytest.mark.invented


def due(book: Book, at: str) -> dict[tuple[str, str], Owed]:
    return {(owed.subject, owed.duty_id): owed for owed in due_duties(book.at(at))}


def test_on_a_fit_morning_nothing_is_overdue() -> None:
    assert not [owed for owed in due(Book(READY), "2026-03-09 08:00").values() if owed.overdue]


def test_the_end_of_the_day_is_due_by_closing_once_there_was_a_visit() -> None:
    assert ("chair:1", "chair.close") not in due(Book(READY), "2026-03-09 08:00")
    owed = due(Book(READY + VISIT + TURNOVER), "2026-03-09 10:00")["chair:1", "chair.close"]
    assert owed.due_ms == moment("2026-03-09 17:30")
    assert not owed.overdue
    assert owed.attended_s > 0
    assert owed.unattended_s > 600


def test_the_end_of_the_day_is_overdue_next_morning() -> None:
    assert due(Book(READY + VISIT + TURNOVER), "2026-03-10 06:00")["chair:1", "chair.close"].overdue


def test_the_first_duties_are_overdue_once_the_practice_has_opened() -> None:
    book = Book(READY)
    assert not due(book, "2026-03-10 07:00")["chair:1", "chair.first"].overdue
    assert due(book, "2026-03-10 08:31")["chair:1", "chair.first"].overdue


def test_a_booked_visit_sets_the_moment() -> None:
    visit = f'{{ref="v7", chair="1", visit_kind="exam", start_ms={moment("2026-03-09 09:45")}, minutes=30}}'
    digest = "0" * 64
    booked = f'2026-03-09 06:00 ana book.imported {{day="2026-03-09", calendar_digest="{digest}", visits=[{visit}], counts={{}}}}'
    book = Book(READY + booked + VISIT)
    owed = due(book, "2026-03-09 09:40")["chair:1", "chair.between"]
    assert owed.due_ms == moment("2026-03-09 09:45")
    assert not owed.overdue
    assert due(book, "2026-03-09 09:46")["chair:1", "chair.between"].overdue


def test_a_weekly_duty_is_due_on_its_last_day_and_overdue_after_it() -> None:
    book = Book(READY)
    assert ("machine:washer", "washer.weekly") not in due(book, "2026-03-13 08:00")
    assert not due(book, "2026-03-16 08:00")["machine:washer", "washer.weekly"].overdue
    assert due(book, "2026-03-17 08:00")["machine:washer", "washer.weekly"].overdue


def test_on_a_closed_day_the_duties_of_a_working_day_are_not_due() -> None:
    found = due(Book(READY), "2026-03-14 10:00")  # a Saturday
    assert ("chair:1", "chair.first") not in found
    assert ("machine:steam", "daily") not in found


def test_the_next_sample_is_due_so_early_that_its_result_comes_in_time() -> None:
    book = Book(READY)
    assert ("chair:1", "sample") not in due(book, "2026-03-20 08:00")
    assert ("chair:1", "sample") in due(book, "2026-03-30 08:00")


def test_of_a_chair_out_of_service_only_its_return_is_due() -> None:
    fault = '2026-03-10 07:30 ben fault.reported {fault="f1", chair="1", what="suction weak", stops_use=true}'
    found = [duty for subject, duty in due(Book(READY + fault), "2026-03-10 09:00") if subject == "chair:1"]
    assert found == ["return"]
    on = ground(PRACTICE.replace('id = "1"', 'id = "1"\nout_of_service = true'))
    assert not [subject for subject, _ in due(Book(READY, on), "2026-03-10 09:00") if subject == "chair:1"]


def test_used_sets_and_loads_to_release_are_listed() -> None:
    used = VISIT.replace("units=[]", 'units=["exam#1"]')
    washed = '2026-03-09 09:40 ana load.packed {load="s9", machine="steam", items=[{unit="exam#2", pack="P9"}]}\n'
    ran = '2026-03-09 09:50 ana cycle.recorded {machine="steam", cycle="wrapped", load="s9", said="passed"}\n'
    found = due(Book(READY + used + washed + ran), "2026-03-09 10:00")
    assert found["practice:all", "process"].name.startswith("1 used set waits")
    assert ("load:s9", "release") in found


def test_overdue_comes_first_and_each_duty_once() -> None:
    found = due_duties(Book(READY + VISIT).at("2026-03-10 09:00"))
    assert [owed.overdue for owed in found] == sorted((owed.overdue for owed in found), reverse=True)
    assert len({(owed.subject, owed.duty_id) for owed in found}) == len(found)


def test_doing_the_way_to_fit_makes_it_fit() -> None:
    """Whatever is owed on a chair after a night, a weekend or a holiday: once its duties are done, nothing is owed any more."""
    for at in ("2026-03-09 09:40", "2026-03-10 06:00", "2026-03-12 06:00", "2026-03-23 05:00"):
        book = Book(READY + VISIT)
        way = book.at(at).standing("chair:1").way_to_fit
        assert way.duties
        assert not way.stuck
        now = moment(at)
        for owed in way.duties:  # in the order in which they are listed
            steps = [s.id for d in ground().rulebook.duties if d.id == owed.duty_id for s in d.steps]
            left_out = [step for step in steps if step not in owed.steps]
            stamp = Book()
            stamp.made, stamp.counts = book.made, book.counts
            stamp._duty(now, ("ana", "tablet-1", 100), duty=owed.duty_id, chair="1", leave_out=left_out)
            now = book.made[-1][0] + 1000
        view = book.on.fold(book.received()).as_of(now)
        standing = view.standing("chair:1")
        assert standing.verdict is Verdict.FIT, (at, [(c.what, c.why) for c in standing.failing])


def test_minutes_that_cannot_be_said_are_named_never_left_out_in_silence() -> None:
    text = PRACTICE.replace('line_intensive = "h2o2"\n', "")  # the treatment after a long rest has no product, so no time
    on = ground(text)
    way = Book(on=on).at("2026-03-09 08:00").standing("chair:1").way_to_fit
    assert any("long.fill" in owed.missing_time for owed in way.duties)
