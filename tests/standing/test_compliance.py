"""What came of each duty that was owed, on worked days of one chair; and deviations with what was done about them."""

import pytest
from small_book import READY, Book, moment
from test_chair_standing import TURNOVER, VISIT
from test_failure import FAILED
from test_instruments_standing import ALL

from fettlebook.standing.compliance import Came, Occasion, occasions
from fettlebook.standing.deviations import Deviation, deviations, undecided

pytestmark = pytest.mark.invented
SECOND = """
2026-03-09 10:30 ana visit.started {visit="v2", chair="1"}
2026-03-09 11:00 ana visit.ended {visit="v2", chair="1", units=[]}
"""
CLOSED = '2026-03-09 11:30 ben duty {duty="chair.close", chair="1"}'
NEXT = """
2026-03-10 07:30 ben duty {duty="chair.first", chair="1"}
2026-03-10 09:00 ana visit.started {visit="v3", chair="1"}
2026-03-10 09:30 ana visit.ended {visit="v3", chair="1", units=[]}
"""


def owed(text: str, since: str = "2026-03-09 00:00", until: str = "2026-03-10 12:00") -> list[Occasion]:
    standings = Book(text).on.fold(Book(text).received())
    return [one for _, day in occasions(standings, moment(since), moment(until), known_at=1 << 60) for one in day]


def of(text: str, duty: str, until: str = "2026-03-10 12:00") -> list[Came]:
    return [one.came for one in owed(text, until=until) if one.duty == duty]


def test_a_turnover_is_owed_between_two_visits_and_only_there() -> None:
    assert of(READY + VISIT, "chair.between") == []
    assert of(READY + VISIT + TURNOVER + SECOND, "chair.between") == [Came.IN_TIME]
    assert of(READY + VISIT + SECOND, "chair.between") == [Came.MISSED]


def test_a_turnover_that_was_too_short_is_missed_and_one_without_its_start_not_provable() -> None:
    short = TURNOVER.replace('chair="1"}', 'chair="1", short=["between.flush"]}')
    assert of(READY + VISIT + short + SECOND, "chair.between") == [Came.MISSED]
    partly = TURNOVER.replace('chair="1"}', 'chair="1", leave_out=["between.flush_start", "between.flush"]}')
    assert of(READY + VISIT + partly + SECOND, "chair.between") == [Came.NOT_PROVABLE]


def test_an_evening_done_the_next_morning_is_late_and_one_never_done_is_missed() -> None:
    day = READY + VISIT + TURNOVER + SECOND
    assert of(day + CLOSED + NEXT, "chair.close") == [Came.IN_TIME]
    assert of(day + CLOSED.replace("03-09 11:30", "03-10 06:30") + NEXT, "chair.close") == [Came.LATE]
    assert of(day + NEXT, "chair.close") == [Came.MISSED]


def test_what_is_not_over_yet_is_not_counted() -> None:
    assert of(READY + VISIT + SECOND, "chair.close", until="2026-03-09 18:00") == []


def test_a_morning_done_after_the_first_visit_is_late() -> None:
    late = NEXT.replace("03-10 07:30", "03-10 09:40")
    assert of(READY + VISIT + CLOSED + late, "chair.first")[-1] is Came.LATE


def test_what_a_device_holds_back_makes_a_missed_duty_not_provable() -> None:
    book = Book(
        READY + VISIT.replace(" ana visit.ended", " ana@tablet-2 visit.ended") + TURNOVER.replace("ben duty", "ben@tablet-2 duty") + SECOND
    )
    gone = frozenset(e.id for _, e, _ in book.made if e.device == "tablet-2" and e.kind.startswith("step"))
    book.write('2026-03-09 11:05 ana@tablet-2 visit.started {visit="v9", chair="1"}')
    standings = book.on.fold(book.received(without=gone))
    days = occasions(standings, moment("2026-03-09 00:00"), moment("2026-03-09 23:00"), known_at=1 << 60)
    (one,) = [o for _, day in days for o in day if o.duty == "chair.between" and o.owed_ms == moment("2026-03-09 10:30")]
    assert one.came is Came.NOT_PROVABLE
    assert "did not arrive" in one.why


def test_every_occasion_names_what_made_it_owed_and_what_it_rests_on() -> None:
    book = Book(READY + VISIT + TURNOVER + SECOND + CLOSED + NEXT)
    ids = {entry.id for _, entry, _ in book.made}
    found = owed(READY + VISIT + TURNOVER + SECOND + CLOSED + NEXT)
    assert len({(o.subject, o.duty, o.when, o.owed_ms, o.because) for o in found}) == len(found) > 4
    for one in found:
        assert one.because in ids
        assert set(one.evidence) <= ids
        assert one.evidence or one.came in (Came.MISSED, Came.NOT_PROVABLE)


def test_a_tests_day_counts_once_at_its_first_load() -> None:
    (one,) = [o for o in owed(ALL) if o.duty == "daily"]
    assert one.came is Came.IN_TIME
    assert one.name == "Test: air-removal test"


def gone_wrong(text: str) -> tuple[Deviation, ...]:
    look = Book(text).now("2026-03-12 12:00").look
    return deviations(look, moment("2026-03-09 00:00"), moment("2026-03-11 00:00"), ())


def test_a_failed_cycle_is_open_until_its_load_is_aside_and_a_test_passed() -> None:
    (one,) = gone_wrong(FAILED)
    assert (one.kind, one.state) == ("cycle", "nothing done")
    aside = '2026-03-09 08:40 ana load.rejected {load="s1", meaning="rejected", reason="cycle failed"}\n'
    (one,) = gone_wrong(FAILED + aside)
    assert (one.state, len(one.followed)) == ("open", 1)
    (one,) = gone_wrong(FAILED + aside + '2026-03-10 07:00 ana machine.test {machine="steam", test="daily", outcome="passed"}\n')
    assert one.state == "closed"
    assert [f.what.partition(":")[0] for f in one.followed] == ["load s1 rejected", "daily passed"]


def test_a_load_released_although_its_cycle_failed_stands_until_it_is_recalled() -> None:
    let_go = '2026-03-09 08:40 ana load.released {load="s1", meaning="released", dry=true, indicators_turned=true}\n'
    released = [d for d in gone_wrong(FAILED + let_go) if d.kind == "release"]
    assert [d.open for d in released] == [True]
    recalled = let_go + '2026-03-09 09:40 ana load.rejected {load="s1", meaning="recalled", reason="seen too late"}\n'
    assert [d.open for d in gone_wrong(FAILED + recalled) if d.kind == "release"] == [False]


def test_a_fault_is_closed_by_its_repair_and_a_stop_by_a_person_only() -> None:
    fault = '2026-03-09 10:00 ana fault.reported {fault="f1", what="drips", stops_use=false, chair="1"}\n'
    stop = '2026-03-09 10:05 ana subject.out_of_service {chair="1", reason="drips"}\n'
    repair = '2026-03-09 12:00 ana repair.done {fault="f1", what="washer replaced", chair="1"}\n'
    states = {d.kind: d.state for d in gone_wrong(READY + fault + stop + repair)}
    assert states == {"fault": "closed", "out of service": "open"}
    back = '2026-03-09 13:00 ana subject.returned {chair="1", reason="tried", meaning="returned"}\n'
    assert {d.state for d in gone_wrong(READY + fault + stop + repair + back)} == {"closed"}


def test_a_load_that_nobody_decided_on_is_named() -> None:
    look = Book(FAILED).now("2026-03-12 12:00").look
    assert [one[0] for one in undecided(look, moment("2026-03-09 00:00"), moment("2026-03-11 00:00"))] == ["s1"]
