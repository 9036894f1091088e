"""Layers: the strictest in force wins, what it overrides stays visible, and a past day has the rules of that day."""

from datetime import date
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_practice import small_practice_text

from fettlebook.errors import Mendable
from fettlebook.practice.load import read_practice
from fettlebook.rules.duties import HANDPIECES, MEDIA, OUTLETS
from fettlebook.rules.load import lay_packs, load_rulebook
from fettlebook.rules.model import Limit, Rulebook, Subject, When
from fettlebook.rules.pack import Pack
from fettlebook.rules.shelf import bundled_pack, order_layers, pack_names
from fettlebook.rules.strictness import Bound, against


def bound(limit: Limit) -> Bound:
    return Bound(limit.compare, limit.value, limit.unit, limit.stricter)


def test_the_strictest_floor_sets_the_step_and_the_others_stay_visible(small):
    step = load_rulebook(small("general", "us", "us-ca")).step("between.flush")
    assert step.seconds == 30  # upper end of the 20 to 30 s of the federal row, over the state's 20 s
    assert step.floor_range_s == (20, 30)
    assert step.origin.rule_id == "us.water.flush_after_patient"
    assert "upper end" in step.origin.note
    assert [(over.value, over.origin.layer, over.origin.force) for over in step.overrides] == [("at least 20 s", "us-ca", "law")]


def test_a_floor_that_only_a_state_sets_comes_from_the_state(small):
    country = load_rulebook(small("general", "us")).step("first.flush")
    assert (country.seconds, country.origin.layer, country.origin.force) == (120, "general", "practice")  # nobody's rule: common practice
    step = load_rulebook(small("general", "us", "us-ca")).step("first.flush")
    assert (step.seconds, step.origin.layer, step.origin.sure, step.handpieces) == (120, "us-ca", "secondary", "off")


@pytest.mark.parametrize(("pack", "row"), [("uk", "uk.water.flush_start_of_day"), ("de", "de.water.flush_start_of_day")])
def test_a_country_that_asks_for_the_same_as_common_practice_is_the_one_that_is_named(small, pack, row):
    step = load_rulebook(small("general", pack)).step("first.flush")
    assert (step.seconds, step.origin.rule_id) == (120, row)


def test_usual_minutes_never_carry_the_name_of_the_authority_that_asks_for_the_step(small):
    book = load_rulebook(small("general", "uk", "us-wa", "us-ca", "de"))
    measured = [step for duty in book.duties for step in duty.steps if step.length == "measured"]
    assert {step.origin.force for step in measured} == {"practice"}
    assert book.step("between.clear").asked_by.rule_id == "uk.laid_out"


def test_limits_of_one_quantity_stand_side_by_side_the_strictest_first(small):
    book = load_rulebook(small("general", "us-wa", "de"))
    counts = [(limit.id, limit.yields_to) for limit in book.limits if limit.quantity == "water count" and limit.role == "limit"]
    assert counts[0] == ("de.water.hpc_limit", "")
    assert set(counts[1:]) == {("us.water.hpc_limit", "de.water.hpc_limit"), ("us-wa.water.hpc_limit", "de.water.hpc_limit")}
    top = book.strictest("water count", "limit")
    assert top.value == (100,)
    assert {over.origin.rule_id for over in top.overrides} == {"us.water.hpc_limit", "us-wa.water.hpc_limit"}
    assert book.strictest("water count", "aim").id == "us.ada.goal"  # another role: it doesn't yield to a limit


def test_counts_in_three_units_are_compared_as_counts(small):
    book = load_rulebook(small("general", "de"))
    top = book.strictest("Legionella", "action")
    # "under 1000 CFU/L" and "reaching 100 CFU/100 mL" act at the same count; law of the land is named
    assert top.id == "de.legionella.action"
    assert book.limit("eu.water.legionella").yields_to == "de.legionella.action"


