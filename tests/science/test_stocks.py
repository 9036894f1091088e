"""How long a stock lasts: known quantiles, and intervals that hold as often as they say."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fettlebook.errors import Mendable
from fettlebook.science.stocks import amount_lasts, packages_last


@pytest.mark.published(source="tables of the F distribution: upper 5 % point of F(4, 10) = 3.48", sure="memory")
def test_the_late_end_by_packages_is_the_tables_quantile() -> None:
    late = packages_last(opened=5, in_days=100.0, closed=1, level=0.9).latest_days
    assert late == pytest.approx(100.0 * 2 / 5 * 3.48, rel=0.002)


@pytest.mark.published(source="tables of Student's t: upper 2.5 % point with 9 degrees of freedom = 2.262", sure="memory")
def test_the_early_end_by_amount_solves_the_equation_with_the_tables_quantile() -> None:
    weeks = [8.0, 12.0] * 5
    early_weeks = amount_lasts(weeks, 60.0, level=0.95).earliest_days / 7
    sd = float(np.std(weeks, ddof=1))
    assert early_weeks * 10 + 2.262 * sd * np.sqrt(early_weeks + early_weeks**2 / 10) == pytest.approx(60.0, rel=1e-3)


@pytest.mark.parametrize(("rate", "closed"), [(1 / 20, 0), (1 / 5, 4)])
def test_the_interval_by_packages_holds_nine_times_in_ten(rate: float, closed: int) -> None:
    rng, held, tries, opened = np.random.default_rng(7), 0, 2000, 6
    for _ in range(tries):
        span = float(rng.exponential(1 / rate, opened).sum())
        out = float(rng.exponential(1 / rate, closed + 1).sum())
        told = packages_last(opened, span, closed)
        held += told.earliest_days <= out <= (told.latest_days or np.inf)
    assert held / tries == pytest.approx(0.9, abs=0.025)


def test_the_interval_by_amount_holds_nine_times_in_ten() -> None:
    rng, held, tries = np.random.default_rng(8), 0, 1500
    for _ in range(tries):
        weeks = rng.normal(10.0, 2.0, 8).clip(0.0)
        used = rng.normal(10.0, 2.0, 60).clip(0.0).cumsum()
        out = float(np.interp(75.0, used, np.arange(1, 61))) * 7
        told = amount_lasts(weeks.tolist(), 75.0)
        held += told.earliest_days <= out <= (told.latest_days or np.inf)
    assert 0.87 <= held / tries <= 0.96


@given(st.integers(2, 50), st.floats(1, 1000), st.integers(0, 50))
def test_more_packages_last_longer_and_the_interval_holds_its_middle(opened: int, days: float, closed: int) -> None:
    one, more = packages_last(opened, days, closed), packages_last(opened, days, closed + 1)
    assert 0 < one.earliest_days < one.middle_days < (one.latest_days or np.inf)
    assert more.earliest_days > one.earliest_days


@given(st.lists(st.floats(0.1, 100), min_size=4, max_size=30), st.floats(0, 1000))
def test_amounts_do_not_depend_on_their_unit(weeks: list[float], left: float) -> None:
    one, thousand = amount_lasts(weeks, left), amount_lasts([w * 1000 for w in weeks], left * 1000)
    assert one.earliest_days == pytest.approx(thousand.earliest_days, rel=1e-6, abs=1e-9)
    assert one.earliest_days <= one.middle_days * (1 + 1e-9)
    assert one.latest_days is None or one.latest_days >= one.middle_days * (1 - 1e-9)


def test_the_same_use_each_week_has_no_interval() -> None:
    told = amount_lasts([5.0] * 6, 20.0)
    assert [told.earliest_days, told.middle_days, told.latest_days] == pytest.approx([28.0] * 3)


def test_nothing_left_is_over_now_and_wild_use_has_no_late_end() -> None:
    assert amount_lasts([1.0, 2.0, 3.0, 2.0], 0.0).latest_days == 0.0
    assert amount_lasts([0.0, 0.0, 0.0, 40.0], 50.0).latest_days is None


@pytest.mark.parametrize("opened", [(1, 10.0, 1), (3, 0.0, 1), (3, float("nan"), 1), (3, 10.0, -1)])
def test_too_little_to_go_by_is_refused(opened: tuple[int, float, int]) -> None:
    with pytest.raises(Mendable, match="stock"):
        packages_last(*opened)


@pytest.mark.parametrize(("weeks", "left"), [([1.0] * 3, 1.0), ([0.0] * 5, 1.0), ([1.0] * 5, -1.0), ([1.0, float("nan")] * 4, 1.0)])
def test_amounts_that_can_not_be_are_refused(weeks: list[float], left: float) -> None:
    with pytest.raises(Mendable):
        amount_lasts(weeks, left)
