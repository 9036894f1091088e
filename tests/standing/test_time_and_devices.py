"""Two clocks, two devices, late entries, clock changes, 29 February: the rules that are told in the documents."""

import pytest
from small_book import READY, Book, moment
from test_chair_standing import TURNOVER, VISIT, chair, why

from fettlebook.book.received import Received, seal
from fettlebook.standing.lengths import length_of
from fettlebook.standing.model import Verdict
from fettlebook.standing.saved import as_plain
from fettlebook.standing.state import State, fold_entries

pytestmark = pytest.mark.invented

NO_FLUSH = '2026-03-09 09:32 ben duty {duty="chair.between", chair="1", leave_out=["between.flush"]}\n'
FLUSH = 'duty="chair.between", step="between.flush", chair="1", outlets=["turbine", "syringe"]'


def flushed(*lines: str) -> str:
    said = [line.replace("FLUSH", FLUSH) for line in lines]
    return READY + VISIT + NO_FLUSH + "\n".join(said)


def test_two_devices_that_end_one_step_give_the_shorter_length_and_both_entries_are_kept() -> None:
    text = flushed(
        "2026-03-09 09:50:00 ben step.started {FLUSH}",
        '2026-03-09 09:50:30 ben step.done {FLUSH, outcome="done"}',
        '2026-03-09 09:52:00 ana@tablet-2 step.done {FLUSH, outcome="done"}',
    )
    standing = chair(Book(text), "2026-03-09 10:00")
    assert standing.verdict is Verdict.UNFIT
    assert "ran 0:30, must run 1:00" in why(standing)
    unfit = standing.failing[0]
    assert len(Book(text).made) == len(Book(flushed()).made) + 3
    assert len(unfit.evidence) >= 3


def test_two_devices_that_begin_one_step_count_from_the_later_start() -> None:
    text = flushed(
        "2026-03-09 09:50:00 ben step.started {FLUSH}",
        "2026-03-09 09:51:00 ana@tablet-2 step.started {FLUSH}",
        '2026-03-09 09:51:30 ben step.done {FLUSH, outcome="done"}',
    )
    assert "ran 0:30" in why(chair(Book(text), "2026-03-09 10:00"))


def test_runs_keep_two_attempts_apart() -> None:
    text = flushed(
        '2026-03-09 09:50:00 ben step.started {FLUSH, run="r1"}',
        '2026-03-09 09:50:20 ana@tablet-2 step.started {FLUSH, run="r2"}',
        '2026-03-09 09:50:30 ana@tablet-2 step.done {FLUSH, run="r2", outcome="broken off"}',
        '2026-03-09 09:51:30 ben step.done {FLUSH, run="r1", outcome="done"}',
    )
    standing = chair(Book(text), "2026-03-09 10:00")
    assert standing.verdict is Verdict.FIT, why(standing)


def test_a_start_and_an_end_from_two_devices_are_timed_by_wall_clock_and_receipt() -> None:
    at_once = flushed("2026-03-09 09:50 ben step.started {FLUSH}", '2026-03-09 09:52 ana@tablet-2 step.done {FLUSH, outcome="done"}')
    assert chair(Book(at_once), "2026-03-09 10:00").verdict is Verdict.FIT
    late = flushed("2026-03-09 09:50 ben step.started {FLUSH}", '2026-03-09 09:52 (5m) ana@tablet-2 step.done {FLUSH, outcome="done"}')
    standing = chair(Book(late), "2026-03-09 10:00")
    assert standing.verdict is Verdict.UNPROVEN
    assert "only one clock" in why(standing)


def test_clocks_that_disagree_prove_no_length() -> None:
    book = Book(flushed("2026-03-09 09:50 ben step.started {FLUSH}", '2026-03-09 09:52 ben step.done {FLUSH, outcome="done"}'))
    comes, entry, number = book.made[-1]
    assert entry.mono is not None
    stood_still = entry.model_copy(update={"mono": entry.mono.model_copy(update={"ms": entry.mono.ms - 30_000})})
    book.made[-1] = (comes, stood_still, number)
    standing = chair(book, "2026-03-09 10:00")
    assert standing.verdict is Verdict.UNPROVEN
    assert "differ by 30 s" in why(standing)


@pytest.mark.parametrize(
    ("wall", "mono", "verdict"),
    [
        (90_000, 90_500, Verdict.FIT),
        (90_000, 59_000, Verdict.UNPROVEN),
        (59_000, 59_000, Verdict.UNFIT),
        (60_500, 59_500, Verdict.UNFIT),
    ],
)
def test_one_entry_may_tell_both_lengths(wall: int, mono: int, verdict: Verdict) -> None:
    text = flushed(f'2026-03-09 09:52 ben step.done {{FLUSH, outcome="done", lasted_wall_ms={wall}, lasted_mono_ms={mono}}}')
    assert chair(Book(text), "2026-03-09 10:00").verdict is verdict


def test_a_late_entry_counts_when_it_happened_and_is_known_when_it_came() -> None:
    book = Book(READY + VISIT + TURNOVER.replace("09:32 ben", "09:32 (3h) ben"))
    assert chair(book, "2026-03-09 10:00").verdict is Verdict.UNPROVEN
    assert book.now("2026-03-09 10:00").standing("chair:1").verdict is Verdict.FIT
    assert chair(book, "2026-03-09 10:00", known="2026-03-09 11:00").verdict is Verdict.UNPROVEN
    assert chair(book, "2026-03-09 13:00").verdict is Verdict.FIT


