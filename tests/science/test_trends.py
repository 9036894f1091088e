"""The practice's model against full sampling by another method, and what must hold whatever the results."""

import csv
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm, poisson

from fettlebook.errors import Mendable
from fettlebook.science.trends import PRIORS, Sample, chairs, fit_practice, odd_results, turns_of_level
from fettlebook.science.trends.chairs import Look, Moments, moments
from fettlebook.science.trends.likelihood import ETA, LOG_S, tables
from fettlebook.science.trends.practice import data_of

HERE = Path(__file__).parent
KNOWN = json.loads((HERE / "counts_practice_7.json").read_text(encoding="utf-8"))
DAYS = {c["chair"]: c["days_since_intensive_today"] for c in KNOWN["chairs"]}
LIMIT = KNOWN["limit_cfu_ml"]


def practice_7() -> list[Sample]:
    with (HERE / "counts_practice_7.csv").open(encoding="utf-8") as file:
        return [
            Sample(r["chair"], float(r["days_since_intensive"]), r["kind"], int(r["colonies"]), float(r["volume_ml"]))  # type: ignore[arg-type]
            for r in csv.DictReader(file)
        ]


@pytest.fixture(scope="module")
def trend() -> Any:
    return fit_practice(practice_7(), list(DAYS))


@pytest.mark.published(
    source="NUTS (numpyro 0.22, 4 chains) on the same model and results: counts-practice-7.json, reference", sure="computed"
)
@pytest.mark.parametrize("row", KNOWN["reference"]["chairs"], ids=lambda row: row["chair"])
def test_each_chair_as_full_sampling_has_it(trend: Any, row: dict[str, Any]) -> None:
    chair, days = trend.of(row["chair"]), DAYS[row["chair"]]
    mean, sd = chair.level(days)
    assert chair.p_above(LIMIT, days) == pytest.approx(row["p_mean_over"], abs=0.01)
    assert chair.p_next_above(LIMIT, days) == pytest.approx(row["p_next_over"], abs=0.01)
    assert mean == pytest.approx(row["mean"], abs=0.04 * row["sd"])
    assert sd == pytest.approx(row["sd"], rel=0.06)
    shares = [float(q) for q in row["quantiles"]]
    assert chair.quantiles(days, shares) == pytest.approx(list(row["quantiles"].values()), abs=0.15 * row["sd"])
    until = chair.days_until(LIMIT, days)
    if row["days_to_10pct"] is None:
        assert until is None
    else:
        assert until == pytest.approx(row["days_to_10pct"], abs=max(3.0, 0.1 * row["days_to_10pct"]))
    assert chair.value_of_a_sample(LIMIT, days) == pytest.approx(row["value_of_one_sample"], abs=0.01)


@pytest.mark.published(source="NUTS (numpyro 0.22, 4 chains): counts-practice-7.json, reference.hyper", sure="computed")
@pytest.mark.parametrize(("ours", "theirs"), [("mu", "mu"), ("beta", "beta"), ("s_a", "sa"), ("s_b", "sb"), ("s", "s")])
def test_what_the_chairs_share_as_full_sampling_has_it(trend: Any, ours: str, theirs: str) -> None:
    row = KNOWN["reference"]["hyper"][theirs]
    mean, sd = trend.shared[ours]
    assert mean == pytest.approx(row["mean"], abs=0.15 * row["sd"])
    assert sd == pytest.approx(row["sd"], rel=0.15)
    assert trend.effective > 50


@pytest.mark.published(source="scipy: Poisson probabilities integrated over a normal by adaptive quadrature", sure="computed")
@pytest.mark.parametrize(
    ("result", "at"),
    [
        (("count", 0, 0.1), 1.0),
        (("count", 134, 1.0), 2.2),
        (("count", 3, 0.01), 3.0),
        (("below", 24, 0.01), 3.5),
        (("above", 300, 0.1), 3.2),
    ],
)
def test_the_table_is_the_integral(result: tuple[Any, int, float], at: float) -> None:
    kind, colonies, volume = result
    table = tables([result])[0]
    row = int(np.argmin(np.abs(ETA - at)))
    for column in (1, 6, 11):
        s = math.exp(LOG_S[column])

        def density(u: float, s: float = s) -> float:
            mean = volume * 10.0**u
            p = {"count": poisson.pmf(colonies, mean), "below": poisson.cdf(colonies, mean), "above": poisson.sf(colonies - 1, mean)}[kind]
            return float(p * norm.pdf(u, ETA[row], s))

        expected = sum(quad(density, ETA[row] + a * s, ETA[row] + (a + 1) * s, limit=200)[0] for a in range(-8, 8))
        assert table[row, column] == pytest.approx(math.log(expected), abs=1e-5)


