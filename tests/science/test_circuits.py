"""Exact running times of whole chairs: solved circuits, closed forms, and the relations that no chair may break."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq
from scipy.special import expn

from fettlebook.errors import Mendable
from fettlebook.science.chains import Delay, coherent, curve, seconds
from fettlebook.science.circuits import outlet_seconds
from fettlebook.science.uncertainty import sure_seconds, sure_seconds_of_all

CHECKS = json.loads((Path(__file__).parent / "line_checks.json").read_text())
SOLVED = "transforms of the parts multiplied and inverted by another program; one chain confirmed by 3e5 random walkers"
SHARES = {"fill95_s": 0.05, "fill99_s": 0.01, "rinse_1in3000_s": 1 / 3000}


def delays(check, outlet):
    """The path of an outlet as delays, reckoned here from the plain data alone."""
    parts = {part["id"]: part for part in check["parts"]}
    flows = {o["part"]: o["flow_ml_min"] / 6e7 for o in check["outlets"]}
    path, at = [], outlet
    while at is not None:
        path.insert(0, parts[at])
        at = parts[at].get("from")

    def below(name, leaf):
        while leaf is not None and leaf != name:
            leaf = parts[leaf].get("from")
        return leaf == name

    series = []
    for part in path:
        q = flows[outlet] if check["mode"] == "alone" else sum(flow for leaf, flow in flows.items() if below(part["id"], leaf))
        if part["kind"] == "stirred":
            series.append(Delay("stirred", part["volume_ml"] * 1e-6 / q))
        else:
            volume = math.pi / 4 * (part["bore_mm"] / 1e3) ** 2 * part["length_m"]
            series.append(Delay("tube", volume / q, math.pi * check["diffusivity_m2_s"] * part["length_m"] / q))
    return tuple(series)


@pytest.mark.published(source=SOLVED, sure="computed")
@pytest.mark.parametrize("check", CHECKS["circuits"], ids=lambda check: check["id"])
def test_a_solved_circuit_takes_the_solved_seconds_with_mixed_joints(check):
    for outlet, expected in check["expect"].items():
        times, _ = seconds(delays(check, outlet), tuple(SHARES.values()))
        for key, time_s in zip(SHARES, times, strict=True):
            assert time_s == pytest.approx(expected[key], rel=check["tolerance_rel"]), (outlet, key)


@pytest.mark.published(source="one coherent tube with the summed time and tau_D: 22.08 / 31.69 / 44.43 s", sure="computed")
def test_the_turbine_of_the_unit_takes_the_solved_seconds_as_one_coherent_tube():
    unit = next(check for check in CHECKS["circuits"] if check["id"] == "unit-together")
    times, _ = seconds(coherent(delays(unit, "turbine")), tuple(SHARES.values()))
    assert times == pytest.approx([22.08, 31.69, 44.43], abs=0.006)


@pytest.mark.published(source=SOLVED, sure="computed")
@pytest.mark.parametrize("check", CHECKS["circuits"], ids=lambda check: check["id"])
def test_the_seconds_shown_are_never_below_the_solved_ones_nor_above_the_bound(check):
    bound = outlet_seconds(check, flush_share=0.05, method="safe bound")
    for outlet, most in zip(outlet_seconds(check, flush_share=0.05, method="exact"), bound, strict=True):
        expected = check["expect"][outlet.outlet]
        assert outlet.fill_outlet_s >= expected["fill95_s"] * (1 - 2e-4)
        assert outlet.flush_s >= expected["fill95_s"] * (1 - 2e-4)
        assert outlet.rinse_s >= expected["rinse_1in3000_s"] * (1 - 2e-4)
        assert outlet.fill_s == max(outlet.fill_outlet_s, outlet.fill_held_s)
        assert outlet.flush_s <= most.flush_s
        assert outlet.fill_s <= most.fill_s
        assert outlet.rinse_s <= most.rinse_s


@pytest.mark.published(source="tanks in series: W = exp(-N theta) sum of (N theta)^i/i!, textbook", sure="memory")
@pytest.mark.parametrize("count", [1, 2, 3, 5])
def test_equal_vessels_in_series_follow_the_closed_form(count):
    def left(t):
        return math.exp(-t / 4) * sum((t / 4) ** i / math.factorial(i) for i in range(count))

    for share in (0.2, 0.01, 1e-5):
        (found,), _ = seconds([Delay("stirred", 4.0)] * count, [share])
        true = brentq(lambda t, share=share: left(t) - share, 0, 400)
        assert found == pytest.approx(true, rel=6e-4)
        assert found > true * (1 - 1e-5)  # the lattice widens, so it errs long


@pytest.mark.published(source="transform of pure laminar convection 2 E3(s/2)", sure="computed")
def test_two_tubes_without_diffusion_have_the_product_of_their_transforms():
    look = curve([Delay("tube", 3.0), Delay("tube", 1.0)], 400.0, 40_000)
    middles = (np.arange(look.residual.size) + 0.5) * look.step_s
    for rate in (0.2, 1.0, 3.0):
        lost = float(np.sum(np.exp(-rate * middles) * look.residual) * 2 * np.sinh(rate * look.step_s / 2))
        assert 1 - lost == pytest.approx(2 * expn(3, 1.5 * rate) * 2 * expn(3, 0.5 * rate), abs=2e-5)


@given(st.lists(st.tuples(st.booleans(), st.floats(0.3, 30), st.floats(1e-4, 0.1)), min_size=1, max_size=4))
def test_a_chain_loses_nothing(series):
    path = [Delay("stirred", t) if stirred else Delay("tube", t, tau) for stirred, t, tau in series]
    mean = sum(delay.residence_s for delay in path)
    look = curve(path, 60 * mean, 4000)
    assert float(look.residual.sum() * look.step_s) == pytest.approx(mean, rel=1e-9)
    assert np.all(np.diff(look.residual) <= 1e-9)
    assert look.held[-1] == pytest.approx(0.0, abs=1e-9)


CHAIR = st.fixed_dictionaries(
    {
        "feed_m": st.floats(0.3, 3),
        "feed_mm": st.floats(2.5, 5),
        "hose_m": st.floats(0.5, 3),
        "hose_mm": st.floats(1.1, 2.6),
        "flow": st.floats(15, 150),
        "other": st.floats(15, 150),
        "diffusivity": st.sampled_from([0.0, 4e-13, 1e-10, 1.4e-9]),
        "mode": st.sampled_from(["together", "alone"]),
        "pot_ml": st.one_of(st.none(), st.floats(1, 60)),
    }
)


def chair(draw):
    parts = [{"id": "feed", "from": None, "kind": "tube", "length_m": draw["feed_m"], "bore_mm": draw["feed_mm"]}]
    if draw["pot_ml"]:
        parts.append({"id": "pot", "from": "feed", "kind": "stirred", "volume_ml": draw["pot_ml"]})
    above = parts[-1]["id"]
    parts.append({"id": "hose", "from": above, "kind": "tube", "length_m": draw["hose_m"], "bore_mm": draw["hose_mm"]})
    parts.append({"id": "other", "from": above, "kind": "tube", "length_m": 1.8, "bore_mm": 1.6})
    outlets = [{"part": "hose", "flow_ml_min": draw["flow"]}, {"part": "other", "flow_ml_min": draw["other"]}]
    return {"parts": parts, "outlets": outlets, "mode": draw["mode"], "diffusivity_m2_s": draw["diffusivity"]}


def three(draw):
    outlet = outlet_seconds(chair(draw), method="exact")[0]
    return np.array([outlet.flush_s, outlet.fill_s, outlet.rinse_s])


@settings(max_examples=30)
@given(CHAIR, st.sampled_from([("feed_m", 1.2), ("feed_mm", 1.1), ("hose_m", 1.2), ("hose_mm", 1.1), ("flow", 0.8)]))
def test_longer_wider_or_slower_never_needs_less(draw, change):
    field, factor = change
    moved = {**draw, field: draw[field] * factor}
    assert np.all(three(moved) >= three(draw) * (1 - 1e-3))


@settings(max_examples=30)
@given(CHAIR)
def test_no_chair_needs_more_than_its_bound_or_less_than_one_change(draw):
    exact, bound = outlet_seconds(chair(draw), method="exact"), outlet_seconds(chair(draw), method="safe bound")
    for outlet, most in zip(exact, bound, strict=True):
        assert outlet.nominal_s < outlet.flush_s <= most.flush_s
        assert outlet.fill_s <= most.fill_s
        assert outlet.rinse_s <= most.rinse_s


@settings(max_examples=30)
@given(CHAIR, st.floats(0.0005, 0.4), st.sampled_from([0.0, 1e-13, 1e-11, 1e-10, 4e-10]))
def test_a_flush_outlasts_every_slower_solute_however_the_joints_mix(draw, share, diffusivity):
    draw = {**draw, "diffusivity": 1.4e-9, "pot_ml": None}
    other = outlet_seconds({**chair(draw), "diffusivity_m2_s": diffusivity}, rinse_share=share, method="exact")
    for outlet, slower in zip(outlet_seconds(chair(draw), flush_share=share, method="exact"), other, strict=True):
        assert outlet.flush_s >= slower.rinse_s * (1 - 1e-3)


@settings(max_examples=20)
@given(CHAIR, st.floats(0.002, 0.3))
def test_asking_for_less_never_takes_longer(draw, share):
    strict, lax = (
        outlet_seconds(chair(draw), rinse_share=s, flush_share=s, fill_share=1 - s, method="exact")[0] for s in (share, share * 1.5)
    )
    assert lax.rinse_s <= strict.rinse_s
    assert lax.flush_s <= strict.flush_s
    assert lax.fill_s <= strict.fill_s


def test_a_flush_outlasts_cells_solute_and_whatever_diffuses_between_them():
    unit = next(check for check in CHECKS["circuits"] if check["id"] == "hose-a")
    for share in (0.2, 0.05, 0.01, 0.001):
        found = outlet_seconds(unit, flush_share=share, method="exact")[0]
        alone = [
            outlet_seconds({**unit, "diffusivity_m2_s": d}, rinse_share=share, method="exact")[0].rinse_s
            for d in (0.0, *np.geomspace(1e-14, unit["diffusivity_m2_s"], 40))
        ]
        assert found.flush_s >= max(alone) * (1 - 1e-3)
        assert found.flush_s <= outlet_seconds(unit, flush_share=share, method="safe bound")[0].flush_s
    assert outlet_seconds(unit, flush_share=0.001, method="exact")[0].flush_carried == "between"


@pytest.mark.published(source="solved at tau_D 0.005, about where 5 % takes longest: 2.778 volume changes", sure="computed")
def test_the_slowest_flush_to_5_percent_takes_what_the_worst_diffusion_takes():
    unit = next(check for check in CHECKS["circuits"] if check["id"] == "hose-a")  # tau_D of peroxide 0.0106 lies beyond it
    found = outlet_seconds(unit, flush_share=0.05, method="exact")[0]
    assert found.flush_s == pytest.approx(2.778 * found.nominal_s, rel=1e-3)


def test_warm_water_rinses_faster():
    plain = {key: value for key, value in CHECKS["circuits"][0].items() if key != "diffusivity_m2_s"}
    cold, warm = (outlet_seconds({**plain, "temperature_c": t}, method="exact")[0] for t in (8, 30))
    assert warm.rinse_s < cold.rinse_s
    assert warm.path[0].reynolds > cold.path[0].reynolds
    assert warm.path[0].pressure_drop_kpa < cold.path[0].pressure_drop_kpa


def test_a_coil_is_reckoned_as_a_straight_hose_and_says_so():
    straight = {"parts": [{"id": "hose", "length_m": 2.0, "bore_mm": 1.6}], "outlets": [{"part": "hose", "flow_ml_min": 50}]}
    coiled = {**straight, "parts": [{**straight["parts"][0], "shape": "coiled"}]}
    plain, coil = outlet_seconds(straight)[0], outlet_seconds(coiled)[0]
    assert (coil.flush_s, coil.fill_s, coil.rinse_s) == (plain.flush_s, plain.fill_s, plain.rinse_s)
    assert plain.cautions == ()
    assert "hose: coiled" in coil.cautions[0]
    with pytest.raises(Mendable, match="shape is 'curly'"):
        outlet_seconds({**straight, "parts": [{**straight["parts"][0], "shape": "curly"}]})


@settings(max_examples=20)
@given(CHAIR, CHAIR)
def test_many_chairs_at_once_take_what_each_takes_alone(first, second):
    both = sure_seconds_of_all([chair(first), chair(second)])
    for alone, row in zip((sure_seconds(chair(first)), sure_seconds(chair(second))), both, strict=True):
        for one, other in zip(alone, row, strict=True):
            assert (one.flush_s, one.fill_s, one.rinse_s) == pytest.approx((other.flush_s, other.fill_s, other.rinse_s), rel=1e-12)
