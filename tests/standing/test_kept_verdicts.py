"""What is kept of the verdicts of now is what would be made again: after any entry, at any later moment, under any practice file."""

from collections.abc import Iterator
from datetime import date
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_book import PRACTICE, READY, Book, Ground, ground, moment
from test_any_history import histories
from test_versions import LOAD, SLOWER, WITHOUT_CAI, held, ruled

from fettlebook.book.received import Received
from fettlebook.demo.life import Habits, Life
from fettlebook.errors import Mendable
from fettlebook.rules.shelf import pack_text
from fettlebook.standing.due import due_duties
from fettlebook.standing.kept import Noted
from fettlebook.standing.model import Condition, Standing
from fettlebook.standing.standings import Standings, View
from fettlebook.standing.state import State

pytestmark = pytest.mark.invented
MINUTE, HOUR = 60_000, 3_600_000
_ROW = pack_text("uk")[pack_text("uk").index('id = "uk.storage"') :]
STORED = _ROW[: _ROW.index("value = ") + len("value = 365")]
UNTIDY = Habits(forgets=0.1, cuts_short=0.05, comes_late=0.3, fails=0.1, high_count=0.1, mends=0.2, visits_a_day=2)
RARELY_NAMED = ("unit:exam#1", "load:s1", "load:s2", "load:w1", "product:h2o2/A", "product:wipes/B", "solution:m1", "load:nobody's")
STEPS = st.one_of(
    st.sampled_from([0, 1, MINUTE, HOUR - 1, HOUR, 7 * HOUR, 24 * HOUR, 49 * HOUR, 8 * 24 * HOUR]), st.integers(0, 40 * 24 * HOUR)
)
MOMENTS = st.one_of(STEPS, st.sampled_from(["its end", "just before its end", "midnight", "a minute back"]))


def told(view: View) -> dict[str, Standing | str]:
    found: dict[str, Standing | str] = {}
    for subject in dict.fromkeys((*view.subjects(), *RARELY_NAMED)):
        try:
            found[subject] = view.standing(subject)
        except Mendable as unknown:
            found[subject] = unknown.what
    return found


def fresh(on: Ground, state: State) -> Standings:
    return Standings(state, on.fold([]).basis)


def moments(kept: Standings, at: int, drawn: int | str) -> int:
    """Return the moment of the next question: some time on, or where some kept value ends."""
    if isinstance(drawn, int):
        return at + drawn
    ends = sorted(value.until for value in kept.kept._values.values() if value.until > at)
    if drawn == "a minute back":
        return at - MINUTE
    if not ends:
        return at
    return ends[-1] if drawn == "midnight" else ends[0] - (drawn == "just before its end")


@cache
def lived(seed: int) -> tuple[Received, ...]:
    on = ground()
    return tuple(Life(on.practice, on.rulebook, on.times, seed=seed, habits=UNTIDY).days(date(2026, 3, 27), 5))  # over a clock change


def walk(on: Ground, entries: list[Received], data: st.DataObject) -> Iterator[tuple[View, View]]:
    """Yield the view that may be kept and one that can't be, step by step; the state of the second is its own."""
    kept, plain = on.fold([]), State()
    number = 0
    while number < len(entries):
        for one in entries[number : number + data.draw(st.sampled_from([1, 1, 2, 5, 40]), label="entries")]:
            kept.add(one)
            plain.add(one)
            number += 1
        at = plain.received
        for drawn in data.draw(st.lists(MOMENTS, min_size=1, max_size=4), label="moments"):
            at = moments(kept, at, drawn)
            known = data.draw(st.sampled_from([plain.received, plain.received, 1 << 60, plain.received - HOUR]), label="known")
            yield kept.as_of(at, known), fresh(on, plain).as_of(at, known)


@settings(max_examples=60, deadline=None)
@given(histories(), st.data())
def test_what_is_kept_is_what_would_be_made_anew_whatever_the_book_says(book: Book, data: st.DataObject) -> None:
    """Late, corrected and withdrawn entries and missing ones; the moments run on, and stop where something kept ends."""
    entries = [one for one in book.received() if data.draw(st.integers(0, 9), label="lost?")]
    for kept, anew in walk(book.on, entries, data):
        assert told(kept) == told(anew)
        assert kept.own_conditions() == anew.own_conditions()
        assert due_duties(kept) == due_duties(anew)


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 20), st.integers(0, 300), st.data())
def test_what_is_kept_is_what_would_be_made_anew_in_a_life_lived(seed: int, begin: int, data: st.DataObject) -> None:
    entries = list(lived(seed))
    kept, plain = ground().fold(entries[:begin]), State()
    for one in entries[:begin]:
        plain.add(one)
    for one in entries[begin : begin + 60]:
        kept.add(one)
        plain.add(one)
        if data.draw(st.booleans(), label="asked"):
            at = moments(kept, plain.received, data.draw(MOMENTS, label="moment"))
            assert told(kept.as_of(at, plain.received)) == told(fresh(ground(), plain).as_of(at, plain.received))


