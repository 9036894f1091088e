"""The longest of rule, label and line sets each running time, and nothing shortens a label or a rule."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from times_practice import NO_PRODUCT, ONE_HOSE, PEROXIDE, read_small, rulebook, step

from fettlebook.rules.model import Computed, Limit, Origin, When
from fettlebook.science.circuits import outlet_seconds
from fettlebook.times.model import RunningTime
from fettlebook.times.order import order_hint
from fettlebook.times.running import running_times
from fettlebook.times.sure import DIFFUSION_LOG
from fettlebook.times.words import whole_s


def one(practice, book, **more) -> RunningTime:
    (time,) = running_times(practice, book, **more)
    return time


# --- which of the three sets it -----------------------------------------------------------------------------------------


@pytest.mark.invented
def test_a_rule_that_asks_more_than_the_line_sets_the_flush():
    time = one(read_small(ONE_HOSE, PEROXIDE), rulebook(step(Computed.FLUSH, 120)))
    assert (time.seconds, time.set_by, time.runner_up) == (120, "rule", "line")
    assert time.margin_s == 120 - math.ceil(next(c.seconds for c in time.candidates if c.set_by == "line"))


@pytest.mark.invented
def test_a_long_slow_hose_sets_the_flush_above_the_rule():
    chair = """
