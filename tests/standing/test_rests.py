"""The last rest of a chair's water, by the bits of when it moved, against a plain walk through every movement that was known."""

from itertools import pairwise

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from small_book import Book, ground, moment

from fettlebook.standing.look import Look
from fettlebook.standing.moved import PIECE_MS, Moved, Pieces, where_moved
from fettlebook.standing.older import EVER, Fact
from fettlebook.standing.standings import View
from fettlebook.standing.still import Rest, last_rest, moving_sorts

pytestmark = pytest.mark.invented
HOUR = 3_600_000
BEGIN = moment("2026-03-02 07:00")
DAYS = 24

# When it happened [h], how late it came [h], what it was; what was said of it later (withdrawn, or moved by hours), how many hours later.
EVENT = st.tuples(
    st.integers(0, DAYS * 24),
    st.sampled_from([0, 0, 0, 0, 3, 23, 24, 25, 60, 200]),
    st.sampled_from(["visit", "turbine", "syringe", "both", "broken off"]),
    st.none() | st.tuples(st.sampled_from(["withdrawn", -30, -3, 0, 3, 30]), st.integers(0, 150)),
)


def written(events: list[tuple[int, int, str, tuple[str | int, int] | None]]) -> Book:
    book = Book()
    flush = next(sort for sort in moving_sorts(book.on.fold([]).as_of(BEGIN).look.basis) if sort.startswith("done:"))
    duty, step = next((d.id, s.id) for d in book.on.rulebook.duties for s in d.steps if f"done:{s.id}" == flush)
    for number, (hour, late, what, then) in enumerate(sorted(events, key=repr)):
        at = BEGIN + hour * HOUR + number
        who = ("ana", "tablet-1", late * HOUR)
        if what == "visit":
            entry = book.add("visit.started", who, at, {"visit": f"v{number}", "chair": "1"})
        else:
            outlets = {"both": ["turbine", "syringe"], "broken off": ["turbine"]}.get(what, [what])
            outcome = "broken off" if what == "broken off" else "done"
            entry = book.add("step.done", who, at, {"duty": duty, "step": step, "chair": "1", "outlets": outlets, "outcome": outcome})
        if then is not None:
            book.names["it"] = entry.id
            how, after = then
            sent, later = ("ana", "tablet-1", 100), at + late * HOUR + after * HOUR
            if how == "withdrawn":
                book.add("entry.withdrawn", sent, later, {"why": "wrong chair"}, refers="it")
            else:
                now = {"field": "at", "was": at, "now": at + int(how) * HOUR, "why": "wrong time"}
                book.add("entry.corrected", sent, later, now, refers="it")
    return book


def plainly(look: Look, at_least_ms: int, only: str | None) -> Rest:
    moved = sorted(
        fact.happened
        for sort in moving_sorts(look.basis)
        for fact in look.state.stream("chair:1", sort)
        if fact.happened <= look.at and fact.since <= look.known_at < fact.until and at_outlet(fact, only)
    )
    if not moved:
        return Rest(None, None)
    if look.at - moved[-1] >= at_least_ms:
        return Rest(moved[-1], None)
    rests = [Rest(one, two) for one, two in pairwise(moved) if two - one >= at_least_ms]
    return rests[-1] if rests else Rest(None, moved[0])


def at_outlet(fact: Fact, only: str | None) -> bool:
    if getattr(fact.says, "outcome", "done") != "done":
        return False
    return only is None or fact.says.outlets is None or only in fact.says.outlets


def asked(view: View, at_least_ms: int, only: str | None) -> Rest:
    return last_rest(view.look, "chair:1", moving_sorts(view.look.basis), at_least_ms, only)


@settings(max_examples=150, deadline=None)
@given(
    st.lists(EVENT, max_size=40),
    st.lists(st.tuples(st.integers(0, DAYS * 24 + 72), st.integers(-60, 400)), min_size=1, max_size=6),
    st.sampled_from([3, 8, 9, 16, 23, 24, 48, 53, 100]),
    st.sampled_from([None, "turbine", "syringe"]),
)
@example([(0, 0, "visit", None), (30, 200, "visit", None), (60, 0, "visit", None)], [(70, 0), (70, 300)], 48, None)
def test_the_last_rest_is_that_of_a_plain_walk_at_any_moment_and_by_what_was_known(
    events: list[tuple[int, int, str, tuple[str | int, int] | None]], moments: list[tuple[int, int]], hours: int, only: str | None
) -> None:
    """Late, corrected, moved and withdrawn movements among them; asked of the state while it grows, and after all has come."""
    book = written(events)
    received, whole = book.received(), ground().fold([])
    for one in received:
        whole.add(one)
    for hour, later in moments:
        at = BEGIN + hour * HOUR + HOUR // 2
        known = at + later * HOUR
        assert asked(whole.as_of(at, known), hours * HOUR, only) == plainly(whole.as_of(at, known).look, hours * HOUR, only)
        then = ground().fold([one for one in received if one.received <= known]).as_of(at, known)
        assert asked(then, hours * HOUR, only) == asked(whole.as_of(at, known), hours * HOUR, only)


@given(st.sets(st.integers(0, 60), max_size=25), st.integers(0, 70), st.integers(1, 12))
def test_the_bits_name_the_last_stretch_in_which_a_rest_may_lie(pieces: set[int], now: int, length: int) -> None:
    first = min(pieces, default=0)
    asked_of = Pieces(first, sum(1 << (piece - first) for piece in pieces))
    found = asked_of.since_rest(now * PIECE_MS, (length + 1) * PIECE_MS)
    ends = [end for end in range(first + length, now + 1) if not pieces & set(range(end - length, end))]
    assert found == max(ends, default=min(first, now)) * PIECE_MS


def test_years_without_a_rest_are_passed_over_without_reading_them() -> None:
    """A movement every hour for three weeks, and the rest before them: two looks back, not one for each two days."""
    book = written([(hour, 0, "visit", None) for hour in (0, *range(72, DAYS * 24))])
    view = book.on.fold(book.received()).as_of(BEGIN + DAYS * 24 * HOUR + 48 * HOUR - HOUR)
    looks, stream = [], view.look.state.stream("chair:1", "visit")

    class Counted(type(stream)):  # type: ignore[misc]
        def back(self, at, known_at, *, since=0):  # type: ignore[no-untyped-def]
            looks.append(at)
            return super().back(at, known_at, since=since)

    counted = Counted()
    counted.facts, counted.older = stream.facts, stream.older
    about = view.look.state.about("chair:1")
    assert about is not None
    about.streams["visit"] = counted
    rest = asked(view, 48 * HOUR, None)
    assert rest.began == BEGIN
    assert rest.ended is not None
    assert (rest.ended - BEGIN) // HOUR == 72
    assert len(looks) <= 3


def test_what_was_taken_out_or_came_late_sets_no_bit() -> None:
    visit = ground().fold(written([(0, 0, "visit", None)]).received()).state.stream("chair:1", "visit").facts[0]
    moved = Moved()
    moved.add("visit", visit._replace(since=visit.happened + 25 * HOUR))
    moved.add("visit", visit._replace(until=visit.happened + HOUR))
    assert moved.rows() == []
    moved.add("visit", visit)
    assert Moved(moved.rows()).rows() == moved.rows() != []
    moved.take_out("visit", visit)
    assert moved.rows()[0][3] == b"\0"
    assert where_moved(visit.says) is True
    assert visit.until == EVER