@pytest.mark.invented
@pytest.mark.parametrize(
    ("new", "old", "verdict"),
    [
        (Bound("<", (500,), "CFU/mL", "lower"), Bound("<=", (500,), "CFU/mL", "lower"), "tighter"),
        (Bound("<=", (500,), "CFU/mL", "lower"), Bound("<", (500,), "CFU/mL", "lower"), "looser"),
        (Bound("<", (1000,), "CFU/L", "lower"), Bound(">=", (100,), "CFU/100 mL", "lower"), "same"),
        (Bound(">=", (2,), "min", "higher"), Bound(">=", (119,), "s", "higher"), "tighter"),
        (Bound(">=", (20,), "s", "higher"), Bound("range", (20, 30), "s", "higher"), "looser"),
        (Bound(">=", (30,), "s", "higher"), Bound("range", (20, 30), "s", "higher"), "same"),
        (Bound("range", (6.5, 7.5), "pH", "inside"), Bound("range", (6, 8), "pH", "inside"), "tighter"),
        (Bound("range", (5, 7.5), "pH", "inside"), Bound("range", (6, 8), "pH", "inside"), "looser"),
        (Bound(">=", (16, 10, 2), "min", "higher"), Bound(">=", (15, 10, 3), "min", "higher"), "looser"),
        (Bound("<=", (1,), "ppm", "lower"), Bound("<=", (1.39,), "mg/m3", "lower"), "same"),
        (Bound("<=", (0.3,), "CFU/100 mL", "lower"), Bound("<=", (3,), "CFU/L", "lower"), "same"),  # 0.003 either way
        (Bound(">=", (599.9999999999999,), "s", "higher"), Bound(">=", (10,), "min", "higher"), "looser"),
        (Bound("<=", (1,), "d", "lower"), Bound("<=", (1,), "CFU/mL", "lower"), "unlike"),
    ],
)
def test_tighter_and_looser_know_the_comparator_the_unit_and_the_range(new, old, verdict):
    assert against(new, old) == verdict


def test_a_rule_holds_from_its_day_on(small):
    practice = small("general", "us-wa")
    assert load_rulebook(practice, date(2021, 1, 22)).limit("us-wa.water.hpc_limit") is None
    assert load_rulebook(practice, date(2021, 1, 23)).limit("us-wa.water.hpc_limit").value == (500,)
    assert load_rulebook(practice).limit("us-wa.water.hpc_limit") is not None


def test_an_ended_rule_holds_up_to_its_last_day_and_not_in_the_newest_rules(small):
    ended = PACK | {"requirement": (row("own.flush", 300, ["first.flush"], valid_to=date(2026, 3, 31)),)}
    packs = [*bundled("general"), Pack.model_validate(ended)]
    seconds = {
        on: lay_packs(small("general"), packs, on).rulebook.step("first.flush").seconds
        for on in (date(2026, 3, 31), date(2026, 4, 1), None)
    }
    assert seconds == {date(2026, 3, 31): 300, date(2026, 4, 1): 120, None: 120}  # then common practice alone


@pytest.mark.parametrize("name", ["gneral", "UK", "us_wa", "washington"])
def test_an_unknown_pack_is_named_with_the_nearest_one(small, name):
    with pytest.raises(Mendable) as caught:
        load_rulebook(small("general", name))
    assert name in caught.value.what
    assert "rulebooks" in caught.value.where
    near = {"gneral": '"general"', "UK": '"uk"', "us_wa": '"us-wa"'}.get(name, "There are:")
    assert near in caught.value.mend


def test_the_end_of_the_day_is_a_line_disinfection_where_a_product_is_chosen_and_a_flush_where_none_is(small):
    with_product = {step.id for step in load_rulebook(small("uk")).duties_of(Subject.CHAIR, When.END_OF_DAY)[0].steps}
    without = {step.id for step in load_rulebook(small("uk", in_use="")).duties_of(Subject.CHAIR, When.END_OF_DAY)[0].steps}
    assert {"close.fill", "close.contact", "close.rinse"} <= with_product
    assert "close.flush" not in with_product
    assert "close.flush" in without
    assert not {"close.fill", "close.contact", "close.rinse"} & without


def test_a_chair_on_the_mains_has_no_bottle_to_fill_or_to_take_off(small):
    practice = small("uk", supply='{ kind = "mains through an air gap" }')
    ids = {step.id for duty in load_rulebook(practice).duties for step in duty.steps_on(practice.chairs[0])}
    assert not {"first.fill_bottle", "close.bottle"} & ids
    assert "first.flush" in ids


def test_turnover_and_closing_begin_with_the_clearing_of_the_used_set(small):
    book = load_rulebook(small("general"))
    for when in (When.BETWEEN_VISITS, When.END_OF_DAY):
        first = book.duties_of(Subject.CHAIR, when)[0].steps[0]
        assert first.id.endswith(".clear")
        assert "set scans" in first.evidence


def test_contact_time_of_common_practice_concerns_peroxide_only(small):
    assert load_rulebook(small("general")).step("close.contact").seconds == 600
    assert load_rulebook(small("general", active="chlorine dioxide")).step("close.contact").seconds is None


