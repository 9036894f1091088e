"""The safe bound: never shorter than any solution that we know, and bad circuits are named instead of reckoned."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fettlebook.errors import Mendable
from fettlebook.science import circuits
from fettlebook.science.bound import residual_bound_s
from fettlebook.science.washout import bound_held_volume_changes, bound_volume_changes

CHECKS = json.loads((Path(__file__).parent / "line_checks.json").read_text())


def outlet_seconds(plain, **shares):
    return circuits.outlet_seconds(plain, method="safe bound", **shares)


TURBINE = {"id": "turbine", "from": "feed", "kind": "tube", "length_m": 2.0, "bore_mm": 1.6}
FEED = {"id": "feed", "from": None, "kind": "tube", "length_m": 1.0, "bore_mm": 4.0}


def circuit(**changes):
    plain = {"parts": [FEED, TURBINE], "outlets": [{"part": "turbine", "flow_ml_min": 50}], "mode": "together"}
    return {**plain, "diffusivity_m2_s": 1.4e-9, **changes}


@pytest.mark.published(
    source="wash-out equation solved in Laplace space, confirmed by finite volumes and 4e5 random walkers", sure="computed"
)
@pytest.mark.parametrize("check", CHECKS["circuits"], ids=lambda check: check["id"])
@pytest.mark.parametrize(("share", "key"), [(0.05, "fill95_s"), (0.01, "fill99_s"), (1 / 3000, "rinse_1in3000_s")])
def test_no_bound_is_shorter_than_the_solved_circuit(check, share, key):
    for outlet in outlet_seconds(check, flush_share=share, fill_share=1 - share, rinse_share=share):
        needed = check["expect"][outlet.outlet][key]
        assert min(outlet.flush_s, outlet.fill_s, outlet.rinse_s) >= needed
        assert outlet.nominal_s == pytest.approx(check["expect"][outlet.outlet]["volume_changes_1_s"], rel=1e-6)


@pytest.mark.published(source="one coherent tube with summed tau, Laplace solution: 22.08 / 31.69 / 44.43 s", sure="computed")
def test_no_bound_is_shorter_than_the_coherent_reading_of_the_unit():
    unit = next(check for check in CHECKS["circuits"] if check["id"] == "unit-together")
    for share, needed in ((0.05, 22.08), (0.01, 31.69), (1 / 3000, 44.43)):
        turbine = outlet_seconds(unit, flush_share=share)[0]
        assert turbine.outlet == "turbine"
        assert turbine.flush_s >= needed


@pytest.mark.published(source="wash-out equation solved in Laplace space: volume changes at 10, 5, 1, 0.1 % and 1/3000", sure="computed")
@pytest.mark.parametrize("row", CHECKS["theta"], ids=lambda row: f"{row['tauD']}-{row['W']:.2g}")
def test_no_bound_is_shorter_than_a_solved_tube(row):
    assert float(bound_volume_changes(row["W"])) >= row["theta"]


@pytest.mark.published(
    source="Levenspiel 1999 pp. 343-344: 1 - F = 1/(4 theta^2); held share is its integral 1/(4 theta)", sure="secondary"
)
@given(st.floats(1e-9, 0.999))
def test_no_bound_is_shorter_than_pure_convection(share):
    assert float(bound_volume_changes(share)) >= 0.5 / math.sqrt(share) or share > 0.9
    held = float(bound_held_volume_changes(share))
    assert (0.25 / held if held >= 0.5 else 1 - held) == pytest.approx(share)


def test_the_bound_falls_as_more_may_be_left():
    n = bound_volume_changes(np.geomspace(1e-8, 0.9999, 500))
    assert np.all(np.diff(n) <= 0)
    assert np.all(n >= 1.0)


def bound_s(share, tubes_s, *stirred_s):
    return float(residual_bound_s(share, np.array([tubes_s]), np.array([stirred_s or [0.0]]))[0])


@pytest.mark.published(source="two stirred vessels 5 s and 2 s: W = (5 exp(-t/5) - 2 exp(-t/2))/3, closed form", sure="computed")
def test_stirred_vessels_are_bounded_by_their_closed_form():
    t = bound_s(0.01, 0.0, 5.0, 2.0)
    assert (5 * math.exp(-t / 5) - 2 * math.exp(-t / 2)) / 3 <= 0.01


@given(st.floats(0.001, 0.5), st.floats(0.1, 50), st.floats(0.1, 50))
def test_a_longer_path_never_needs_less(share, tubes_s, vessel_s):
    assert bound_s(share, tubes_s * 1.1, vessel_s) >= bound_s(share, tubes_s, vessel_s)
    assert bound_s(share, tubes_s, vessel_s * 1.1) >= bound_s(share, tubes_s, vessel_s)
    assert bound_s(share, tubes_s, vessel_s) >= bound_s(share, tubes_s)


@pytest.mark.parametrize(
    ("bad", "where", "word"),
    [
        ({"outlets": [{"part": "turbine", "flow_ml_min": 0}]}, "flow_ml_min", "0 is outside"),
        ({"outlets": [{"part": "turbine", "flow_ml_min": -5}]}, "flow_ml_min", "-5"),
        ({"outlets": [{"part": "turbine", "flow_ml_min": float("nan")}]}, "flow_ml_min", "nan"),
        ({"outlets": [{"part": "turbine"}]}, "flow_ml_min", "missing"),
        ({"outlets": [{"part": "motor", "flow_ml_min": 50}]}, "part", "motor"),
        ({"outlets": [{"part": "turbine", "flow_ml_min": 5}, {"part": "turbine", "flow_ml_min": 5}]}, "id", "twice"),
        ({"outlets": []}, "outlets", "empty"),
        ({"parts": [FEED, {**TURBINE, "bore_mm": 0.063}]}, "bore_mm", "0.063"),
        ({"parts": [FEED, {**TURBINE, "length_m": -1}]}, "length_m", "-1"),
        ({"parts": [FEED, {**TURBINE, "kind": "pipe"}]}, "kind", "pipe"),
        ({"parts": [FEED, TURBINE, TURBINE]}, "id", "twice"),
        ({"parts": [FEED, {**TURBINE, "from": "block"}]}, "from", "block"),
        ({"parts": [{**FEED, "from": "turbine"}, TURBINE]}, "from", "loop"),
        ({"parts": [FEED, {**TURBINE, "from": "turbine"}]}, "from", "loop"),
        ({"groups": [["turbine"], ["turbine"]]}, "groups", "two groups"),
        ({"groups": [["syringe"]]}, "groups", "syringe"),
        ({"mode": "all"}, "mode", "all"),
        ({"temperature_c": -4}, "temperature_c", "-4"),
        ({"diffusivity_m2_s": float("nan")}, "diffusivity_m2_s", "nan"),
    ],
)
def test_a_bad_circuit_is_named_with_part_and_field(bad, where, word):
    with pytest.raises(Mendable) as caught:
        outlet_seconds(circuit(**bad))
    assert any(where in finding.where and word in finding.what and finding.mend for finding in caught.value.findings)


def test_a_bore_in_inches_is_asked_about():
    with pytest.raises(Mendable, match=r"inches\? 0.063 inch is 1.60 mm"):
        outlet_seconds(circuit(parts=[FEED, {**TURBINE, "bore_mm": 0.063}]))


def test_all_that_is_wrong_is_said_at_once():
    with pytest.raises(Mendable) as caught:
        outlet_seconds(circuit(parts=[{**FEED, "bore_mm": 0}, {**TURBINE, "length_m": "two"}], outlets=[{"part": "x", "flow_ml_min": 1}]))
    assert len(caught.value.findings) == 3


@pytest.mark.parametrize("share", [0, 1, -0.1, float("nan"), 5])
def test_a_share_that_can_never_be_reached_is_refused(share):
    with pytest.raises(Mendable, match="rinse_share"):
        outlet_seconds(circuit(), rinse_share=share)


def test_a_branch_without_outlet_is_called_a_dead_leg():
    stub = {"id": "stub", "from": "feed", "kind": "tube", "length_m": 0.5, "bore_mm": 3}
    assert any("stub" in caution for caution in outlet_seconds(circuit(parts=[FEED, TURBINE, stub]))[0].cautions)


def test_flow_that_is_not_laminar_is_said():
    fast = outlet_seconds(circuit(outlets=[{"part": "turbine", "flow_ml_min": 250}]))[0]
    assert any("turbine" in caution and "transitional" in caution for caution in fast.cautions)


def test_outlets_alone_carry_only_their_own_flow():
    both = [{"part": "turbine", "flow_ml_min": 50}, {"id": "tap", "part": "feed", "flow_ml_min": 100}]
    together = outlet_seconds(circuit(outlets=both))
    alone = outlet_seconds(circuit(outlets=both, mode="alone"))
    assert [part.flow_ml_min for part in together[0].path] == [150, 50]
    assert [part.flow_ml_min for part in alone[0].path] == [50, 50]
    assert [outlet.group for outlet in alone] == [0, 1]
    assert all(a.rinse_s >= t.rinse_s for a, t in zip(alone, together, strict=True))
