"""Water and flow against published values and against the open libraries iapws and fluids."""

import fluids
import iapws
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fettlebook.errors import Mendable
from fettlebook.science import hydraulics, water

EVERY_FIVE_C = (5, 10, 15, 20, 25, 30, 35, 40)


@pytest.mark.published(source="IAPWS R6-95 as computed by the open library iapws", sure="secondary")
@pytest.mark.parametrize("temperature_c", EVERY_FIVE_C)
def test_density_agrees_with_the_international_formulation(temperature_c):
    assert water.density_kg_m3(temperature_c) == pytest.approx(iapws.IAPWS95(T=temperature_c + 273.15, P=0.101325).rho, abs=0.01)


@pytest.mark.published(source="IAPWS R12-08 as computed by the open library iapws", sure="secondary")
@pytest.mark.parametrize("temperature_c", EVERY_FIVE_C)
def test_viscosity_agrees_with_the_international_formulation(temperature_c):
    assert water.viscosity_pa_s(temperature_c) == pytest.approx(iapws.IAPWS95(T=temperature_c + 273.15, P=0.101325).mu, rel=1e-4)


@pytest.mark.published(source="IAPWS R12-08 table 4: 889.735100 uPa s at 298.15 K and 998 kg/m3", sure="secondary")
def test_viscosity_at_25_degrees_is_that_of_the_release():
    assert float(water.viscosity_pa_s(25)) * 1e6 == pytest.approx(889.7351, rel=5e-4)  # 998 kg/m3 is 25 degC at 0.1 MPa within 0.1 %


@pytest.mark.published(source="electrochemical literature: 1.2 to 1.5e-9 m2/s at 25 degC", sure="memory")
def test_peroxide_diffuses_as_fast_as_the_literature_says():
    assert 1.2e-9 <= float(water.peroxide_diffusivity_m2_s(25)) <= 1.5e-9


def test_peroxide_diffuses_faster_in_warmer_water():
    assert np.all(np.diff(water.peroxide_diffusivity_m2_s(np.arange(1, 46))) > 0)


@pytest.mark.parametrize("temperature_c", [-3, 0, 46, float("nan"), float("inf")])
def test_a_temperature_outside_the_range_is_named(temperature_c):
    with pytest.raises(Mendable) as caught:
        water.viscosity_pa_s([20, temperature_c])
    assert caught.value.where == "temperature_c"
    assert "degC" in caught.value.what


@pytest.mark.published(
    source="Hagen-Poiseuille with IAPWS viscosity 1.0015673e-3 Pa s: 2 m x 1.6 mm, 50 mL/min, 20 degC 10.378 kPa", sure="computed"
)
def test_a_turbine_hose_loses_ten_kilopascal():
    assert float(hydraulics.pressure_drop_kpa(50, 2.0, 1.6, 20)) == pytest.approx(10.378, rel=1e-4)


@pytest.mark.published(source="Churchill 1977: Re 500, 2000, 1e4 smooth, and 1e5 at e/d 1e-3", sure="memory")
@pytest.mark.parametrize(
    ("reynolds", "roughness", "friction"), [(500, 0, 0.128), (2000, 0, 0.03204), (1e4, 0, 0.031002), (1e5, 1e-3, 0.022343)]
)
def test_friction_has_the_values_of_churchill(reynolds, roughness, friction):
    assert float(hydraulics.churchill_friction(reynolds, roughness)) == pytest.approx(friction, rel=5e-4)


@pytest.mark.published(source="open library fluids: Churchill_1977 and friction_laminar", sure="secondary")
@given(st.floats(10, 1e6), st.floats(0, 0.05))
def test_friction_agrees_with_the_fluids_library(reynolds, roughness):
    assert float(hydraulics.churchill_friction(reynolds, roughness)) == pytest.approx(
        fluids.friction.Churchill_1977(reynolds, roughness), rel=1e-9
    )


@pytest.mark.published(source="open library fluids: friction_laminar through Darcy-Weisbach", sure="secondary")
@given(st.floats(1, 100), st.floats(0.1, 5), st.floats(1, 6), st.floats(2, 44))
def test_laminar_loss_agrees_with_the_fluids_library(flow_ml_min, length_m, bore_mm, temperature_c):
    rho, mu = float(water.density_kg_m3(temperature_c)), float(water.viscosity_pa_s(temperature_c))
    speed = flow_ml_min / 6e7 / (np.pi / 4 * (bore_mm / 1e3) ** 2)
    re = fluids.core.Reynolds(speed, bore_mm / 1e3, rho=rho, mu=mu)
    assert float(hydraulics.reynolds(flow_ml_min, bore_mm, temperature_c)) == pytest.approx(re, rel=1e-9)
    if re < 2000:
        loss = fluids.friction.friction_laminar(re) * length_m / (bore_mm / 1e3) * rho * speed**2 / 2
        assert float(hydraulics.pressure_drop_kpa(flow_ml_min, length_m, bore_mm, temperature_c)) == pytest.approx(loss / 1e3, rel=1e-9)


@pytest.mark.published(source="textbook: laminar below about 2000, turbulent above about 4000", sure="memory")
def test_the_regime_is_named():
    assert [hydraulics.regime(re) for re in (1999, 2001, 4001)] == ["laminar", "transitional", "turbulent"]
