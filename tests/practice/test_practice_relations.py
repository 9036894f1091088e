"""What only shows between the parts of a practice file: what hangs on what, who is where when, what uses which."""

from collections.abc import Callable

import pytest

from fettlebook.errors import Finding
from fettlebook.practice.check import check_practice
from fettlebook.practice.load import Loaded

Only = Callable[..., Finding]
Spoil = Callable[..., Loaded]

SUPPLY = 'supply = { kind = "bottle", bottle_ml = 1000.0 }'
FEED = '{ id = "feed", bore_mm = 4.0, length_m = 1.0 }'
TURBINE_HOSE = 'id = "turbine hose", from = "feed"'
SHIFT = 'shifts = [{ days = ["mon", "tue"], from = 07:30:00, to = 13:00:00, breaks = [[10:00:00, 10:15:00]] }]'


def test_the_small_practice_is_in_order(spoil: Spoil):
    loaded = spoil()
    assert loaded.findings == ()
    assert loaded.practice is not None
    assert check_practice(loaded.practice) == ()


# --- chairs --------------------------------------------------------------------------------------------------------------


def test_a_loop_in_the_lines_names_its_parts_and_who_gets_no_water(only: Only):
    found = only(TURBINE_HOSE, 'id = "turbine hose", from = "turbine hose"')
    assert found.where == 'practice.toml line 30, chair "chair 1", segment "turbine hose", from'
    assert found.what == 'the lines run in a loop: "turbine hose" from "turbine hose"; no water reaches turbine'
    assert found.mend == "Let one of them hang on the part before it, or leave from out for the supply."


def test_a_loop_over_a_stirred_volume_is_found_once(only: Only):
    found = only(FEED, '{ id = "feed", from = "syringe hose", bore_mm = 4.0, length_m = 1.0 }')
    assert found.what == 'the lines run in a loop: "feed" from "syringe hose" from "tank" from "feed"; no water reaches syringe, turbine'


def test_a_segment_that_hangs_on_nothing_says_who_gets_no_water(only: Only):
    found = only(TURBINE_HOSE, 'id = "turbine hose", from = "fed"')
    assert found.where == 'practice.toml line 30, chair "chair 1", segment "turbine hose", from'
    assert found.what == 'there is no segment or stirred volume "fed", so no water reaches turbine'
    assert found.mend == 'Is it "feed"?'


def test_an_outlet_that_hangs_on_nothing_or_on_an_outlet_is_named(only: Only):
    found = only('from = "syringe hose", flow', 'from = "hose", flow')
    assert found.where == 'practice.toml line 36, chair "chair 1", outlet "syringe", from'
    assert found.what == 'there is no segment or stirred volume "hose"'
    found = only('from = "syringe hose", flow', 'from = "turbine", flow')
    assert found.what == '"turbine" is an outlet, and nothing hangs on an outlet'


def test_a_stirred_volume_that_hangs_on_nothing_is_named(only: Only):
    found = only('{ id = "tank", from = "feed"', '{ id = "tank", from = "block"')
    assert found.where == 'practice.toml line 33, chair "chair 1", stirred volume "tank", from'
    assert found.what == 'there is no segment or stirred volume "block", so no water reaches syringe'


def test_two_parts_may_hang_on_the_supply(spoil: Spoil):
    assert spoil(TURBINE_HOSE, 'id = "turbine hose"').findings == ()


def test_a_chair_without_outlet_is_an_error(spoil: Spoil, small: str):
    start, end = small.index("outlets = ["), small.index("suction = ")
    found = spoil(small[start:end], "outlets = []\n", 'run_together = [["turbine", "syringe"]]\n', "").findings
    assert [str(finding) for finding in found] == [
        'practice.toml line 33, chair "chair 1", outlets: the chair has no outlet. '
        "Add each turbine, motor, scaler, syringe and filler with its measured flow."
    ]


