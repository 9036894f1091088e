"""Counts against the worked examples of the methods' own texts, and what must hold for any count."""

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import poisson

from fettlebook.errors import Mendable
from fettlebook.science import counts

CHECKS = json.loads((Path(__file__).parent / "counts_checks.json").read_text(encoding="utf-8"))


def rows(*what: str) -> list[Any]:
    """Return the published rows of these kinds as parameters that carry their source."""
    return [
        pytest.param(row, marks=pytest.mark.published(source=row["source"], sure=row["sure"]), id=f"{row['what']}-{i}")
        for i, row in enumerate(CHECKS)
        if row["what"] in what
    ]


@pytest.mark.parametrize("row", rows("weighted_mean"))
def test_weighted_mean_is_the_manual_s(row: dict[str, Any]) -> None:
    assert counts.weighted_mean_cfu_per_ml(row["plates"], row.get("volume_ml", 1)) == pytest.approx(row["expect"], rel=row["rel"])
    if "reported" in row:
        assert float(counts.reported(row["plates"], (25, 250))) == row["reported"]


@pytest.mark.parametrize("row", rows("round_two_digits"))
def test_two_digits_half_to_even(row: dict[str, Any]) -> None:
    assert [counts.round_two_digits(value) for value in row["inputs"]] == row["expect"]


@pytest.mark.parametrize("row", rows("below_range"))
def test_plates_under_the_range_are_reported_as_less_than(row: dict[str, Any]) -> None:
    assert counts.reported(row["plates"], tuple(row["countable"])) == row["expect"]
    with pytest.raises(Mendable, match="<2500"):
        counts.weighted_mean_cfu_per_ml(row["plates"], countable=tuple(row["countable"]))


@pytest.mark.parametrize("row", rows("plates_ml", "plates_ml_tntc"))
def test_plates_of_unlike_volume_and_too_many_to_count(row: dict[str, Any]) -> None:
    plates = [counts.Plate(c, v) for c, v in zip(row["counts"], row["volumes_ml"], strict=True)]
    plates += [counts.Plate(at, v, too_many=True) for at, v in zip(row.get("tntc_at", ()), row.get("tntc_volumes_ml", ()), strict=True)]
    assert counts.most_likely_cfu_per_ml(plates) == pytest.approx(row["expect"], rel=row.get("rel"), abs=row.get("abs"))
    if "computed_P_ge_limit" in row:
        assert counts.most_likely_cfu_per_ml(plates) == pytest.approx(row["computed_P_ge_limit"], rel=1e-5)


@pytest.mark.parametrize("row", rows("garwood95", "garwood"))
def test_exact_interval(row: dict[str, Any]) -> None:
    assert counts.poisson_interval(row["k"], row["confidence"]) == pytest.approx(tuple(row["expect"]), rel=row["rel"], abs=1e-12)


@pytest.mark.parametrize("row", rows("mpn", "mpn_per_100ml"))
def test_most_probable_number(row: dict[str, Any]) -> None:
    found = counts.mpn(row["tubes"], row["volumes"], row["positive"])
    scale = 100.0 if row["what"] == "mpn_per_100ml" else 1.0
    assert float(found) * scale == pytest.approx(row["expect"], rel=row["rel"])
    if "interval_likelihood_ratio_95" in row:
        assert (found.low, found.high) == pytest.approx(tuple(row["interval_likelihood_ratio_95"]), rel=row["rel"], abs=row["abs"])
    if "log10_se" in row:
        assert found.log10_se == pytest.approx(row["log10_se"], abs=5e-5)
        assert found.rarity == pytest.approx(row["rarity"], abs=5e-5)
        ends = [found.estimate * 10 ** (sign * 1.959964 * found.log10_se) for sign in (-1, 1)]
        assert ends == pytest.approx(row["interval_log_se_95"], rel=1e-3)
        assert found.trustworthy


@pytest.mark.parametrize("row", rows("log10_reduction"))
def test_log10_reduction(row: dict[str, Any]) -> None:
    assert counts.log10_reduction(row["before"], row["after"]) == pytest.approx(row["expect"], rel=row["rel"])


@pytest.mark.parametrize("row", rows("expanded_uncertainty_log10"))
def test_a_laboratory_s_expanded_uncertainty(row: dict[str, Any]) -> None:
    found = counts.expanded_uncertainty_log10(row["colonies"], row["sd_reproducibility"])
    assert found == pytest.approx(row["expect"], abs=row["abs"])
    assert found == pytest.approx(row["computed"], abs=5e-5)


@given(st.integers(0, 3000), st.floats(0.5, 0.99))
def test_the_interval_holds_the_mean_that_it_says(count: int, level: float) -> None:
    low, high = counts.poisson_interval(count, level)
    assert poisson.cdf(count, high) == pytest.approx((1 - level) / 2, rel=1e-6)
    if count:
        assert poisson.sf(count - 1, low) == pytest.approx((1 - level) / 2, rel=1e-6)


