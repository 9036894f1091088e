"""What stands beside the trend: plates in the model's form, what a treatment took away, a rise of all chairs."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fettlebook.errors import Mendable
from fettlebook.science.counts import least_log10_reduction
from fettlebook.science.plates import Plate
from fettlebook.science.trends import Sample
from fettlebook.science.trends.achieved import reduction_of
from fettlebook.science.trends.seen import Seen, seen_on
from fettlebook.science.trends.supply import FALSE_ALARM, common_rise


@pytest.mark.published(source="FDA BAM chapter 3: 18 and 2 colonies, all under 25, are kept as counts for inference", sure="read")
def test_counted_plates_are_summed_with_their_volumes() -> None:
    assert seen_on([Plate(18, 0.01), Plate(2, 0.001)], 2500.0, "below", 0.0) == Seen("count", 20, 0.011)


@pytest.mark.parametrize(
    ("per_ml", "mark", "volume", "kind", "colonies"),
    [(10, "below", 0.1, "below", 0), (100, "below", 0.1, "below", 9), (300, "above", 1.0, "above", 301), (120, None, 0.1, "count", 12)],
)
def test_a_report_without_colonies_is_a_count_or_a_bound_on_its_volume(
    per_ml: float, mark: str | None, volume: float, kind: str, colonies: int
) -> None:
    assert seen_on((), per_ml, mark, volume) == Seen(kind, colonies, volume)  # type: ignore[arg-type]


def test_plates_too_many_to_count_bound_from_below_or_must_go_with_the_others() -> None:
    assert seen_on([Plate(300, 1.0, too_many=True), Plate(300, 0.1, too_many=True)], 3000, "above", 0) == Seen("above", 300, 0.1)
    assert seen_on([Plate(300, 1.0, too_many=True), Plate(80, 0.1)], 800, None, 0) == Seen("count", 80, 0.1)
    assert seen_on([Plate(300, 1.0, too_many=True), Plate(3, 0.1)], 30, None, 0) is None


def test_with_many_colonies_and_no_scatter_a_reduction_is_the_quotient() -> None:
    found = reduction_of(Seen("count", 40_000, 1.0), Seen("count", 40, 1.0), 0.0)
    assert found is not None
    assert found.middle == pytest.approx(3.0, abs=0.01)
    assert found.low < 3.0 < (found.high or 0)


def test_none_found_afterwards_proves_no_more_than_the_exact_interval() -> None:
    """The lower end agrees with the two-sided exact ends within what the priors differ; without scatter between samples."""
    found = reduction_of(Seen("count", 2000, 1.0), Seen("below", 0, 1.0), 0.0)
    assert found is not None
    assert found.middle is None
    assert found.high is None
    assert found.low == pytest.approx(least_log10_reduction(Plate(2000, 1.0), Plate(0, 1.0), 0.95), abs=0.12)


def test_bounds_on_the_wrong_side_say_nothing() -> None:
    assert reduction_of(Seen("below", 3, 1.0), Seen("count", 1, 1.0), 0.3) is None
    assert reduction_of(Seen("count", 3, 1.0), Seen("above", 300, 1.0), 0.3) is None


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 3000), st.integers(0, 3000), st.floats(0.05, 0.8))
def test_more_scatter_between_samples_never_makes_a_reduction_surer(before: int, after: int, sd: float) -> None:
    narrow = reduction_of(Seen("count", before, 0.1), Seen("count", after, 0.1), sd)
    wide = reduction_of(Seen("count", before, 0.1), Seen("count", after, 0.1), sd + 0.2)
    assert narrow is not None
    assert wide is not None
    assert narrow.low <= narrow.middle <= narrow.high  # type: ignore[operator]
    assert wide.high - wide.low >= narrow.high - narrow.low  # type: ignore[operator]


def practice(seed: int, shift: float, chairs: int = 6) -> tuple[list[Sample], list[Sample]]:
    chance = np.random.default_rng(seed)
    levels = chance.normal(1.8, 0.4, chairs)

    def drawn(i: int, add: float) -> Sample:
        level = levels[i] + add + chance.normal(0, 0.35)
        return Sample(f"chair {i}", 30.0, "count", int(chance.poisson(0.1 * 10**level)), 0.1)

    earlier = [drawn(i, 0.0) for i in range(chairs) for _ in range(5)]
    return earlier, [drawn(i, shift) for i in range(chairs)]


def test_a_rise_of_all_chairs_is_told_and_none_is_not() -> None:
    rose = [common_rise(*practice(seed, 1.0)) for seed in range(4)]
    assert all(one.suspected for one in rose)
    calm = [common_rise(*practice(seed, 0.0)).p_by_chance for seed in range(10, 16)]
    assert not any(p < FALSE_ALARM for p in calm)
    assert 0.1 < float(np.mean(calm)) < 0.9


def test_one_chair_alone_is_no_common_rise() -> None:
    earlier, last = practice(30, 0.0)
    one = [Sample(last[0].chair, 30.0, "count", 2000, 0.1), *last[1:]]
    assert not common_rise(earlier, one).suspected


def test_a_fall_of_all_is_no_rise_and_bounds_are_taken() -> None:
    earlier, last = practice(31, -1.0)
    found = common_rise(earlier, [*last[:-1], Sample(last[-1].chair, 30.0, "below", 0, 0.1)])
    assert found.p_by_chance > 0.5
    assert found.higher <= 2
    over = [Sample(s.chair, 30.0, "above", 300, 0.1) for s in last]
    assert common_rise(earlier, over).suspected
    assert math.isfinite(common_rise(earlier, over).p_by_chance)


def test_two_chairs_are_too_few_to_tell() -> None:
    earlier, last = practice(32, 0.0, chairs=2)
    with pytest.raises(Mendable, match="2 chairs"):
        common_rise(earlier, last)
