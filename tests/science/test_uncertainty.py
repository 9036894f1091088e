"""Times that hold in 95 of 100 cases: against drawing the inputs at random, and what must never happen."""

import math
import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fettlebook.errors import Mendable
from fettlebook.science import needs, uncertainty
from fettlebook.science.circuits import outlet_seconds
from fettlebook.science.uncertainty import Spread, sure_seconds, sure_seconds_of_all
from fettlebook.science.washout import held_volume_changes, volume_changes

UNIT = {
    "parts": [
        {"id": "feed", "from": None, "kind": "tube", "length_m": 1.0, "bore_mm": 4.0},
        {"id": "turbine", "from": "feed", "kind": "tube", "length_m": 2.0, "bore_mm": 1.6},
        {"id": "syringe", "from": "feed", "kind": "tube", "length_m": 1.8, "bore_mm": 2.0},
    ],
    "outlets": [{"part": "turbine", "flow_ml_min": 50}, {"part": "syringe", "flow_ml_min": 110}],
    "mode": "together",
    "diffusivity_m2_s": 1.4e-9,
}


def drawn(circuit, rng, spread):
    """One chair as it may really be: the three errors drawn, common to all parts, and slower rather than faster by the same factor."""
    bore, flow, length = rng.normal(size=3) / 1.96
    slower = math.exp(math.log(1 - spread.flow_share) * flow)
    return {
        **circuit,
        "parts": [
            {**p, "bore_mm": p["bore_mm"] + spread.bore_mm * bore, "length_m": p["length_m"] * (1 + spread.length_share * length)}
            for p in circuit["parts"]
        ],
        "outlets": [{**o, "flow_ml_min": o["flow_ml_min"] * slower} for o in circuit["outlets"]],
    }


def test_the_time_is_not_passed_more_often_than_asked_when_the_inputs_are_drawn_at_random():
    rng, spread = np.random.default_rng(7), Spread()
    sure = sure_seconds(UNIT, spread=spread)
    runs = [outlet_seconds(drawn(UNIT, rng, spread)) for _ in range(400)]
    for row, outlet in enumerate(sure):
        for name in ("flush_s", "fill_s", "rinse_s"):
            seen = np.array([getattr(run[row], name) for run in runs])
            held = float(np.mean(seen <= getattr(outlet, name)))
            assert 0.925 <= held <= 0.98  # 0.95, with three standard errors of 400 draws


@settings(max_examples=20)
@given(st.floats(0, 0.3), st.floats(0, 0.4), st.floats(0, 0.3), st.floats(0.5, 0.99))
def test_a_sure_time_is_never_below_the_best_estimate(bore_mm, flow_share, length_share, confidence):
    spread = Spread(bore_mm, flow_share, length_share)
    for outlet in sure_seconds(UNIT, spread=spread, confidence=confidence):
        assert outlet.flush_s >= outlet.best.flush_s * (1 - 1e-9)
        assert outlet.fill_s >= outlet.best.fill_s * (1 - 1e-9)
        assert outlet.rinse_s >= outlet.best.rinse_s * (1 - 1e-9)
        assert sum(outlet.shares.values()) == pytest.approx(1.0) or max(bore_mm, flow_share, length_share) < 1e-6


def test_a_longer_line_is_reckoned_alike_by_either_way():
    """With tubes alone the length's effect is read from the flow's; per-outlet flows, all the same, make it be reckoned."""
    each = Spread(flow_by_outlet={"turbine": 0.15, "syringe": 0.15})
    for quick, slow in zip(sure_seconds(UNIT), sure_seconds(UNIT, spread=each), strict=True):
        assert (quick.flush_s, quick.fill_s, quick.rinse_s) == pytest.approx((slow.flush_s, slow.fill_s, slow.rinse_s), rel=1e-3)
        assert quick.shares == pytest.approx(slow.shares, abs=0.01)


def test_more_certainty_takes_longer():
    times = [sure_seconds(UNIT, confidence=c)[0].rinse_s for c in (0.5, 0.8, 0.95, 0.99)]
    assert times == sorted(times)
    assert times[0] == pytest.approx(outlet_seconds(UNIT)[0].rinse_s)


def test_the_flow_is_worth_measuring_first_until_it_is_measured():
    assert {outlet.measure_first for outlet in sure_seconds(UNIT)} == {"flow"}
    measured = Spread(flow_by_outlet={"turbine": 0.03, "syringe": 0.03})
    assert all(outlet.measure_first != "flow" for outlet in sure_seconds(UNIT, spread=measured))
    assert all(a.rinse_s < b.rinse_s for a, b in zip(sure_seconds(UNIT, spread=measured), sure_seconds(UNIT), strict=True))


