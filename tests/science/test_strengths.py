"""Strengths and dilutions: definitions, and refusals where a number is missing."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fettlebook.errors import Mendable
from fettlebook.science.strengths import dilution, rinse_share, strength_in, strength_mg_l


@pytest.mark.published(source="definition of the strength in volumes of oxygen: 10 volumes are 30.35 g/L", sure="secondary")
def test_ten_volumes_of_peroxide_are_thirty_grams_a_litre():
    assert strength_mg_l(10, "volumes") == pytest.approx(30_350, abs=5)


@pytest.mark.published(source="definition of % w/v: grams in 100 mL", sure="memory")
def test_three_per_cent_by_volume_are_thirty_grams_a_litre():
    assert strength_mg_l(3, "% w/v") == 30_000
    assert strength_mg_l(250, "mg/L") == 250


@pytest.mark.published(source="density of 3 % w/w peroxide about 1.01, of 35 % w/w about 1.13 g/mL: 30.3 and about 396 g/L", sure="memory")
@pytest.mark.parametrize(("pct", "density", "g_l"), [(3, 1.01, 30.3), (35, 1.13, 396)])
def test_per_cent_by_weight_needs_the_density(pct, density, g_l):
    assert strength_mg_l(pct, "% w/w", density) == pytest.approx(1000 * g_l, rel=2e-3)


def test_per_cent_by_weight_without_density_is_refused():
    with pytest.raises(Mendable, match="no density") as caught:
        strength_mg_l(3, "% w/w")
    assert "safety data sheet" in caught.value.mend


@pytest.mark.parametrize(
    ("value", "unit", "density"),
    [(0, "mg/L", None), (-3, "% w/v", None), (float("nan"), "% w/v", None), (3, "%", None), (120, "% w/w", 1.1), (3, "% w/w", 1010)],
)
def test_a_strength_that_can_not_be_is_refused(value, unit, density):
    with pytest.raises(Mendable):
        strength_mg_l(value, unit, density)


@given(st.floats(0.001, 99), st.sampled_from(["% w/v", "% w/w", "mg/L", "volumes"]), st.floats(0.7, 1.9))
def test_a_strength_comes_back_in_its_own_unit(value, unit, density):
    assert strength_in(strength_mg_l(value, unit, density), unit, density) == pytest.approx(value)


@pytest.mark.published(source="V1 c1 = V2 c2: 75.8 mL of 396 g/L made up to 1 L give 30 g/L", sure="computed")
def test_a_dilution_is_made_up_to_the_mark():
    mix = dilution(396_000, 30_000, 1000)
    assert mix.product_ml == pytest.approx(75.8, abs=0.05)
    assert mix.product_ml + mix.water_ml == pytest.approx(1000)


@given(st.floats(1_000, 400_000), st.floats(0.001, 1), st.floats(100, 5000), st.floats(0, 0.4))
def test_a_misread_jug_brackets_the_strength(stock, share, batch, misread):
    mix = dilution(stock, stock * share, batch, jug_error_ml=misread * batch * share)
    assert mix.weakest_mg_l <= mix.strength_mg_l * (1 + 1e-12)
    assert mix.strength_mg_l <= mix.strongest_mg_l * (1 + 1e-12)
    assert mix.strongest_mg_l <= stock


def test_no_dilution_makes_a_product_stronger():
    with pytest.raises(Mendable, match="can't be made"):
        dilution(10_000, 30_000, 1000)


def test_a_jug_that_is_too_coarse_is_named():
    with pytest.raises(Mendable, match="finer measure"):
        dilution(396_000, 300, 1000, jug_error_ml=5)


def test_the_share_of_a_rinse_is_limit_over_strength():
    assert rinse_share(10, 30_000) == pytest.approx(1 / 3000)
    with pytest.raises(Mendable, match="not below"):
        rinse_share(30_000, 10)
