"""May I seat the next patient? Worked days of one chair."""

import pytest
from small_book import PRACTICE, READY, Book, ground

from fettlebook.standing.model import Standing, Verdict

pytestmark = pytest.mark.invented

VISIT = """
2026-03-09 09:00 ana visit.started {visit="v1", chair="1"}
2026-03-09 09:30 ana visit.ended {visit="v1", chair="1", units=[]}
"""
TURNOVER = '2026-03-09 09:32 ben duty {duty="chair.between", chair="1"}'


def chair(book: Book, at: str, known: str | None = None) -> Standing:
    return book.at(at, known).standing("chair:1")


def why(standing: Standing) -> str:
    return "; ".join(f"{c.what}: {c.why}" for c in standing.failing)


def test_a_chair_of_an_empty_book_is_unproven_never_fit() -> None:
    standing = chair(Book(), "2026-03-09 08:00")
    assert standing.verdict is Verdict.UNPROVEN
    assert standing.way_to_fit.duties


def test_a_chair_with_every_duty_done_is_fit_until_midnight() -> None:
    standing = chair(Book(READY), "2026-03-09 08:00")
    assert standing.verdict is Verdict.FIT, why(standing)
    assert standing.valid_until_ms is not None
    assert (standing.valid_until_ms - standing.at_ms) / 3_600_000 == 16


def test_after_a_visit_the_turnover_is_owed_with_its_minutes() -> None:
    standing = chair(Book(READY + VISIT), "2026-03-09 09:31")
    assert standing.verdict is Verdict.UNPROVEN
    (owed,) = standing.way_to_fit.duties
    assert owed.duty_id == "chair.between"
    times = [t for t in ground().times if t.duty_id == "chair.between"]
    assert owed.attended_s == sum(t.seconds or 0 for t in times if t.attended)
    assert owed.unattended_s == sum(t.seconds or 0 for t in times if not t.attended)


def test_a_visit_without_an_end_leaves_the_chair_unproven() -> None:
    book = Book(READY + VISIT.strip().splitlines()[0])
    busy = chair(book, "2026-03-09 12:00")
    assert "its end is not entered yet" in why(busy)
    assert [condition.told for condition in busy.failing] == ["in use since 09:00"]


def test_a_start_that_was_entered_with_a_later_time_than_the_end_is_no_running_visit() -> None:
    swapped = """
    2026-03-09 09:30 ana visit.ended {visit="v1", chair="1", units=[]}
    2026-03-09 09:31 ana visit.started {visit="v1", chair="1"}
    """
    assert chair(Book(READY + swapped + TURNOVER), "2026-03-09 10:00").verdict is Verdict.FIT


def test_the_turnover_done_makes_it_fit_again() -> None:
    standing = chair(Book(READY + VISIT + TURNOVER), "2026-03-09 10:00")
    assert standing.verdict is Verdict.FIT, why(standing)


def test_a_turnover_flush_that_was_too_short_is_unfit_and_says_both_lengths() -> None:
    short = '2026-03-09 09:32 ben duty {duty="chair.between", chair="1", short=["between.flush"]}'
    standing = chair(Book(READY + VISIT + short), "2026-03-09 10:00")
    assert standing.verdict is Verdict.UNFIT
    assert "ran 0:30, must run 1:00" in why(standing)  # two outlets one after the other, 30 s each
    assert standing.way_to_fit.duties[0].steps == ("between.flush",)


def test_a_step_broken_off_is_unfit() -> None:
    broken = TURNOVER + '\n2026-03-09 09:50 ben step.done {duty="chair.between", step="between.wipe", chair="1", outcome="broken off"}'
    assert chair(Book(READY + VISIT + broken), "2026-03-09 10:00").verdict is Verdict.UNFIT


def test_a_flush_that_names_not_every_used_outlet_is_not_enough() -> None:
    partly = """
    2026-03-09 09:32 ben duty {duty="chair.between", chair="1", leave_out=["between.flush"]}
    2026-03-09 09:50 ben step.started {duty="chair.between", step="between.flush", chair="1", outlets=["turbine"]}
    2026-03-09 09:52 ben step.done {duty="chair.between", step="between.flush", chair="1", outlets=["turbine"], outcome="done"}
    """
    assert "not in the book for syringe" in why(chair(Book(READY + VISIT + partly), "2026-03-09 10:00"))
    only_turbine = VISIT.replace("units=[]", 'units=[], outlets=["turbine"]')
    assert chair(Book(READY + only_turbine + partly), "2026-03-09 10:00").verdict is Verdict.FIT


