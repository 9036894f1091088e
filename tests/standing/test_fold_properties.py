"""What must hold of any history: one entry at a time equals all at once, the past never changes, nothing is fit without its evidence."""

from datetime import date
from functools import cache

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from small_book import READY, Book, ground, moment

from fettlebook.book.received import Received
from fettlebook.demo.life import Habits, Life
from fettlebook.errors import Mendable
from fettlebook.standing.model import Standing, Verdict
from fettlebook.standing.standings import Standings, View

pytestmark = pytest.mark.invented
HOUR = 3_600_000
UNTIDY = Habits(forgets=0.05, cuts_short=0.05, comes_late=0.2, fails=0.1, high_count=0.1, mends=0.1, visits_a_day=2)
SUBJECTS = ("practice:all", "chair:1", "outlet:1/turbine", "machine:steam", "machine:washer", "unit:exam#1", "unit:exam#2")


@cache
def lived(seed: int, habits: Habits = UNTIDY, days: int = 4) -> tuple[Received, ...]:
    on = ground()
    return tuple(Life(on.practice, on.rulebook, on.times, seed=seed, habits=habits).days(date(2026, 3, 27), days))  # over a clock change


def named(view: View) -> tuple[str, ...]:
    return (*SUBJECTS, *(s for s in view.look.state.subjects if s.startswith(("load:", "product:"))))


def said(view: View, subjects: tuple[str, ...]) -> dict[str, Standing]:
    return {subject: view.standing(subject) for subject in subjects}


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 40), st.data())
def test_what_was_known_then_never_changes_by_what_comes_later(seed: int, data: st.DataObject) -> None:
    """The view of the whole book, as known at T, equals that of the book of entries received by T: they share no index."""
    entries = lived(seed)
    on = ground()
    number = data.draw(st.integers(1, len(entries)), label="entries received by then")
    known = entries[number - 1].received
    at = known + data.draw(st.integers(-72, 24), label="hours") * HOUR
    whole = on.fold(list(entries)).as_of(at, known)
    then = on.fold(list(entries[:number])).as_of(at, known)
    for subject in named(then):
        assert whole.standing(subject) == then.standing(subject)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 40), st.data())
def test_adding_entries_one_by_one_equals_the_fold_of_what_they_came_to(seed: int, data: st.DataObject) -> None:
    """Against a fold that never saw a correction: the entries as they stand after all, in the order in which they happened."""
    entries = lived(seed)
    on = ground()
    state = on.fold([])
    for entry in entries:
        state.add(entry)
    settled = _settled(entries)
    at = data.draw(st.integers(entries[0].received, entries[-1].received), label="at")
    late = entries[-1].received + 1
    plain = _as_if(on.fold(settled), at, late, state)
    assert said(state.as_of(at, late), named(plain)) == said(plain, named(plain))


@settings(max_examples=12, deadline=None)
@given(st.integers(0, 40), st.data())
def test_asking_while_entries_come_in_changes_no_later_answer(seed: int, data: st.DataObject) -> None:
    """What a state remembers of earlier questions must never show: each answer equals that of a state that was never asked."""
    entries, on = lived(seed, days=12), ground()
    asked = on.fold([])
    stops = sorted(data.draw(st.sets(st.integers(1, len(entries)), min_size=2, max_size=6)))
    for number, entry in enumerate(entries, 1):
        asked.add(entry)
        if number in stops:
            at = entry.received + data.draw(st.integers(-400, 200)) * HOUR
            fresh = on.fold(list(entries[:number]))
            for subject in ("chair:1", "outlet:1/turbine"):
                one, two = asked.as_of(at, entry.received), fresh.as_of(at, entry.received)
                assert one.standing(subject) == two.standing(subject)


def _settled(entries: tuple[Received, ...]) -> list[Received]:
    """Return the entries with corrections and withdrawals worked in by the plainest means, ordered by when they happened."""
    stands = {one.entry.id: one for one in entries if not one.entry.kind.startswith("entry.")}
    for one in entries:
        if one.entry.kind == "entry.withdrawn":
            stands.pop(one.entry.refers_to or "", None)
        elif one.entry.kind == "entry.corrected" and (was := stands.get(one.entry.refers_to or "")) is not None:
            entry = was.entry.model_copy(update={"at": one.entry.data.now})  # the only field that lived() mends
            stands[entry.id] = Received(was.seq, was.received, was.offset, was.via, entry, was.leaf)
    ordered = sorted(stands.values(), key=lambda one: (min(one.entry.at, one.received), one.seq))
    return [Received(n, one.received, one.offset, one.via, one.entry, one.leaf) for n, one in enumerate(ordered, 1)]


