"""What strips said, other water that enters, and what was measured before the lines were changed: all lengthen, none shortens."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from times_practice import PEROXIDE, read_small, rulebook, step

from fettlebook.rules.model import Computed
from fettlebook.times.curves import at_seconds, chair_pictures
from fettlebook.times.running import running_times

pytestmark = pytest.mark.invented
BOOK = rulebook(step(Computed.FLUSH, 20), step(Computed.FILL), step(Computed.RINSE))
STRIPS = ", strips = {{ dipped_on = {on}, slower = {slower}, slower_from = {low}, slower_to = {high}, mixing_ml = {mixing} }}"


def unit(*, more: str = "", turbine: str = "", motor_on: str = "2026-11-02", together: bool = True):
    return read_small(
        f"""
[[chairs]]
id = "chair 1"
room = "room 1"
supply = {{ kind = "bottle", bottle_ml = 1500.0 }}
run_together = {'[["turbine", "motor"]]' if together else '[["turbine"], ["motor"]]'}
{more}
segments = [
  {{ id = "feed", bore_mm = 4.0, length_m = 1.0 }},
  {{ id = "turbine hose", from = "feed", bore_mm = 1.6, length_m = 2.0 }},
  {{ id = "motor hose", from = "feed", bore_mm = 1.6, length_m = 2.0 }},
]
outlets = [
  {{ id = "turbine", kind = "turbine", from = "turbine hose", flow_ml_min = 50.0, measured_on = 2026-11-02{turbine} }},
  {{ id = "motor", kind = "motor", from = "motor hose", flow_ml_min = 60.0, measured_on = {motor_on} }},
]
suction = [{{ id = "high volume", kind = "high volume", bore_mm = 16.0, length_m = 1.8 }}]
""",
        PEROXIDE,
    )


def strips(slower=1.1, low=1.0, high=1.3, mixing=0.5, on="2026-11-03") -> str:
    return STRIPS.format(on=on, slower=float(slower), low=float(low), high=float(high), mixing=float(mixing))


def feed(flow: float, *, into: str = "feed", kind: str = "open branch", shut: bool = False) -> str:
    told = f'id = "bypass", kind = "{kind}", into = "{into}", flow_ml_min = {float(flow)}, shut_for_fill = {str(shut).lower()}'
    return f"second_feeds = [{{ {told} }}]"


def times(practice, **more):
    return {t.step_id.partition(".")[2]: t for t in running_times(practice, BOOK, **more)}


# --- strips -------------------------------------------------------------------------------------------------------------


def test_strips_that_showed_a_slower_line_lengthen_every_step_at_that_outlet_and_say_so():
    plain, dipped = times(unit()), times(unit(turbine=strips(slower=1.6, high=1.9)))
    for name in ("flush", "fill", "rinse"):
        before, after = plain[name].outlets, dipped[name].outlets
        assert after[0].seconds > before[0].seconds
        assert after[0].seconds == after[0].strips_s
        assert after[1] == before[1]  # the other outlet's line was not dipped
        assert dipped[name].seconds >= plain[name].seconds
        assert "strips of 2026-11-03 lengthen turbine" in dipped[name].notes
        told = " ".join(dipped[name].derivation)
        assert "strips of 2026-11-03 showed the line 1.6 times as slow as computed (95 %: 1 to 1.9)" in told
        assert "with 0.5 mL that mixes at its end" in told
        assert "longer than computed, so it counts" in told
        assert f"{before[0].seconds:.1f} s in 95 of 100 cases" in told  # what is computed stays readable beside it


def test_strips_that_showed_a_faster_line_change_no_time_and_say_so():
    plain, dipped = times(unit()), times(unit(turbine=strips(slower=0.5, low=0.4, high=0.6, mixing=0.0)))
    for name in ("flush", "fill", "rinse"):
        assert (dipped[name].seconds, dipped[name].groups) == (plain[name].seconds, plain[name].groups)
        assert "strips never shorten" in " ".join(dipped[name].derivation)
        assert not [n for n in dipped[name].notes if "strips" in n]


@settings(max_examples=12)
@given(st.floats(0.3, 3.0), st.floats(1.0, 1.5), st.floats(0.0, 8.0), st.sampled_from(["exact", "safe bound"]))
def test_no_strips_ever_shorten_a_time(slower, wide, mixing, method):
    dipped = unit(turbine=strips(round(slower, 3), round(slower / 2, 3), round(slower * wide + 0.001, 3), round(mixing, 2)))
    plain = times(unit(), method=method)
    for name, after in times(dipped, method=method).items():
        assert after.seconds >= plain[name].seconds
        assert all(a.seconds >= b.seconds for a, b in zip(after.outlets, plain[name].outlets, strict=True))


@pytest.mark.parametrize(
    ("practice", "why"),
    [
        (unit(turbine=strips(on="2026-10-01"), more="changed_on = 2026-10-20"), "the lines were changed on 2026-10-20"),
        (unit(turbine=strips(on="2026-11-02"), motor_on="2026-11-09"), "flow measured since: motor"),
    ],
)
def test_strips_older_than_the_unit_are_named_and_still_lengthen(practice, why):
    rinse = times(practice)["rinse"]
    assert f"strips at turbine are old, dip again: {why}" in rinse.notes
    assert rinse.outlets[0].seconds >= (rinse.outlets[0].strips_s or 0.0)


def test_the_cautious_curve_reaches_its_aim_when_the_strips_say_so():
    practice = unit(turbine=strips(slower=1.6, high=1.9))
    found = running_times(practice, BOOK)
    for picture in chair_pictures(practice, BOOK, found, practice.chairs[0]):
        line = picture.lines[0]
        assert at_seconds(picture, line, line.aim_s) == pytest.approx(picture.aim, rel=0.15)


# --- the day of the last change -----------------------------------------------------------------------------------------


def test_a_flow_from_before_the_last_change_counts_as_not_measured():
    plain, changed = times(unit()), times(unit(more="changed_on = 2026-11-03"))
    assert changed["rinse"].outlets[0].seconds > plain["rinse"].outlets[0].seconds
    assert changed["rinse"].unmeasured == ("turbine", "motor")
    assert "flow measured before the lines were changed on 2026-11-03, measure again: turbine and motor" in changed["rinse"].notes
    assert times(unit(more="changed_on = 2026-11-02"))["rinse"].seconds == plain["rinse"].seconds


def test_a_wide_range_does_not_get_narrower_by_growing_old():
    wide = ", flow_within_pct = 40.0"
    fresh, old = times(unit(turbine=wide)), times(unit(turbine=wide, more="changed_on = 2026-11-03"))
    assert old["rinse"].outlets[0].seconds >= fresh["rinse"].outlets[0].seconds


# --- other water that enters --------------------------------------------------------------------------------------------


def test_a_fill_that_can_never_reach_its_share_names_field_and_mend_and_has_no_time():
    found = times(unit(more=feed(10)))
    fill = found["fill"]
    assert fill.seconds is None
    assert "second_feeds[0] 'bypass', flow_ml_min" in fill.missing
    assert "can never carry more than" in fill.missing
    assert "Shut it for the fill or have it mended" in fill.missing
    assert found["flush"].seconds is not None
    assert found["rinse"].seconds is not None
    assert any("other water join the line" in c for c in found["rinse"].cautions)


def test_a_small_leak_lengthens_the_fill_and_tells_what_can_be_reached():
    plain, leaking = times(unit()), times(unit(more=feed(1.1)))
    assert leaking["fill"].seconds > plain["fill"].seconds
    told = " ".join(leaking["fill"].derivation)
    assert "can carry of the feed strength at most: turbine 99 % and motor 99 %" in told


@settings(max_examples=10)
@given(st.floats(0.01, 30.0), st.sampled_from(["feed", "turbine hose", "motor hose"]), st.booleans(), st.booleans())
def test_no_second_feed_ever_shortens_a_time(flow, into, shut, together):
    plain = times(unit(together=together))
    for name, after in times(unit(more=feed(round(flow, 2), into=into, shut=shut), together=together)).items():
        assert after.seconds is None or after.seconds >= plain[name].seconds
        assert after.seconds is not None or "second_feeds[0] 'bypass', flow_ml_min" in after.missing
        assert name == "fill" or after.seconds is not None or (into != "feed" and not together)


def test_what_a_person_shuts_for_the_fill_does_not_thin_it_but_the_outlets_may_get_less():
    plain, shut = times(unit()), times(unit(more=feed(40, kind="mixing valve", shut=True)))
    assert shut["fill"].seconds > plain["fill"].seconds
    assert "shut bypass before the fill" in shut["fill"].notes
    assert "as what the supply alone brought" in " ".join(shut["fill"].derivation)
    pictures = chair_pictures(
        unit(more=feed(40, shut=True)), BOOK, running_times(unit(more=feed(40, shut=True)), BOOK), unit(more=feed(40, shut=True)).chairs[0]
    )
    assert "fill" in [p.what for p in pictures]


def test_water_that_comes_back_from_a_hose_that_is_shut_thins_the_other_and_bars_its_rinse():
    found = times(unit(more=feed(10, into="motor hose"), together=False))
    assert "turbine can never carry more than" in found["fill"].missing
    for name in ("flush", "rinse"):
        assert found[name].seconds is None
        assert "through a part that stands" in found[name].missing
        assert "Open the outlets together" in found[name].missing
    assert times(unit(more=feed(10, into="motor hose")))["rinse"].seconds is not None
    little = times(unit(more=feed(0.4, into="motor hose"), together=False))
    assert little["flush"].seconds > times(unit(together=False))["flush"].seconds  # 5 % less what seeps
    assert little["rinse"].seconds is None  # 1 part in 3,000 is less than what seeps