def test_an_entry_from_a_clock_in_the_future_happened_no_later_than_it_was_received() -> None:
    book = Book(READY)
    far = moment("2027-03-09 08:00")
    book.add("step.done", ("ana", "tablet-9", 0), far, {"duty": "chair.weekly", "step": "weekly.valves", "chair": "1", "outcome": "done"})
    book.made[-1] = (moment("2026-03-09 08:00"), book.made[-1][1], book.made[-1][2])
    facts = fold_entries(book.received()).stream("chair:1", "done:weekly.valves").facts
    assert max(fact.happened for fact in facts) <= moment("2026-03-09 08:01")


def test_a_day_of_23_hours_ends_a_daily_duty_at_its_own_midnight() -> None:
    """Clocks go forward on 29 March 2026 in London; the duties of Saturday end when Sunday begins, those of Sunday 23 h later."""
    book = Book(READY + '2026-03-29 00:30 ana duty {duty="chair.first", chair="1"}')
    standing = book.at("2026-03-29 04:00").standing("chair:1")
    first = next(c for c in standing.conditions if c.what.startswith("Before the first visit"))
    assert first.verdict is Verdict.FIT
    assert first.expires_ms == moment("2026-03-30 00:00")
    assert first.expires_ms - moment("2026-03-29 00:00") == 23 * 3_600_000


def test_a_contact_through_the_hour_that_comes_twice_is_timed_by_elapsed_time() -> None:
    early, late = moment("2026-10-25 01:50"), moment("2026-10-25 01:20 (second)")
    assert late - early == 30 * 60_000
    text = """
    2026-10-25 01:50 ana step.started {duty="chair.close", step="close.contact", chair="1", outlets=["turbine", "syringe"]}
    """
    book = Book(text)
    done = {"duty": "chair.close", "step": "close.contact", "chair": "1", "outlets": ["turbine", "syringe"], "outcome": "done"}
    book.add("step.done", ("ana", "tablet-1", 100), late, done)
    state = fold_entries(book.received())
    begun, ended = state.stream("chair:1", "begun:close.contact").facts[0], state.stream("chair:1", "done:close.contact").facts[0]
    length = length_of(begun, ended)
    assert length is not None
    assert (length.ms, length.doubt) == (30 * 60_000, "")


def test_a_week_and_a_month_run_over_29_february() -> None:
    leap = READY.replace("2026-03-02", "2028-02-21").replace("2026-03-09", "2028-02-28")
    book = Book(leap)
    view = book.at("2028-02-29 08:00").standing("chair:1")
    weekly = next(c for c in view.conditions if c.what.startswith("Each week"))
    assert weekly.expires_ms == moment("2028-03-07 00:00")
    water = next(c for c in view.conditions if c.what.startswith("water count"))
    assert water.expires_ms == moment("2028-03-24 00:00")


def test_a_correction_may_come_before_what_it_corrects_and_be_withdrawn_itself() -> None:
    """Another tablet sent it first; and a withdrawn correction leaves what was said at first."""
    done = 'step.done {duty="chair.weekly", step="weekly.valves", chair="1", outcome="done"}'
    mend = 'entry.corrected <it> {field="step", now="weekly.other", why="slip"} = mend'
    book = Book(f"2026-03-09 08:00 (2h) ana {done} = it\n2026-03-09 08:30 ben@tablet-2 {mend}")
    state = fold_entries(book.received())
    assert not list(state.stream("chair:1", "done:weekly.valves").facts)
    assert len(state.stream("chair:1", "done:weekly.other").facts) == 1
    book.write('2026-03-09 11:00 ana entry.withdrawn <mend> {why="it was right"}')
    state = fold_entries(book.received())
    now, then = moment("2026-03-09 12:00"), moment("2026-03-09 10:30")
    assert state.stream("chair:1", "done:weekly.valves").latest(now, now) is not None
    assert state.stream("chair:1", "done:weekly.valves").latest(now, then) is None
    assert state.stream("chair:1", "done:weekly.other").latest(now, then) is not None


def test_entries_that_refer_to_each_other_in_a_ring_do_no_harm() -> None:
    book = Book('2026-03-09 08:00 ana notice.begun {notice="boil water"} = a')
    ring = [f"01900000-0000-7000-8000-00000000{n:04x}" for n in (2, 3)]
    for n in (0, 1):
        book.names["other"] = ring[1 - n]
        book.write('2026-03-09 08:01 ana entry.withdrawn <other> {why="ring"}')
    assert len(fold_entries(book.received()).stream("practice:all", "notice:boil water").facts) == 1


def test_the_same_entry_again_and_unknown_kinds_change_nothing() -> None:
    book = Book(READY)
    entries = book.received()
    strange = entries[0].entry.model_copy(update={"id": "01900000-0000-7000-8000-ffffffffffff", "n": len(entries) + 1})
    raw = strange.model_dump(exclude_none=True) | {"kind": "moon.phase", "data": {"full": True}}
    from fettlebook.book.entries import entry_of

    moon = entry_of(raw)
    leaf = seal(moon.encode(), seq=len(entries) + 1, received=entries[-1].received + 1, offset=0, via="t")
    state: State = fold_entries([*entries, Received(len(entries) + 1, entries[-1].received + 1, 0, "t", moon, leaf)])
    state.add(entries[3])
    assert as_plain(state)["streams"] == as_plain(fold_entries(entries))["streams"]


def test_where_two_ends_differ_the_one_that_says_broken_off_counts() -> None:
    text = flushed(
        "2026-03-09 09:50 ben step.started {FLUSH}",
        '2026-03-09 09:52 ben step.done {FLUSH, outcome="done"}',
        '2026-03-09 09:53 ana@tablet-2 step.done {FLUSH, outcome="broken off"}',
    )
    assert chair(Book(text), "2026-03-09 10:00").verdict is Verdict.UNFIT