def test_a_dead_leg_is_a_warning_that_says_no_flush_clears_it(spoil: Spoil):
    loaded = spoil(FEED, FEED + ',\n  { id = "old hose", from = "feed", bore_mm = 1.6, length_m = 1.5 }')
    (found,) = loaded.findings
    assert found.where == 'practice.toml line 30, chair "chair 1", segment "old hose"'
    assert found.what == '"old hose" feeds no outlet: a dead leg, which no flush clears'
    assert found.weight == "warning"
    assert loaded.practice is not None


@pytest.mark.parametrize(
    ("old", "new", "where", "what"),
    [
        ('room = "room 1"', 'room = "room 9"', 'line 25, chair "chair 1", room', 'there is no room "room 9"'),
        (
            ", bottle_ml = 1000.0 }",
            " }",
            'line 27, chair "chair 1", supply, bottle_ml',
            'bottle_ml is missing for the supply kind "bottle"',
        ),
        (
            '["turbine", "syringe"]',
            '["turbine", "syringe", "scaler"]',
            'line 26, chair "chair 1", run_together, entry 1, entry 3',
            'there is no outlet "scaler"',
        ),
        (
            '["turbine", "syringe"]',
            '["turbine", "syringe"], ["turbine"]',
            'line 26, chair "chair 1", run_together, entry 2, entry 1',
            'the outlet "turbine" stands twice',
        ),
        (
            "flow_ml_min = 110.0",
            "flow_ml_min = 900",
            'line 36, chair "chair 1", outlet "syringe", flow_ml_min',
            "900 mL/min is 0.9 L/min through a syringe; the usual is 20 to 500 mL/min",
        ),
        (
            "flow_ml_min = 110.0",
            "flow_ml_min = 0.11",
            'line 36, chair "chair 1", outlet "syringe", flow_ml_min',
            "0.11 mL/min is hardly a drop",
        ),
        ('id = "clean"', 'id = "room 1"', 'line 20, room "room 1", id', 'the id "room 1" stands twice'),
        ('id = "tank"', 'id = "feed"', 'line 33, chair "chair 1", stirred volume "feed", id', 'the id "feed" stands twice'),
        ('id = "syringe", kind', 'id = "turbine", kind', 'line 36, chair "chair 1", outlet "turbine", id', 'the id "turbine" stands twice'),
    ],
)
def test_a_chair_that_does_not_hang_together_is_an_error(spoil: Spoil, old: str, new: str, where: str, what: str):
    errors = spoil(old, new).errors
    assert (f"practice.toml {where}", what) in [(finding.where, finding.what) for finding in errors]


def test_a_flow_in_litres_is_asked_in_millilitres(only: Only):
    assert only("flow_ml_min = 110.0", "flow_ml_min = 0.11").mend == "Give the flow in mL/min. Is it 110 (0.11 L/min)?"


@pytest.mark.parametrize(
    ("old", "new", "what"),
    [
        ("flow_ml_min = 110.0", "flow_ml_min = 12", "12 mL/min is little for a syringe; the usual is 20 to 500"),
        (", flow_ml_min = 110.0, measured_on = 2026-11-02", ", flow_ml_min = 110.0", "the flow of 110 mL/min is not measured"),
        ('["turbine", "syringe"]', '["turbine"]', "not in any group, so opened alone after the others: syringe"),
        (
            'kind = "bottle", bottle_ml',
            'kind = "mains through an air gap", bottle_ml',
            'bottle_ml is not used with the supply kind "mains through an air gap"',
        ),
        ('equals = "Room 1", chair = "chair 1"', 'equals = "Room 1", visit_kind = "exam"', None),
        (
            'skills = ["chairs", "instruments", "release"]',
            'skills = ["chairs", "instruments"]',
            'nobody has the skill "release": a load is released by a person',
        ),
        (SHIFT, "shifts = []", "there is no shift, so nothing is planned for this person"),
        ("capacity_places = 6", "capacity_places = 6\nout_of_service = true", "every sterilizer is out of service"),
    ],
)
def test_what_is_unusual_but_possible_is_a_warning_and_the_file_can_be_used(spoil: Spoil, old: str, new: str, what: str | None):
    loaded = spoil(old, new)
    assert loaded.practice is not None
    assert [(finding.what, finding.weight) for finding in loaded.findings] == ([(what, "warning")] if what else [])