def test_an_outlet_of_an_earlier_visit_that_nobody_flushed_is_still_owed() -> None:
    first = VISIT.replace("units=[]", 'units=[], outlets=["syringe"]')
    second = """
    2026-03-09 10:00 ana visit.started {visit="v2", chair="1"}
    2026-03-09 10:30 ana visit.ended {visit="v2", chair="1", units=[], outlets=["turbine"]}
    2026-03-09 10:32 ben duty {duty="chair.between", chair="1", leave_out=["between.flush"]}
    2026-03-09 10:50 ben step.started {duty="chair.between", step="between.flush", chair="1", outlets=["turbine"]}
    2026-03-09 10:52 ben step.done {duty="chair.between", step="between.flush", chair="1", outlets=["turbine"], outcome="done"}
    """
    assert "syringe" in why(chair(Book(READY + first + second), "2026-03-09 11:00"))


def test_a_flush_whose_entry_names_no_outlet_proves_nothing() -> None:
    nameless = """
    2026-03-09 09:32 ben duty {duty="chair.between", chair="1", leave_out=["between.flush"]}
    2026-03-09 09:50 ben step.started {duty="chair.between", step="between.flush", chair="1"}
    2026-03-09 09:52 ben step.done {duty="chair.between", step="between.flush", chair="1", outcome="done"}
    """
    standing = chair(Book(READY + VISIT + nameless), "2026-03-09 10:00")
    assert standing.verdict is Verdict.UNPROVEN
    assert "names no outlets" in why(standing)


def test_a_visit_that_used_no_water_asks_for_the_flush_of_every_outlet_all_the_same() -> None:
    dry = VISIT.replace("units=[]", "units=[], outlets=[]")
    assert chair(Book(READY + dry + TURNOVER), "2026-03-09 10:00").verdict is Verdict.FIT
    left_out = TURNOVER.replace('chair="1"', 'chair="1", leave_out=["between.flush"]')
    assert chair(Book(READY + dry + left_out), "2026-03-09 10:00").verdict is Verdict.UNPROVEN


def test_the_duty_to_come_back_stays_owed_after_water_has_moved_again() -> None:
    """After three days the ordinary flush of a morning moved water; the longer one after standing still was forgotten."""
    morning = '2026-03-12 06:00 ana duty {duty="chair.first", chair="1"}\n'
    standing = chair(Book(READY + morning), "2026-03-12 08:00")
    assert [owed.duty_id for owed in standing.way_to_fit.duties] == ["chair.still"]
    still = '2026-03-12 05:30 ana duty {duty="chair.still", chair="1"}\n'
    assert chair(Book(READY + still + morning), "2026-03-12 08:00").verdict is Verdict.FIT


def test_the_next_morning_asks_for_the_evening_before_and_for_today() -> None:
    book = Book(READY + VISIT + TURNOVER)
    standing = chair(book, "2026-03-10 08:00")
    assert {d.duty_id for d in standing.way_to_fit.duties} == {"chair.close", "chair.first"}
    done_late = Book(
        READY
        + VISIT
        + TURNOVER
        + '\n2026-03-10 06:00 ana duty {duty="chair.close", chair="1"}\n2026-03-10 07:00 ana duty {duty="chair.first", chair="1"}'
    )
    assert chair(done_late, "2026-03-10 08:00").verdict is Verdict.FIT, why(chair(done_late, "2026-03-10 08:00"))


def test_a_fill_that_nobody_rinsed_is_unfit_whatever_else_was_done() -> None:
    evening = '2026-03-09 18:00 ana duty {duty="chair.close", chair="1", leave_out=["close.rinse", "close.strip_rinse"]}'
    morning = '2026-03-10 06:00 ana duty {duty="chair.first", chair="1"}'
    standing = chair(Book(READY + VISIT + TURNOVER + "\n" + evening + "\n" + morning), "2026-03-10 08:00")
    assert standing.verdict is Verdict.UNFIT
    assert "no disinfectant left in the lines" in why(standing)


def test_a_strip_over_the_label_after_the_rinse_is_unfit() -> None:
    what = 'duty="chair.long_still", step="long.strip_rinse", chair="1", outcome="done", readings={strip_mg_l=25}'
    strip = f"2026-03-09 07:30 ana step.done {{{what}}}"
    assert "strip 25 mg/L, the label allows 10 mg/L" in why(chair(Book(READY + strip), "2026-03-09 08:00"))


