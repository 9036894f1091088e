"""Where tablets do not agree: found, the earlier end counts, both are kept, and a person's word settles it."""

from itertools import count

import pytest

from fettlebook.book.entries import Entry, Moment, new_entry
from fettlebook.book.kinds import Data, EntrySettled, EntryWithdrawn, StepDone, StepStarted
from fettlebook.book.received import Received
from fettlebook.standing.to_settle import ended_twice, oddly_timed

pytestmark = pytest.mark.invented
AT = 1_772_442_000_000
MIN = 60_000
_SEQ = count(1)


def come(data: Data, at: int, *, by: str, device: str = "", offset: int = 0, received: int = 0, refers: str | None = None) -> Received:
    seq = next(_SEQ)
    made: Entry = new_entry(data, moment=Moment(at, "UTC"), device=device or f"tablet-{by}", n=seq, by=by, refers_to=refers)
    return Received(seq, received or at + offset, offset, made.device, made, b"")


def done(at: int, by: str, **more) -> Received:
    said = {"duty": "chair.between", "step": "between.wipe", "chair": "chair 1", "visit": "v_1", "outcome": "done"}
    places = {name: more.pop(name) for name in ("outlets", "visit", "outcome", "chair") if name in more}
    return come(StepDone(**{name: value for name, value in (said | places).items() if value is not None}), at, by=by, **more)


def test_two_people_end_one_step_the_earlier_counts_and_the_other_stays_beside_it():
    late, early = done(AT + 5 * MIN, "ben"), done(AT, "ana", received=AT + 90 * MIN)
    (pair,) = ended_twice([late, early])
    assert (pair.counts, pair.beside) == (early, (late,))


def test_a_clock_three_days_ahead_does_not_change_which_came_first():
    days = 3 * 24 * 60 * MIN
    first = done(AT + days, "ana", offset=-days)
    (pair,) = ended_twice([done(AT + MIN, "ben"), first])
    assert pair.counts is first


@pytest.mark.parametrize(
    "others",
    [
        [lambda: done(AT + MIN, "ana")],  # the same person at the same tablet: again
        [lambda: done(AT + MIN, "ben", visit="v_2")],
        [lambda: done(AT + MIN, "ben", chair="chair 2")],
        [lambda: done(AT + MIN, "ben", outlets=("syringe",))],
        [lambda: done(AT + MIN, "ben", outcome="broken off")],
    ],
)
def test_other_work_is_no_disagreement(others):
    assert ended_twice([done(AT, "ana"), *(make() for make in others)]) == ()


def test_without_a_visit_only_ends_within_half_an_hour_are_one_piece_of_work():
    assert ended_twice([done(AT, "ana", visit=None), done(AT + 31 * MIN, "ben", visit=None)]) == ()
    assert len(ended_twice([done(AT, "ana", visit=None), done(AT + 29 * MIN, "ben", visit=None)])) == 1


def test_a_start_between_two_ends_makes_them_two_pieces_of_work():
    begun = StepStarted(duty="chair.between", step="between.wipe", chair="chair 1", visit="v_1")
    assert ended_twice([done(AT, "ana"), come(begun, AT + MIN, by="ben"), done(AT + 2 * MIN, "ben")]) == ()


def test_a_persons_word_settles_it_until_another_end_comes():
    one, two = done(AT, "ana"), done(AT + MIN, "ben")
    word = come(EntrySettled(beside=(two.entry.id,), why="both"), AT + 9 * MIN, by="ana", refers=one.entry.id)
    assert ended_twice([one, two, word]) == ()
    third = done(AT + 2 * MIN, "chloe")
    (pair,) = ended_twice([one, two, word, third])
    assert pair.beside == (two, third)
    gone = come(EntryWithdrawn(why="not mine"), AT + 9 * MIN, by="ben", refers=two.entry.id)
    assert ended_twice([one, two, gone]) == ()


def test_late_entries_and_clocks_that_are_off_are_told():
    late, ahead, plain = (
        done(AT, "ana", received=AT + 11 * MIN),
        done(AT + 2 * MIN, "ben", offset=-2 * MIN, received=AT),
        done(AT, "chloe"),
    )
    told = list(oddly_timed([late, ahead, plain]))
    assert [(one.received, one.off_ms, one.late_ms) for one in told] == [(late, 0, 11 * MIN), (ahead, 2 * MIN, 0)]
