"""A field that can't be right: the value seen, its line, and how to mend it, in our words."""

from collections.abc import Callable

import pytest

from fettlebook.errors import Finding
from fettlebook.practice.load import Loaded

Only = Callable[..., Finding]
Spoil = Callable[..., Loaded]


@pytest.mark.parametrize(
    ("old", "new", "where", "what", "mend"),
    [
        (
            "bore_mm = 4.0",
            "bore_mm = 20",
            'line 29, chair "chair 1", segment "feed", bore_mm',
            "20 is outside 0.5 to 10",
            "Give the inner diameter in mm. Is it 2.0?",
        ),
        (
            "bore_mm = 1.6",
            "bore_mm = 0.063",
            'line 30, chair "chair 1", segment "turbine hose", bore_mm',
            "0.063 is outside 0.5 to 10",
            "Give the inner diameter in mm. Is it 1.6 mm (0.063 inch)?",
        ),
        (
            "bore_mm = 4.0",
            "bore_mm = -4.0",
            'line 29, chair "chair 1", segment "feed", bore_mm',
            "-4 is outside 0.5 to 10",
            "Give the inner diameter in mm. Is it 4?",
        ),
        (
            "length_m = 2.0",
            "length_m = 200",
            'line 30, chair "chair 1", segment "turbine hose", length_m',
            "200 is not above 0 and at most 30",
            "Give the length in m. Is it 20.0?",
        ),
        (
            "length_m = 2.0",
            "lenght_m = 2.0",
            'line 30, chair "chair 1", segment "turbine hose", lenght_m',
            'unknown key "lenght_m"',
            "Is it length_m?",
        ),
        (
            "owned = 4",
            "owned = 4\nstored_in_the_blue_box = true",
            'line 61, set type "exam", stored_in_the_blue_box',
            'unknown key "stored_in_the_blue_box"',
            "Take it out. Known keys here: id, name, kind, owned, places, bath, dry_minutes, lubricate_minutes, most_cycles, cycle_types, "
            "gtin, giai.",
        ),
        (
            "flow_ml_min = 110.0",
            "flow_ml_min = 9000",
            'line 36, chair "chair 1", outlet "syringe", flow_ml_min',
            "9000 mL/min is 9 L/min through a syringe",
            "Measure again with cup and clock, and give the flow in mL/min.",
        ),
        (
            "flow_ml_min = 110.0",
            "flow_ml_min = -110.0",
            'line 36, chair "chair 1", outlet "syringe", flow_ml_min',
            "-110 is not above 0 and at most 5000",
            "Give the measured flow with this outlet open as in use in mL/min. Is it 110?",
        ),
        (
            "water_temperature_c = 12.0",
            "water_temperature_c = nan",
            "line 8, [practice], water_temperature_c",
            "nan is not a number that can be used",
            "Give the temperature of the coldest water that reaches the chairs in °C.",
        ),
        (
            "water_temperature_c = 12.0\n",
            "",
            "line 3, [practice], water_temperature_c",
            "water_temperature_c is missing",
            "Add water_temperature_c = ...: temperature of the coldest water that reaches the chairs in °C.",
        ),
        (
            "owned = 4",
            'owned = "4"',
            'line 60, set type "exam", owned',
            '"4" is text, not a whole number',
            "Write it without quotation marks: 4.",
        ),
        (
            "owned = 4",
            "owned = 4.0",
            'line 60, set type "exam", owned',
            "4 is not a whole number written without a point",
            "Give the number that the practice owns. Is it 4?",
        ),
        (
            "owned = 4",
            "owned = true",
            'line 60, set type "exam", owned',
            "true is true or false, not a whole number",
            "Give the number that the practice owns.",
        ),
        ('name = "Ana"', "name = 7", 'line 70, person "ana", name', "7 is a number, not text", 'Put it in quotation marks: "7".'),
        (
            "from = 08:00:00",
            'from = "08:00"',
            "line 12, opening 1, from",
            '"08:00" is text, not a time',
            "Write it without quotation marks and with seconds: 08:00:00.",
        ),
        (
            'from = "turbine hose", flow_ml_min = 50.0, measured_on = 2026-11-02',
            'from = "turbine hose", flow_ml_min = 50.0, measured_on = "2026-11-02"',
            'line 35, chair "chair 1", outlet "turbine", measured_on',
            '"2026-11-02" is text, not a date',
            "Write it without quotation marks: 2026-11-02.",
        ),
        (
            'skills = ["chairs", "instruments", "release"]',
            'skills = "chairs"',
            'line 71, person "ana", skills',
            '"chairs" is text, not a list',
            'Put it in square brackets: ["chairs"].',
        ),
        (
            'kind = "turbine"',
            'kind = "Turbin"',
            'line 35, chair "chair 1", outlet "turbine", kind',
            '"Turbin" is not one of: turbine, motor, scaler, syringe, cup filler, bowl rinse, other',
            'Is it "turbine"?',
        ),
        ("schema = 1", "schema = 2", "line 1, schema", "2 is not one of: 1", "Write one of these."),
        ('name = "Room 1"', 'name = ""', 'line 17, room "room 1", name', "the text is empty", "Give the name as it is shown."),
        (
            "temperature_c = [10.0, 30.0]",
            "temperature_c = [10.0]",
            'line 79, product "line care", label use 1, temperature_c',
            "the list has 1 of 2 values",
            "Give the list of the label's lowest and highest temperature in °C.",
        ),
        (
            'room = "room 1"',
            'room = "room 1"\namalgam = 1',
            'line 26, chair "chair 1", amalgam',
            "1 is a number, not true or false",
            "Write true or false, without quotation marks.",
        ),
        (
            "strength = 3.0",
            "strength = 2000000",
            'line 79, product "line care", label use 1, strength',
            "2000000 is not above 0 and at most 1000000",
            "Give the strength that the label asks for. Is it 200000.0?",
        ),
        (
            "uses = { exam = 1 }",
            "uses = { exam = 0 }",
            'line 87, visit kind "exam", uses, exam',
            "0 is outside 1 to 20",
            "Give the number of such sets that one visit uses.",
        ),
        (
            "ph = [3.5, 4.5]",
            "ph = [3.5, 4.5, 5.5]",
            'line 78, product "line care", ph',
            "the list has 3 entries, 2 are allowed",
            "Take the others out.",
        ),
    ],
)
def test_a_wrong_field_is_named_with_line_value_and_mend(only: Only, *, old: str, new: str, where: str, what: str, mend: str):
    assert only(old, new) == Finding(what, f"practice.toml {where}", mend)