[[chairs]]
id = "chair 1"
room = "room 1"
supply = { kind = "mains through an air gap" }
segments = [{ id = "feed", bore_mm = 4.0, length_m = 3.0 }, { id = "hose", from = "feed", bore_mm = 2.5, length_m = 3.0 }]
outlets = [{ id = "scaler", kind = "scaler", from = "hose", flow_ml_min = 30.0, measured_on = 2026-11-02 }]
"""
    time = one(read_small(chair, PEROXIDE), rulebook(step(Computed.FLUSH, 120)))
    # V/Q = (37.70 + 14.73) mL / 30 mL/min = 104.9 s; the rule's two minutes are hardly more than one volume change
    assert time.set_by == "line"
    assert time.runner_up == "rule"
    assert time.seconds > 2 * 104


@pytest.mark.invented
def test_a_label_that_asks_the_longest_rinse_sets_it():
    label = PEROXIDE.replace("rinse_s = 120", "rinse_s = 400")
    time = one(read_small(ONE_HOSE, label), rulebook(step(Computed.RINSE, 120)))
    assert (time.seconds, time.set_by) == (400, "label")


@pytest.mark.invented
def test_where_rule_and_label_ask_the_same_the_label_is_named():
    time = one(read_small(ONE_HOSE, PEROXIDE), rulebook(step(Computed.CONTACT, 600.0)))
    assert (time.seconds, time.set_by, time.margin_s, time.runner_up) == (600, "label", 0, "rule")


@pytest.mark.invented
def test_where_rule_and_line_ask_the_same_the_rule_is_named():
    practice = read_small(ONE_HOSE, PEROXIDE)
    line = one(practice, rulebook(step(Computed.FLUSH)))
    time = one(practice, rulebook(step(Computed.FLUSH, float(line.seconds))))
    assert (line.set_by, line.runner_up) == ("line", None)
    assert (time.seconds, time.set_by, time.margin_s, time.runner_up) == (line.seconds, "rule", 0, "line")


@pytest.mark.invented
@pytest.mark.parametrize("floor", [None, 1.0, 599.0, 600.0, 900.0])
def test_a_contact_is_never_shorter_than_the_label(floor):
    time = one(read_small(ONE_HOSE, PEROXIDE), rulebook(step(Computed.CONTACT, floor)))
    assert time.seconds == max(600, floor or 0)
    assert time.set_by == ("rule" if (floor or 0) > 600 else "label")


@pytest.mark.invented
def test_a_measured_minute_shortens_no_computed_step():
    measured = '[[measured]]\nstep = "duty.contact"\nminutes = 1.0\n'
    time = one(read_small(ONE_HOSE, PEROXIDE, measured), rulebook(step(Computed.CONTACT)))
    assert time.seconds == 600
    assert any("measured minutes of this step are not used" in line for line in time.derivation)


# --- fixed and measured steps -------------------------------------------------------------------------------------------


@pytest.mark.invented
def test_a_measured_step_takes_the_practice_minutes_and_else_the_usual_figure_said_to_be_that():
    clear = step(None, 180, id="between.clear", length="measured", attended=True)
    usual = one(read_small(ONE_HOSE, NO_PRODUCT), rulebook(clear))
    assert (usual.seconds, usual.set_by, usual.notes) == (180, "usual", ("usual, not measured here",))
    measured = '[[measured]]\nstep = "between.clear"\nminutes = 2.5\n'
    own = one(read_small(ONE_HOSE, NO_PRODUCT, measured), rulebook(clear))
    assert (own.seconds, own.set_by, own.notes) == (150, "measured", ())


@pytest.mark.invented
def test_a_step_that_nobody_measured_and_that_has_no_usual_figure_is_not_zero():
    time = one(read_small(ONE_HOSE, NO_PRODUCT), rulebook(step(None, None, id="between.clear", length="measured")))
    assert time.seconds is None
    assert "[[measured]]" in time.missing


# --- what can't be said -------------------------------------------------------------------------------------------------


@pytest.mark.invented
@pytest.mark.parametrize(("water", "word"), [("9.5", "colder"), ("31.0", "warmer")])
@pytest.mark.parametrize("what", [Computed.FILL, Computed.CONTACT, Computed.SUCTION_CONTACT])
def test_water_outside_the_label_range_is_refused_and_nothing_is_extrapolated(water, word, what):
    practice = read_small(ONE_HOSE, PEROXIDE)
    head = practice.practice.model_copy(update={"water_temperature_c": float(water)})
    time = one(practice.model_copy(update={"practice": head}), rulebook(step(what, 600)))
    assert time.seconds is None
    assert time.set_by is None
    assert word in time.missing
    assert "10 to 30 degC" in time.missing


@pytest.mark.invented
def test_a_surface_label_tells_its_range_since_the_room_is_not_in_the_file():
    time = one(read_small(ONE_HOSE, PEROXIDE), rulebook(step(Computed.SURFACE_WET)))
    assert time.seconds == 120  # the water is colder than the wipes' range, which is about the room
    assert any("15 to 35 degC in the room: not checked" in line for line in time.derivation)


@pytest.mark.invented
def test_weight_per_weight_without_a_density_is_refused_and_with_it_computed():
    ww = PEROXIDE.replace("% w/v", "% w/w", 1)
    refused = one(read_small(ONE_HOSE, ww), rulebook(step(Computed.RINSE)))
    assert refused.seconds is None
    assert "density_kg_l" in refused.missing
    dense = ww.replace('label_ref = "invented label"', 'label_ref = "invented label"\ndensity_kg_l = 1.01')
    computed = one(read_small(ONE_HOSE, dense), rulebook(step(Computed.RINSE)))
    assert computed.outlets[0].residual == pytest.approx(10 / 30_300)


WEAKER = """[[products.uses]]
use = "line intensive"
strength = 1.0
strength_unit = "% w/v"
contact_s = 1800
temperature_c = [10.0, 30.0]
"""

GAPS = {
    "no product chosen": (Computed.FILL, NO_PRODUCT, "in_use.line_intensive"),
    "product not listed": (Computed.CONTACT, '[in_use]\nline_intensive = "lost"\n', '"lost"'),
    "off label": (Computed.CONTACT, PEROXIDE.replace('use = "line intensive"', 'use = "suction"'), "off label"),
    "two strengths": (
        Computed.CONTACT,
        PEROXIDE.replace("rinse_s = 120", "rinse_s = 120\n\n" + WEAKER),
        "2 entries",
    ),
    "no limit": (Computed.RINSE, PEROXIDE.replace("residual_limit_mg_l = 10.0\n", ""), "residual_limit_mg_l"),
    "no strength": (
        Computed.RINSE,
        PEROXIDE.replace('strength = 3.0\nstrength_unit = "% w/v"', 'strength_unit = "ready to use"', 1),
        "strength",
    ),
    "limit above strength": (
        Computed.RINSE,
        PEROXIDE.replace("residual_limit_mg_l = 10.0", "residual_limit_mg_l = 30000.0"),
        "another unit",
    ),
    "no suction product": (Computed.SUCTION_CONTACT, NO_PRODUCT, "in_use.suction"),
    "no surface product": (Computed.SURFACE_WET, NO_PRODUCT, "in_use.surfaces"),
}


@pytest.mark.invented
@pytest.mark.parametrize("case", GAPS)
def test_what_is_missing_is_said_with_its_mend_and_never_counted_as_zero(case):
    what, products, word = GAPS[case]
    time = one(read_small(ONE_HOSE, products), rulebook(step(what)))
    assert time.seconds is None
    assert word in time.missing
    assert time.missing.endswith(".")
    assert time.missing.count(". ") >= 1  # the reason, then the instruction


@pytest.mark.invented
def test_a_rinse_without_a_limit_still_says_what_it_lasts_at_least():
    label = PEROXIDE.replace("residual_limit_mg_l = 10.0\n", "")
    time = one(read_small(ONE_HOSE, label), rulebook(step(Computed.RINSE, 90)))
    assert time.seconds is None
    assert "at least 2:00" in time.missing
    assert {c.set_by for c in time.candidates} == {"rule", "label"}
    assert "Wear gloves and eye protection." in time.cautions  # somebody will rinse all the same


@pytest.mark.invented
def test_nothing_is_put_into_a_dosed_line_while_the_file_does_not_say_what_is_dosed():
    dosed = ONE_HOSE.replace('kind = "bottle", bottle_ml = 1500.0', 'kind = "continuous dosing", strength_mg_l = 2.0')
    filled, contact, rinse, flush = running_times(
        read_small(dosed, PEROXIDE),
        rulebook(step(Computed.FILL), step(Computed.CONTACT), step(Computed.RINSE), step(Computed.FLUSH, 120)),
    )
    assert all(t.seconds is None and "supply.product" in t.missing for t in (filled, contact, rinse))
    assert flush.seconds == 120


@pytest.mark.invented
def test_blowing_out_with_air_keeps_the_rule_and_without_one_is_not_known():
    practice = read_small(ONE_HOSE, PEROXIDE)
    assert one(practice, rulebook(step(Computed.FLUSH, 30, medium="air"))).seconds == 30
    assert one(practice, rulebook(step(Computed.FLUSH, medium="air"))).seconds is None


@pytest.mark.invented
def test_a_broken_line_is_a_reason_and_not_a_time():
    loop = ONE_HOSE.replace(
        'segments = [{ id = "hose",',
        'segments = [{ id = "feed", from = "hose", bore_mm = 4.0, length_m = 1.0 }, { id = "hose", from = "feed",',
    )
    lost = ONE_HOSE.replace('from = "hose"', 'from = "house"')
    for chair, word in ((loop, "loop"), (lost, "house")):
        time = one(read_small(chair, PEROXIDE), rulebook(step(Computed.FLUSH, 120)))
        assert time.seconds is None
        assert word in time.missing


@pytest.mark.invented
def test_a_chair_out_of_service_is_listed_and_marked():
    practice = read_small(ONE_HOSE.replace('room = "room 1"', 'room = "room 1"\nout_of_service = true'), PEROXIDE)
    time = one(practice, rulebook(step(Computed.FLUSH, 120)))
    assert time.out_of_service
    assert time.seconds == 120


# --- groups, volumes, outlets -------------------------------------------------------------------------------------------

UNIT = """
[[chairs]]
id = "chair 1"
room = "room 1"
run_together = [["turbine", "syringe"], ["cup filler"]]
supply = { kind = "bottle", bottle_ml = 400.0 }
segments = [
  { id = "feed", bore_mm = 4.0, length_m = 1.0 },
  { id = "turbine hose", from = "feed", bore_mm = 1.6, length_m = 2.0 },
  { id = "syringe hose", from = "feed", bore_mm = 2.0, length_m = 1.8 },
  { id = "cup hose", from = "feed", bore_mm = 4.0, length_m = 1.0 },
]
outlets = [
  { id = "turbine", kind = "turbine", from = "turbine hose", flow_ml_min = 50.0, measured_on = 2026-11-02 },
  { id = "syringe", kind = "syringe", from = "syringe hose", flow_ml_min = 110.0 },
  { id = "cup filler", kind = "cup filler", from = "cup hose", flow_ml_min = 900.0, measured_on = 2026-11-02 },
]
"""


@pytest.mark.invented
def test_groups_run_one_after_the_other_and_the_rule_is_counted_for_each():
    time = one(read_small(UNIT, PEROXIDE), rulebook(step(Computed.FLUSH, 120)))
    assert [(g.group, g.outlets, g.seconds, g.set_by) for g in time.groups] == [
        (1, ("turbine", "syringe"), 120, "rule"),
        (2, ("cup filler",), 120, "rule"),
    ]
    assert time.seconds == 240
    assert time.water_ml == pytest.approx(160 * 2 + 900 * 2)
    assert "refill 5 times" in " ".join(time.notes)  # 2,120 mL from a bottle of 400 mL
    assert time.unmeasured == ("syringe",)
    assert "flow not measured: syringe" in time.notes


@pytest.mark.invented
def test_the_flow_of_a_common_part_is_the_sum_of_the_outlets_that_are_open():
    time = one(read_small(UNIT, PEROXIDE), rulebook(step(Computed.FLUSH)))
    words = "\n".join(time.derivation)
    assert "feed 1 m x 4.0 mm holds 12.6 mL; at 160 mL/min one volume change takes 4.7 s" in words
    assert "feed 1 m x 4.0 mm holds 12.6 mL; at 900 mL/min one volume change takes 0.8 s" in words


@pytest.mark.invented
def test_an_outlet_in_no_group_runs_alone_after_the_groups():
    chair = UNIT.replace('run_together = [["turbine", "syringe"], ["cup filler"]]', 'run_together = [["turbine", "syringe"]]')
    time = one(read_small(chair, PEROXIDE), rulebook(step(Computed.FLUSH, 120)))
    assert [g.outlets for g in time.groups] == [("turbine", "syringe"), ("cup filler",)]


@pytest.mark.invented
def test_between_visits_only_the_last_hose_of_what_reaches_the_mouth_counts():
    flush = step(Computed.FLUSH, 20, outlets="used", medium="water and air")
    practice = read_small(UNIT, PEROXIDE)
    between = one(practice, rulebook(flush, when=When.BETWEEN_VISITS))
    morning = one(practice, rulebook(step(Computed.FLUSH, 20)))
    assert [o.outlet for o in between.outlets] == ["turbine", "syringe"]
    assert between.outlets[0].seconds < morning.outlets[0].seconds
    words = "\n".join(between.derivation)
    assert "feed" not in words
    assert "cup filler" in words  # passed over, and said


@pytest.mark.invented
def test_when_one_group_is_set_by_the_rule_and_one_by_the_line_both_are_kept():
    slow = UNIT.replace("length_m = 2.0 }", "length_m = 20.0 }").replace("flow_ml_min = 50.0", "flow_ml_min = 20.0")
    time = one(read_small(slow, PEROXIDE), rulebook(step(Computed.FLUSH, 120)))
    assert [g.set_by for g in time.groups] == ["line", "rule"]
    assert time.seconds == sum(g.seconds for g in time.groups)
    assert time.seconds > max(c.seconds for c in time.candidates)


@pytest.mark.invented
def test_the_fill_uses_solution_and_the_rinse_uses_water():
    filled, rinsed = running_times(read_small(ONE_HOSE, PEROXIDE), rulebook(step(Computed.FILL), step(Computed.RINSE)))
    assert filled.product_ml == pytest.approx(50 / 60 * filled.seconds)
    assert filled.water_ml == 0
    assert rinsed.water_ml == pytest.approx(50 / 60 * rinsed.seconds)
    assert rinsed.product_ml == 0


@pytest.mark.invented
def test_a_rule_of_the_book_replaces_the_share_that_fettlebook_chose():
    tight = Limit(
        "times.flush_share_left", "share left", "<=", (1.0,), "%", "limit", "", Origin("own", "x", "own decision", "practice", "own")
    )
    practice = read_small(ONE_HOSE, PEROXIDE)
    ours = one(practice, rulebook(step(Computed.FLUSH)))
    theirs = one(practice, rulebook(step(Computed.FLUSH), limits=(tight,)))
    assert ours.outlets[0].residual == 0.05
    assert theirs.outlets[0].residual == pytest.approx(0.01)
    assert theirs.seconds > ours.seconds
    assert any("own choice" in line for line in ours.derivation)
    assert not any("own choice" in line for line in theirs.derivation)


# --- what is shown beside it --------------------------------------------------------------------------------------------


@pytest.mark.invented
def test_cautions_name_what_to_wear_sterile_water_and_the_clash_with_amalgam():
    amalgam = ONE_HOSE.replace('room = "room 1"', 'room = "room 1"\namalgam = true')
    acid = PEROXIDE.replace('label_ref = "invented label"', 'label_ref = "invented label"\nph = [3.5, 4.5]')
    origin = Origin("us", "us.suction.cleaner", "rule of this test", "secondary", "law")
    ph = Limit("us.suction.cleaner", "pH of cleaners", "range", (6.0, 8.0), "pH", "limit", "each cleaning", origin)
    steps = (step(Computed.FLUSH, 120, handpieces="off"), step(Computed.FILL), step(Computed.RINSE))
    flush, filled, rinse = running_times(read_small(amalgam, acid), rulebook(*steps, limits=(ph,)))
    assert "Handpieces off." in flush.cautions
    assert any("sterile water" in c for c in flush.cautions)
    assert any("sterile water" in c for c in rinse.cautions)
    assert "Wear gloves and eye protection." in filled.cautions
    assert any("pH 6 to 8" in c and "3.5 to 4.5" in c for c in filled.cautions)


@pytest.mark.invented
def test_a_source_that_nobody_has_seen_is_marked_unchecked():
    memory = Origin("general", "x", "remembered", "memory", "guidance")
    time = one(read_small(ONE_HOSE, PEROXIDE), rulebook(step(Computed.FLUSH, 120, origin=memory)))
    assert time.unchecked
    assert any("unchecked" in line for line in time.derivation)


@pytest.mark.invented
@pytest.mark.parametrize(("method", "said"), [("exact", "solved wash-out"), ("safe bound", "0.63 divided by the root of the share")])
def test_the_derivation_says_how_the_line_was_reckoned_and_what_is_left_out(method, said):
    words = " ".join(one(read_small(ONE_HOSE, PEROXIDE), rulebook(step(Computed.FLUSH, 120)), method=method).derivation)
    assert said in words
    assert "does not remove biofilm" in words


@pytest.mark.invented
@pytest.mark.parametrize("what", [Computed.FLUSH, Computed.FILL, Computed.RINSE])
def test_the_time_that_counts_is_the_cautious_one_with_estimate_and_bound_beside_it(what):
    product = PEROXIDE.replace("rinse_s = 120\n", "")
    exact = one(read_small(UNIT, product), rulebook(step(what)))
    bound = one(read_small(UNIT, product), rulebook(step(what)), method="safe bound")
    assert exact.seconds == sum(math.ceil(max(o.seconds for o in exact.outlets if o.group == g) - 1e-6) for g in (1, 2))
    for outlet, most in zip(exact.outlets, bound.outlets, strict=True):
        assert outlet.nominal_s < outlet.seconds
        assert outlet.nominal_s <= outlet.bound_s == most.nominal_s
        assert outlet.reading in ("mixed", "coherent")
        assert most.reading == "bound"
    assert exact.nominal_s < exact.p95_s == pytest.approx(next(c.seconds for c in exact.candidates if c.set_by == "line"))


@pytest.mark.invented
def test_a_flow_that_was_measured_needs_less_caution_and_is_no_longer_what_to_measure_first():
    long = ONE_HOSE.replace("bore_mm = 1.6", "bore_mm = 3.3")  # a tenth of a millimetre matters little there
    book = rulebook(step(Computed.FLUSH))
    typed = one(read_small(long.replace(", measured_on = 2026-11-02", ""), NO_PRODUCT), book)
    cup = one(read_small(long, NO_PRODUCT), book)
    weighed = one(read_small(long.replace("2026-11-02", "2026-11-02, flow_within_pct = 2.0"), NO_PRODUCT), book)
    assert typed.nominal_s == cup.nominal_s == weighed.nominal_s
    assert typed.p95_s > cup.p95_s > weighed.p95_s
    assert typed.measure_first.startswith("the flow of turbine")
    assert not weighed.measure_first.startswith("the flow")


@pytest.mark.published(source="15 % of the diffusion coefficient moves the time to 1/3000 by about 4 %, own solution", sure="computed")
@pytest.mark.parametrize(("length_m", "bore_mm", "flow"), [(2.0, 1.6, 50.0), (3.0, 2.5, 30.0), (1.0, 1.2, 150.0)])
def test_the_rinse_allows_for_as_much_as_the_diffusion_of_the_product_can_be_out(length_m, bore_mm, flow):
    def rinse_s(diffusivity: float) -> float:
        hose = {"id": "h", "kind": "tube", "length_m": length_m, "bore_mm": bore_mm}
        plain = {"parts": [hose], "outlets": [{"part": "h", "flow_ml_min": flow}], "diffusivity_m2_s": diffusivity}
        return outlet_seconds(plain, method="exact")[0].rinse_s

    moved = math.log(rinse_s(0.85e-9) / rinse_s(1.0e-9))
    assert moved == pytest.approx(0.04, abs=0.006)
    assert moved <= DIFFUSION_LOG


@pytest.mark.practice_fact
def test_a_product_whose_diffusion_is_not_known_gets_the_safe_bound():
    other = PEROXIDE.replace('active = "hydrogen peroxide"', 'active = "quaternary ammonium"', 1)
    book = rulebook(step(Computed.RINSE))
    known, unknown = (one(read_small(ONE_HOSE, p), book) for p in (PEROXIDE, other))
    assert unknown.outlets[0].reading == "bound"
    assert unknown.p95_s > 2 * known.p95_s
    assert any("spreads in water is not known" in line for line in unknown.derivation)


@pytest.mark.invented
def test_groups_in_turn_get_a_hint_which_order_is_quickest_and_no_shorter_time():
    apart = UNIT.replace('run_together = [["turbine", "syringe"], ["cup filler"]]\n', "")
    practice, book = read_small(apart, PEROXIDE), rulebook(step(Computed.FLUSH))
    alone = one(practice, book)
    assert order_hint(practice, book, alone).startswith("Quickest order: cup filler, then ")  # it clears the common feed at once
    assert alone.seconds == sum(g.seconds for g in alone.groups)
    floor = rulebook(step(Computed.FLUSH, 600))
    assert order_hint(practice, floor, one(practice, floor)) == ""  # the rule holds for each group, in any order
    single = read_small(ONE_HOSE, PEROXIDE)
    assert order_hint(single, book, one(single, book)) == ""


# --- emptying, strips, dosed water ----------------------------------------------------------------------------------------


@pytest.mark.invented
def test_the_emptying_step_tells_how_much_to_put_in_and_what_runs_out():
    empty = step(None, 90, id="close.empty", length="measured", attended=True, medium="air")
    emptied, filled = running_times(read_small(UNIT, PEROXIDE), rulebook(empty, step(Computed.FILL)))
    assert emptied.waste_ml == pytest.approx(math.pi / 4 * (16 * 1.0 + 2.56 * 2.0 + 4.0 * 1.8 + 16 * 1.0))  # bore^2 times length
    amount = math.ceil(filled.product_ml / 10) * 10
    assert f"put in at least {amount:,} mL of mixed solution" in emptied.notes
    (unknown, _) = running_times(read_small(UNIT, NO_PRODUCT), rulebook(empty, step(Computed.FILL)))
    assert any("unknown" in note for note in unknown.notes)


@pytest.mark.invented
def test_a_strip_that_can_not_show_the_limit_is_told_and_shortens_nothing():
    blind = PEROXIDE.replace("residual_limit_mg_l = 10.0", "residual_limit_mg_l = 10.0\nstrip_lowest_mg_l = 25.0")
    book = rulebook(step(Computed.RINSE))
    time = one(read_small(ONE_HOSE, blind), book)
    assert any("show 25 mg/L at the lowest" in note for note in time.notes)
    assert any("proves nothing" in line for line in time.derivation)
    assert time.seconds == one(read_small(ONE_HOSE, PEROXIDE), book).seconds


DOSED = ONE_HOSE.replace('kind = "bottle", bottle_ml = 1500.0', 'kind = "continuous dosing", product = "daily", strength_mg_l = KEPT')
DAILY = (
    PEROXIDE
    + """
