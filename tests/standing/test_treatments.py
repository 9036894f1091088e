"""Treatments of the lines: planned and reached, by two clocks, and a verdict with its reasons."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_book import PRACTICE, READY, Book, Ground, ground, moment

from fettlebook.standing.model import Verdict
from fettlebook.standing.treatments import Held, Treatment, treatments

pytestmark = pytest.mark.invented

FEED = 30_000  # 3 % w/v
OPEN = '2026-03-10 04:00 ana product.opened {product="h2o2", lot="A2"}\n'
OUTLETS = 'chair="1", outlets=["turbine", "syringe"]'


def planned(step: str, on: Ground | None = None) -> int:
    time = next(t for t in (on or ground()).times if (t.chair, t.duty_id, t.step_id) == ("1", "chair.long_still", step))
    assert time.seconds is not None
    return time.seconds


def entry(at_s: int, kind: str, data: str, day: str = "2026-03-11") -> str:
    return f"{day} {5 + at_s // 3600:02}:{at_s // 60 % 60:02}:{at_s % 60:02} ana {kind} {{{data}}}\n"


def step(name: str, data: str = "") -> str:
    return f'duty="chair.long_still", step="long.{name}", {OUTLETS}{", " + data if data else ""}'


def treated(*, feed: str = f"strip_mg_l={FEED}", rest: str = "strip_mg_l=3", lot: str = "A2", more: str = "", **but: int) -> str:
    """Return one treatment written out; `but` gives the seconds of fill, contact or rinse, -1 leaves the step out."""
    lines = [entry(0, "step.done", step("empty", f'outcome="done", product="h2o2", lot="{lot}"'))]
    now = 60
    for name in ("fill", "contact", "rinse"):
        lasts = but.get(name, planned(f"long.{name}") + 3)
        if lasts >= 0:
            lines.append(entry(now, "step.started", step(name)))
            now += lasts
            lines.append(entry(now, "step.done", step(name, 'outcome="done"')))
        now += 10
        strip = {"fill": ("strip_feed", feed), "rinse": ("strip_rinse", rest)}.get(name)
        if strip and strip[1]:
            lines.append(entry(now, "step.done", step(strip[0], f'outcome="done", readings={{{strip[1]}}}')))
        now += 10
    return OPEN + "".join(lines) + more


def judged(text: str, at: str = "2026-03-20 08:00") -> tuple[Treatment, ...]:
    look = Book(text).now(at).look
    return treatments(look, look.basis.chairs["1"])


def only(text: str) -> Treatment:
    (one,) = judged(text)
    return one


def test_a_treatment_as_planned_is_fit_with_both_clocks() -> None:
    one = only(treated())
    assert (one.verdict, one.reasons) == (Verdict.FIT, ())
    assert [s.held for s in one.steps] == [Held.AS_PLANNED] * 3
    contact = one.steps[1]
    assert contact.planned_s == 600  # the label's
    assert contact.achieved_s == contact.wall_s == contact.forward_s == 603
    assert one.product.age_days == pytest.approx(25 / 24)
    assert one.product.good_until_ms == moment("2026-06-08 05:00")  # 90 days of 24 h, over the change of clocks


def test_a_short_contact_is_unfit_with_the_seconds() -> None:
    one = only(treated(contact=599))
    assert one.verdict is Verdict.UNFIT
    assert one.steps[1].held is Held.SHORT
    assert (one.steps[1].achieved_s, one.steps[1].planned_s) == (599, 600)
    assert one.reasons[0].evidence


def test_a_contact_far_longer_than_planned_is_shown_and_stays_fit() -> None:
    one = only(treated(contact=1800))
    assert one.verdict is Verdict.FIT
    assert one.steps[1].held is Held.LONG
    assert "longest time" in one.steps[1].why


def test_a_broken_off_fill_is_interrupted_and_one_done_again_counts() -> None:
    off = entry(50, "step.done", step("fill", 'outcome="broken off"'))
    begun = entry(20, "step.started", step("fill"))
    again = only(treated(more=begun + off))
    assert again.verdict is Verdict.FIT
    assert again.steps[0].tries == 2
    alone = only(treated(fill=-1, more=begun + off))
    assert alone.verdict is Verdict.UNFIT
    assert alone.steps[0].held is Held.INTERRUPTED


@pytest.mark.parametrize("left_out", ["fill", "contact", "rinse"])
def test_a_step_that_is_not_in_the_book_is_unproven(left_out: str) -> None:
    seconds = {left_out: -1}
    one = only(treated(**seconds))  # type: ignore[arg-type]
    assert one.verdict is Verdict.UNPROVEN
    assert Held.MISSING in [s.held for s in one.steps]


def test_clocks_that_disagree_prove_nothing() -> None:
    lasted = step("contact", 'outcome="done", lasted_wall_ms=700000, lasted_mono_ms=400000')
    one = only(treated(contact=-1, more=entry(1200, "step.done", lasted)))
    contact = one.steps[1]
    assert (contact.wall_s, contact.forward_s, contact.achieved_s) == (700, 400, 400)
    assert one.verdict is Verdict.UNPROVEN
    assert contact.verdict is Verdict.UNPROVEN


def test_water_moved_while_the_product_acts_is_unfit_and_a_visit_unproven() -> None:
    at = 60 + planned("long.fill") + 100
    flush = entry(at, "step.done", f'duty="chair.first", step="first.flush", {OUTLETS}, outcome="done"')
    assert only(treated(more=flush)).verdict is Verdict.UNFIT
    one = only(treated(more=entry(at, "visit.started", 'visit="v1", chair="1"')))
    assert (one.verdict, one.disturbed[0].verdict) == (Verdict.UNPROVEN, Verdict.UNPROVEN)
    fault = 'fault="f1", chair="1", what="power cut", stops_use=false'
    assert only(treated(more=entry(at, "fault.reported", fault))).verdict is Verdict.UNPROVEN
    after = entry(7000, "visit.started", 'visit="v1", chair="1"')
    assert only(treated(more=after)).verdict is Verdict.FIT


@pytest.mark.parametrize(
    ("feed", "rest", "verdict"),
    [
        (f"strip_mg_l={FEED}", "strip_mg_l=10", Verdict.FIT),
        ("strip_mg_l=28500", "strip_mg_l=10", Verdict.FIT),  # 5 % may be missing at the last outlet
        ("strip_mg_l=28499", "strip_mg_l=10", Verdict.UNFIT),
        ("strip_at_least_mg_l=100", "strip_mg_l=10", Verdict.UNPROVEN),
        ("", "strip_mg_l=10", Verdict.UNPROVEN),
        (f"strip_mg_l={FEED}", "strip_mg_l=11", Verdict.UNFIT),
        (f"strip_mg_l={FEED}", "strip_at_least_mg_l=10", Verdict.UNPROVEN),
        (f"strip_mg_l={FEED}", "", Verdict.UNPROVEN),
    ],
)
def test_strips_at_the_feed_and_after_the_rinse(feed: str, rest: str, verdict: Verdict) -> None:
    assert only(treated(feed=feed, rest=rest)).verdict is verdict


def test_a_product_too_old_unknown_or_of_no_declared_life() -> None:
    printed = '2026-03-10 04:00 ana product.opened {product="h2o2", lot="A3", use_by="2026-03-10"}\n'
    old = only(printed + treated(lot="A3"))
    assert (old.verdict, old.product.part.verdict) == (Verdict.UNFIT, Verdict.UNFIT)
    unknown = only(treated(lot="A9"))
    assert (unknown.product.age_days, unknown.verdict) == (None, Verdict.UNPROVEN)
    on = ground(PRACTICE.replace('active = "hydrogen peroxide"\nshelf_open_days = 90', 'active = "hydrogen peroxide"'))
    look = Book(treated(), on=on).now("2026-03-20 08:00").look
    (one,) = treatments(look, look.basis.chairs["1"])
    assert one.product.part.verdict is Verdict.UNPROVEN


def test_two_treatments_of_one_day_are_two_and_a_running_one_is_unproven() -> None:
    second = treated().replace("2026-03-11 05", "2026-03-11 15").replace(OPEN, "")
    assert [one.verdict for one in judged(treated() + second)] == [Verdict.FIT, Verdict.FIT]
    running = judged(treated(), at="2026-03-11 05:09")
    assert [one.verdict for one in running] == [Verdict.UNPROVEN]
    assert judged(treated(), at="2026-03-11 04:00") == ()


def test_written_out_duties_give_their_treatments() -> None:
    found = judged(READY)
    assert [one.duty.id for one in found] == ["chair.long_still", "chair.long_still"]


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 900), st.integers(0, 400), st.integers(0, 700))
def test_fit_exactly_when_no_step_is_shorter_than_planned(contact: int, fill: int, rinse: int) -> None:
    one = only(treated(contact=contact, fill=fill, rinse=rinse))
    long_enough = contact >= 600 and fill >= planned("long.fill") and rinse >= planned("long.rinse")
    assert (one.verdict is Verdict.FIT) == long_enough


def test_one_entry_less_never_makes_a_treatment_better() -> None:
    book = Book(treated())
    every = [made.id for _, made, _ in book.made]
    for left_out in every:
        view = book.on.fold(book.received(without=frozenset({left_out}))).as_of(moment("2026-03-20 08:00"), 1 << 60)
        look = replace(view.look, memo={})
        assert all(one.verdict is not Verdict.FIT for one in treatments(look, look.basis.chairs["1"])), left_out
