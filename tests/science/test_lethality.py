"""F0, A0, spores and holds against the worked values of the reference page, and as integrals that don't care how they are cut."""

import itertools
import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fettlebook.errors import Mendable
from fettlebook.science.lethality import a0_s, f0_min, f_min, hold_s, kill_window_min, survivors_log10

CHECKS = json.loads((Path(__file__).parent / "steam_checks.json").read_text())


def of(*kinds: str) -> list[dict]:
    return [row for row in CHECKS if row["what"] in kinds]


@pytest.mark.published(
    source="F0 of level holds, F0 = m 10^((T-121.1)/10); A0 pairs of EN ISO 15883-1 as a trade forum quotes them", sure="secondary"
)
@pytest.mark.parametrize("row", of("F0_min", "A0_s"), ids=lambda r: f"{r['what']} {r['T_C']} {r['min']}")
def test_a_level_hold(row):
    dose = {"F0_min": f0_min, "A0_s": a0_s}[row["what"]]
    assert dose([0, 60 * row["min"]], [row["T_C"]] * 2) == pytest.approx(row["expect"], rel=row["rel"], abs=row.get("abs", 0))


@pytest.mark.published(source="250 degF as the food trade takes it: 121.11 degC", sure="computed")
@pytest.mark.parametrize("row", of("F_min"), ids=str)
def test_another_reference_temperature(row):
    found = f_min([0, 60 * row["min"]], [row["T_C"]] * 2, reference_c=row["Tref_C"], z_k=row["z_K"])
    assert found == pytest.approx(row["expect"], rel=row["rel"])


@pytest.mark.published(source="closed form of ramps: t z/(ln10 (T2-T1)) (10^((T2-Tref)/z) - 10^((T1-Tref)/z))", sure="computed")
@pytest.mark.parametrize("row", of("F0_ramp_min"), ids=lambda r: f"{r['T1_C']} {r['T2_C']}")
def test_a_ramp(row):
    assert f0_min([0, 60 * row["min"]], [row["T1_C"], row["T2_C"]]) == pytest.approx(row["expect"], rel=row["rel"])


@pytest.mark.published(source="65 to 90 degC in 400 s, 300 s at 90, back to 65 in 100 s: 692.674 + 3000 + 173.168", sure="computed")
def test_a_washers_profile():
    (row,) = of("A0_profile_s")
    time, temperature = zip(*row["profile_s_C"], strict=True)
    assert a0_s(time, temperature) == pytest.approx(row["expect"], rel=row["rel"])


@pytest.mark.published(source="worked example: 88 degC for 95 s is 599.4, the ramp from 65 degC in 380 s adds 450.5", sure="computed")
def test_a_washer_just_under_600_passes_with_its_ramp():
    assert a0_s([0, 95], [88, 88]) == pytest.approx(599.4, abs=0.05)
    assert a0_s([0, 380], [65, 88]) == pytest.approx(450.5, abs=0.05)


@pytest.mark.published(source="definition of D; survival-kill window of ISO 11138 as quoted", sure="secondary")
def test_spores():
    for row in of("survivors_log10"):
        assert survivors_log10(row["log10_N0"], row["D121_min"], row["F0_min"]) == pytest.approx(row["expect"], abs=row["abs"])
    for row in of("kill_window_min"):
        assert kill_window_min(row["log10_N0"], row["D_min"]) == pytest.approx(row["expect"], abs=row["abs"])
    assert kill_window_min(5, 1.5) == pytest.approx((4.5, 13.5))
    assert survivors_log10(0, 1.5, 58.5) == pytest.approx(-39)


@given(st.floats(20, 140), st.floats(20, 140), st.floats(1, 3600))
def test_cutting_a_ramp_into_pieces_changes_nothing(start_c, end_c, length_s):
    t = np.linspace(0, length_s, 9)
    temperature = np.interp(t, [0, length_s], [start_c, end_c])
    for dose in (f0_min, a0_s):
        assert dose(t, temperature) == pytest.approx(dose([0, length_s], [start_c, end_c]), rel=1e-9, abs=1e-12)


@given(st.lists(st.tuples(st.floats(0.1, 60), st.floats(20, 140)), min_size=2, max_size=30), st.floats(-1e5, 1e5))
def test_the_clocks_zero_does_not_matter_and_the_integral_is_what_quadrature_gives(rows, shift):
    t = np.cumsum([dt for dt, _ in rows])
    temperature = np.array([c for _, c in rows])
    fine = np.unique(np.concatenate([np.linspace(a, b, 2001) for a, b in itertools.pairwise(t)]))
    rate = 10 ** ((np.interp(fine, t, temperature) - 121.1) / 10)
    by_hand = float(np.sum(0.5 * (rate[1:] + rate[:-1]) * np.diff(fine))) / 60
    assert f0_min(t, temperature) == pytest.approx(by_hand, rel=1e-4, abs=1e-12)
    assert f0_min(t + shift, temperature) == pytest.approx(f0_min(t, temperature), rel=1e-6, abs=1e-12)


@given(st.lists(st.floats(20, 140), min_size=3, max_size=20), st.floats(0.1, 3))
def test_hotter_never_kills_less(temperatures, more):
    t = np.arange(len(temperatures), dtype=float)
    assert f0_min(t, np.array(temperatures) + more) >= f0_min(t, temperatures)
    assert a0_s(t, np.array(temperatures) + more) >= a0_s(t, temperatures)


def test_a_gap_earns_nothing():
    assert f0_min([0, 1, 2, 100, 101], [134] * 5, longest_gap_s=2.5) == pytest.approx(f0_min([0, 3], [134, 134]))
    assert f0_min([0, 1, 2, 3, 4], [134, 134, math.nan, 134, 134]) == pytest.approx(f0_min([0, 2], [134, 134]))


def test_the_floor_cuts_a_ramp_where_it_crosses():
    assert a0_s([0, 100], [60, 70]) == pytest.approx(a0_s([0, 50], [65, 70]))
    assert a0_s([0, 100], [65, 65]) == 0.0


def test_a_dip_starts_the_hold_again_and_the_readings_at_both_ends_are_in_it():
    t = np.arange(10.0)
    assert hold_s(t, [133, 134, 135, 133.9, 134, 136, 137, 134, 137.1, 134], 134, 137) == 3.0
    assert hold_s([0, 1, 2, 9, 10], [135] * 5, 134, 137, longest_gap_s=2.5) == 2.0
    assert hold_s(t, np.full(10, 120.0), 134, 137) == 0.0


@pytest.mark.parametrize(
    ("time", "temperature", "where"),
    [([0, 1, 1], [1, 2, 3], "time_s[2]"), ([0, 2, 1], [1, 2, 3], "time_s[2]"), ([0, math.nan], [1, 2], "time_s[1]"),
     ([0, 1], [1, math.inf], "temperature_c[1]"), ([0, 1], [1], "time_s, temperature_c")],
)  # fmt: skip
def test_what_is_no_trace_is_named(time, temperature, where):
    with pytest.raises(Mendable) as caught:
        f0_min(time, temperature)
    assert caught.value.where == where


def test_an_impossible_z_d_or_band_is_refused():
    with pytest.raises(Mendable, match="no z"):
        f_min([0, 1], [1, 2], reference_c=121, z_k=0)
    with pytest.raises(Mendable, match="not above 0"):
        survivors_log10(6, 0, 5)
    with pytest.raises(Mendable, match="no band"):
        hold_s([0, 1], [1, 2], 137, 134)