def test_dosing_needs_product_and_strength_and_a_label_for_it(spoil: Spoil):
    found = spoil('{ kind = "bottle", bottle_ml = 1000.0 }', '{ kind = "continuous dosing" }').findings
    assert [finding.what for finding in found] == [
        'product is missing for the supply kind "continuous dosing"',
        'strength_mg_l is missing for the supply kind "continuous dosing"',
    ]
    found = spoil(
        '{ kind = "bottle", bottle_ml = 1000.0 }', '{ kind = "continuous dosing", product = "line care", strength_mg_l = 2.0 }'
    ).findings
    assert [finding.what for finding in found] == ['the label of "line care" does not allow "line continuous", only: line intensive']


# --- hours and people ----------------------------------------------------------------------------------------------------


def test_opening_hours_that_end_before_they_begin_or_overlap_are_errors(only: Only):
    found = only("to = 12:00:00", "to = 08:00:00")
    assert (found.where, found.what) == ("practice.toml line 13, opening 1, to", "it closes at 08:00, but opens at 08:00")
    found = only('[[rooms]]\nid = "room 1"', '[[opening]]\ndays = ["tue"]\nfrom = 11:30:00\nto = 15:00:00\n\n[[rooms]]\nid = "room 1"')
    assert (found.where, found.what) == ("practice.toml line 15, opening 2", "it overlaps another stretch on tue")


def test_a_holiday_that_stands_twice_is_a_warning(only: Only):
    holiday = "[[holidays]]\ndate = 2026-12-25\n\n"
    found = only('[[rooms]]\nid = "room 1"', holiday * 2 + '[[rooms]]\nid = "room 1"')
    assert (found.where, found.what, found.weight) == ("practice.toml line 19, holiday 2, date", "2026-12-25 stands twice", "warning")


@pytest.mark.parametrize(
    ("zone", "mend"),
    [
        ("Europe/Berln", 'Is it "Europe/Berlin"?'),
        ("London", 'Is it "Europe/London"?'),
        ("new york", 'Is it "America/New_York"?'),
        ("../etc/passwd", None),
        ("Europe", None),
        ("", None),
    ],
)
def test_an_unknown_time_zone_gets_the_nearest_one(only: Only, zone: str, mend: str | None):
    found = only('time_zone = "Europe/Berlin"', f'time_zone = "{zone}"')
    assert found.where == "practice.toml line 6, [practice], time_zone"
    assert found.what == f'"{zone}" is not a known time zone'
    assert mend is None or found.mend == mend


@pytest.mark.parametrize(
    ("shift", "where", "what", "mend"),
    [
        (
            "from = 20:00:00, to = 04:00:00",
            "shift 1, to",
            "the shift ends at 04:00, but begins at 20:00",
            "Set over_midnight = true if it ends on the next day, or correct the times.",
        ),
        (
            "from = 08:00:00, to = 20:00:00, over_midnight = true",
            "shift 1, over_midnight",
            "the shift would last 36 hours",
            "Take over_midnight out, or correct the times.",
        ),
        (
            "from = 08:00:00, to = 12:00:00, breaks = [[11:50:00, 12:10:00]]",
            "shift 1, breaks, entry 1",
            "the break from 11:50 to 12:10 is outside the shift from 08:00 to 12:00",
            "Correct the break or the shift.",
        ),
        (
            "from = 08:00:00, to = 12:00:00, breaks = [[10:00:00, 09:45:00]]",
            "shift 1, breaks, entry 1",
            "the break from 10:00 to 09:45 ends before it begins",
            "Correct its times: [begin, end].",
        ),
        (
            "from = 08:00:00, to = 12:00:00, breaks = [[09:00:00, 10:00:00], [09:30:00, 09:45:00]]",
            "shift 1, breaks, entry 2",
            "the break from 09:30 to 09:45 overlaps another break",
            "Join the two, or correct their times.",
        ),
        (
            "from = 20:00:00, to = 04:00:00, over_midnight = true, breaks = [[04:30:00, 05:00:00]]",
            "shift 1, breaks, entry 1",
            "the break from 04:30 to 05:00 is outside the shift from 20:00 to 04:00",
            "Correct the break or the shift.",
        ),
        (
            'from = 08:00:00, to = 12:00:00 }, { days = ["tue", "wed"], from = 11:00:00, to = 15:00:00',
            "shift 2",
            "it overlaps another shift of the same person on tue",
            "Join the two, or correct days and times.",
        ),
        (
            'from = 20:00:00, to = 04:00:00, over_midnight = true }, { days = ["wed"], from = 03:00:00, to = 06:00:00',
            "shift 2",
            "it overlaps another shift of the same person on wed",
            "Join the two, or correct days and times.",
        ),
    ],
)
def test_a_shift_that_can_t_be_is_named(only: Only, shift: str, where: str, what: str, mend: str):
    found = only(SHIFT, f'shifts = [{{ days = ["mon", "tue"], {shift} }}]')
    assert found == Finding(what, f'practice.toml line 72, person "ana", {where}', mend)