[[products]]
id = "daily"
name = "Daily peroxide (invented)"
active = "hydrogen peroxide"
uses = [{ use = "line continuous", strength = 20.0, strength_unit = "mg/L", contact_s = 60, temperature_c = [5.0, 30.0] }]
"""
)


@pytest.mark.invented
def test_dosed_water_flushes_until_its_level_is_at_the_last_outlet():
    book = rulebook(step(Computed.FLUSH))
    plain = one(read_small(ONE_HOSE, DAILY), book)
    level = one(read_small(DOSED.replace("KEPT", "20.0"), DAILY), book)
    filled = one(read_small(ONE_HOSE, DAILY), rulebook(step(Computed.FILL)))
    assert level.seconds == max(plain.seconds, filled.seconds)
    assert any("dosed level at the last outlet after" in note for note in level.notes)
    assert any("falls in standing water" in line for line in level.derivation)
    plenty = one(read_small(DOSED.replace("KEPT", "40.0"), DAILY), book)  # half of what is kept is enough for the label
    assert plenty.seconds == plain.seconds


@pytest.mark.invented
def test_a_dosing_below_the_label_is_never_reached_and_says_so_while_the_flush_stays():
    time = one(read_small(DOSED.replace("KEPT", "15.0"), DAILY), rulebook(step(Computed.FLUSH, 120)))
    assert time.seconds == 120
    words = "\n".join(time.derivation)
    assert "keeps 15 mg/L" in words
    assert "asks for 20 mg/L" in words
    assert "supply.strength_mg_l" in words
    assert any("can't be relied on" in note for note in time.notes)


@pytest.mark.invented
@pytest.mark.parametrize(("limit", "what"), [("times.flush_share_left", Computed.FLUSH), ("times.fill_share_missing", Computed.FILL)])
@pytest.mark.parametrize("value", [0.0, -1.0, 100.0, 250.0])
def test_a_share_that_nothing_can_reach_is_named_and_never_waited_for(limit, what, value):
    never = Limit(limit, "share", "<=", (value,), "%", "", "", Origin("own", limit, "own decision", "practice", "own"))
    time = one(read_small(ONE_HOSE, PEROXIDE), rulebook(step(what, 120), limits=(never,)))
    assert time.seconds is None
    assert limit in time.missing
    assert "own_rules" in time.missing


@pytest.mark.invented
@pytest.mark.parametrize(
    ("outlet", "head", "word"),
    [
        ({"flow_ml_min": 0.0}, {}, "flow_ml_min"),
        ({"flow_ml_min": math.nan}, {}, "flow_ml_min"),
        ({}, {"water_temperature_c": -3.0}, "temperature_c"),
    ],
)
def test_a_flow_of_zero_or_a_frozen_line_is_a_reason_and_not_a_time(outlet, head, word):
    practice = read_small(ONE_HOSE, PEROXIDE)
    chair = practice.chairs[0]
    wrong = practice.model_copy(
        update={
            "practice": practice.practice.model_copy(update=head),
            "chairs": (chair.model_copy(update={"outlets": (chair.outlets[0].model_copy(update=outlet),)}),),
        }
    )
    time = one(wrong, rulebook(step(Computed.FLUSH, 120)))
    assert time.seconds is None
    assert word in time.missing


@pytest.mark.invented
def test_a_flush_that_no_rule_asks_for_says_that_only_our_own_aim_sets_it():
    practice = read_small(ONE_HOSE, PEROXIDE)
    assert any("no rule in force" in n for n in one(practice, rulebook(step(Computed.FLUSH))).notes)
    assert not any("no rule in force" in n for n in one(practice, rulebook(step(Computed.FLUSH, 1))).notes)


@pytest.mark.invented
def test_the_practice_reason_for_a_looser_floor_is_shown_beside_it():
    own = Origin("own", "x", "own decision", "practice", "own", reason="two chairs share one separator")
    time = one(read_small(ONE_HOSE, PEROXIDE), rulebook(step(Computed.FLUSH, 60, origin=own)))
    assert any("two chairs share one separator" in line for line in time.derivation)


@pytest.mark.invented
def test_a_hose_that_no_outlet_draws_through_is_a_caution_and_a_rapid_flow_only_an_explanation():
    chair = ONE_HOSE.replace("length_m = 2.0 }]", 'length_m = 2.0 }, { id = "old branch", from = "hose", bore_mm = 2.0, length_m = 0.4 }]')
    time = one(read_small(chair, PEROXIDE), rulebook(step(Computed.FLUSH, 120)))
    assert any(c.startswith("old branch: no outlet draws through it") for c in time.cautions)
    rapid = ONE_HOSE.replace("bore_mm = 1.6", "bore_mm = 4.0").replace("flow_ml_min = 50.0", "flow_ml_min = 900.0")
    flow = one(read_small(rapid, PEROXIDE), rulebook(step(Computed.FLUSH, 120)))
    assert any("Reynolds" in line for line in flow.derivation)
    assert not any("Reynolds" in c for c in flow.cautions)


# --- properties ---------------------------------------------------------------------------------------------------------

BORE = st.floats(0.6, 3.3)
LENGTH = st.floats(0.1, 5.0)
FLOW = st.floats(10.0, 300.0)
STEPS = st.sampled_from([Computed.FLUSH, Computed.FILL, Computed.RINSE])


def hose(bore: float, length: float, flow: float) -> str:
    return (
        ONE_HOSE.replace("bore_mm = 1.6, length_m = 2.0", f"bore_mm = {bore!r}, length_m = {length!r}")
        .replace("flow_ml_min = 50.0", f"flow_ml_min = {flow!r}")
    )  # fmt: skip


@pytest.mark.invented
@settings(max_examples=40, deadline=None)
@given(
    bore=BORE,
    length=LENGTH,
    flow=FLOW,
    floor=st.floats(1.0, 600.0),
    what=STEPS,
    factor=st.floats(1.0, 3.0),
    change=st.sampled_from(["bore", "length", "flow", "floor"]),
)
def test_a_longer_or_wider_line_a_lower_flow_or_a_stricter_floor_never_gives_a_shorter_time(
    *, bore, length, flow, floor, what, factor, change
):
    product = PEROXIDE.replace("rinse_s = 120\n", "")
    base = one(read_small(hose(bore, length, flow), product), rulebook(step(what, floor)))
    if change == "bore":
        bore *= factor
    elif change == "length":
        length *= factor
    elif change == "flow":
        flow /= factor
    else:
        floor *= factor
    harder = one(read_small(hose(bore, length, flow), product), rulebook(step(what, floor)))
    assert harder.seconds >= base.seconds
    assert harder.seconds >= whole_s(floor)


@pytest.mark.invented
@settings(max_examples=25, deadline=None)
@given(st.floats(0.5, 5000.0), st.floats(1.0, 5.0))
def test_a_stricter_residual_limit_never_gives_a_shorter_rinse(limit, factor):
    def rinse(value: float) -> int:
        label = PEROXIDE.replace("residual_limit_mg_l = 10.0", f"residual_limit_mg_l = {value!r}")
        return one(read_small(ONE_HOSE, label), rulebook(step(Computed.RINSE))).seconds or 0

    assert rinse(limit / factor) >= rinse(limit) > 0