def test_standing_still_ends_a_fit_verdict_and_names_the_duty_to_come_back() -> None:
    standing = chair(Book(READY), "2026-03-12 08:00")
    assert any("no water moved for" in c.why for c in standing.failing)
    assert "chair.still" in {d.duty_id for d in standing.way_to_fit.duties}
    after_a_week = chair(Book(READY), "2026-03-17 08:00").way_to_fit
    ids = [d.duty_id for d in after_a_week.duties]
    assert "chair.long_still" in ids
    assert "chair.still" not in ids, "the longer duty stands for the shorter one"
    assert not any(step.startswith("first.flush") for duty in after_a_week.duties for step in duty.steps)


def test_a_fault_that_stops_use_is_unfit_until_a_person_returns_it() -> None:
    fault = '2026-03-09 07:30 ben fault.reported {fault="f1", chair="1", what="suction weak", stops_use=true}'
    assert chair(Book(READY + fault), "2026-03-09 08:00").verdict is Verdict.UNFIT
    back = '\n2026-03-09 07:50 ana subject.returned {chair="1", reason="hose replaced", meaning="returned"}'
    assert chair(Book(READY + fault + back), "2026-03-09 08:00").verdict is Verdict.FIT


def test_a_fault_of_one_line_leaves_the_other_line_as_it_was() -> None:
    fault = '2026-03-09 07:30 ben fault.reported {fault="f1", chair="1", outlets=["turbine"], what="no water", stops_use=true}'
    view = Book(READY + fault).at("2026-03-09 08:00")
    assert view.standing("outlet:1/turbine").verdict is Verdict.UNFIT
    assert view.standing("outlet:1/syringe").verdict is Verdict.FIT, why(view.standing("outlet:1/syringe"))


@pytest.mark.parametrize(("value", "verdict"), [(100, Verdict.FIT), (200, Verdict.FIT), (201, Verdict.UNFIT), (900, Verdict.UNFIT)])
def test_a_count_is_held_to_the_figure_to_act_on(value: int, verdict: Verdict) -> None:
    counted = f"""
    2026-03-09 04:30 ana sample.taken {{sample="W2", what="water", chair="1", outlets=["syringe"], neutralised=true}}
    2026-03-09 07:30 ana sample.result {{sample="W2", quantity="water count", value={value}, value_unit="CFU/mL"}}
    """
    late_result = Book(READY + counted)
    # Treated after that sample (the morning's duties), a count over the aim waits for a new sample: unproven, no longer unfit.
    expected = Verdict.UNPROVEN if verdict is Verdict.UNFIT else Verdict.FIT
    assert chair(late_result, "2026-03-09 08:00").verdict is expected
    untreated = counted.replace("04:30", "07:29")
    assert chair(Book(READY + untreated), "2026-03-09 08:00").verdict is verdict


def test_a_result_counts_for_a_month_at_first() -> None:
    def water(at: str) -> Verdict:
        standing = chair(Book(READY), at)
        return next(c.verdict for c in standing.conditions if c.what == "water count within the limit")

    assert water("2026-04-02 23:00") is Verdict.FIT
    assert water("2026-04-03 00:30") is Verdict.UNPROVEN


def test_a_pooled_count_is_doubted_where_one_line_alone_could_be_over() -> None:
    pooled = """
    2026-03-09 07:20 ana sample.taken {sample="W2", what="water", chair="1", outlets=["turbine", "syringe"], neutralised=true}
    2026-03-09 07:30 ana sample.result {sample="W2", quantity="water count", value=120, value_unit="CFU/mL"}
    """
    standing = chair(Book(READY + pooled), "2026-03-09 08:00")
    assert standing.verdict is Verdict.UNPROVEN
    assert "pooled from 2" in why(standing)


def test_a_boil_water_notice_asks_for_a_fresh_bottle() -> None:
    notice = '2026-03-09 07:00 ana notice.begun {notice="boil water"}'
    assert "boil-water notice" in why(chair(Book(READY + notice), "2026-03-09 08:00"))
    filled = notice + '\n2026-03-09 07:10 ana step.done {duty="chair.first", step="first.fill_bottle", chair="1", outcome="done"}'
    assert chair(Book(READY + filled), "2026-03-09 08:00").verdict is Verdict.FIT