result = st.one_of(
    st.tuples(st.just("count"), st.integers(0, 400), st.sampled_from([0.01, 0.1, 1.0])),
    st.tuples(st.just("below"), st.integers(0, 24), st.sampled_from([0.01, 0.1])),
    st.tuples(st.just("above"), st.integers(1, 300), st.sampled_from([0.1, 1.0])),
)


@given(result)
@settings(max_examples=20)
def test_a_result_s_likelihood_has_one_top(one: tuple[Any, int, float]) -> None:
    table = tables([one])[0]
    assert np.isfinite(table).all()
    table = table[(ETA > -5.0) & (ETA < 7.5)]  # at the ends of the grid the cells are cut
    bend = np.diff(table, n=2, axis=0)
    assert (bend <= 1e-6 * np.maximum(1.0, np.abs(table[1:-1]))).all()


@given(st.lists(st.tuples(st.sampled_from(["A", "B", "C"]), st.integers(0, 60), result), max_size=8), st.randoms(use_true_random=False))
@settings(max_examples=5)
def test_order_doesn_t_matter_and_every_answer_can_be_given(rows: list[Any], shuffle: Any) -> None:
    samples = [Sample(chair, float(days), *one) for chair, days, one in rows]
    first = fit_practice(samples, ["A", "B", "C"], points=128)
    shuffle.shuffle(samples)
    second = fit_practice(samples, ["A", "B", "C"], points=128)
    for chair in "ABC":
        one = first.of(chair)
        assert one.p_above(500, 10) == second.of(chair).p_above(500, 10)
        assert 0.0 <= one.p_above(500, 10) <= 1.0
        assert np.all(np.diff(one.quantiles(10, [0.025, 0.25, 0.5, 0.75, 0.975])) > 0)
        assert one.samples == sum(s.chair == chair for s in samples)
        assert one.value_of_a_sample(500, 10) >= 0.0


@pytest.mark.published(source="scipy: Poisson-log-normal by adaptive quadrature, summed on a fine grid of level and rise", sure="computed")
def test_a_chair_s_sums_are_the_integral_over_its_level_and_rise() -> None:
    samples = [Sample("A", 2, "count", 6, 0.1), Sample("A", 25, "count", 31, 0.1), Sample("A", 9, "below", 24, 0.01)]
    mu, beta, sa, sb, s = 2.1, 0.2, 0.5, 0.15, 0.35
    hyper = np.log([[1.0, 1.0, sa, sb, s]])
    hyper[0, :2] = mu, beta
    found = moments(data_of(samples, {"A": 0}), hyper)
    a, b = np.meshgrid(np.linspace(mu - 3.0, mu + 3.0, 241), np.linspace(beta - 0.9, beta + 0.9, 121), indexing="ij")
    log = norm.logpdf(a, mu, sa) + norm.logpdf(b, beta, sb)
    u, weight = np.polynomial.hermite_e.hermegauss(60)
    for one in samples:
        mean = one.volume_ml * 10.0 ** ((a + b * math.log1p(one.days_since_intensive / 7.0))[..., None] + s * u)
        p = poisson.cdf(one.colonies, mean) if one.kind == "below" else poisson.pmf(one.colonies, mean)
        log += np.log(p @ weight / weight.sum())
    share = np.exp(log)
    cell = (a[1, 0] - a[0, 0]) * (b[0, 1] - b[0, 0])
    assert found.log_evidence[0, 0] == pytest.approx(math.log(share.sum() * cell), abs=0.005)
    share /= share.sum()
    middle_a, middle_b = (share * a).sum(), (share * b).sum()
    assert found.a[0, 0] == pytest.approx(middle_a, abs=0.005)
    assert found.b[0, 0] == pytest.approx(middle_b, abs=0.002)
    assert found.var_a[0, 0] == pytest.approx((share * (a - middle_a) ** 2).sum(), rel=0.02)
    assert found.var_b[0, 0] == pytest.approx((share * (b - middle_b) ** 2).sum(), rel=0.02)
    assert found.cov[0, 0] == pytest.approx((share * (a - middle_a) * (b - middle_b)).sum(), abs=0.001)


