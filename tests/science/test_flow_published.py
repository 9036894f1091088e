"""Uncertainty of a measurement against the worked examples of the GUM and published tables; t and Grubbs against foreign code."""

import math

import numpy as np
import pytest
from scipy import stats

from fettlebook.science.flow import Reading, measure_flow, volume_ml
from fettlebook.science.spread_of_readings import Cause, combine, grubbs_critical, mean_and_spread, rectangular, resolution, t_factor


@pytest.mark.published(source="JCGM 100:2008 annex H.1, end gauge: u_c 32 nm, 16 degrees of freedom, t_99 2.92, U_99 93 nm", sure="memory")
def test_the_end_gauge_of_the_guide_comes_out_as_printed():
    found = combine(
        [
            Cause("standard", 25.0, 18),
            Cause("difference", 9.7, 25.6),
            Cause("expansion", 2.9, 50),
            Cause("temperature", 16.6, 2),
        ],
        confidence=0.99,
    )
    assert found.standard == pytest.approx(32, abs=0.5)
    assert math.floor(found.dof) == 16
    assert found.factor == pytest.approx(2.92, abs=0.005)
    assert found.expanded == pytest.approx(93, abs=1)  # the guide multiplies the rounded 32


@pytest.mark.published(source="JCGM 100:2008 G.4.1 note, product of three: u 1.03 %, 19.0 degrees of freedom, U_95 2.2 %", sure="memory")
def test_the_product_of_three_of_the_guide_comes_out_as_printed():
    found = combine([Cause("x1", 0.25, 9), Cause("x2", 0.57, 4), Cause("x3", 0.82, 14)])
    assert found.standard == pytest.approx(1.03, abs=0.005)
    assert found.dof == pytest.approx(19.0, abs=0.05)
    assert found.expanded == pytest.approx(2.2, abs=0.06)


@pytest.mark.published(source="JCGM 100:2008 4.4.3, twenty temperatures: mean 100.14, s 1.49, of the mean 0.33 degC", sure="memory")
def test_the_twenty_temperatures_of_the_guide_have_the_printed_mean_and_spread():
    t = [96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07, 100.33, 100.42]
    t += [100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72]
    mean, spread = mean_and_spread(t)
    assert mean == pytest.approx(100.14, abs=0.006)
    assert spread == pytest.approx(1.49, abs=0.005)
    assert spread / math.sqrt(20) == pytest.approx(0.33, abs=0.005)


@pytest.mark.published(source="JCGM 100:2008 table G.2, 95 % column", sure="memory")
@pytest.mark.parametrize(
    ("dof", "factor"), [(1, 12.71), (2, 4.30), (3, 3.18), (4, 2.78), (5, 2.57), (10, 2.23), (20, 2.09), (50, 2.01), (math.inf, 1.960)]
)
def test_t_factors_are_those_of_the_guide(dof, factor):
    assert t_factor(dof) == pytest.approx(factor, abs=0.006)


@pytest.mark.published(source="JCGM 100:2008 F.2.2.1: resolution 0.29 of the step; 4.3.7: half-width over root 3", sure="memory")
def test_bounds_turn_into_standard_uncertainties_as_in_the_guide():
    assert resolution(1.0) == pytest.approx(0.29, abs=0.002)
    assert rectangular(1.0) == pytest.approx(0.58, abs=0.003)


@pytest.mark.published(source="Grubbs 1969; ASTM E178 table of critical values, two-sided 5 %", sure="memory")
@pytest.mark.parametrize(("count", "critical"), [(3, 1.155), (4, 1.481), (5, 1.715), (6, 1.887), (7, 2.020), (8, 2.126), (10, 2.290)])
def test_critical_distances_of_an_odd_reading_are_those_of_the_table(count, critical):
    assert grubbs_critical(count) == pytest.approx(critical, abs=0.001)


@pytest.mark.published(source="scipy.stats: t distribution and its interval of a mean, a reference library", sure="read")
def test_without_bounds_the_range_of_repeats_is_students_interval():
    values = [49.1, 51.3, 50.2, 50.9, 48.8]
    mean, spread = mean_and_spread(values)
    found = combine([Cause("scatter", spread / math.sqrt(5), 4)])
    low, high = stats.t.interval(0.95, 4, loc=mean, scale=stats.sem(values))
    assert (mean - found.expanded, mean + found.expanded) == pytest.approx((low, high))


@pytest.mark.published(source="IAPWS R6-95 density of water at 20 degC, 998.207 kg/m3", sure="secondary")
def test_weighed_water_becomes_volume_by_its_density():
    assert volume_ml(998.207, 20.0) == pytest.approx(1000.0, abs=0.01)


@pytest.mark.invented
def test_the_stated_range_holds_the_true_flow_as_often_as_it_says():
    """Cups of a true 50 mL/min that wanders by 3 %, read to the nearest mL and second: 95 % or a little more, not far more."""
    rng = np.random.default_rng(20261125)
    held = 0
    for _ in range(400):
        cup_error, press = rng.uniform(-1, 1), rng.uniform(-0.3, 0.3)
        flows = 50.0 * (1 + 0.03 * rng.standard_normal(4))
        cups = [Reading(float(round(q + cup_error)), float(round(60.0 + press))) for q in flows]
        found = measure_flow(cups)
        held += found.low_ml_min <= 50.0 <= found.high_ml_min
    assert 0.93 <= held / 400 <= 0.995
