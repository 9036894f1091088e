"""Mixing by jug: amounts against published dilutions, the label as a wall, tolerances, dates."""

import math
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fettlebook.errors import Mendable
from fettlebook.science.mixing import Stated, finest_line_ml, label_strength, mix_by_jug, product_share, refuse_expired, use_by

LABEL = Stated(3.0, "% w/v")


@pytest.mark.published(
    source="hydrogen peroxide 35 % w/w, density 1.13 kg/L (handbook value): 396 g/L, 75.8 mL to 1 L give 30 g/L", sure="memory"
)
def test_seventy_six_ml_of_35_per_cent_by_weight_make_a_litre_of_3_per_cent():
    share = product_share(LABEL, Stated(35.0, "% w/w", 1.13))
    mix = mix_by_jug(1000.0, share, measure_ml=1.0, jug_ml=10.0)
    assert mix.product_ml == pytest.approx(75.8, abs=0.1)
    assert mix.product_ml + mix.water_ml == pytest.approx(1000.0)


@pytest.mark.published(
    source="10 volumes hydrogen peroxide is 30.35 g/L: 2 x 34.0147/22.414 x 10, strength by definition", sure="secondary"
)
def test_ten_volumes_is_thirty_grams_in_a_litre():
    share = product_share(Stated(30_350.0, "mg/L"), Stated(20.0, "volumes"))
    assert share == pytest.approx(0.5, abs=5e-4)


@pytest.mark.published(source="3 % w/v is 30 g/L: per cent weight in volume is grams in 100 mL, by definition", sure="memory")
def test_per_cent_by_volume_and_mg_in_a_litre_are_the_same_label():
    assert label_strength([LABEL], Stated(30_000.0, "mg/L")) == 0


@pytest.mark.published(source="10 mL of a concentrate made up to 1 L is 1 in 100, by definition", sure="memory")
def test_a_label_s_ml_in_a_litre_needs_no_strength_of_the_concentrate():
    assert product_share(Stated(2.0, "% w/v"), None, label_ml_per_l=10.0) == pytest.approx(0.01)


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        (Stated(1.5, "% w/v"), "off label: 1.5 % w/v"),
        (Stated(6.0, "% w/v"), "off label: 6 % w/v"),
        (Stated(3.0, "% w/w"), "off label: 3 % w/w"),  # without a density w/w is never taken for w/v
        (Stated(3.0, "% w/w", 1.01), "off label: 3 % w/w"),  # that is 30.3 g/L
    ],
)
def test_any_strength_but_the_label_s_is_off_label(asked, words):
    with pytest.raises(Mendable) as caught:
        label_strength([LABEL], asked)
    assert words in caught.value.what
    assert "3 % w/v" in caught.value.mend


def test_of_several_strengths_one_must_be_chosen():
    label = [LABEL, Stated(1.0, "% w/v")]
    with pytest.raises(Mendable, match="2 strengths"):
        label_strength(label)
    assert label_strength(label, Stated(1.0, "% w/v")) == 1
    with pytest.raises(Mendable, match="does not allow this use"):
        label_strength([])


def test_ready_to_use_is_not_to_be_diluted_and_too_weak_a_product_is_refused():
    with pytest.raises(Mendable, match="ready to use"):
        product_share(None, Stated(3.0, "% w/v"))
    with pytest.raises(Mendable, match="no dilution makes it stronger"):
        product_share(LABEL, Stated(1.0, "% w/v"))


def test_per_cent_by_weight_without_density_is_refused_and_says_whose():
    with pytest.raises(Mendable, match="density") as caught:
        product_share(LABEL, Stated(35.0, "% w/w"))
    assert caught.value.where == "product as it comes"
    with pytest.raises(Mendable, match="density") as caught:
        product_share(Stated(3.0, "% w/w"), Stated(35.0, "% w/w", 1.13))
    assert caught.value.where == "label's strength"


def test_an_unknown_concentrate_and_a_label_that_contradicts_itself_are_refused():
    with pytest.raises(Mendable, match="not known"):
        product_share(LABEL, None)
    with pytest.raises(Mendable, match="disagree"):
        product_share(Stated(2.0, "% w/v"), Stated(40.0, "% w/v"), label_ml_per_l=20.0)
    assert product_share(Stated(2.0, "% w/v"), Stated(40.0, "% w/v"), label_ml_per_l=50.0) == pytest.approx(0.05)


