"""Criteria as data: every number has its source, memory shows as unchecked, rulebook and practice file come on top."""

import pytest
from small_practice import small_practice_text

from fettlebook.errors import Mendable
from fettlebook.practice.load import read_practice
from fettlebook.rules.cycle_criteria import bundled_criteria, criteria_of, find_criteria, read_criteria
from fettlebook.rules.load import load_rulebook


def rulebook(*packs: str, own: str = ""):
    loaded = read_practice(small_practice_text(*packs, own=own).encode(), "p.toml")
    assert loaded.practice, loaded.errors
    return load_rulebook(loaded.practice)


@pytest.mark.parametrize("row", bundled_criteria(), ids=lambda row: row.id)
def test_bundled_criteria_are_whole_and_say_where_each_number_comes_from(row):
    criteria = criteria_of(row)
    for limit in criteria.limits.values():
        assert limit.source
        assert limit.sure in {"read", "secondary", "memory", "practice", "computed"}
    assert criteria.sensors().temperature_k > 0


@pytest.mark.published(source="HTM 01-05 / HTM 2010: 121-124 degC 15 min, 126-129 degC 10 min, 134-137 degC 3 min", sure="memory")
@pytest.mark.parametrize(
    ("name", "band", "hold"),
    [
        ("steam-121-b", (121, 124), 900),
        ("steam-126-b", (126, 129), 600),
        ("steam-134-b", (134, 137), 180),
        ("steam-121-n", (121, 124), 900),
    ],
)
def test_the_holding_time_bands(name, band, hold):
    criteria = criteria_of(find_criteria(name))
    assert (criteria.band_c, criteria.number("hold_s")) == (band, hold)


@pytest.mark.published(
    source="CDC Guideline 2008, table 7, wrapped instruments: gravity 121 degC 30 min, 132 degC 15 min; dynamic 132 degC 4 min, dry 20-30",
    sure="read",
)
def test_the_exposures_of_the_united_states():
    for name, hold in (("steam-121-gravity", 1800), ("steam-132-gravity", 900), ("steam-132-dynamic", 240)):
        criteria = criteria_of(find_criteria(name))
        assert criteria.number("hold_s") == hold
        assert criteria.limits["hold_s"].sure == "read"
    assert criteria_of(find_criteria("steam-132-dynamic")).number("drying_s") == 1200


@pytest.mark.published(source="EN 285 / EN 13060: 0.13 kPa/min over 600 s after at most 300 s, from 7 kPa or less", sure="memory")
def test_the_leak_tests_numbers():
    criteria = criteria_of(find_criteria("leak-test"))
    numbers = [criteria.number(f"leak_{k}") for k in ("kpa_min", "measure_s", "settle_s", "start_kpa")]
    assert numbers == [0.13, 600, 300, 7]


def test_the_rulebooks_value_and_source_come_before_the_bundled_ones():
    own = '[[own_rules]]\nid = "eu.steam.air_leak"\nvalue = 0.1\ndecided_by = "lead"\n'
    criteria = criteria_of(find_criteria("leak-test"), rulebook("eu", own=own))
    assert criteria.number("leak_kpa_min") == 0.1
    assert "lead" in criteria.limits["leak_kpa_min"].source
    band = criteria_of(find_criteria("steam-134-b"), rulebook("uk"))
    assert band.number("hold_s") == 180
    assert band.limits["hold_s"].source == "HTM 01-05 / HTM 2010"


def test_the_machines_own_limits_come_on_top_and_never_shorten_a_hold():
    row = find_criteria("steam-134-b")
    criteria = criteria_of(row, None, {"hold_s": 210, "pulses": 4, "band_c": (134.5, 136.5)}, "validation report")
    assert (criteria.number("hold_s"), criteria.number("pulses"), criteria.band_c) == (210, 4, (134.5, 136.5))
    assert criteria.limits["pulses"].source == "validation report"
    with pytest.raises(Mendable, match="looser than 180"):
        criteria_of(row, None, {"hold_s": 150}, "validation report")
    with pytest.raises(Mendable, match="limits_from"):
        criteria_of(row, None, {"pulse_depth_kpa": 40})
    assert criteria_of(row, None, {"pulse_depth_kpa": 40}, "validation report").number("pulse_depth_kpa") == 40
    with pytest.raises(Mendable, match="no limit"):
        criteria_of(row, None, {"hold_min": 3})


OWN = b"""
schema = 1
[[criteria]]
id = "ours"
name = "our validated cycle"
kind = "steam"
cycle_type = "B"
based_on = "steam-134-b"
without = ["fluctuation_k"]
limit = [{ id = "pulses", value = 4, source = "validation report", sure = "read" }]
"""


def test_a_file_of_ones_own_takes_over_and_changes():
    (row,) = read_criteria(OWN, "ours.toml")
    criteria = criteria_of(row)
    assert criteria.number("pulses") == 4
    assert criteria.number("hold_s") == 180
    assert not criteria.has("fluctuation_k")


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        (b"schema = 1", b"schema = ", "not readable as TOML"),
        (b'"steam-134-b"', b'"steam-135-b"', 'no criteria are called "steam-135-b"'),
        (b'"steam-134-b"', b'"ours"', "no criteria are called"),
        (b'"fluctuation_k"', b'"swing"', '"swing" is no limit'),
        (b'"pulses", value = 4', b'"pulse", value = 4', '"pulse" is no limit'),
        (b'"pulses", value = 4', b'"pulses", value = "4"', "criteria.0.limit.0"),
        (b'"pulses", value = 4', b'"pulses", value = [4.0, 5.0]', "pulses has 2 numbers"),
        (b'based_on = "steam-134-b"\nwithout = ["fluctuation_k"]', b"", "without band_c"),
        (b'sure = "read"', b'sure = "surely"', "Input should be"),
        (b"our validated", b"\xff", "is not UTF-8"),
    ],
)  # fmt: skip
def test_a_bad_criteria_file_is_refused_with_its_place(old: bytes, new: bytes, says: str):
    with pytest.raises(Mendable) as caught:
        read_criteria(OWN.replace(old, new), "ours.toml")
    assert any(says in str(finding) for finding in caught.value.findings), caught.value.findings
    assert all("ours" in finding.where for finding in caught.value.findings)


def test_criteria_that_lean_on_each_other_in_a_circle_are_refused():
    two = OWN.replace(b'"steam-134-b"', b'"other"') + OWN.replace(b"schema = 1\n", b"").replace(b'"ours"', b'"other"').replace(
        b'"steam-134-b"', b'"ours"'
    )
    with pytest.raises(Mendable, match="circle"):
        read_criteria(two, "ours.toml")


def test_a_name_that_there_isnt_is_answered_with_the_nearest():
    with pytest.raises(Mendable, match='Did you mean "steam-134-b"'):
        find_criteria("steam-134b")
