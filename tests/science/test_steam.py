"""The saturation line against its release, against the open libraries iapws and CoolProp, and as a pair of inverses."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from iapws.iapws97 import _PSat_T, _TSat_P

from fettlebook.errors import Mendable
from fettlebook.science.steam import (
    air_depression_k,
    air_share,
    if97_temperature_c,
    saturation_pressure_kpa,
    saturation_temperature_c,
)

CHECKS = json.loads((Path(__file__).parent / "steam_checks.json").read_text())


def of(*kinds: str) -> list[dict]:
    return [row for row in CHECKS if row["what"] in kinds]


@pytest.mark.published(source="IAPWS R7-97(2012) table 35, page 34: nine digits", sure="secondary")
@pytest.mark.parametrize(("kelvin", "mpa"), [(300, 0.353658941e-2), (500, 0.263889776e1), (600, 0.123443146e2)])
def test_pressure_gives_the_verification_values_of_the_release(kelvin, mpa):
    assert float(saturation_pressure_kpa(kelvin - 273.15)) / 1e3 == pytest.approx(mpa, rel=2e-9)


@pytest.mark.published(source="IAPWS R7-97(2012) table 36, page 34: nine digits", sure="secondary")
@pytest.mark.parametrize(("mpa", "kelvin"), [(0.1, 372.755919), (1, 453.035632), (10, 584.149488)])
def test_temperature_gives_the_verification_values_of_the_release(mpa, kelvin):
    assert float(saturation_temperature_c(mpa * 1e3)) + 273.15 == pytest.approx(kelvin, abs=5.1e-7)


@pytest.mark.published(source="iapws 1.5.5 (IF97), and textbook steam tables on ITS-90 from memory; each row says which", sure="computed")
@pytest.mark.parametrize("row", of("psat_kPa", "tsat_C"), ids=lambda r: f"{r['what']} {r.get('T_C', r.get('p_kPa'))} {r['sure']}")
def test_steam_table_points(row):
    if row["what"] == "psat_kPa":
        assert float(saturation_pressure_kpa(row["T_C"])) == pytest.approx(row["expect"], rel=row["rel"])
    else:
        assert float(saturation_temperature_c(row["p_kPa"])) == pytest.approx(row["expect"], abs=row["abs"])


@pytest.mark.published(source="the open library iapws, IF97 region 4, 0.6 kPa to 22 MPa", sure="secondary")
def test_both_ways_agree_with_iapws_over_the_whole_range():
    p = np.exp(np.linspace(math.log(0.6113), math.log(22_000), 400))
    assert saturation_temperature_c(p) == pytest.approx(np.array([_TSat_P(x / 1e3) - 273.15 for x in p.tolist()]), abs=2e-8)
    t = np.linspace(0.01, 373.9, 400)
    assert saturation_pressure_kpa(t) == pytest.approx(np.array([_PSat_T(x + 273.15) * 1e3 for x in t.tolist()]), rel=1e-10)


@pytest.mark.published(
    source="the open library CoolProp: IF97 to 1e-7 K, and IAPWS-95 to the 2e-4 by which the two formulations differ", sure="secondary"
)
def test_both_ways_agree_with_coolprop_over_the_whole_range():
    p = np.exp(np.linspace(math.log(0.6118), math.log(21_900), 200))
    assert saturation_temperature_c(p) == pytest.approx(PropsSI("T", "P", p * 1e3, "Q", 0, "IF97::Water") - 273.15, abs=1e-7)
    t = np.linspace(0.1, 373, 200)
    assert saturation_pressure_kpa(t) == pytest.approx(PropsSI("P", "T", t + 273.15, "Q", 0, "Water") / 1e3, rel=3e-4)


@pytest.mark.published(source="IAPWS R7-97(2012) eq. 31, against which the fast way is held: stated 6e-9 K, goal 1e-6 K", sure="secondary")
def test_the_fast_way_is_the_equation_within_what_is_stated():
    p = np.concatenate((np.exp(np.linspace(math.log(5), math.log(400), 200_001)), [5.0, 400.0]))
    assert np.abs(saturation_temperature_c(p) - if97_temperature_c(p)).max() < 6.5e-9


@given(st.floats(0.62, 22_000))
def test_the_two_are_inverses(kpa):
    assert float(saturation_pressure_kpa(saturation_temperature_c(kpa))) == pytest.approx(kpa, rel=1e-8)


@given(arrays(np.float64, st.integers(0, 40), elements=st.floats(0.62, 22_000)))
def test_an_array_gives_what_its_numbers_give_one_by_one(kpa):
    together = saturation_temperature_c(kpa)
    assert together.shape == kpa.shape
    assert together == pytest.approx(np.array([saturation_temperature_c(x) for x in kpa.tolist()]), abs=1e-9)


def test_shape_is_kept_and_a_number_works_as_a_number():
    assert saturation_temperature_c(np.full((2, 3), 300.0)).shape == (2, 3)
    assert isinstance(saturation_temperature_c(300), float)
    assert saturation_temperature_c(300) + 1 == pytest.approx(134.525358, abs=1e-5)
    assert saturation_temperature_c([]).shape == (0,)


@given(st.floats(5.0, 399.0), st.floats(1e-3, 1.0))
def test_more_pressure_is_hotter(kpa, more):
    assert saturation_temperature_c(kpa + more) > saturation_temperature_c(kpa)


@pytest.mark.parametrize("kpa", [0.0, -3.0, 22_065.0, math.nan, math.inf])
def test_a_pressure_outside_the_range_is_named_with_its_place(kpa):
    with pytest.raises(Mendable) as caught:
        saturation_temperature_c([100.0, kpa])
    assert caught.value.where == "pressure_kpa[1]"
    assert "kPa absolute is outside 0.611213 to 22064" in caught.value.what
    assert "gauge" in caught.value.mend


@pytest.mark.parametrize("temperature_c", [-0.1, 374.0, math.nan])
def test_a_temperature_outside_the_range_is_named(temperature_c):
    with pytest.raises(Mendable, match=r"degC is outside 0 to 373\.946"):
        saturation_pressure_kpa(temperature_c)


@pytest.mark.published(source="Dalton and IF97, table of the reference page: 121 and 134 degC, 1 to 20 % air", sure="computed")
@pytest.mark.parametrize("row", of("air_depression_K"), ids=lambda r: f"{r['T_C']} {r['air_fraction']}")
def test_air_makes_steam_colder_than_its_pressure_says(row):
    assert float(air_depression_k(row["T_C"], row["air_fraction"])) == pytest.approx(row["expect"], abs=row["abs"])


@pytest.mark.published(
    source="worked example: 134.6 degC at 330 kPa is about 6.2 % air; 2 K are 6.1 % at 121 and 5.7 % at 134 degC", sure="computed"
)
def test_two_kelvin_are_about_six_per_cent_of_air():
    assert float(air_share(134.6, 330)) == pytest.approx(0.062, abs=0.001)
    assert float(air_share(121 - 2, saturation_pressure_kpa(121))) == pytest.approx(0.061, abs=0.001)
    assert float(air_share(134 - 2, saturation_pressure_kpa(134))) == pytest.approx(0.057, abs=0.001)
    assert float(air_share(136, 290)) == 0.0