def test_an_id_with_other_signs_gets_a_proposal(spoil: Spoil):
    found = spoil('id = "ana"', 'id = "Frau Öz/2"').errors
    assert len(found) == 1
    assert found[0].what == '"Frau Öz/2" has a sign that an id can\'t have'
    assert found[0].mend.endswith('Is it "Frau Oez-2"?')


def test_a_value_that_may_be_a_number_or_a_pair_gives_one_finding(spoil: Spoil):
    found = spoil("[[measured]]", '[[own_rules]]\nid = "x"\nvalue = "long"\n\n[[measured]]').errors
    assert [finding.what for finding in found] == ['"long" is text, not a number']


def test_a_missing_table_and_a_missing_list_say_how_they_are_written(spoil: Spoil):
    found = spoil("[reprocessing]\nload_minutes = 3\nunload_minutes = 3\npack_minutes = 3\ncool_minutes = 12\n", "").errors
    assert [finding.mend for finding in found] == ["Add the table [reprocessing]: attended minutes around the machines."]


def test_all_errors_of_a_file_stand_there_at_once_in_line_order(spoil: Spoil):
    loaded = spoil(
        "rulebooks = [\"general\"]", "",
        "bore_mm = 4.0", "bore_mm = 40",
        'from = "feed", bore_mm = 1.6', 'from = "turbine hose", bore_mm = 1.6',
        "owned = 4", 'owned = "4"',
        "to = 13:00:00", "to = 06:00:00",
        'chair = "chair 1"', 'chair = "chair 9"',
    )  # fmt: skip
    assert loaded.practice is None
    assert [(entry.line, entry.path[-1]) for entry in loaded.located] == [
        (3, "rulebooks"),
        (29, "bore_mm"),
        (30, "from"),  # the loop is found although the same chair has a wrong bore
        (60, "owned"),
        (72, "to"),
        (92, "chair"),
    ]


def test_a_stand_in_for_a_wrong_value_makes_no_finding_of_its_own(spoil: Spoil):
    found = spoil("flow_ml_min = 110.0", "flow_ml_min = 0").findings
    assert [finding.what for finding in found] == ["0 is not above 0 and at most 5000"]


def test_pydantic_never_speaks_to_the_user(spoil: Spoil):
    wrong = {
        "schema = 1": "schema = []",
        "rulebooks = [\"general\"]": "rulebooks = [1, {a = 1}, 2026-01-01]",
        'supply = { kind = "bottle", bottle_ml = 1000.0 }': "supply = 08:00:00",
        "uses = { exam = 1 }": "uses = [1]",
        "breaks = [[10:00:00, 10:15:00]]": "breaks = [[10:00:00], 7, [1, 2]]",
        "minutes = 48": "minutes = 99999999999999999999999999",
        "water_temperature_c = 12.0": "water_temperature_c = " + "9" * 400,
        "owned = 4": "owned = inf",
        'room = "room 1"': "room = false",
    }  # fmt: skip
    loaded = spoil(*(text for pair in wrong.items() for text in pair))
    assert len(loaded.errors) >= len(wrong)
    for finding in loaded.findings:
        for word in ("Input should", "Field required", "valid", "pydantic", "tuple", "instance", "this value", "None"):
            assert word not in f"{finding.what} {finding.mend}"
