"""Where rules contradict a label or each other, both sides are told, with both sources."""

from datetime import date

import pytest

from fettlebook.rules.load import lay_rulebook


def notes(practice, on=None) -> str:
    return "\n".join(lay_rulebook(practice, on).rulebook.notes)


def test_an_acid_product_where_amalgam_runs_off_is_a_conflict_with_the_law(small):
    practice = small("us", amalgam="true")
    assert "Line product (invented) runs off at chair 1" in notes(practice)
    assert "pH is 3.5 to 4.5" in notes(practice)
    assert "40 CFR 441.30(b)(2)" in notes(practice)
    assert "Suction product" not in notes(practice)  # pH 6.5 to 7.5: inside
    assert lay_rulebook(practice).barred_by_law


@pytest.mark.parametrize(
    ("packs", "changes", "on"),
    [
        (("us",), {"amalgam": "false"}, None),
        (("uk",), {"amalgam": "true"}, None),
        (("us",), {"amalgam": "true", "ph": "ph = [6.0, 8.0]"}, None),
        (("us",), {"amalgam": "true"}, date(2017, 7, 13)),  # the day before the rule held
        (("us",), {"amalgam": "true", "in_use": ""}, None),  # not in use
    ],
)
def test_without_amalgam_layer_day_or_an_outside_ph_there_is_no_such_conflict(small, packs, changes, on):
    laid = lay_rulebook(small(*packs, **changes), on)
    assert not laid.barred_by_law


def test_a_product_without_a_ph_is_said_to_be_not_checked(small):
    practice = small("us", amalgam="true", ph="")
    assert "Not checked: Line product (invented)" in notes(practice)
    assert not lay_rulebook(practice).barred_by_law


def test_the_bottle_overnight_is_told_with_both_sides_and_only_where_there_is_a_bottle(small):
    assert "HTM 01-05, 2009 edition, para 6.83" in notes(small("uk"))
    assert "Read the label of Line product (invented)" in notes(small("uk"))
    assert "Bottle overnight" not in notes(small("uk", supply='{ kind = "mains through an air gap" }'))
    assert "Bottle overnight" not in notes(small("de"))


def test_a_pack_with_one_value_says_that_it_is_no_rulebook(small):
    assert "Pack pl is no full rulebook" in notes(small("pl"))


def test_both_ways_after_a_positive_spore_test_are_told(small):
    assert "wait for the retest" in notes(small("us"))
    assert "Positive spore test" not in notes(small("uk"))


def test_two_sets_of_sterilizing_times_are_told_where_both_layers_are_in_force(small):
    assert "validated for" in notes(small("us", "uk"))
    assert "validated for" not in notes(small("us"))
