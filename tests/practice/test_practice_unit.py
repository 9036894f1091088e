"""Other water that enters a chair's lines, strips, and the day of the last change: what can't be is named with field and mend."""

from collections.abc import Callable

import pytest

from fettlebook.errors import Finding
from fettlebook.practice.load import Loaded

Only = Callable[..., Finding]
Spoil = Callable[..., Loaded]
GROUPS = 'run_together = [["turbine", "syringe"]]\n'
TURBINE = "flow_ml_min = 50.0, measured_on = 2026-11-02 }"
SAID = "{{ dipped_on = {on}, slower = {slower}, slower_from = 1.0, slower_to = 1.3, mixing_ml = 0.5 }}"


def dipped(on: str, slower: float) -> str:
    return TURBINE.replace(" }", f", strips = {SAID.format(on=on, slower=slower)} }}")


def feeds(*more: str) -> str:
    listed = ", ".join(f"{{ {one} }}" for one in more)
    return f"{GROUPS}second_feeds = [{listed}]\n"


def feed(into: str = "feed", flow: float = 5.0, name: str = "bypass", kind: str = "open branch") -> str:
    return f'id = "{name}", kind = "{kind}", into = "{into}", flow_ml_min = {flow}'


def test_a_second_feed_strips_and_a_day_of_change_are_read(spoil: Spoil):
    loaded = spoil(GROUPS, feeds(feed(), feed("tank", 0.2, "leak", "leaking non-return valve")) + "changed_on = 2026-10-01\n")
    assert loaded.findings == ()
    chair = loaded.practice.chairs[0]
    assert [f.into for f in chair.second_feeds] == ["feed", "tank"]
    assert str(chair.changed_on) == "2026-10-01"
    assert spoil(TURBINE, dipped("2026-11-02", 1.1)).practice.chairs[0].outlets[0].strips.slower == 1.1


@pytest.mark.parametrize(
    ("feed", "field", "what", "mend"),
    [
        ([feed("fed")], "into", 'there is no segment or stirred volume "fed"', 'Is it "feed"?'),
        ([feed("feed", 160.0)], "flow_ml_min", "160 mL/min enter, and only 160 mL/min leave below", "Have it shut or mended"),
        ([feed("turbine hose", 50.0)], "flow_ml_min", "50 mL/min enter, and only 50 mL/min leave below", "measure both again"),
        ([feed("feed", -1.0)], "flow_ml_min", "-1", "Give the flow that it brings"),
        ([feed("feed", 0.0)], "flow_ml_min", "0", "Give the flow that it brings"),
        ([feed(), feed("tank")], "id", '"bypass" is used twice', "an id of its own"),
        ([feed(kind="leek")], "kind", '"leek" is not one of', "Write one of these"),
    ],
)
def test_a_second_feed_that_can_not_be_is_named(only: Only, feed, field, what, mend):
    found = only(GROUPS, feeds(*feed))
    assert found.where.endswith(field)
    assert 'second feed "bypass"' in found.where
    assert what in found.what
    assert mend in found.mend


def test_strips_whose_likeliest_lies_outside_their_range_are_refused(only: Only):
    found = only(TURBINE, dipped("2026-11-02", 1.4))
    assert found.where.endswith('outlet "turbine", strips, slower')
    assert found.what == "1.4 does not lie in its range of 1 to 1.3"


def test_what_was_measured_before_the_lines_were_changed_is_warned_of(spoil: Spoil):
    loaded = spoil(GROUPS, GROUPS + "changed_on = 2026-11-03\n", TURBINE, dipped("2026-11-01", 1.1))
    assert loaded.errors == ()
    told = [str(f) for f in loaded.warnings]
    assert sum("the flow was measured on 2026-11-02, before the lines were changed on 2026-11-03" in t for t in told) == 2
    assert sum("the strips are of 2026-11-01, from before the lines were changed" in t for t in told) == 1
    assert all("Measure it again: fettlebook flow." in t or "Dip again: fettlebook calibrate." in t for t in told)
