"""A steam cycle judged: each kind of fault by its reason, bad input named and unproven, and changes that never turn a bad cycle to fit."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_cycle import Made

from fettlebook.errors import Finding
from fettlebook.rules.cycle_criteria import criteria_of, find_criteria
from fettlebook.science.cycles.judge import judge_cycle
from fettlebook.science.cycles.load_types import LoadForm
from fettlebook.science.cycles.log import Calibration, CycleLog, Sensors
from fettlebook.science.cycles.outcome import Judgement

pytestmark = pytest.mark.invented
B134 = criteria_of(find_criteria("steam-134-b"))
GOOD = Made()
LOG = GOOD.log()


def judged(log: CycleLog) -> Judgement:
    return judge_cycle(log, B134)


def rows(log: CycleLog, kept: np.ndarray) -> CycleLog:
    temps = {channel: values[kept] for channel, values in log.temperatures_c.items()}
    return replace(
        log, time_s=log.time_s[kept], temperatures_c=temps, pressure_kpa=None if log.pressure_kpa is None else log.pressure_kpa[kept]
    )


def changed(log: CycleLog, change: Callable[[np.ndarray, dict, np.ndarray], None]) -> CycleLog:
    t, temps, p = log.time_s.copy(), {c: v.copy() for c, v in log.temperatures_c.items()}, log.pressure_kpa.copy()
    change(t, temps, p)
    return replace(log, time_s=t, temperatures_c=temps, pressure_kpa=p)


def dipped(log: CycleLog, at: int, width: int, kelvin: float, kpa: float) -> CycleLog:
    def dip(_: np.ndarray, temps: dict, p: np.ndarray) -> None:
        p[at : at + width] -= kpa
        for values in temps.values():
            values[at : at + width] -= kelvin

    return changed(log, dip)


def test_a_good_cycle_is_fit_with_every_criterion_told():
    j = judged(LOG)
    assert (j.verdict, j.reasons) == ("fit", ())
    told = {o.id for o in j.outcomes}
    assert {"hold_s", "band_c", "equilibration_s", "spread_k", "below_saturation_k", "above_saturation_k", "pulses", "drying_s"} <= told
    for o in j.outcomes:
        assert o.source
        if o.limit is not None:
            assert o.margin >= o.uncertainty or o.id in ("pulses", "reading_interval_s"), o.id
    assert [p.name for p in j.phases] == ["standby", "air removal", "heating", "plateau", "exhaust", "drying", "air in"]
    assert j.values["ambient_kpa"] == pytest.approx(101, abs=0.3)
    assert j.values["plateau_mean_c"] == pytest.approx(135.4, abs=0.1)
    assert any("never prove" in said for said in j.cannot_show)


def test_the_hold_ends_where_the_pressure_falls_not_where_a_lagging_sensor_leaves_the_band():
    slow = replace(GOOD, lag_s={"chamber": 2.0, "drain": 9.0}).log()
    j = judged(slow)
    plateau = next(p for p in j.phases if p.name == "plateau")
    falls = float(slow.time_s[np.flatnonzero(slow.pressure_kpa > 314.0)[-1]])
    assert plateau.to_s == pytest.approx(falls, abs=1.5)
    stays = float(slow.time_s[np.flatnonzero(slow.temperatures_c["drain"] >= 134.0)[-1]])
    assert stays > plateau.to_s + 2.0  # the lagging sensor would have added this to the hold
    assert next(o for o in j.outcomes if o.id == "above_saturation_k").verdict == "fit"


@pytest.mark.parametrize(
    ("name", "made", "verdict", "outcome"),
    [
        ("short hold", replace(GOOD, hold_s=130), "unfit", "hold_s"),
        ("too cold", replace(GOOD, hold_c=133.0), "unfit", "hold_s"),
        ("within the sensors' bound of the band", replace(GOOD, hold_c=134.3), "unproven", "hold_s"),
        ("too hot", replace(GOOD, hold_c=138.0), "unfit", "band_c"),
        ("two pulses", replace(GOOD, lows_kpa=(12.0, 12.0)), "unfit", "pulses"),
        ("no pulses", replace(GOOD, lows_kpa=()), "unfit", "pulses"),
        ("shallow pulses", replace(GOOD, lows_kpa=(12.0, 35.0, 40.0)), "unfit", "pulse_depth_kpa"),
        ("one sensor low", replace(GOOD, offset_c={"drain": -3.0}), "unfit", "hold_s"),
        ("trapped air", replace(GOOD, hold_c=138.4, offset_c={"drain": -3.4, "chamber": -3.4}), "unfit", "below_saturation_k"),
        ("some gas", replace(GOOD, hold_c=136.8, offset_c={"drain": -1.5, "chamber": -1.5}), "unproven", "below_saturation_k"),
        ("superheat", replace(GOOD, hold_c=132.5, offset_c={"drain": 3.0, "chamber": 3.0}), "unfit", "above_saturation_k"),
        ("spread", replace(GOOD, offset_c={"drain": -0.8, "chamber": 0.8}), "unproven", "spread_k"),
        ("late equilibration", replace(GOOD, lag_s={"chamber": 2.0, "drain": 25.0}), "unfit", "equilibration_s"),
        ("no drying", replace(GOOD, drying_s=100.0), "unfit", "drying_s"),
        ("drying held up by water", replace(GOOD, drying_kpa=24.0), "unfit", "wet"),
        ("a 121 cycle in place of 134", replace(GOOD, hold_c=122.5, hold_s=960), "unfit", "hold_s"),
    ],
)  # fmt: skip
def test_a_fault_is_seen_for_what_it_is(name: str, made: Made, verdict: str, outcome: str):
    j = judged(made.log())
    assert j.verdict == verdict, (name, j.reasons)
    found = next(o for o in j.outcomes if o.id == outcome)
    assert found.verdict != "fit"
    assert found.why
    assert found.moment_s is not None


def test_a_high_f0_never_makes_up_for_a_short_hold():
    hot = judged(replace(GOOD, hold_c=136.4, hold_s=120).log())
    assert hot.values["f0_min"] > 58.5  # 134 degC for 3 min
    assert hot.verdict == "unfit"


def test_a_dip_starts_the_hold_again_and_is_told_even_where_the_rest_is_long_enough():
    short = judged(dipped(LOG, 800, 12, 3.0, 25.0))
    assert short.verdict == "unfit"
    assert "the hold starts again" in " ".join(short.reasons)
    long = judged(dipped(replace(GOOD, hold_s=400).log(), 760, 4, 1.8, 15.0))
    assert long.verdict != "fit"
    assert any(o.id == "left_band" and o.verdict == "unproven" for o in long.outcomes)


def test_one_lone_wild_reading_is_forgiven_but_counted():
    def wild(_: np.ndarray, temps: dict, p: np.ndarray) -> None:
        temps["drain"][800] = 20.0

    j = judged(changed(LOG, wild))
    assert j.verdict == "fit"
    assert any("lone wild" in remark for remark in j.remarks)


def _frozen(channel: str, begin: int, length: int) -> Callable[[np.ndarray, dict, np.ndarray], None]:
    def freeze(_: np.ndarray, temps: dict, p: np.ndarray) -> None:
        values = p if channel == "pressure" else temps[channel]
        values[begin : begin + length] = values[begin]

    return freeze


@pytest.mark.parametrize(
    ("channel", "begin", "length"), [("chamber", 800, 1000), ("drain", 650, 90), ("pressure", 800, 1000), ("chamber", 720, 100)]
)
def test_a_frozen_sensor_proves_nothing(channel: str, begin: int, length: int):
    j = judged(changed(LOG, _frozen(channel, begin, length)))
    assert j.verdict == "unproven"
    assert any(o.id == f"frozen_{channel}" for o in j.outcomes)


def test_gaps_and_clock_faults_earn_no_hold():
    t = LOG.time_s
    cases = {
        "gap": rows(LOG, (t < 780) | (t > 830)),
        "short gap": rows(LOG, (t < 820) | (t > 824)),
        "clock back": changed(LOG, lambda t, *_: t.__setitem__(slice(800, None), t[800:] - 60)),
        "clock forward": changed(LOG, lambda t, *_: t.__setitem__(slice(800, None), t[800:] + 3600)),
        "a time twice": changed(LOG, lambda t, *_: t.__setitem__(800, t[799])),
        "read every 5 s": rows(LOG, np.arange(t.size) % 5 == 0),
    }
    for name, log in cases.items():
        j = judged(log)
        assert j.verdict == "unproven", name
        assert j.values["hold_proven_s"] <= 260.0, name
    assert judged(rows(LOG, (t < 780) | (t > 780))).verdict == "fit"  # one reading lost of 1 a second is within the interval asked


def test_a_clock_fault_in_standby_harms_nothing():
    early = changed(replace(GOOD, standby_s=600).log(), lambda t, *_: t.__setitem__(slice(100, None), t[100:] - 30))
    j = judged(early)
    assert j.verdict == "fit"
    assert any("outside the cycle" in remark for remark in j.remarks)


def test_ten_hours_of_standby_before_the_cycle_change_nothing():
    j = judged(replace(GOOD, standby_s=36_000.0).log())
    assert j.verdict == "fit"
    assert next(p for p in j.phases if p.name == "air removal").from_s == pytest.approx(36_000, abs=5)
    assert any("10.0 h of standby" in remark for remark in j.remarks)


def _two() -> CycleLog:
    n = LOG.time_s[-1] + 1
    temps = {c: np.concatenate((v, v)) for c, v in LOG.temperatures_c.items()}
    return CycleLog(np.concatenate((LOG.time_s, LOG.time_s + n)), temps, np.concatenate((LOG.pressure_kpa, LOG.pressure_kpa)))


def _aborted_then_good() -> CycleLog:
    first, rest = LOG.time_s < 400, 300
    t = np.concatenate((LOG.time_s[first], 400 + np.arange(rest), 400 + rest + LOG.time_s))
    temps = {c: np.concatenate((v[first], np.full(rest, 60.0), v)) for c, v in LOG.temperatures_c.items()}
    return CycleLog(t, temps, np.concatenate((LOG.pressure_kpa[first], np.full(rest, 101.0), LOG.pressure_kpa)))


EMPTY = CycleLog(np.zeros(0), {"chamber": np.zeros(0)}, np.zeros(0))


@pytest.mark.parametrize(
    ("name", "log", "outcome"),
    [
        ("empty", EMPTY, "readings"),
        ("no temperature", replace(LOG, temperatures_c={}), "readings"),
        ("pressure missing", replace(LOG, pressure_kpa=None), "pressure"),
        ("Fahrenheit", replace(LOG, temperatures_c={c: v * 1.8 + 32 for c, v in LOG.temperatures_c.items()}), "units"),
        ("gauge", replace(LOG, pressure_kpa=LOG.pressure_kpa - 101), "units"),
        ("bar", replace(LOG, pressure_kpa=LOG.pressure_kpa / 100), "units"),
        ("psi", replace(LOG, pressure_kpa=LOG.pressure_kpa / 6.894757), "units"),
        ("ends in the plateau", rows(LOG, LOG.time_s < 900), "whole"),
        ("ends in the drying", rows(LOG, LOG.time_s < 1500), "whole"),
        ("begins too late", rows(LOG, LOG.time_s > 200), "begins"),
        ("two cycles", _two(), "one_cycle"),
        ("aborted, then a good one", _aborted_then_good(), "one_cycle"),
        ("a finding of the file", replace(LOG, findings=(Finding("two headings", "a.csv line 1", "Leave one."),)), "reading"),
        ("another air pressure told", replace(LOG, ambient_kpa=84.0), "ambient"),
    ],
)  # fmt: skip
def test_bad_input_is_named_and_unproven(name: str, log: CycleLog, outcome: str):
    j = judged(log)
    assert j.verdict == "unproven", (name, j.reasons)
    named = [o for o in j.outcomes if o.id == outcome]
    assert named, [o.id for o in j.outcomes if o.verdict != "fit"]
    assert named[0].why


def test_an_aborted_cycle_is_unfit():
    first = LOG.time_s < 500
    t = np.concatenate((LOG.time_s[first], 500 + np.arange(100.0)))
    temps = {c: np.concatenate((v[first], np.linspace(100, 60, 100))) for c, v in LOG.temperatures_c.items()}
    j = judged(CycleLog(t, temps, np.concatenate((LOG.pressure_kpa[first], np.full(100, 101.0)))))
    assert j.verdict == "unfit"


def test_high_up_the_ambient_comes_from_the_log():
    j = judged(replace(GOOD, ambient_kpa=80.0).log())
    assert j.verdict == "fit"
    assert j.values["ambient_kpa"] == pytest.approx(80, abs=0.3)


def test_a_wrapped_or_hollow_load_in_an_n_cycle_is_unfit_however_good_the_curve():
    n134 = criteria_of(find_criteria("steam-134-n"))
    for load, verdict in (
        (LoadForm("solid", wrapped=False), "fit"),
        (LoadForm("solid", wrapped=True), "unfit"),
        (LoadForm("hollow", wrapped=False), "unfit"),
    ):
        assert judge_cycle(LOG, n134, load=load).verdict == verdict
    assert judge_cycle(LOG, B134, load=LoadForm("hollow", wrapped=True)).verdict == "fit"


def test_a_better_calibration_narrows_the_margin_and_an_offset_is_taken_off():
    near = replace(GOOD, hold_c=134.45).log()
    assert judged(near).verdict == "unproven"
    fine = Sensors(0.1, 0.0, 1.0, (0.01, 0.01))
    assert judge_cycle(near, B134, fine).verdict == "fit"
    high = replace(GOOD, offset_c={"drain": 0.9}).log()
    told = Sensors(0.3, 0.016, 1.0, (0.025, 0.01), {"drain": Calibration(0.9, 0.2)})
    assert judge_cycle(high, B134, told).values["spread_k"] < 0.1


def test_a_drift_against_saturation_is_remarked():
    def drift(t: np.ndarray, temps: dict, p: np.ndarray) -> None:
        for values in temps.values():
            np.add(values, 0.2 * np.clip(t - 700, 0, 400) / 60, out=values)

    j = judged(changed(LOG, drift))
    assert any("Drifts against saturation by +0.2" in remark for remark in j.remarks) or any(
        o.id == "saturation_drift" and o.verdict != "fit" for o in j.outcomes
    )


FAULTS = st.one_of(
    st.floats(60, 125).map(lambda s: replace(GOOD, hold_s=s)),
    st.floats(128.0, 133.2).map(lambda c: replace(GOOD, hold_c=c)),
    st.floats(137.8, 141.0).map(lambda c: replace(GOOD, hold_c=c)),
    st.lists(st.floats(5, 18), max_size=2).map(lambda lows: replace(GOOD, lows_kpa=tuple(lows))),
    st.floats(25, 60).map(lambda low: replace(GOOD, lows_kpa=(12.0, low, low))),
    st.floats(3.0, 5.0).map(lambda k: replace(GOOD, hold_c=135.0 + k, offset_c={"chamber": -k, "drain": -k})),
    st.floats(3.0, 5.0).map(lambda k: replace(GOOD, hold_c=135.4 - k, offset_c={"chamber": k, "drain": k})),
    st.floats(0, 150).map(lambda s: replace(GOOD, drying_s=s)),
)


@settings(max_examples=25)
@given(FAULTS, st.integers(0, 2**31), st.data())
def test_nothing_done_to_a_failed_log_turns_it_to_fit(made: Made, seed: int, data: st.DataObject):
    log = replace(made, seed=seed).log()
    assert judged(log).verdict == "unfit"
    draw = np.random.default_rng(seed)
    n = log.time_s.size
    shifted = replace(log, time_s=log.time_s + data.draw(st.floats(-1e6, 1e9)))
    assert judged(shifted).verdict == "unfit"
    every = data.draw(st.integers(2, 7))
    first = data.draw(st.integers(0, every - 1))
    assert judged(rows(log, np.arange(n) % every == first)).verdict != "fit"
    noisy = replace(
        log,
        temperatures_c={c: v + draw.uniform(-0.5, 0.5, n) for c, v in log.temperatures_c.items()},
        pressure_kpa=log.pressure_kpa * (1 + draw.uniform(-0.016, 0.016, n)),
    )
    assert judged(noisy).verdict != "fit"
    assert judged(rows(log, draw.permutation(n))).verdict != "fit"
    swapped = np.arange(n)
    at = data.draw(st.integers(0, n - 2))
    swapped[[at, at + 1]] = swapped[[at + 1, at]]
    assert judged(rows(log, swapped)).verdict != "fit"
    cut = data.draw(st.integers(1, n - 1))
    assert judged(rows(log, np.arange(n) < cut)).verdict != "fit"
    assert judged(rows(log, np.arange(n) >= cut)).verdict != "fit"
    lost = draw.random(n) > data.draw(st.floats(0, 0.5))
    assert judged(rows(log, lost)).verdict != "fit"


@settings(max_examples=15)
@given(st.floats(134.9, 136.2), st.floats(200, 400), st.integers(0, 2**31), st.floats(72, 106))
def test_good_cycles_are_fit_whatever_the_noise_and_the_height_above_the_sea(hold_c: float, hold_s: float, seed: int, ambient: float):
    log = replace(GOOD, hold_c=hold_c, hold_s=hold_s, seed=seed, ambient_kpa=ambient).log()
    j = judged(log)
    assert j.verdict == "fit", j.reasons
    again = judged(replace(log, time_s=log.time_s + 12_345.0))
    assert again.values["hold_s"] == pytest.approx(j.values["hold_s"])
    n = log.time_s.size
    half = judged(rows(log, np.arange(n) < n // 2)), judged(rows(log, np.arange(n) >= n // 2))
    assert all(part.verdict != "fit" for part in half)


@settings(max_examples=60)
@given(st.data())
def test_no_log_at_all_makes_it_fall_over(data: st.DataObject):
    n = data.draw(st.integers(0, 60))
    anything = st.one_of(st.floats(-50, 500), st.sampled_from([float("nan"), float("inf"), 0.0, 101.3, 134.0, 300.0]))
    values = [np.array(data.draw(st.lists(anything, min_size=n, max_size=n)), float) for _ in range(3)]
    assert judged(CycleLog(values[0], {"chamber": values[1]}, values[2])).verdict != "fit"
