"""Leak test, air-removal test, washer and drift over past cycles."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_cycle import Made

from fettlebook.rules.cycle_criteria import criteria_of, find_criteria
from fettlebook.science.cycles.drift import against_past
from fettlebook.science.cycles.judge import judge_cycle
from fettlebook.science.cycles.leak_test import leak_rate_kpa_min
from fettlebook.science.cycles.log import CycleLog
from fettlebook.science.cycles.outcome import Judgement, Outcome

LEAK = criteria_of(find_criteria("leak-test"))
A600 = criteria_of(find_criteria("washer-a0-600"))
A3000 = criteria_of(find_criteria("washer-a0-3000"))
AIR = criteria_of(find_criteria("air-removal-134"))


def leak_log(
    rate_kpa_min: float, *, low: float = 4.0, closed_s: float = 930.0, warms_k: float = 0.0, seed: int = 1, wet: float = 0.0
) -> CycleLog:
    """A pump that reaches `low` in 200 s, runs on for 30 s, then a closed chamber that leaks, then air."""
    draw = np.random.default_rng(seed)
    t = np.arange(0.0, 230.0 + closed_s + 60.0)
    held = np.clip(t - 230.0, 0.0, closed_s)
    p = np.where(t < 200, 101.0 * (low / 101.0) ** (t / 200.0), low)
    temp = 40.0 + warms_k * held / closed_s
    p = p * (temp + 273.15) / 313.15 + rate_kpa_min * held / 60.0 + wet * (1.0 - np.exp(-held / 250.0))
    after = np.clip(t - 230.0 - closed_s, 0.0, 40.0)
    p = p + (101.0 - p) * after / 40.0
    return CycleLog(t, {"chamber": temp + draw.normal(0, 0.05, t.size)}, p + draw.normal(0, 0.02, t.size))


def of(j: Judgement, key: str) -> Outcome:
    return next(o for o in j.outcomes if o.id == key)


@pytest.mark.published(source="worked example: 5.2 kPa after settling, 6.4 kPa ten minutes later: 0.12 kPa/min", sure="computed")
def test_the_rate_is_the_rise_over_the_time():
    assert leak_rate_kpa_min(5.2, 6.4, 600) == pytest.approx(0.12, abs=1e-9)


@pytest.mark.published(source="gas law: 10 K change a sealed 4 kPa by 0.128 kPa at 313 K, 7 kPa by 0.224 kPa", sure="computed")
@pytest.mark.parametrize(("kpa", "change"), [(4.0, 0.128), (7.0, 0.224)])
def test_warming_of_the_closed_gas_is_taken_off(kpa: float, change: float):
    assert kpa * 10 / 313.15 == pytest.approx(change, abs=0.0005)
    assert leak_rate_kpa_min(kpa, kpa + change, 600, first_c=40, last_c=50) == pytest.approx(0, abs=1e-4)


@pytest.mark.invented
@pytest.mark.parametrize(("rate", "verdict"), [(0.02, "fit"), (0.12, "fit"), (0.15, "unfit"), (0.5, "unfit")])
def test_a_leak_test_is_judged_by_its_rise_after_settling(rate: float, verdict: str):
    j = judge_cycle(leak_log(rate), LEAK)
    assert j.verdict == verdict, j.reasons
    assert j.values["leak_kpa_min"] == pytest.approx(rate, abs=0.004)
    assert [p.name for p in j.phases] == ["evacuation", "settling", "measuring"]


@pytest.mark.invented
def test_a_rise_by_warming_is_no_leak_and_much_warming_proves_nothing():
    warm = judge_cycle(leak_log(0.10, warms_k=8.0), LEAK)
    assert warm.values["uncorrected_kpa_min"] > 0.1045
    assert warm.values["leak_kpa_min"] == pytest.approx(0.10, abs=0.006)
    assert judge_cycle(leak_log(0.02, warms_k=25.0), LEAK).verdict == "unproven"
    assert judge_cycle(replace(leak_log(0.02), temperatures_c={}), LEAK).verdict == "unproven"


@pytest.mark.invented
def test_a_leak_test_that_is_too_short_too_shallow_or_wet_is_told():
    assert of(judge_cycle(leak_log(0.02, closed_s=500), LEAK), "leak_measure_s").verdict == "unproven"
    assert judge_cycle(leak_log(0.02, low=15.0), LEAK).verdict == "unfit"
    assert any("boils off" in remark for remark in judge_cycle(leak_log(0.0, wet=2.5), LEAK).remarks)
    assert judge_cycle(replace(leak_log(0.02), pressure_kpa=None), LEAK).verdict == "unproven"


@pytest.mark.invented
def test_a_falling_or_a_frozen_gauge_is_no_tight_chamber():
    assert judge_cycle(leak_log(-0.05, low=6.0), LEAK).verdict == "unproven"
    log = leak_log(0.3)
    frozen = replace(log, pressure_kpa=np.where(log.time_s > 230, log.pressure_kpa[230], log.pressure_kpa))
    j = judge_cycle(frozen, LEAK)
    assert (j.verdict, of(j, "whole").verdict) == ("unproven", "unproven")


@pytest.mark.invented
@settings(max_examples=15)
@given(st.floats(0.14, 0.6), st.integers(0, 2**31), st.integers(2, 6))
def test_neither_noise_nor_fewer_readings_make_a_leak_fit(rate: float, seed: int, every: int):
    log = leak_log(rate, seed=seed)
    kept = np.arange(log.time_s.size) % every == 0
    fewer = replace(
        log,
        time_s=log.time_s[kept],
        temperatures_c={c: v[kept] for c, v in log.temperatures_c.items()},
        pressure_kpa=log.pressure_kpa[kept],
    )
    for one in (log, fewer):
        assert judge_cycle(one, LEAK).verdict != "fit"


@pytest.mark.practice_fact
def test_an_air_removal_test_needs_the_log_and_the_eye():
    log = Made(hold_s=200.0, drying_s=60.0).log()
    assert 210 <= judge_cycle(log, AIR, indicator="even").values["hold_s"] <= 240
    assert judge_cycle(log, AIR, indicator="even").verdict == "fit"
    assert judge_cycle(log, AIR).verdict == "unproven"
    assert judge_cycle(log, AIR, indicator="uneven").verdict == "unfit"
    assert judge_cycle(Made(hold_s=120.0, drying_s=60.0).log(), AIR, indicator="even").verdict == "unfit"
    long = judge_cycle(Made(hold_s=400.0, drying_s=60.0).log(), AIR, indicator="even")
    assert of(long, "hold_most_s").verdict == "unfit"


def washer_log(*corners: tuple[float, float], interval_s: float = 5.0, apart_k: float = 0.0) -> CycleLog:
    at, c = zip(*corners, strict=True)
    t = np.arange(at[0], at[-1] + 0.1, interval_s)
    temp = np.interp(t, at, c)
    return CycleLog(t, {"chamber": temp, "drain": temp - apart_k})


WASH = ((0, 20), (300, 45), (900, 45), (1500, 90), (1860, 90), (1900, 60), (2200, 40))


@pytest.mark.invented
def test_a_washers_dose_counts_ramp_and_hold_of_the_coldest_sensor():
    j = judge_cycle(washer_log(*WASH), A3000)
    assert j.verdict == "fit", j.reasons
    assert j.values["a0_hold_s"] == pytest.approx(3600, rel=0.06)
    assert j.values["a0_s"] == pytest.approx(j.values["a0_ramp_s"] + j.values["a0_hold_s"])
    colder = judge_cycle(washer_log(*WASH, apart_k=3.0), A3000)
    assert colder.values["a0_s"] == pytest.approx(j.values["a0_s"] * 10**-0.3, rel=0.05)
    assert colder.verdict == "unfit"


@pytest.mark.published(source="worked example: 88 degC for 95 s is 599.4, with the ramp from 65 degC in 380 s 1,049.9", sure="computed")
def test_just_under_600_passes_with_its_ramp_and_both_parts_are_told():
    j = judge_cycle(washer_log((0, 20), (200, 65), (580, 88), (675, 88), (680, 60), (900, 30)), A600)
    assert j.values["a0_s"] == pytest.approx(450.5 + 599.4, rel=0.01)
    assert j.verdict == "fit"
    assert {"a0_ramp_s", "a0_hold_s", "a0_after_s"} <= set(j.values)


@pytest.mark.practice_fact
def test_hot_air_that_dries_counts_for_nothing_certain():
    wet = ((0, 20), (300, 60), (500, 82), (740, 82), (780, 70))
    dried = judge_cycle(washer_log(*wet, (900, 105), (1800, 105), (2000, 40)), A600)
    alone = judge_cycle(washer_log(*wet, (900, 40)), A600)
    assert alone.verdict == "unfit"
    assert dried.verdict == "unproven"
    assert dried.values["a0_s"] == pytest.approx(alone.values["a0_s"], rel=0.01)


@pytest.mark.invented
def test_a_washers_bad_logs():
    assert judge_cycle(washer_log((0, 20), (600, 60), (900, 60), (1200, 20)), A600).verdict == "unfit"
    assert judge_cycle(washer_log(*WASH[:5]), A600).verdict == "unproven"  # ends hot
    assert judge_cycle(washer_log(*[(t, c * 1.8 + 32) for t, c in WASH]), A600).verdict == "unproven"  # Fahrenheit
    two = (*WASH, *((t + 2300, c) for t, c in WASH))
    assert of(judge_cycle(washer_log(*two), A600), "one_cycle").verdict == "unproven"
    gap = washer_log(*WASH)
    kept = (gap.time_s < 1520) | (gap.time_s > 1840)
    holed = CycleLog(gap.time_s[kept], {c: v[kept] for c, v in gap.temperatures_c.items()})
    assert judge_cycle(holed, A3000).verdict == "unproven"
    assert judge_cycle(CycleLog(np.zeros(0), {}), A600).verdict == "unproven"


@pytest.mark.invented
@settings(max_examples=20)
@given(st.floats(76, 92), st.floats(20, 900), st.integers(1, 25))
def test_reading_less_often_changes_a_washers_dose_little_and_never_to_fit(hot_c: float, hold_s: float, every: int):
    corners = ((0, 20), (600, hot_c), (600 + hold_s, hot_c), (640 + hold_s, 60), (1000 + hold_s, 30))
    fine, coarse = (judge_cycle(washer_log(*corners, interval_s=float(i)), A600) for i in (1, every))
    if fine.verdict == "unfit":
        assert coarse.verdict != "fit"
    assert coarse.values["a0_s"] <= fine.values["a0_s"] * 1.05 + 10 * every


@pytest.mark.invented
def test_a_drift_shows_against_the_machines_own_past_and_a_steady_machine_says_nothing():
    draw = np.random.default_rng(3)
    steady = [{"heat_up_s": 260 + v, "plateau_mean_c": 135.2 + 0.02 * v} for v in draw.normal(0, 3, 30)]
    assert all(not c.odd for c in against_past(steady[-1], steady[:-1]))
    slow = [{"heat_up_s": 260 + v + max(0, i - 18) * 2.5} for i, v in enumerate(draw.normal(0, 3, 30))]
    (chart,) = against_past(slow[-1], slow[:-1])
    assert "heat-up time" in chart.odd
    assert against_past(steady[-1], steady[:7]) == ()
    sudden = against_past({"heat_up_s": 320.0}, steady)
    assert "usually" in sudden[0].odd


@pytest.mark.published(source="Shewhart's individuals chart: 2.66 mean moving ranges about the mean", sure="memory")
def test_the_limits_of_the_chart():
    past = [{"heat_up_s": v} for v in (200.0, 230.0) * 4]
    (chart,) = against_past({"heat_up_s": 215.0}, past)
    assert (chart.mean, chart.high) == pytest.approx((215.0, 215.0 + 2.66 * 30))
