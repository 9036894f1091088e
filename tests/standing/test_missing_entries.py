"""A device's counter has no gaps: what is missing shows, as it was known at each moment."""

from hypothesis import given, settings
from hypothesis import strategies as st
from small_book import Book

from fettlebook.standing.gaps import Counter


def received_in(order: list[int]) -> Counter:
    book = Book()
    for _ in order:
        book.write('2026-03-09 08:00 ana duty.skipped {duty="x", reason="y"}')
    entries, counter = book.received(), Counter()
    for one, n in zip(entries, order, strict=True):
        counter.add(_numbered(one, n), ())
    return counter


def _numbered(one, n):  # type: ignore[no-untyped-def]
    from dataclasses import replace

    return replace(one, entry=one.entry.model_copy(update={"n": n}))


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(1, 40), min_size=1, max_size=30, unique=True), st.data())
def test_what_is_missing_is_every_number_below_the_highest_that_had_come_and_not_itself_come(order: list[int], data: st.DataObject) -> None:
    """Against the definition, for each moment of receipt."""
    counter = received_in(order)
    come = data.draw(st.integers(1, len(order)))
    known_at = sorted(fact.since for fact in counter.numbers)[come - 1]
    expected = set(range(1, max(order[:come]))) - set(order[:come])
    found = list(counter.missing("t", known_at))
    assert {n for hole in found for n in range(hole.first, hole.last + 1)} == expected
    assert sum(hole.last - hole.first + 1 for hole in found) == len(expected)


def test_parts_of_closed_holes_answer_for_the_past_as_for_now() -> None:
    order = [n for pair in range(0, 1400, 2) for n in (pair + 2, pair + 1)]  # each pair came swapped: 700 holes, all closed
    counter = received_in(order)
    times = sorted(fact.since for fact in counter.numbers)
    for place in (0, 1, 2, 500, 513, 1000, 1398):
        assert len(list(counter.missing("t", times[place]))) == (place + 1) % 2
    assert not list(counter.missing("t", times[-1]))