def test_a_product_at_the_label_s_strength_gets_no_water():
    mix = mix_by_jug(500.0, product_share(LABEL, LABEL), measure_ml=1.0, jug_ml=50.0)
    assert mix.undiluted
    assert (mix.product_ml, mix.weakest_share, mix.strongest_share) == (500.0, 1.0, 1.0)


batches = st.floats(100, 10_000)
shares = st.floats(0.01, 0.9)


@settings(max_examples=50, deadline=None)
@given(batches, shares, st.tuples(st.floats(0, 0.3), st.floats(0, 0.3)), st.tuples(st.floats(-1, 1), st.floats(-1, 1)))
def test_whatever_the_measure_and_jug_do_within_their_lines_the_strength_stays_in_the_range(batch, share, tools, off):
    measure_ml, jug_ml = tools[0] * share * batch, tools[1] * batch
    mix = mix_by_jug(batch, share, measure_ml=measure_ml, jug_ml=jug_ml)
    product, filled = mix.product_ml + off[0] * measure_ml, batch + off[1] * jug_ml
    true_share = min(1.0, product / filled) / share
    assert mix.weakest_share - 1e-9 <= true_share <= mix.strongest_share + 1e-9


def test_a_measure_too_coarse_for_the_product_and_a_jug_too_coarse_for_the_batch_are_named_together():
    with pytest.raises(Mendable) as caught:
        mix_by_jug(100.0, 0.05, measure_ml=10.0, jug_ml=100.0)
    assert [f.where for f in caught.value.findings] == ["measure", "jug"]
    assert finest_line_ml(100.0, 0.025) == pytest.approx(2.5)


@pytest.mark.parametrize("batch", [0.0, -1.0, 5.0, 1e9, math.nan, math.inf])
def test_no_jug_holds_nothing_or_a_lake(batch):
    with pytest.raises(Mendable, match="no batch"):
        mix_by_jug(batch, 0.1, measure_ml=1.0, jug_ml=1.0)


@pytest.mark.parametrize("share", [0.0, -0.1, 1.5, math.nan])
def test_no_solution_has_no_product_or_more_than_all(share):
    with pytest.raises(Mendable, match="share"):
        mix_by_jug(1000.0, share, measure_ml=1.0, jug_ml=1.0)


def test_a_package_past_its_date_or_its_life_once_opened_is_refused_for_both_reasons():
    day = date(2026, 11, 25)
    refuse_expired(day, opened_on=date(2026, 8, 27), open_days=90, expires_on=day)  # the last day counts
    with pytest.raises(Mendable) as caught:
        refuse_expired(day, opened_on=date(2026, 8, 26), open_days=90, expires_on=date(2026, 11, 24))
    assert [f.where for f in caught.value.findings] == ["expires", "opened"]
    with pytest.raises(Mendable, match="Correct the day"):
        refuse_expired(day, opened_on=date(2026, 12, 1))


def test_the_earliest_end_counts():
    mixed = datetime(2026, 11, 25, 17, 30, tzinfo=ZoneInfo("Europe/London"))
    assert use_by(mixed, mixed_hours=24.0).at == mixed + timedelta(days=1)
    ends = use_by(mixed, mixed_hours=24.0, expires_on=date(2026, 11, 25))
    assert (ends.at.day, ends.at.hour) == (25, 23)
    assert "package" in ends.because
    assert use_by(mixed, mixed_hours=None) is None


def test_hours_pass_over_a_clock_change():
    mixed = datetime(2026, 10, 24, 17, 30, tzinfo=ZoneInfo("Europe/London"))  # the clocks go back that night
    until = use_by(mixed, mixed_hours=24.0).at
    assert until.astimezone(UTC) - mixed.astimezone(UTC) == timedelta(hours=24)
    assert f"{until:%H:%M}" == "16:30"


def test_a_moment_without_zone_and_a_life_of_nothing_are_refused():
    with pytest.raises(Mendable, match="time zone"):
        use_by(datetime(2026, 11, 25, 17, 30), mixed_hours=24.0)  # noqa: DTZ001 - that is what is tested
    with pytest.raises(Mendable, match="life"):
        use_by(datetime(2026, 11, 25, tzinfo=UTC), mixed_hours=0.0)
