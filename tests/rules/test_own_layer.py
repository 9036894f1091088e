"""The practice's own layer: tighten at will, loosen with a reason that is shown, never below a law."""

from datetime import date

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from small_practice import small_practice_text

from fettlebook.errors import Mendable
from fettlebook.practice.load import read_practice
from fettlebook.rules.load import lay_rulebook, load_rulebook


def own(rule: str, value: str, *more: str) -> str:
    return "\n".join(["[[own_rules]]", f'id = "{rule}"', f"value = {value}", *more])


def refused(practice) -> Mendable:
    with pytest.raises(Mendable) as caught:
        load_rulebook(practice)
    return caught.value


def test_a_tighter_floor_needs_no_reason_and_shows_what_it_overrides(small):
    step = load_rulebook(small("uk", own=own("between.flush", "40.0", 'decided_by = "Ana"', "decided_on = 2026-02-01"))).step(
        "between.flush"
    )
    assert (step.seconds, step.origin.layer, step.origin.force) == (40, "own", "own")
    assert "Ana" in step.origin.source
    assert "2026-02-01" in step.origin.source
    assert [(over.value, over.origin.rule_id) for over in step.overrides] == [("20 to 30 s", "uk.water.flush_between_patients")]
    assert step.floor_range_s is None


def test_a_floor_where_no_layer_has_one_is_a_tightening(small):
    assert load_rulebook(small("general", own=own("close.rinse", "90"))).step("close.rinse").seconds == 90


def test_a_looser_floor_without_a_reason_is_refused_with_the_source_and_the_way_to_mend(small):
    error = refused(small("uk", own=own("first.flush", "60.0")))
    assert "60 s" in error.what
    assert "120 s" in error.what
    assert "HTM 01-05, 2009 edition, para 6.85" in error.what
    assert "own_rules" in error.where or "own rule" in error.where
    assert "value" in error.where
    assert "reason" in error.mend


def test_a_finding_names_file_and_line_where_the_file_is_at_hand():
    text = small_practice_text("uk", own=own("first.flush", "60.0"))
    loaded = read_practice(text.encode(), "ours.toml")
    with pytest.raises(Mendable) as caught:
        load_rulebook(loaded.practice, loaded=loaded)
    line = text.splitlines().index("value = 60.0") + 1
    assert caught.value.where == f'ours.toml line {line}, own rule "first.flush", value'


def test_a_blank_reason_is_no_reason(small):
    assert "no reason" in refused(small("uk", own=own("first.flush", "60.0", 'reason = "   "'))).what


def test_a_looser_floor_with_a_reason_stands_and_carries_the_reason(small):
    step = load_rulebook(small("uk", own=own("first.flush", "60.0", 'reason = "Unit flushes itself at night"'))).step("first.flush")
    assert step.seconds == 60
    assert step.origin.reason == "Unit flushes itself at night"
    assert step.overrides[0].value == "at least 120 s"


@pytest.mark.parametrize("rule", ["first.flush", "us-ca.water.flush_start_of_day"])
def test_a_floor_looser_than_a_law_is_refused_even_with_a_reason_and_the_law_is_named(small, rule):
    practice = small("us-ca", own=own(rule, "60.0", 'reason = "We are short of time"'))
    error = refused(practice)
    assert "law" in error.what
    assert "California Code of Regulations title 16 section 1005" in error.what
    assert "with or without a reason" in error.mend
    assert lay_rulebook(practice).rulebook.step("first.flush").seconds == 120  # the layer below stays in force


def test_inside_the_range_of_the_source_the_lower_end_needs_a_reason(small):
    assert "no reason" in refused(small("uk", own=own("between.flush", "20.0"))).what
    step = load_rulebook(small("uk", own=own("between.flush", "20.0", 'reason = "Lines are short"'))).step("between.flush")
    assert step.seconds == 20


def test_a_law_tightened_by_one_own_rule_is_still_the_law_for_another(small):
    rules = own("us-ca.water.flush_between_patients", "25.0") + "\n" + own("between.flush", "15.0", 'reason = "No time"')
    assert "looser than the law: at least 20 s" in refused(small("us-ca", own=rules)).what


@pytest.mark.parametrize(
    ("pack", "rule", "tight", "loose"),
    [
        ("us", "us.water.hpc_limit", "200.0", "600.0"),  # a ceiling: lower is tighter
        ("us", "all.spore_test", "2.0", "0.5"),  # a frequency: more is tighter
        ("general", "all.standing_still", "[16.0, 100.0]", "[48.0, 168.0]"),  # thresholds: earlier is tighter
        ("general", "all.sample.temp", "[3.0, 7.0]", "[2.0, 12.0]"),  # a window: inside is tighter
        ("general", "all.water.after_high_result", "[8.0, 12.0]", "[7.0, 21.0]"),
        ("de", "de.legionella.unit", "0.5", "2.0"),
        ("uk", "uk.legionella.action_high", "500.0", "2000.0"),  # "over 1000" is a figure to act on: lower is tighter
        ("uk", "uk.storage", "180.0", "400.0"),
    ],
)
def test_which_way_is_tighter_follows_from_the_row_not_from_the_sign(small, pack, rule, tight, loose):
    assert load_rulebook(small(pack, own=own(rule, tight))).limit(rule).origin.layer == "own"
    assert "looser" in refused(small(pack, own=own(rule, loose))).what
    limit = load_rulebook(small(pack, own=own(rule, loose, 'reason = "Agreed with the laboratory"'))).limit(rule)
    assert limit.origin.reason == "Agreed with the laboratory"
    assert limit.overrides