def test_a_shift_over_sunday_night_overlaps_monday_morning(only: Only):
    two = '[{ days = ["sun"], from = 20:00:00, to = 06:00:00, over_midnight = true }, { days = ["mon"], from = 05:00:00, to = 09:00:00 }]'
    assert only(SHIFT, f"shifts = {two}").what == "it overlaps another shift of the same person on mon"


def test_a_day_that_stands_twice_in_a_shift_overlaps_itself(only: Only):
    assert only('days = ["mon", "tue"], from = 07:30:00', 'days = ["mon", "mon"], from = 07:30:00').what.startswith("it overlaps")


@pytest.mark.parametrize(
    "shift",
    [
        "from = 20:00:00, to = 04:00:00, over_midnight = true, breaks = [[23:50:00, 00:10:00], [01:00:00, 01:15:00]]",
        "from = 20:00:00, to = 00:00:00, over_midnight = true, breaks = [[22:00:00, 22:15:00]]",
        'from = 08:00:00, to = 12:00:00 }, { days = ["mon"], from = 12:00:00, to = 15:00:00',
    ],
)
def test_shifts_over_midnight_and_shifts_that_touch_are_in_order(spoil: Spoil, shift: str):
    assert spoil(SHIFT, f'shifts = [{{ days = ["mon", "tue"], {shift} }}]').findings == ()


def test_a_practice_in_which_nobody_can_do_the_work_is_not_in_order(spoil: Spoil):
    found = spoil('skills = ["chairs", "instruments", "release"]', 'skills = ["lead"]').errors
    assert [finding.what for finding in found] == ['nobody has the skill "chairs"', 'nobody has the skill "instruments"']


# --- instruments ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "where", "what", "mend"),
    [
        (
            "uses = { exam = 1 }",
            "uses = { exams = 1 }",
            'line 87, visit kind "exam", uses, exams',
            'there is no set type "exams"',
            'Is it "exam"?',
        ),
        (
            "owned = 4",
            "owned = 0",
            'line 87, visit kind "exam", uses, exam',
            'no "exam" is owned, so this visit can never be ready',
            "Correct owned in [[sets]], or what the visit uses.",
        ),
        (
            "uses = { exam = 1 }",
            "uses = { exam = 5 }",
            'line 87, visit kind "exam", uses, exam',
            'one visit uses 5 of "exam", but 4 are owned',
            "Correct owned in [[sets]], or what the visit uses.",
        ),
        (
            "owned = 4",
            "owned = 4\nplaces = 7",
            'line 61, set type "exam", places',
            "it takes 7 places, but no sterilizer has more than 6",
            "Correct places here, or capacity_places of the sterilizer.",
        ),
        (
            'day_cycle = "wrapped"',
            'day_cycle = "wraped"',
            'line 54, machine "sterilizer 1", day_cycle',
            'there is no cycle "wraped"',
            'Is it "wrapped"?',
        ),
        (
            'type = "B"',
            'type = "wash"',
            'line 53, machine "sterilizer 1", cycle "wrapped", type',
            '"wash" is no cycle type of a sterilizer',
            "Write B or N or S, or correct the machine's kind.",
        ),
    ],
)
def test_a_set_that_can_t_be_used_or_sterilized_is_named(only: Only, *, old: str, new: str, where: str, what: str, mend: str):
    assert only(old, new) == Finding(what, f"practice.toml {where}", mend)


