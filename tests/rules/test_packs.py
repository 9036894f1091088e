"""The packs hold every row once, with its source and how sure it is, and a bad pack is named."""

from collections import Counter
from pathlib import Path

import pytest

from fettlebook.rules.pack import read_pack
from fettlebook.rules.shelf import bundled_pack, order_layers, pack_names

LINES = [line.split() for line in (Path(__file__).parent / "rows.txt").read_text().splitlines() if not line.startswith("#")]
# Rows of fettlebook's own, beside those of the guidance: what no document states, said to be that.
OWN = {
    "all.outlets.rarely_used": 1,
    "all.water.flush_start_of_day": 120,
    "times.flush_share_left": 5,
    "times.flush_share_left_between": 5,
    "times.fill_share_missing": 5,
}
PACKS = [bundled_pack(name) for name in pack_names()]
ROWS = {row.id: row for pack in PACKS for row in pack.requirement}
STEPS = [step for pack in PACKS for duty in pack.duty for step in duty.steps] + [step for pack in PACKS for step in pack.added_step]


def test_every_row_handed_over_stands_in_exactly_one_pack():
    counted = Counter(row.id for pack in PACKS for row in pack.requirement)
    assert len(LINES) == 133
    assert counted == Counter({name: 1 for name, _, _ in LINES} | dict.fromkeys(OWN, 1))


@pytest.mark.parametrize(("name", "value"), OWN.items())
def test_a_row_of_our_own_says_that_no_document_states_it(name, value):
    row = ROWS[name]
    assert (row.force, row.sure, row.values) == ("practice", "practice", (value,))
    assert "common practice, no source" in row.source or "fettlebook's own choice; no authority states a share" in row.source


@pytest.mark.parametrize(("name", "sure", "force"), LINES)
def test_how_sure_and_with_which_force_a_row_is_known_is_unchanged(name, sure, force):
    assert (ROWS[name].sure, ROWS[name].force) == (sure, force)
    assert ROWS[name].source.strip()


def test_a_row_lies_in_the_pack_of_its_jurisdiction():
    shared = {"all": "general", "int": "general", "uk, eu": "en-standards", "eu, uk": "en-standards"}
    for pack in PACKS:
        for row in pack.requirement:
            assert shared.get(row.jurisdiction, row.jurisdiction) == pack.pack.id, row.id


def test_rows_and_duties_name_only_steps_and_rows_that_exist():
    ids = {step.id for step in STEPS}
    assert {step for row in ROWS.values() for step in row.steps} <= ids
    assert {name for step in STEPS for name in step.beside} <= ids
    assert {name for pack in PACKS for duty in pack.duty for name in duty.covers} <= ids
    assert {duty.rule for pack in PACKS for duty in pack.duty if duty.rule} <= set(ROWS)
    assert {step.after for pack in PACKS for step in pack.added_step} <= ids


def test_step_and_duty_ids_are_used_once_over_all_packs():
    names = [step.id for step in STEPS] + [duty.id for pack in PACKS for duty in pack.duty] + list(ROWS)
    assert [name for name, count in Counter(names).items() if count > 1] == []


def test_what_a_pack_builds_on_lies_beneath_it_listed_or_not():
    assert order_layers(("us-wa",)) == ("general", "us", "us-wa")
    assert order_layers(("us-wa", "general")) == ("general", "us", "us-wa")
    assert order_layers(("de", "uk")) == ("general", "en-standards", "eu", "de", "uk")


HEAD = 'schema = 1\n[pack]\nid = "own"\nname = "Own"\nedition = "1"\ndate = 2026-01-01\nbuilds_on = []\nscope = "Test."\n'
ROW = (
    '[[requirement]]\nid = "own.flush"\ngroup = "water"\ntopic = "flush"\nvalue = 30\nunit = "s"\ncompare = ">="\njurisdiction = "all"\n'
    'force = "practice"\nsource = "invented"\nsure = "practice"\nstricter = "higher"\n'
)
STEP = (
    '[[duty]]\nid = "own.duty"\nname = "Duty"\nsubject = "chair"\nwhen = "weekly"\n[[duty.steps]]\nid = "own.step"\nname = "Step"\n'
    'attended = true\nlength = "measured"\nseconds = 60\nevidence = ["step entry"]\n'
)


@pytest.mark.parametrize(
    ("text", "place", "told"),
    [
        (HEAD + ROW.replace('force = "practice"', 'force = "habit"'), "requirement 1 (own.flush), force", "habit"),
        (HEAD + ROW.replace("source =", "sauce ="), "requirement 1 (own.flush), sauce", "not permitted"),
        (HEAD + ROW.replace("source =", "sauce ="), "requirement 1 (own.flush), source", "required"),
        (HEAD + ROW.replace('unit = "s"\n', ""), "requirement own.flush", "without compare, unit or stricter"),
        (HEAD + ROW + ROW, "own.flush", "stands twice"),
        (HEAD + ROW.replace("value = 30", "value = [30, 20]").replace('">="', '"range"'), "requirement own.flush", "range"),
        (HEAD + STEP.replace('when = "weekly"', 'when = "sometimes"'), "duty 1 (own.duty), when", "sometimes"),
        (HEAD + STEP.replace("attended = true", 'attended = "yes"'), "duty 1 (own.duty), steps 1 (own.step), attended", "yes"),
        (HEAD + STEP.replace("seconds = 60\n", ""), "step own.step", "seconds None"),
        (HEAD + STEP.replace('"measured"', '"computed"'), "step own.step", "computes None"),
        (HEAD.replace("schema = 1", "schema = 9"), "schema", "9"),
        (HEAD + "[[requirement", "bad.toml", "TOML"),
    ],
)
def test_a_bad_pack_names_its_file_its_place_and_the_value(text, place, told):
    read = read_pack(text.encode(), "bad.toml")
    assert read.pack is None
    found = [finding for finding in read.findings if place in finding.where and told in finding.what]
    assert found, [str(finding) for finding in read.findings]
    assert all(finding.where.startswith("bad.toml") and finding.mend.endswith(".") for finding in found)


def test_a_pack_that_is_no_text_is_refused():
    assert "UTF-8" in read_pack(b"\xff\xfe", "bad.toml").findings[0].what


def test_a_good_pack_of_the_same_text_is_read():
    assert read_pack((HEAD + ROW + STEP).encode(), "good.toml").findings == ()