def test_own_thresholds_of_rest_move_the_duties(small):
    book = load_rulebook(small("general", own=own("all.standing_still", "[16.0, 100.0]")))
    assert {duty.id: duty.after_idle_h for duty in book.duties if duty.after_idle_h} == {"chair.still": 16, "chair.long_still": 100}


def test_an_own_rule_on_a_row_moves_the_floors_that_the_row_sets(small):
    book = load_rulebook(small("uk", own=own("uk.water.flush_start_of_day", "180.0")))
    assert {book.step(name).seconds for name in ("first.flush", "still.flush", "close.rinse")} == {180}


def test_a_looser_guidance_value_leaves_a_law_beside_it_in_force(small):
    book = load_rulebook(small("us-wa", own=own("us.water.hpc_limit", "900.0", 'reason = "Test"')))
    assert book.strictest("water count", "limit").id == "us-wa.water.hpc_limit"
    assert book.limit("us.water.hpc_limit").yields_to == "us-wa.water.hpc_limit"


@pytest.mark.parametrize(
    ("rule", "value", "what", "mend"),
    [
        ("between.flsh", "40.0", "between.flsh", 'Did you mean "between.flush"?'),
        ("uk.water.flush_between_patient", "40.0", "no step or limit", '"uk.water.flush_between_patients"'),
        ("chair.between", "40.0", "is a duty", "between.flush"),
        ("between.clear", "60.0", "no floor", "[[measured]]"),
        ("close.flush", "60.0", "not in force here: its treatment is not in use", "Take this own rule out"),
        ("us.water.hpc_limit", "100.0", 'pack "us"', "Take this own rule out"),
        ("between.flush", "0.0", "outside 1 to", "seconds"),
        ("between.flush", "-5.0", "outside 1 to", "seconds"),
        ("uk.inspect", "3.0", "no number", "Take this own rule out"),
        ("all.water.culture", "[3.0, 4.0]", "describes", "Take this own rule out"),
        ("all.steam_bands", "20.0", "3 numbers", "can't be set in a practice file"),
        ("all.sample.temp", "5.0", "2 numbers", "value = [first, second]"),
        ("uk.storage", "[1.0, 2.0]", "1 numbers", "one number, in d"),
    ],
)
def test_an_own_rule_that_can_not_stand_says_why_and_how_to_mend_it(small, rule, value, what, mend):
    error = refused(small("uk", own=own(rule, value)))
    assert what in error.what, error.what
    assert mend in error.mend, error.mend


def test_all_that_is_wrong_with_the_own_layer_is_said_at_once(small):
    rules = "\n".join([own("first.flush", "60.0"), own("nothing.like.it", "1.0"), own("close.rinse", "70.0")])
    told = [finding.what for finding in refused(small("uk", own=rules)).findings]
    assert len(told) == 3
    assert sum("no reason is given" in what for what in told) == 2


@pytest.mark.parametrize(
    ("step", "what", "mend"),
    [("betwen.clear", "no step is called", 'Did you mean "between.clear"?'), ("close.rinse", "computed, not measured", "[[own_rules]]")],
)
def test_measured_minutes_that_no_step_takes_up_are_named(small, step, what, mend):
    error = refused(small("uk", own=f'[[measured]]\nstep = "{step}"\nminutes = 3.0'))
    assert what in error.what
    assert mend in error.mend


def test_measured_minutes_of_a_step_that_is_not_in_use_today_may_stay(small):
    assert load_rulebook(small("uk", own='[[measured]]\nstep = "close.flush_start"\nminutes = 1.0'))


def test_an_own_rule_holds_from_the_day_of_its_decision(small):
    practice = small("uk", own=own("first.flush", "300.0", "decided_on = 2026-03-01"))
    before, after = load_rulebook(practice, date(2026, 2, 28)), load_rulebook(practice, date(2026, 3, 1))
    assert (before.step("first.flush").seconds, after.step("first.flush").seconds) == (120, 300)
    assert ("own" in before.layers, "own" in after.layers) == (False, True)


@settings(max_examples=60, deadline=None)
@given(
    value=st.floats(1, 600),
    pack=st.sampled_from(["general", "uk", "us", "us-ca", "de"]),
    step=st.sampled_from(["first.flush", "between.flush", "close.rinse", "still.flush", "close.contact"]),
)
@example(value=599.9999999999999, pack="general", step="close.contact")  # the last number under a floor of 10 minutes
def test_no_own_value_without_a_reason_ever_lowers_a_floor(value, pack, step):
    read = read_practice(small_practice_text(pack, own=own(step, repr(value))).encode(), "practice.toml")
    plain = load_rulebook(read_practice(small_practice_text(pack).encode(), "practice.toml").practice)
    laid = lay_rulebook(read.practice)
    floor, now = plain.step(step).seconds or 0, laid.rulebook.step(step).seconds or 0
    assert now >= floor
    assert (not laid.faults) == (value >= floor)
    assert now == max(value, floor) if not laid.faults else now == floor
