"""Sampling plans, charts and censored fits against published tables and saved outputs."""

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import hypergeom

from fettlebook.errors import Mendable
from fettlebook.science import censored, charts, sampling

CHECKS = json.loads((Path(__file__).parent / "counts_checks.json").read_text(encoding="utf-8"))


def rows(*what: str) -> list[Any]:
    """Return the published rows of these kinds as parameters that carry their source."""
    return [
        pytest.param(row, marks=pytest.mark.published(source=row["source"], sure=row["sure"]), id=f"{row['what']}-{i}")
        for i, row in enumerate(CHECKS)
        if row["what"] in what
    ]


@pytest.mark.parametrize("row", rows("pass_probability"))
def test_how_often_a_bad_chair_passes(row: dict[str, Any]) -> None:
    assert sampling.pass_probability(row["limit_multiple"], row["sd_log10"]) == pytest.approx(row["expect"], abs=row["abs"])


@pytest.mark.published(source="counts.md, One result says little: normal distribution function", sure="computed")
@pytest.mark.parametrize(("m", "expect"), [(0.5, (0.842, 0.726, 0.647)), (2, (0.158, 0.274, 0.353)), (5, (0.010, 0.081, 0.191))])
def test_the_table_of_single_samples(m: float, expect: tuple[float, ...]) -> None:
    assert [sampling.pass_probability(m, s) for s in (0.3, 0.5, 0.8)] == pytest.approx(expect, abs=6e-4)


@pytest.mark.parametrize("row", rows("accept_probability"))
def test_two_class_plans(row: dict[str, Any]) -> None:
    assert sampling.accept_probability(row["n"], row["c"], row["p"]) == pytest.approx(row["expect"], rel=row.get("rel"), abs=row.get("abs"))


@given(st.integers(1, 30), st.data())
def test_few_chairs_are_hypergeometric(chairs: int, data: st.DataObject) -> None:
    n, bad = data.draw(st.integers(1, chairs)), data.draw(st.integers(0, chairs))
    c = data.draw(st.integers(0, n))
    assert sampling.accept_of_few(n, c, bad, chairs) == pytest.approx(hypergeom.cdf(c, chairs, bad, n), abs=1e-12)


