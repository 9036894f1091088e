"""The invented days: the same seed gives the same bytes, whoever works by the book is fit every morning, each habit spoils that."""

import itertools
from datetime import date, timedelta

import pytest
from small_book import ground, moment

from fettlebook.book.received import Received, unseal
from fettlebook.demo.life import Habits, Life
from fettlebook.standing.model import Verdict

pytestmark = pytest.mark.invented
FIRST = date(2026, 3, 2)


def live(days: int, habits: Habits | None = None, seed: int = 1) -> list[Received]:
    on = ground()
    return list(Life(on.practice, on.rulebook, on.times, seed=seed, habits=habits or Habits(visits_a_day=3)).days(FIRST, days))


def test_the_same_seed_gives_the_same_bytes_and_another_seed_others() -> None:
    assert [one.leaf for one in live(2)] == [one.leaf for one in live(2)]
    assert [one.leaf for one in live(2)] != [one.leaf for one in live(2, seed=2)]


def test_sealed_bytes_read_back_and_receipts_rise_without_gaps() -> None:
    entries = live(2, Habits(comes_late=0.3, mends=0.2, visits_a_day=3))
    assert [unseal(one.leaf) for one in entries] == entries
    assert [one.seq for one in entries] == list(range(1, len(entries) + 1))
    assert all(one.received < two.received for one, two in itertools.pairwise(entries))


def test_whoever_works_by_the_book_is_fit_at_opening_on_every_working_day() -> None:
    standings = ground().fold(live(30))
    first_result = FIRST + timedelta(days=7)  # until then no water count is in the book
    for number in range(30):
        day = FIRST + timedelta(days=number)
        if day.weekday() >= 5:
            continue
        view = standings.as_of(moment(f"{day} 08:29"))
        standing = view.standing("practice:all")
        expected = Verdict.FIT if day >= first_result else Verdict.UNPROVEN
        assert standing.verdict is expected, (day, [(c.what, c.why) for c in standing.failing])
        assert all(view.standing(f"unit:exam#{n}").verdict is Verdict.FIT for n in (1, 2) if number)


@pytest.mark.parametrize(
    ("habits", "verdicts"),
    [
        (Habits(forgets=0.2, visits_a_day=3), {Verdict.UNPROVEN, Verdict.UNFIT}),
        (Habits(cuts_short=1.0, visits_a_day=3), {Verdict.UNFIT}),
        (Habits(comes_late=1.0, visits_a_day=3), {Verdict.UNPROVEN}),
        (Habits(high_count=1.0, visits_a_day=3), {Verdict.UNPROVEN, Verdict.UNFIT}),
    ],
)
def test_each_habit_spoils_the_morning(habits: Habits, verdicts: set[Verdict]) -> None:
    standings = ground().fold(live(9, habits))
    assert standings.as_of(moment("2026-03-10 08:29")).standing("chair:1").verdict in verdicts


def test_failing_cycles_put_loads_aside() -> None:
    standings = ground().fold(live(4, Habits(fails=1.0, visits_a_day=3)))
    view = standings.as_of(moment("2026-03-05 20:00"))
    assert not any(view.standing(f"unit:exam#{n}").verdict is Verdict.FIT for n in (1, 2))