@settings(max_examples=20, deadline=None)
@given(st.lists(st.sampled_from(["slower", "as it was", "without cai", "other rules", "late"]), min_size=1, max_size=5), st.data())
def test_another_practice_file_or_rulebook_ends_what_was_kept(changes: list[str], data: st.DataObject) -> None:
    book = Book(READY + LOAD)
    for number, change in enumerate(changes):
        at = f"2026-03-09 {10 + number}:00"
        if change == "other rules":
            ruled(book, at, uk=(STORED, STORED.replace("365", "2")))
        elif change == "late":
            held(book, "2026-03-08 10:00", SLOWER, late=26 * HOUR + number * HOUR)
        else:
            held(book, at, {"slower": SLOWER, "as it was": PRACTICE, "without cai": WITHOUT_CAI}[change])
    for kept, anew in walk(book.on, book.received(), data):
        assert told(kept) == told(anew)


def made(standings: Standings, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Return where the subjects are noted whose verdicts are made from now on."""
    found: list[str] = []
    plain = View._conditions

    def noting(self: View, subject: str) -> tuple[Condition, ...]:
        found.append(subject)
        return plain(self, subject)

    monkeypatch.setattr(View, "_conditions", noting)
    return found


def test_only_what_an_entry_is_about_is_made_again(monkeypatch: pytest.MonkeyPatch) -> None:
    book = Book(READY + LOAD)
    standings = book.on.fold(book.received())
    now = moment("2026-03-09 10:00")
    standings.as_of(now, now).all()
    found = made(standings, monkeypatch)
    standings.as_of(now + MINUTE, now + MINUTE).all()
    assert found == []
    book.write('2026-03-09 10:02 ana visit.started {visit="v9", chair="1"}')
    standings.add(book.received()[-1])
    standings.as_of(now + 3 * MINUTE, now + 3 * MINUTE).all()
    assert sorted(found) == ["chair:1", "outlet:1/syringe", "outlet:1/turbine", "practice:all"]
    found.clear()
    tomorrow = now + 24 * HOUR
    standings.as_of(tomorrow, tomorrow).all()
    assert {"chair:1", "machine:steam", "unit:exam#1", "practice:all"} <= set(found)


def test_a_view_that_is_held_while_entries_come_answers_by_what_it_was_made_of() -> None:
    book = Book(READY + LOAD)
    standings, now = book.on.fold(book.received()), moment("2026-03-09 10:00")
    before = standings.as_of(now, now)
    book.write('2026-03-09 10:02 ana visit.started {visit="v9", chair="1"}')
    standings.add(book.received()[-1])
    after = standings.as_of(now + 3 * MINUTE, now + 3 * MINUTE)
    late, early = after.standing("chair:1"), before.standing("chair:1")
    assert late.conditions != early.conditions
    assert early == standings.as_of(now, now).standing("chair:1")
    assert after.standing("chair:1") == late


def test_whoever_asks_for_the_moment_itself_keeps_nothing_for_another() -> None:
    """New code that knows of no notes is slow, never wrong."""
    book = Book(READY)
    standings, now = book.on.fold(book.received()), moment("2026-03-09 10:00")
    for at in (now, now + 1, now + 2):
        look = standings.as_of(at, now).look
        assert isinstance(look, Noted)
        assert look.once("it", lambda look=look: look.at) == at  # type: ignore[misc]


def test_whether_a_subject_was_named_is_asked_again_once_an_entry_names_it() -> None:
    book = Book(READY)
    standings, now = book.on.fold(book.received()), moment("2026-03-09 10:00")

    def named(at: int) -> bool:
        look = standings.as_of(at, at).look
        return look.once("named?", lambda: look.named("load:s7"))

    assert not named(now)
    book.write('2026-03-09 10:02 ana load.packed {load="s7", machine="steam", items=[{unit="exam#1"}]}')
    standings.add(book.received()[-1])
    assert named(now + 3 * MINUTE)