@given(st.integers(1, 20), st.floats(0, 1))
def test_three_classes_with_one_empty_are_two(n: int, p: float) -> None:
    assert sampling.accept_three_class(n, 0, 0.0, p) == pytest.approx(sampling.accept_probability(n, 0, p), abs=1e-12)
    assert sampling.accept_three_class(n, n // 2, p, 0.0) == pytest.approx(sampling.accept_probability(n, n // 2, p), abs=1e-9)


@pytest.mark.parametrize("row", rows("arl_cusum_one_sided", "arl_cusum_two_sided"))
def test_cusum_run_lengths(row: dict[str, Any]) -> None:
    two = row["what"] == "arl_cusum_two_sided"
    assert [charts.cusum_run_length(row["k"], row["h"], s, two) for s in row["shift"]] == pytest.approx(row["expect"], rel=row["rel"])


@pytest.mark.parametrize("row", rows("arl_ewma_two_sided"))
def test_ewma_run_lengths(row: dict[str, Any]) -> None:
    assert [charts.ewma_run_length(row["weight"], row["limit_sd"], s) for s in row["shift"]] == pytest.approx(row["expect"], rel=row["rel"])


@pytest.mark.parametrize("row", rows("arl_shewhart"))
def test_shewhart_run_length(row: dict[str, Any]) -> None:
    assert charts.shewhart_run_length(row["limit_sd"], row["shift"]) == pytest.approx(row["expect"], rel=row["rel"])


@pytest.mark.parametrize("row", rows("negative_binomial_mle"))
def test_counts_that_scatter_beyond_chance(row: dict[str, Any]) -> None:
    mean, size = censored.negative_binomial_size(row["counts"], row["frequency"])
    assert mean == pytest.approx(row["expect"]["mean"], rel=row["rel"])
    assert size == pytest.approx(row["expect"]["size"], rel=row["rel"])
    assert censored.negative_binomial_size([5, 5, 5, 5])[1] == math.inf


@pytest.mark.parametrize("row", rows("censored_lognormal_mle"))
def test_below_detection_enters_as_a_bound(row: dict[str, Any]) -> None:
    mean, sd = censored.log_normal_with_bounds(row["observed"], row["left_below"])
    assert (mean, sd) == pytest.approx((row["expect"]["mean_ln"], row["expect"]["sd_ln"]), rel=row["rel"])


@pytest.mark.parametrize("row", rows("tobit_fitted"))
def test_regression_with_bounds(row: dict[str, Any]) -> None:
    y = np.array(row["durable"])
    fit = censored.fit_censored(y, y <= row["limit_left"], np.c_[row["age"], row["quant"]])
    assert [fit.fitted[i - 1] for i in row["rows"]] == pytest.approx(row["expect"], rel=row.get("rel", 1e-4), abs=row.get("abs", 0.0))


@pytest.mark.published(source="Wilson's interval of 8 of 10 at 95 %: 0.490 to 0.943 (statsmodels and textbooks print it)", sure="memory")
def test_wilson_interval() -> None:
    assert sampling.wilson_interval(8, 10) == pytest.approx((0.490, 0.943), abs=5e-4)
    assert sampling.wilson_interval(0, 10)[0] == 0.0
    assert sampling.wilson_interval(10, 10)[1] == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize("pooled", [1, 2, 4])
def test_a_plan_s_chances_are_those_of_drawn_samples(pooled: int) -> None:
    setting = {"chairs": 8, "limit_cfu_ml": 500.0, "bad_multiple": 3.0, "sd_log10": 0.5, "usual_log10": 1.5}
    said = sampling.plan(rounds=1, pooled=pooled, **setting)  # type: ignore[arg-type]
    rng = np.random.default_rng(20261127)
    logs = rng.normal([math.log10(1500.0), *[1.5] * (pooled - 1)], 0.5, (200_000, pooled))
    assert said.finds == pytest.approx(float(((10.0**logs).mean(axis=1) > said.bottle_limit_cfu_ml).mean()), abs=0.005)
    assert said.bottle_limit_cfu_ml * pooled == 500.0


def test_the_cheapest_plan_reaches_what_is_asked_and_none_with_fewer_bottles_does() -> None:
    setting = {"chairs": 6, "limit_cfu_ml": 500.0, "bad_multiple": 3.0, "sd_log10": 0.5, "usual_log10": 1.0}
    best = sampling.cheapest_plan(power=0.95, **setting)  # type: ignore[arg-type]
    assert best.finds >= 0.95
    for pooled in range(1, 7):
        for rounds in range(1, 12):
            other = sampling.plan(rounds=rounds, pooled=pooled, **setting)  # type: ignore[arg-type]
            assert other.finds < 0.95 or other.bottles >= best.bottles
    with pytest.raises(Mendable, match="no plan"):
        sampling.cheapest_plan(power=0.95, most_false=0.0, **{**setting, "usual_log10": 2.6})  # type: ignore[arg-type]


def test_a_chart_finds_the_reading_beyond_and_the_slow_drift() -> None:
    rng = np.random.default_rng(7)
    steady = list(rng.normal(10.0, 0.5, 30))
    assert charts.chart([*steady, 13.0], first=30).beyond == (30,)
    drift = charts.chart([*steady, *(10.0 + 0.1 * i for i in range(20))], first=30)
    assert drift.drifted
    assert drift.drifted[0] > 30
    with pytest.raises(Mendable, match="stuck"):
        charts.chart([2.0] * 10)


@pytest.mark.parametrize(
    "call",
    [
        lambda: sampling.pass_probability(0, 0.5),
        lambda: sampling.pass_probability(2, math.nan),
        lambda: sampling.accept_probability(0, 0, 0.1),
        lambda: sampling.accept_probability(3, 4, 0.1),
        lambda: sampling.accept_of_few(4, 0, 1, 3),
        lambda: sampling.accept_three_class(3, 0, 0.7, 0.6),
        lambda: sampling.wilson_interval(3, 0),
        lambda: sampling.share_above(0, 2, 0.5),
        lambda: sampling.plan(rounds=0, pooled=1, chairs=3, limit_cfu_ml=500, bad_multiple=3, sd_log10=0.5, usual_log10=1),
        lambda: sampling.cheapest_plan(power=1.0, chairs=3, limit_cfu_ml=500, bad_multiple=3, sd_log10=0.5, usual_log10=1),
        lambda: charts.chart([1.0, 2.0]),
        lambda: charts.chart([1.0, 2.0, math.nan, 1.0, 2.0]),
        lambda: censored.log_normal_with_bounds([3.0], [1.0, 2.0]),
        lambda: censored.log_normal_with_bounds([3.0, 4.0, 0.0], []),
        lambda: censored.negative_binomial_size([]),
    ],
)
def test_what_can_t_be_is_named(call: Any) -> None:
    with pytest.raises(Mendable) as caught:
        call()
    assert caught.value.where
    assert caught.value.mend
