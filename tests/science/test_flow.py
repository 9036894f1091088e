"""Cup and clock: what is told of a flow, what is refused, and how to reach an aim."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fettlebook.errors import Mendable
from fettlebook.science.flow import Reading, Tools, cups_needed, measure_flow, way_to_measure

THREE = [Reading(52, 60), Reading(51, 60), Reading(52, 61)]


def test_the_flow_is_the_mean_of_the_cups_and_lies_within_its_range():
    found = measure_flow(THREE)
    assert found.flow_ml_min == pytest.approx((52 + 51 + 52 * 60 / 61) / 3)
    assert found.low_ml_min < found.flow_ml_min < found.high_ml_min
    assert found.odd == ()
    assert {p.name for p in found.causes} >= {"scatter of the readings", "reading the cup", "start and stop by hand"}


def test_one_cup_says_that_its_scatter_is_assumed_and_is_wider_than_three():
    one = measure_flow(THREE[:1])
    assert "only one reading" in one.odd[0].what
    assert one.scatter_share is None
    assert one.uncertainty.expanded > 3 * measure_flow(THREE).uncertainty.expanded


def test_three_cups_that_agree_exactly_still_have_the_range_of_cup_and_watch():
    found = measure_flow([Reading(50, 60)] * 3)
    assert found.scatter_share == 0
    assert math.isinf(found.uncertainty.dof)
    assert found.uncertainty.expanded > 0.5


def test_cups_that_disagree_more_than_cup_and_watch_explain_are_told():
    found = measure_flow([Reading(52, 60), Reading(45, 60)])
    assert found.odd[0].where in {"reading 1", "reading 2"}
    assert "cup, watch and an outlet's own wander explain" in found.odd[0].what


@pytest.mark.practice_fact
@pytest.mark.parametrize("cups", [(50, 50, 51.5), (50, 51.5), (52, 50, 51, 53), (48, 50, 52)])
def test_cups_a_few_per_cent_apart_are_taken_and_their_mean_is_the_flow(cups):
    found = measure_flow([Reading(v, 60) for v in cups])
    assert found.odd == ()
    assert found.flow_ml_min == pytest.approx(sum(cups) / len(cups))
    assert found.low_ml_min <= min(cups)  # the scatter is not lost: it widens the range
    weighed = measure_flow([Reading(v, 60) for v in cups], Tools(0.1, 0.1, 0.01))
    assert weighed.odd == ()  # finer tools never make good cups odd
    assert weighed.uncertainty.standard < found.uncertainty.standard


def test_good_cups_are_seldom_called_odd_and_a_slipped_one_is():
    chance = np.random.default_rng(42)
    cups = 50 * (1 + 0.03 * chance.standard_normal((2000, 3)))
    assert np.mean([bool(measure_flow([Reading(v, 60) for v in row]).odd) for row in cups]) < 0.06
    cups[:, 1] *= 1.25
    assert np.mean([bool(measure_flow([Reading(v, 60) for v in row]).odd) for row in cups]) > 0.95


def test_a_time_of_half_a_minute_typed_as_a_minute_is_named_as_a_slip():
    found = measure_flow([Reading(52, 60), Reading(51, 60), Reading(26, 60), Reading(52, 60)])
    assert found.odd[0].where == "reading 3"
    assert "mistyped" in found.odd[0].mend


def test_one_reading_far_from_many_close_ones_is_called_a_likely_misreading():
    found = measure_flow([Reading(v, 60) for v in (50, 51, 50, 51, 50, 58)])
    assert found.odd[0].where == "reading 6"
    assert "misreading" in found.odd[0].mend


def test_a_value_outside_the_range_differs_and_one_inside_does_not():
    found = measure_flow(THREE)
    assert found.differs_from(60.0)
    assert not found.differs_from(found.flow_ml_min * 1.01)


@pytest.mark.parametrize(
    ("reading", "words"),
    [
        (Reading(50, 0), "a time of 0 s"),
        (Reading(50, -60), "a time of -60 s"),
        (Reading(-50, 60), "a volume of -50 mL"),
        (Reading(0, 60), "a volume of 0 mL"),
        (Reading(math.nan, 60), "a volume of nan mL"),
        (Reading(50, 7200), "not above 0 and up to 3,600 s"),
        (Reading(math.inf, 60), "a volume of inf mL"),
    ],
)
def test_what_no_cup_can_hold_and_no_clock_can_show_is_refused_by_its_number(reading, words):
    with pytest.raises(Mendable) as caught:
        measure_flow([Reading(50, 60), reading])
    assert words in caught.value.what
    assert caught.value.where == "reading 2"


def test_every_bad_reading_is_named_at_once():
    with pytest.raises(Mendable) as caught:
        measure_flow([Reading(0, 60), Reading(50, 60), Reading(50, -1)])
    assert [f.where for f in caught.value.findings] == ["reading 1", "reading 3"]


def test_no_reading_and_a_cup_without_lines_are_refused():
    with pytest.raises(Mendable, match="no reading"):
        measure_flow([])
    with pytest.raises(Mendable, match="step_ml"):
        measure_flow(THREE, Tools(step_ml=0))


def test_the_way_to_an_aim_reaches_it():
    way = way_to_measure(0.05, flow_ml_min=50)
    assert way is not None
    assert way.cups >= 3
    assert way.volume_ml == pytest.approx(50 * way.seconds / 60)
    assert cups_needed(0.05, flow_ml_min=50, seconds=way.seconds, scatter_share=0.03, tools=Tools()) <= way.cups


def test_a_coarse_cup_asks_for_longer_and_a_hopeless_one_for_another_cup():
    fine, coarse = way_to_measure(0.05, flow_ml_min=50), way_to_measure(0.05, flow_ml_min=50, tools=Tools(step_ml=5))
    assert fine is not None
    assert coarse is not None
    assert coarse.seconds * coarse.cups > fine.seconds * fine.cups
    assert way_to_measure(0.05, flow_ml_min=30, tools=Tools(step_ml=50)) is None


readings = st.builds(Reading, st.floats(5, 500), st.floats(10, 600))


@settings(max_examples=40, deadline=None)
@given(st.lists(readings, min_size=2, max_size=6), st.floats(0.5, 5))
def test_flow_and_range_scale_with_the_volume_when_cup_and_lines_scale_too(cups, factor):
    small, large = measure_flow(cups), measure_flow([Reading(r.volume_ml * factor, r.seconds) for r in cups], Tools(step_ml=factor))
    assert large.flow_ml_min == pytest.approx(factor * small.flow_ml_min)
    assert large.uncertainty.expanded == pytest.approx(factor * small.uncertainty.expanded, rel=1e-6)


@settings(max_examples=40, deadline=None)
@given(st.lists(readings, min_size=1, max_size=6), st.floats(0.1, 4))
def test_a_coarser_cup_never_narrows_the_standard_uncertainty(cups, step):
    fine, coarse = measure_flow(cups, Tools(step_ml=step)), measure_flow(cups, Tools(step_ml=2 * step))
    assert coarse.uncertainty.standard >= fine.uncertainty.standard