@pytest.mark.parametrize("name", pack_names())
def test_what_stands_for_a_flush_is_no_shorter_than_the_flush_it_stands_for(small, name):
    book = load_rulebook(small(name))
    for duty in book.duties:
        covered = [book.step(step_id) for step_id in duty.covers]
        floor = max((step.seconds or 0 for step in covered if step and step.computes == "flush"), default=0)
        own = max((step.seconds or 0 for step in duty.steps if step.computes in ("flush", "rinse")), default=0)
        assert own >= floor, duty.id


def test_no_two_layers_want_the_handpieces_on_and_off_in_one_step():
    packs = [bundled_pack(name) for name in pack_names()]
    for form in (step for pack in packs for duty in pack.duty for step in duty.steps):
        rows = {r.handpieces for pack in packs for r in pack.requirement if form.id in r.steps}
        assert len((rows | {form.handpieces}) - {None, "either"}) <= 1, form.id


PACK = {
    "schema": 1,
    "pack": {
        "id": "invented",
        "name": "Invented",
        "edition": "1",
        "date": date(2026, 1, 1),
        "builds_on": (),
        "scope": "Test.",
    },
}


def row(name: str, value: float, steps: list[str], **more: object) -> dict[str, object]:
    base = {"id": name, "group": "water", "topic": "flush", "value": float(value), "unit": "s", "compare": ">=", "jurisdiction": "all"}
    return {**base, "force": "guidance", "source": "invented", "sure": "practice", "stricter": "higher", "steps": tuple(steps), **more}


def bundled(*names: str) -> list[Pack]:
    return [bundled_pack(name) for name in order_layers(names)]


def no_looser(before: Rulebook, after: Rulebook) -> None:
    for duty in before.duties:
        now = next(d for d in after.duties if d.id == duty.id)
        assert duty.after_idle_h is None or now.after_idle_h <= duty.after_idle_h
        for step in duty.steps:
            later = after.step(step.id)
            assert later is not None, step.id
            if step.length == "computed":
                assert (later.seconds or 0) >= (step.seconds or 0), step.id
            assert OUTLETS.index(later.outlets) >= OUTLETS.index(step.outlets)
            assert MEDIA.index(later.medium) >= MEDIA.index(step.medium)
            assert HANDPIECES.index(later.handpieces) >= HANDPIECES.index(step.handpieces)
    for limit in before.limits:
        if limit.quantity and limit.role != "context" and not limit.yields_to and limit.stricter in ("lower", "higher"):
            top = after.strictest(limit.quantity, limit.role)
            assert against(bound(top), bound(limit)) in ("tighter", "same"), limit.id


COMPUTED = (
    "first.flush",
    "between.flush",
    "close.fill",
    "close.contact",
    "close.rinse",
    "close.wet",
    "still.flush",
    "session.suction_contact",
)
ROWS = st.lists(
    st.builds(
        lambda value, steps, unit, outlets, medium: {"value": value, "steps": steps, "unit": unit, "outlets": outlets, "medium": medium},
        st.floats(0.5, 3000),
        st.lists(st.sampled_from(COMPUTED), min_size=1, max_size=3, unique=True),
        st.sampled_from(["s", "min"]),
        st.sampled_from([None, "used", "all"]),
        st.sampled_from([None, "water", "air or water", "water and air"]),
    ),
    min_size=1,
    max_size=4,
)


@settings(max_examples=30, deadline=None)
@given(names=st.lists(st.sampled_from(pack_names()), min_size=2, max_size=4, unique=True))
def test_adding_a_pack_never_loosens_anything(names):
    practice = read_practice(plain().encode(), "practice.toml").practice
    for shorter, longer in pairwise(range(1, len(names) + 1)):
        no_looser(
            lay_packs(practice, bundled(*names[:shorter])).rulebook,
            lay_packs(practice, bundled(*names[:longer])).rulebook,
        )


@settings(max_examples=60, deadline=None)
@given(name=st.sampled_from(pack_names()), rows=ROWS)
def test_adding_any_layer_never_loosens_a_floor(name, rows):
    practice = read_practice(plain().encode(), "practice.toml").practice
    extra = Pack.model_validate(PACK | {"requirement": tuple(row(f"own.row{n}", **drawn) for n, drawn in enumerate(rows))})
    before, after = lay_packs(practice, bundled(name)).rulebook, lay_packs(practice, [*bundled(name), extra]).rulebook
    no_looser(before, after)
    for step_id in COMPUTED:  # and what it asks for is met
        asked = [drawn["value"] * (60 if drawn["unit"] == "min" else 1) for drawn in rows if step_id in drawn["steps"]]
        assert (after.step(step_id).seconds or 0) >= max(asked, default=0)


def plain() -> str:
    """A small practice without fixtures, because hypothesis can't take them per example."""
    return small_practice_text("general")
