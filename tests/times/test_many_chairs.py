"""Running times of a practice: its lines are reckoned together, and each chair gets what it would get alone."""

import pytest
from times_practice import ONE_HOSE, PEROXIDE, read_small, rulebook, step

from fettlebook.rules.model import Computed
from fettlebook.times import sure
from fettlebook.times.running import running_times

FLUSH_FILL_RINSE = rulebook(step(Computed.FLUSH, 30), step(Computed.FILL), step(Computed.RINSE))
POT = """
[[chairs]]
id = "chair 2"
room = "room 1"
supply = { kind = "bottle", bottle_ml = 1500.0 }
segments = [
  { id = "feed", bore_mm = 4.0, length_m = 1.4 },
  { id = "long", from = "pot", bore_mm = 1.8, length_m = 2.4 },
  { id = "short", from = "pot", bore_mm = 1.4, length_m = 1.1 },
]
stirred = [{ id = "pot", from = "feed", volume_ml = 12.0 }]
outlets = [
  { id = "turbine", kind = "turbine", from = "long", flow_ml_min = 45.0 },
  { id = "syringe", kind = "syringe", from = "short", flow_ml_min = 90.0, measured_on = 2026-11-02, flow_within_pct = 4.0 },
]
run_together = [["turbine", "syringe"]]
suction = [{ id = "high volume", kind = "high volume", bore_mm = 16.0, length_m = 1.8 }]
"""
LOST = ONE_HOSE.replace('"chair 1"', '"chair 3"').replace('from = "hose"', 'from = "house"')
FOURTH = POT.replace('"chair 2"', '"chair 4"').replace("length_m = 2.4", "length_m = 2.9")


@pytest.fixture
def nothing_kept(monkeypatch):
    monkeypatch.setattr(sure, "_KEPT", {})


@pytest.mark.usefixtures("nothing_kept")
def test_each_chair_of_many_takes_what_it_takes_alone(monkeypatch):
    together = running_times(read_small(ONE_HOSE, POT, LOST, FOURTH, PEROXIDE), FLUSH_FILL_RINSE)
    alone = []
    for chair in (ONE_HOSE, POT, LOST, FOURTH):
        monkeypatch.setattr(sure, "_KEPT", {})
        alone += running_times(read_small(chair, PEROXIDE), FLUSH_FILL_RINSE)
    assert [(t.chair, t.step_id, t.missing) for t in together] == [(t.chair, t.step_id, t.missing) for t in alone]
    assert sum(t.seconds is None for t in together) == 3  # the line that can't be followed spoils no other
    for one, other in zip(together, alone, strict=True):
        assert one.seconds is other.seconds is None or one.seconds == pytest.approx(other.seconds, rel=1e-9)
        for of, its in zip(one.outlets, other.outlets, strict=True):
            assert (of.outlet, of.reading, of.measure_first) == (its.outlet, its.reading, its.measure_first)
            assert (of.seconds, of.nominal_s, of.bound_s) == pytest.approx((its.seconds, its.nominal_s, its.bound_s), rel=1e-9)


@pytest.mark.usefixtures("nothing_kept")
def test_the_lines_of_all_chairs_are_reckoned_in_one_lot_and_then_kept(monkeypatch):
    lots, reckoned = [], sure.sure_seconds_of_all
    monkeypatch.setattr(sure, "sure_seconds_of_all", lambda circuits, **more: lots.append(len(circuits)) or reckoned(circuits, **more))
    practice = read_small(ONE_HOSE, POT, FOURTH, PEROXIDE)
    first = running_times(practice, rulebook(step(Computed.FLUSH, 30)))
    assert lots == [3]
    assert running_times(practice, rulebook(step(Computed.FLUSH, 30))) == first
    assert lots == [3]