@pytest.mark.parametrize(
    ("spread", "confidence", "where"),
    [
        (Spread(flow_share=1.2), 0.95, "flow_share"),
        (Spread(bore_mm=-0.1), 0.95, "bore_mm"),
        (Spread(length_share=float("nan")), 0.95, "length_share"),
        (Spread(flow_by_outlet={"turbine": 2.0}), 0.95, "flow_by_outlet"),
        (Spread(), 1.0, "confidence"),
    ],
)
def test_a_spread_that_can_not_be_is_named(spread, confidence, where):
    with pytest.raises(Mendable) as caught:
        sure_seconds(UNIT, spread=spread, confidence=confidence)
    assert where in caught.value.where


def test_no_time_grows_faster_with_diffusion_than_its_fifth_root():
    tau = np.geomspace(1e-6, 10.0, 300)
    for share in (0.5, 0.3, 0.05, 0.01, 1 / 3000, 1e-6):
        for changes in (volume_changes, held_volume_changes):
            grows = np.diff(np.log(changes(share, tau))) / np.diff(np.log(tau))
            assert grows.max() < 1 / 5


def random_chair(draw):
    """A chair of any kind: with a pot or without, outlets together or alone, with whatever solute."""
    parts = [{"id": "feed", "length_m": draw.uniform(0.3, 3), "bore_mm": draw.uniform(2.5, 5)}]
    if draw.random() < 0.4:
        parts.append({"id": "pot", "from": "feed", "kind": "stirred", "volume_ml": draw.uniform(1, 60)})
    above, outlets = parts[-1]["id"], []
    for i in range(draw.randint(1, 5)):
        parts.append({"id": f"hose{i}", "from": above, "length_m": draw.uniform(0.5, 3), "bore_mm": draw.uniform(1.1, 2.6)})
        outlets.append({"part": f"hose{i}", "flow_ml_min": draw.uniform(15, 150)})
    solute = draw.choice([0.0, 4e-13, 1e-10, 1.4e-9, 1.4e-9, 1.4e-9])
    return {"parts": parts, "outlets": outlets, "mode": draw.choice(["together", "alone"]), "diffusivity_m2_s": solute}


CHAIRS = [random_chair(random.Random(seed)) for seed in range(40)]
TIMES = ("flush_s", "fill_s", "rinse_s")


def test_forty_chairs_at_once_take_what_each_takes_alone():
    for alone, row in zip(map(sure_seconds, CHAIRS), sure_seconds_of_all(CHAIRS), strict=True):
        for one, other in zip(alone, row, strict=True):
            assert [getattr(one, name) for name in TIMES] == pytest.approx([getattr(other, name) for name in TIMES], rel=1e-9)
            assert (one.outlet, one.measure_first, one.best.flush_reading) == (other.outlet, other.measure_first, other.best.flush_reading)


@pytest.mark.parametrize("known", ["at the limits", "from the coarse lattice"])
def test_what_spares_a_lattice_never_shortens_a_time(known, monkeypatch):
    """Without the short cut every path is reckoned in full; with it no time is shorter, nor longer by more than its slack."""
    quick = sure_seconds_of_all(CHAIRS)
    if known == "at the limits":
        monkeypatch.setattr(uncertainty, "_most_s", lambda best, needs, limit: np.full((best.count.size, 4), np.inf))
    else:
        monkeypatch.setattr(needs, "_coarse", lambda series, *_: (np.zeros(series.count.size), np.full((series.count.size, 4), np.inf)))
    for row, full in zip(quick, sure_seconds_of_all(CHAIRS), strict=True):
        for one, other in zip(row, full, strict=True):
            for name in TIMES:
                assert getattr(one, name) == pytest.approx(getattr(other, name), rel=5e-4)
                assert getattr(one, name) >= getattr(other, name) * (1 - 3e-4)


def test_the_limits_are_reckoned_on_lattices_that_err_long(monkeypatch):
    quick = sure_seconds_of_all(CHAIRS)
    monkeypatch.setattr(uncertainty, "LIMIT", needs.Steps(1000, 1000))
    for row, full in zip(quick, sure_seconds_of_all(CHAIRS), strict=True):
        for one, other in zip(row, full, strict=True):
            for name in TIMES:
                ratio = getattr(one, name) / getattr(other, name)
                assert 1 - 1e-5 < ratio < 1 + 3e-3