def test_points_taken_in_parts_and_a_first_look_give_what_all_at_once_give(trend: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    data = data_of(practice_7(), {chair: i for i, chair in enumerate(DAYS)})
    hyper = trend.hyper[:40]
    whole = moments(data, hyper)
    some = np.array([0, 3, 17, 39])
    looked = Look(data, hyper).moments(some)
    monkeypatch.setattr(chairs, "AT_A_TIME", 7 * data.table.shape[0] * ETA.size)
    monkeypatch.setattr(chairs, "MOST_KEPT", 0)
    parts, apart = moments(data, hyper), Look(data, hyper).moments(some)
    for name in Moments.__slots__:
        one = getattr(whole, name)
        assert getattr(parts, name) == pytest.approx(one, abs=2e-3), name  # modes are looked for from the middle of a part
        assert getattr(looked, name) == pytest.approx(one[some], abs=1e-6), name
        assert getattr(apart, name) == pytest.approx(one[some], abs=2e-3), name


@pytest.mark.published(source="scipy: the mixture's distribution function", sure="computed")
def test_a_quantile_of_a_mixture_holds_its_share(trend: Any) -> None:
    shares = np.array([0.0005, 0.025, 0.5, 0.975, 0.9995])
    for name, days in DAYS.items():
        chair = trend.of(name)
        found = chair.quantiles(days, shares)
        assert [chair.share_below(float(q), days) for q in found] == pytest.approx(shares, abs=1e-6)


def test_a_worse_result_never_makes_a_chair_look_better() -> None:
    others = [Sample("B", 10, "count", 20, 1.0), Sample("B", 20, "count", 60, 1.0)]
    levels = [fit_practice([*others, Sample("A", 10, "count", c, 0.1)], ["A", "B"]).of("A").level(10)[0] for c in (0, 3, 30, 250)]
    assert levels == sorted(levels)


def test_one_good_sample_says_little_and_none_says_nothing() -> None:
    trend = fit_practice([Sample("A", 10, "count", 4, 0.1)], ["A", "B"])
    low, _, high = trend.of("A").quantiles(10)
    assert high - low > 0.8  # a tenfold range and more: one sample says little
    assert trend.of("B").samples == 0
    assert trend.of("B").p_above(500, 10) > trend.of("A").p_above(500, 10)


def test_a_result_out_of_line_and_a_level_that_turned_are_found() -> None:
    steady = [Sample("A", 10, "count", c, 1.0) for c in (40, 55, 47, 38, 60, 45, 52)]
    odd = Sample("A", 10, "count", 300, 0.001)
    samples = [*steady, odd, *(Sample("B", 10, "count", c, 1.0) for c in (20, 30, 25, 22))]
    trend = fit_practice(samples, ["A", "B"])
    assert [o.sample for o in odd_results(trend, samples)] == [odd]
    assert odd_results(fit_practice(steady, ["A"]), steady) == []
    turned = [
        Sample("A", 10, "count", c, v) for c, v in ((4, 1.0), (6, 1.0), (5, 1.0), (4, 1.0), (60, 0.01), (80, 0.01), (70, 0.01), (75, 0.01))
    ]
    others = [Sample(c, 10, "count", n, 1.0) for c in "BCDE" for n in (30, 40, 200, 90)]
    found = turns_of_level(fit_practice([*turned, *others], list("ABCDE")), [*turned, *others])
    assert [(t.chair, t.after) for t in found] == [("A", 4)]
    assert found[0].change > 1.0


def test_what_a_treatment_took_away_grows_with_the_rest_before_it(trend: Any) -> None:
    chair = trend.of("C2")
    assert chair.reduction(0) == (0.0, 0.0)
    assert chair.reduction(28)[0] > chair.reduction(7)[0] > 0.0


@pytest.mark.parametrize(
    "call",
    [
        lambda: Sample("A", -1, "count", 1, 0.1),
        lambda: Sample("A", math.nan, "count", 1, 0.1),
        lambda: Sample("A", 1, "above", 0, 0.1),
        lambda: Sample("A", 1, "count", 1, 0.0),
        lambda: fit_practice([Sample("A", 1, "count", 1, 0.1)], ["B"]),
        lambda: fit_practice([], []),
        lambda: fit_practice([], ["A"]).of("A").p_above(0.0, 1),
    ],
)
def test_what_can_t_be_is_named(call: Any) -> None:
    with pytest.raises(Mendable) as caught:
        call()
    assert caught.value.where
    assert caught.value.mend


def test_the_priors_carry_a_version() -> None:
    assert fit_practice([], ["A"]).priors.version == PRIORS.version == "1"
