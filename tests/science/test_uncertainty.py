"""Times that hold in 95 of 100 cases: against drawing the inputs at random, and what must never happen."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fettlebook.errors import Mendable
from fettlebook.science.circuits import outlet_seconds
from fettlebook.science.uncertainty import Spread, sure_seconds

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