def test_sets_without_a_washer_or_sterilizer_are_an_error(spoil: Spoil, small: str):
    start, end = small.index("[[machines]]"), small.index("[[sets]]")
    found = spoil(small[start:end], "").findings
    assert [finding.what for finding in found] == [
        "there is no sterilizer, though visits use sets",
        "there is no washer, though visits use sets",
    ]
    assert all(finding.where == "practice.toml line 40, sets" for finding in found)
    bath = 'kind = "ultrasonic bath"', 'cycles = [{ id = "wash", minutes = 10, type = "bath" }]'
    only_bath = spoil('kind = "washer"', bath[0], 'cycles = [{ id = "wash", minutes = 48, type = "wash" }]', bath[1]).findings
    assert [finding.what for finding in only_bath] == [
        "there is no washer, though visits use sets; an ultrasonic bath alone is not planned"
    ]


# --- products ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "where", "what"),
    [
        (
            'line_intensive = "line care"',
            'line_intensive = "line car"',
            "line 82, [in_use], line_intensive",
            'there is no product "line car"',
        ),
        (
            'line_intensive = "line care"',
            'surfaces = "line care"',
            "line 82, [in_use], surfaces",
            'the label of "line care" does not allow "surfaces", only: line intensive',
        ),
        (
            "[10.0, 30.0]",
            "[30.0, 10.0]",
            'line 79, product "line care", label use 1, temperature_c',
            "the lowest temperature 30 °C is above the highest 10 °C",
        ),
        (
            "[10.0, 30.0]",
            "[50.0, 104.0]",
            'line 79, product "line care", label use 1, temperature_c',
            "50 to 104 °C is outside 0 to 100 °C",
        ),
        ("ph = [3.5, 4.5]", "ph = [4.5, 3.5]", 'line 78, product "line care", ph', "the lowest pH 4.5 is above the highest 3.5"),
        ("ph = [3.5, 4.5]", "ph = [3.5, 45]", 'line 78, product "line care", ph', "a pH of 3.5 to 45 is outside 0 to 14"),
        ("strength = 3.0, ", "", 'line 79, product "line care", label use 1, strength', "strength is missing"),
        ("strength = 3.0, ", "strength = 300, ", 'line 79, product "line care", label use 1, strength', "300 % w/v is more than 100 %"),
    ],
)
def test_a_product_is_used_as_its_label_says_and_for_nothing_else(only: Only, old: str, new: str, where: str, what: str):
    found = only(old, new)
    assert (found.where, found.what, found.weight) == (f"practice.toml {where}", what, "error")


def test_two_strengths_of_one_label_leave_the_contact_time_open(only: Only):
    use = '{ use = "line intensive", strength = 3.0, strength_unit = "% w/v", contact_s = 600, temperature_c = [10.0, 30.0] }'
    found = only(use, f"{use}, {use.replace('600', '300').replace('3.0', '6.0')}")
    assert (found.where, found.weight) == ("practice.toml line 82, [in_use], line_intensive", "warning")
    assert found.what == '"line care" has 2 label uses for "line intensive", so its contact time can\'t be said'