def test_a_boil_water_notice_bars_a_chair_on_the_mains_and_asks_for_treatment_after_it() -> None:
    on = ground(PRACTICE.replace('supply = { kind = "bottle", bottle_ml = 1500.0 }', 'supply = { kind = "mains through an air gap" }'))
    notice = '2026-03-09 07:00 ana notice.begun {notice="boil water"}\n'
    assert chair(Book(READY, on), "2026-03-09 08:00").verdict is Verdict.FIT
    assert chair(Book(READY + notice, on), "2026-03-09 08:00").verdict is Verdict.UNFIT
    lifted = notice + '2026-03-09 10:00 ana notice.ended {notice="boil water"}\n'
    assert [owed.duty_id for owed in chair(Book(READY + lifted, on), "2026-03-09 10:30").way_to_fit.duties] == ["chair.long_still"]
    treated = lifted + '2026-03-09 10:30 ana duty {duty="chair.long_still", chair="1"}'
    assert chair(Book(READY + treated, on), "2026-03-09 12:00").verdict is Verdict.FIT


def test_too_many_to_count_is_over_every_limit_and_less_than_a_high_number_tells_nothing() -> None:
    def water(mark: str, value: int) -> Verdict:
        counted = f"""
        2026-03-09 07:20 ana sample.taken {{sample="W2", what="water", chair="1", outlets=["turbine"], neutralised=true}}
        2026-03-09 07:30 ana sample.result {{sample="W2", quantity="water count", value={value}, value_unit="CFU/mL", mark="{mark}"}}
        """
        return chair(Book(READY + counted), "2026-03-09 08:00").verdict

    assert water("above", 100) is Verdict.UNFIT
    assert water("below", 100) is Verdict.FIT
    assert water("below", 300) is Verdict.UNPROVEN


def test_where_the_water_carries_a_disinfectant_all_day_a_count_must_be_neutralised() -> None:
    dosed = 'kind = "continuous dosing", product = "h2o2", strength_mg_l = 50.0'
    use = """[[products.uses]]
use = "line continuous"
strength = 50.0
strength_unit = "mg/L"
contact_s = 60
temperature_c = [10.0, 30.0]

[[products]]
id = "wipes"
"""
    text = PRACTICE.replace('kind = "bottle", bottle_ml = 1500.0', dosed)
    on = ground(text.replace('[[products]]\nid = "wipes"\n', use))
    book = Book(READY.replace(", neutralised=true", ""), on)
    assert "not neutralised" in why(chair(book, "2026-03-09 08:00"))
    assert "not neutralised" not in why(chair(Book(READY, on), "2026-03-09 08:00"))


def test_a_contact_that_began_before_the_fill_was_over_is_not_proven_and_all_is_done_again() -> None:
    early = """
    2026-03-09 18:00:00 ana duty {duty="chair.close", chair="1", leave_out=["close.fill", "close.contact"]}
    2026-03-09 17:40:00 ana step.started {duty="chair.close", step="close.fill", chair="1", outlets=["turbine", "syringe"]}
    2026-03-09 17:42:00 ana step.started {duty="chair.close", step="close.contact", chair="1", outlets=["turbine", "syringe"]}
    2026-03-09 17:44:00 ana step.done {duty="chair.close", step="close.fill", chair="1", outlets=["turbine", "syringe"], outcome="done"}
    2026-03-09 17:55:00 ana step.done {duty="chair.close", step="close.contact", chair="1", outlets=["turbine", "syringe"], outcome="done"}
    """
    standing = chair(Book(READY + VISIT + TURNOVER + early), "2026-03-10 07:00")
    assert "was over" in why(standing)
    close = next(owed for owed in standing.way_to_fit.duties if owed.duty_id == "chair.close")
    assert {"close.empty", "close.fill", "close.contact", "close.rinse"} <= set(close.steps)


def test_a_missing_entry_of_a_tablet_leaves_what_it_touched_unproven_until_it_comes() -> None:
    book = Book(READY + VISIT + TURNOVER)
    lost = book.made[-3][1].id
    view = book.on.fold(book.received(without=frozenset({lost}))).as_of(book.made[-1][0] + 60_000)
    assert any(c.what == "no entry is missing" for c in view.standing("chair:1").failing)
    assert any("did not arrive" in c.why for c in view.standing("practice:all").failing)


def test_a_duty_left_out_knowingly_says_who_and_why_and_is_not_done() -> None:
    skip = '2026-03-09 09:40 ben duty.skipped {duty="chair.between", chair="1", reason="emergency next door"}'
    standing = chair(Book(READY + VISIT + skip), "2026-03-09 10:00")
    assert standing.verdict is Verdict.UNPROVEN
    assert "left out knowingly by ben: emergency next door" in why(standing)


def test_every_condition_names_a_rule_or_the_book_and_the_fit_ones_their_evidence() -> None:
    standing = chair(Book(READY), "2026-03-09 08:00")
    for condition in standing.conditions:
        assert condition.origin.source
        assert condition.evidence or condition.what == "in service"