def _as_if(standings: Standings, at: int, known: int, like: Standings) -> View:
    standings.state.devices = like.state.devices  # which numbers are missing is a matter of receipt alone
    return standings.as_of(at, known)


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 40), st.integers(0, 1000))
def test_an_entry_sent_twice_changes_nothing(seed: int, place: int) -> None:
    entries = lived(seed)
    once, twice = ground().fold(list(entries)), ground().fold(list(entries))
    twice.add(entries[place % len(entries)])
    one, two = once.as_of(entries[-1].received), twice.as_of(entries[-1].received)
    assert said(one, named(one)) == said(two, named(two))


@cache
def fit_history() -> tuple[Book, int]:
    book = Book(
        READY
        + """
2026-03-09 06:20 ana load.packed {load="w1", machine="washer", items=[{unit="exam#1"}, {unit="exam#2"}]}
2026-03-09 07:00 ana cycle.recorded {machine="washer", cycle="wash", load="w1", said="passed"}
2026-03-09 07:01 ana load.packed {load="s1", machine="steam", items=[{unit="exam#1", pack="P1"}, {unit="exam#2", pack="P2"}]}
2026-03-09 07:45 ana cycle.recorded {machine="steam", cycle="wrapped", load="s1", said="passed"}
2026-03-09 07:50 ana load.released {load="s1", meaning="released", dry=true, indicators_turned=true}
2026-03-09 09:00 ana visit.started {visit="v1", chair="1"}
2026-03-09 09:30 ana visit.ended {visit="v1", chair="1", units=[]}
2026-03-09 09:32 ben duty {duty="chair.between", chair="1"}
"""
    )
    return book, moment("2026-03-09 10:00")


def test_the_history_that_the_next_tests_take_from_is_fit() -> None:
    book, at = fit_history()
    view = book.on.fold(book.received()).as_of(at)
    for standing in (view.standing(s) for s in (*SUBJECTS, "load:s1", "load:w1")):
        assert standing.verdict is Verdict.FIT, (standing.subject, [(c.what, c.why) for c in standing.failing])


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_without_any_one_entry_that_a_fit_verdict_rests_on_it_is_not_fit(data: st.DataObject) -> None:
    """Numbers closed up, so that only the evidence itself can tell; every entry that the verdict names is required."""
    book, at = fit_history()
    subject = data.draw(st.sampled_from((*SUBJECTS, "load:s1", "load:w1")))
    whole = book.on.fold(book.received()).as_of(at).standing(subject)
    evidence = sorted({entry for condition in whole.conditions for entry in condition.evidence})
    lost = frozenset(data.draw(st.sets(st.sampled_from(evidence), min_size=1, max_size=3)))
    view = book.on.fold(book.received(without=lost, renumber=True)).as_of(at)
    try:
        verdict = view.standing(subject).verdict
    except Mendable:  # nothing in the book names the load any more
        verdict = Verdict.UNPROVEN
    assert verdict is not Verdict.FIT


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_any_entry_lost_by_a_tablet_leaves_the_practice_unproven(data: st.DataObject) -> None:
    book, at = fit_history()
    lost = data.draw(st.sampled_from([entry.id for _, entry, _ in book.made[:-1]]))
    standing = book.on.fold(book.received(without=frozenset({lost}))).as_of(at).standing("practice:all")
    assert standing.verdict is not Verdict.FIT


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_withdrawing_what_a_fit_verdict_rests_on_ends_it_from_that_receipt_on(data: st.DataObject) -> None:
    book, at = fit_history()
    subject = data.draw(st.sampled_from((*SUBJECTS, "load:s1")))
    standings = book.on.fold(book.received())
    whole = standings.as_of(at).standing(subject)
    entry = data.draw(st.sampled_from(sorted({e for c in whole.conditions for e in c.evidence})))
    mended = Book(on=book.on)
    mended.made, mended.counts, mended.names = list(book.made), dict(book.counts), {"it": entry}
    mended.write('2026-03-09 09:58 ana entry.withdrawn <it> {why="wrong chair"}')
    after = book.on.fold(mended.received())
    assert after.as_of(at).standing(subject).verdict is not Verdict.FIT
    assert after.as_of(at, moment("2026-03-09 09:57")).standing(subject) == standings.as_of(at, moment("2026-03-09 09:57")).standing(
        subject
    )


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 40), st.data())
def test_a_verdict_says_until_when_it_holds_and_holds_until_then(seed: int, data: st.DataObject) -> None:
    """Where nothing more happens, a fit verdict stays fit up to its end and isn't fit from then on."""
    book, at = fit_history()
    subject = data.draw(st.sampled_from(SUBJECTS))
    standings = book.on.fold(book.received())
    ends = standings.as_of(at).standing(subject).valid_until_ms
    assume(ends is not None)
    assert ends is not None
    between = data.draw(st.integers(at, ends - 1))
    assert standings.as_of(between).standing(subject).verdict is Verdict.FIT
    assert standings.as_of(ends).standing(subject).verdict is not Verdict.FIT