# --- calendar and rulebook -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "where", "what"),
    [
        ('chair = "chair 1"', 'chair = "chair 7"', "line 92, [calendar], rule 1, chair", 'there is no chair "chair 7"'),
        (
            'chair = "chair 1"',
            'chair = "chair 1", visit_kind = "x"',
            "line 92, [calendar], rule 1, visit_kind",
            'there is no visit kind "x"',
        ),
        (", ignore = true", "", "line 93, [calendar], rule 2", "the rule does nothing"),
        (
            "ignore = true",
            'ignore = true, chair = "chair 1"',
            "line 93, [calendar], rule 2",
            "it ignores the entry and gives it a chair or kind as well",
        ),
        (
            'property = "categories", equals = "Meeting"',
            'property = "location", equals = "room 1"',
            "line 93, [calendar], rule 2",
            'it contradicts an earlier rule on location "room 1"',
        ),
        (
            'default_visit_kind = "exam"',
            'default_visit_kind = "check"',
            "line 90, [calendar], default_visit_kind",
            'there is no visit kind "check"',
        ),
        ('rulebooks = ["general"]', 'rulebooks = ["uk", "general"]', "line 7, [practice], rulebooks", 'the list begins with "uk"'),
        ('rulebooks = ["general"]', 'rulebooks = ["general", "uk", "uk"]', "line 7, [practice], rulebooks, entry 3", '"uk" stands twice'),
        (
            "minutes = 2.0",
            'minutes = 2.0\n[[measured]]\nstep = "between.clear"\nminutes = 3.0',
            'line 100, measured step "between.clear", step',
            '"between.clear" stands twice',
        ),
        (
            "[[measured]]",
            '[[own_rules]]\nid = "x"\nvalue = 1\n[[own_rules]]\nid = "x"\nvalue = 2\n[[measured]]',
            'line 100, own rule "x", id',
            '"x" stands twice',
        ),
    ],
)
def test_the_calendar_map_and_the_practice_s_own_values_say_one_thing(only: Only, old: str, new: str, where: str, what: str):
    found = only(old, new)
    assert (found.where, found.what, found.weight) == (f"practice.toml {where}", what, "error")


def test_a_rule_that_stands_twice_and_a_chair_that_no_rule_reaches_are_warnings(spoil: Spoil, small: str):
    rule = '  { property = "location", equals = "Room 1", chair = "chair 1" },\n'
    found = spoil(rule, rule * 2).findings
    assert [(finding.what, finding.weight) for finding in found] == [("the same rule stands twice", "warning")]
    chair = small[small.index("[[chairs]]") : small.index("[[machines]]")]
    found = spoil(chair, chair + chair.replace('"chair 1"', '"chair 2"')).findings
    assert [(finding.where, finding.weight) for finding in found] == [('practice.toml line 40, chair "chair 2"', "warning")]


# --- what the day plan asks ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "instead", "what"),
    [
        ("cool_minutes = 12", 'cool_minutes = 12\napart = [["exam", "exma"]]', 'there is no set type "exma"'),
        ("cool_minutes = 12", 'cool_minutes = 12\nstore = "attic"', 'there is no room "attic"'),
        (
            "cool_minutes = 12",
            'cool_minutes = 12\nways = [{ from = "clean", to = "room 1", minutes = 2 }]',
            "there are ways, but no room in which sets are kept",
        ),
        ("owned = 4", "owned = 4\nbath = true", "there is no ultrasonic bath"),
        ("owned = 4", 'owned = 4\ncycle_types = ["S"]', "no sterilizer has a cycle of type S"),
    ],
)
def test_what_the_plan_can_not_do_is_told_with_its_place(only: Only, line: str, instead: str, what: str):
    assert only(line, instead).what == what


@pytest.mark.parametrize(
    ("part", "words"),
    [
        ('{ what = "separator" }', "has no life"),
        ('{ what = "other", life_days = 30 }', "has no name"),
        ('{ what = "separator", life_days = 30 }, { what = "separator", life_days = 60 }', "stands here twice"),
    ],
)
def test_a_part_whose_life_nobody_could_tell_is_named(only: Only, part: str, words: str):
    assert words in only(SUPPLY, f"parts = [{part}]\n{SUPPLY}").what


def test_litres_through_a_part_need_a_bottle(only: Only):
    part = '{ what = "water filter", litres = 60.0 }'
    assert "without a bottle" in only(SUPPLY, f'parts = [{part}]\nsupply = {{ kind = "mains through an air gap" }}').what
