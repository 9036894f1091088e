"""Days under overruns: the law they are drawn from, what is counted, and bad input."""

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from fettlebook.errors import Mendable
from fettlebook.plan.instance import Instance, read_instance
from fettlebook.plan.overruns import Overruns, draw_minutes, fit_overruns
from fettlebook.plan.stress import quantile, stress

INSTANCES = Path(__file__).with_name("instances")


def _day(name: str) -> Instance:
    return read_instance((INSTANCES / f"{name}.json").read_text(), name)


@pytest.mark.published(source="scipy.stats.lognorm, mean and standard deviation of the law with s and scale", sure="read")
def test_the_law_has_the_mean_and_the_spread_that_it_is_said_to_have() -> None:
    cv, mean = 0.25, 1.1
    s = math.sqrt(math.log1p(cv**2))
    law = stats.lognorm(s, scale=math.exp(math.log(mean) - s**2 / 2))
    assert law.mean() == pytest.approx(mean)
    assert law.std() / law.mean() == pytest.approx(cv)
    day = _day("small-1").model_copy(update={"visits": tuple(v.model_copy(update={"minutes": 1000}) for v in _day("small-1").visits)})
    drawn = np.array([m / 1000 for d in draw_minutes(day, Overruns(cv, mean), 120, 5) for m in d.values()])
    assert stats.kstest(drawn, law.cdf).pvalue > 0.001


@pytest.mark.published(source="scipy.stats.lognorm.fit with the location fixed at 0", sure="read")
def test_the_fit_is_that_of_another_library() -> None:
    ratio = np.exp(np.random.default_rng(4).normal(0.05, 0.3, 200))
    text = "booked,actual\n" + "\n".join(f"40,{40 * r:.6f}" for r in ratio)
    found = fit_overruns(text)
    s, _, scale = stats.lognorm.fit(ratio, floc=0)
    s *= math.sqrt(200 / 199)  # theirs divides by n
    assert found.visits == 200
    assert found.cv == pytest.approx(math.sqrt(math.expm1(s**2)), rel=1e-4)
    assert found.mean == pytest.approx(scale * math.exp(s**2 / 2), rel=1e-4)


@pytest.mark.invented
def test_semicolons_decimal_commas_and_a_byte_order_mark_are_read() -> None:
    text = "\ufeffBooked;Actual\r\n" + "30;33,5\r\n20;18\r\n" * 12
    assert fit_overruns(text).visits == 24


@pytest.mark.invented
def test_every_row_that_cannot_be_read_is_named_with_its_line() -> None:
    with pytest.raises(Mendable) as seen:
        fit_overruns("booked,actual\n30,31\n30,\n-5,30\n30,soon\n", "visits.csv")
    assert [f.where for f in seen.value.findings] == [f"visits.csv, line {n}" for n in (3, 4, 5)]


@pytest.mark.invented
@pytest.mark.parametrize(
    ("text", "what"), [("", "no column 'booked'"), ("a,b\n1,2\n", "no column"), ("booked,actual\n30,31\n", "1 visits")]
)
def test_a_table_that_says_too_little_is_refused_with_the_way_to_mend_it(text: str, what: str) -> None:
    with pytest.raises(Mendable) as seen:
        fit_overruns(text)
    assert what in seen.value.what
    assert seen.value.mend


@pytest.mark.invented
def test_the_same_seed_gives_the_same_days_however_many_follow() -> None:
    day = _day("small-1")
    assert draw_minutes(day, Overruns(), 3, 9) == draw_minutes(day, Overruns(), 8, 9)[:3]
    assert stress(day, Overruns(), samples=6, seed=2) == stress(day, Overruns(), samples=6, seed=2)


@pytest.mark.invented
def test_without_spread_every_sample_is_the_day_as_booked() -> None:
    found = stress(_day("small-1"), Overruns(cv=0.0), samples=3)
    assert found.mean == found.late_90 == found.as_booked
    assert all(p in {0.0, 1.0} for v in found.visits for p in v.more_than.values())


@pytest.mark.invented
def test_chances_fall_with_the_limit_and_a_wider_spread_is_worse() -> None:
    day = _day("small-1")
    narrow, wide = (stress(day, Overruns(cv=cv), samples=20) for cv in (0.1, 0.5))
    for v in wide.visits:
        assert v.more_than[5] >= v.more_than[10] >= v.more_than[15] >= v.never >= 0
    assert narrow.mean < wide.mean
    assert narrow.on_time > wide.on_time


@pytest.mark.invented
def test_slack_that_is_named_saves_more_than_chance() -> None:
    found = stress(_day("small-1"), Overruns(), samples=40)
    assert found.slack
    assert all(s.saves > s.error >= 0 for s in found.slack)


@pytest.mark.invented
def test_ending_early_gives_what_is_there() -> None:
    found = stress(_day("small-1"), Overruns(), samples=50, told=lambda done, _: done < 5)
    assert found.samples == 5


@pytest.mark.invented
def test_a_day_without_visits_or_people_gives_an_answer() -> None:
    day = _day("tiny-1")
    assert stress(day.model_copy(update={"visits": ()}), Overruns(), samples=2).on_time == 1.0
    nobody = stress(day.model_copy(update={"people": ()}), Overruns(), samples=2)
    assert nobody.never == len(day.visits)


@settings(max_examples=30)
@given(st.lists(st.integers(0, 50), min_size=1), st.floats(0.05, 1.0))
def test_a_quantile_is_the_smallest_value_that_covers_its_share(values: list[int], share: float) -> None:
    ordered = sorted(values)
    q = quantile(ordered, share)
    assert sum(v <= q for v in ordered) >= share * len(ordered) - 1e-9
    assert sum(v < q for v in ordered) < share * len(ordered) + 1e-9