@given(st.lists(st.tuples(st.integers(0, 500), st.sampled_from([0.01, 0.1, 1.0, 5.0])), min_size=1, max_size=8))
def test_the_weighted_mean_lies_between_its_plates(plates: list[tuple[int, float]]) -> None:
    each = [c / v for c, v in plates]
    assert min(each) - 1e-9 <= counts.weighted_mean_cfu_per_ml(plates) <= max(each) * (1 + 1e-12) + 1e-9


@given(
    st.lists(st.tuples(st.integers(0, 200), st.sampled_from([0.1, 1.0])), min_size=1, max_size=5),
    st.integers(1, 400),
    st.sampled_from([0.1, 1.0, 10.0]),
)
def test_a_plate_too_many_to_count_never_lowers_the_result(plates: list[tuple[int, float]], at: int, volume_ml: float) -> None:
    known = [counts.Plate(*p) for p in plates]
    without = counts.most_likely_cfu_per_ml(known)
    found = counts.most_likely_cfu_per_ml([*known, counts.Plate(at, volume_ml, too_many=True)])
    assert math.isfinite(found)
    assert found >= without * (1 - 1e-6)


@given(st.integers(1, 9), st.integers(1, 9), st.data())
def test_the_mpn_lies_within_its_interval(first: int, second: int, data: st.DataObject) -> None:
    g = (data.draw(st.integers(0, first)), data.draw(st.integers(0, second)))
    found = counts.mpn((first, second), (1.0, 0.1), g)
    assert found.low <= found.estimate <= found.high
    assert 0.0 < found.rarity <= 1.0 + 1e-9


def test_none_seen_is_no_zero_and_all_turned_is_only_a_bound() -> None:
    assert counts.poisson_interval(0)[1] / 0.1 == pytest.approx(36.9, abs=0.05)  # counts.md: none in 0.1 mL allows 36.9 CFU/mL
    assert counts.mpn([3], [1.0], [0]).high > 0.0
    every = counts.mpn([3], [1.0], [3])
    assert every.estimate == every.high == math.inf
    assert every.low > 0.0


def test_plates_that_lie_too_far_apart_ask_for_a_look() -> None:
    assert counts.duplicates_agree([100, 104]) > 0.5
    assert counts.duplicates_agree([20, 90]) < 1e-3
    assert counts.duplicates_agree([7]) == counts.duplicates_agree([0, 0]) == 1.0


def test_a_reduction_from_none_found_is_only_what_it_proves() -> None:
    proven = counts.least_log10_reduction(counts.Plate(120, 0.001), counts.Plate(0, 1.0))
    assert 4.0 < proven < 5.1
    assert counts.least_log10_reduction(counts.Plate(0, 1.0), counts.Plate(0, 1.0)) == -math.inf
    assert counts.most_in_one_of_a_pool(150.0, 5) == 750.0


@pytest.mark.parametrize(
    "call",
    [
        lambda: counts.weighted_mean_cfu_per_ml({}),
        lambda: counts.weighted_mean_cfu_per_ml({"1:100": [3]}),
        lambda: counts.weighted_mean_cfu_per_ml({0.01: [-1]}),
        lambda: counts.weighted_mean_cfu_per_ml([(3, 0.0)]),
        lambda: counts.weighted_mean_cfu_per_ml([(3, math.nan)]),
        lambda: counts.weighted_mean_cfu_per_ml([counts.Plate(300, 0.1, too_many=True)]),
        lambda: counts.poisson_interval(-1),
        lambda: counts.poisson_interval([1, 2.5]),
        lambda: counts.poisson_interval(3, 1.0),
        lambda: counts.mpn([3, 3], [0.1], [1, 1]),
        lambda: counts.mpn([3], [0.1], [4]),
        lambda: counts.mpn([3], [-0.1], [1]),
        lambda: counts.mpn([], [], []),
        lambda: counts.log10_reduction(100, 0),
        lambda: counts.geometric_mean([10.0, 0.0]),
        lambda: counts.most_in_one_of_a_pool(100.0, 0),
        lambda: counts.expanded_uncertainty_log10(0, 0.15),
    ],
)
def test_what_can_t_be_is_named(call: Any) -> None:
    with pytest.raises(Mendable) as caught:
        call()
    assert caught.value.where
    assert caught.value.mend


def test_arrays_in_arrays_out() -> None:
    low, high = counts.poisson_interval(np.array([[0, 1], [5, 10]]))
    assert low.shape == high.shape == (2, 2)
    assert counts.log10_reduction([100.0, 1000.0], 1.0).tolist() == pytest.approx([2.0, 3.0])
