"""May I open it, may I load it? Worked histories of machines, loads, sets and products."""

import pytest
from small_book import READY, Book, moment

from fettlebook.standing.model import Standing, Verdict

pytestmark = pytest.mark.invented

WASHED = """
2026-03-09 06:20 ana load.packed {load="w1", machine="washer", items=[{unit="exam#1"}, {unit="exam#2"}]}
2026-03-09 07:00 ana cycle.recorded {machine="washer", cycle="wash", load="w1", said="passed"}
"""
STERILE = """
2026-03-09 07:01 ana load.packed {load="s1", machine="steam", items=[{unit="exam#1", pack="P1"}, {unit="exam#2", pack="P2"}]}
2026-03-09 07:45 ana cycle.recorded {machine="steam", cycle="wrapped", load="s1", said="passed"}
"""
RELEASED = '2026-03-09 07:50 ana load.released {load="s1", meaning="released", dry=true, indicators_turned=true}\n'
ALL = READY + WASHED + STERILE + RELEASED


def of(text: str, subject: str, at: str = "2026-03-09 08:30") -> Standing:
    return Book(text).at(at).standing(subject)


def why(standing: Standing) -> str:
    return "; ".join(f"{c.what}: {c.why}" for c in standing.failing)


def test_a_set_with_the_whole_chain_is_fit_for_as_long_as_the_storage_rule_allows() -> None:
    standing = of(ALL, "unit:exam#1")
    assert standing.verdict is Verdict.FIT, why(standing)
    stored = next(c for c in standing.conditions if c.what == "within its storage life")
    assert stored.origin.rule_id == "uk.storage"
    assert stored.expires_ms is not None
    assert stored.since_ms is not None
    assert stored.expires_ms - stored.since_ms == 365 * 86_400_000


@pytest.mark.parametrize(
    ("text", "verdict", "says"),
    [
        (READY, Verdict.UNPROVEN, "no sterilizer load with it"),
        (READY + WASHED + STERILE, Verdict.UNPROVEN, "not released"),
        (READY + STERILE + RELEASED, Verdict.UNPROVEN, "no washer load"),
        (READY + WASHED + STERILE.replace('said="passed"', 'said="failed"') + RELEASED, Verdict.UNFIT, "the machine says failed"),
        (READY + WASHED + STERILE.replace('said="passed"', 'said="nothing"') + RELEASED, Verdict.UNPROVEN, "the machine says nothing"),
        (READY + WASHED + STERILE + RELEASED.replace("50 ana", "50 ben"), Verdict.UNPROVEN, "ben has neither the skill"),
        (READY + WASHED + STERILE + RELEASED.replace("dry=true", "dry=false"), Verdict.UNFIT, "not dry"),
        (READY + WASHED + STERILE + RELEASED.replace(", indicators_turned=true", ""), Verdict.UNPROVEN, "turned is not in the book"),
        (READY + WASHED + STERILE + RELEASED.replace("07:50", "07:40"), Verdict.UNPROVEN, "released before the cycle was over"),
        (ALL + '2026-03-09 08:00 ana load.rejected {load="s1", meaning="recalled", reason="x"}', Verdict.UNFIT, "recalled by ana"),
        (ALL + '2026-03-09 08:00 ana pack.opened {pack="P1", unit="exam#1", visit="v9", chair="1"}', Verdict.UNFIT, "visit v9"),
        (ALL + '2026-03-09 08:00 ana set.retired {unit="exam#1", reason="tip broken"}', Verdict.UNFIT, "tip broken"),
    ],
)  # fmt: skip
def test_a_broken_link_of_the_chain_is_named(text: str, verdict: Verdict, says: str) -> None:
    standing = of(text, "unit:exam#1")
    assert (standing.verdict, says in why(standing)) == (verdict, True), why(standing)


def test_a_set_that_was_used_after_its_wash_must_be_washed_again_before_it_is_sterilized() -> None:
    between = '2026-03-09 06:50 ana visit.ended {visit="v0", chair="1", units=["exam#1"]}\n'
    standing = of(READY + WASHED + between + STERILE + RELEASED, "unit:exam#1")
    assert "no washer load since its use" in why(standing)
    assert of(READY + WASHED + between + STERILE + RELEASED, "unit:exam#2").verdict is Verdict.FIT


def test_a_sterile_set_that_went_into_the_washer_again_is_unproven() -> None:
    again = '2026-03-09 08:10 ana load.packed {load="w2", machine="washer", items=[{unit="exam#1"}]}'
    assert "in load w2" in why(of(ALL + again, "unit:exam#1"))


def test_what_was_decided_of_one_pack_does_not_touch_the_other() -> None:
    text = ALL + '2026-03-09 08:00 ana load.rejected {load="s1", meaning="recalled", packs=["P1"], reason="torn"}'
    assert of(text, "unit:exam#1").verdict is Verdict.UNFIT
    assert of(text, "unit:exam#2").verdict is Verdict.FIT
    assert of(text, "load:s1").verdict is Verdict.UNFIT


def test_a_release_against_the_judgement_turns_nothing_to_fit() -> None:
    judged = STERILE.replace("\n2026-03-09 07:45", "\n2026-03-09 07:45").rstrip() + " = ran\n"
    text = (
        READY
        + WASHED
        + judged
        + '2026-03-09 07:46 ana cycle.judged <ran> {machine="steam", load="s1", verdict="unfit", reasons=["short"], judged_with="x"}\n'
    )
    text += RELEASED.replace("meaning=", 'override="needed today", second="ben", meaning=')
    standing = of(text, "load:s1")
    assert standing.verdict is Verdict.UNFIT
    assert any("needed today" in c.why for c in standing.conditions)


def test_a_load_without_a_passed_test_of_its_day_is_unproven() -> None:
    untested = "\n".join(line for line in ALL.splitlines() if "machine.test" not in line)
    assert "none on 2026-03-09 before" in why(of(untested, "load:s1"))
    the_day_before = '\n2026-03-08 05:10 ana machine.test {machine="steam", test="daily", outcome="passed"}'
    assert "none on 2026-03-09 before" in why(of(untested + the_day_before, "load:s1"))


def test_a_load_that_ran_in_another_machine_than_it_was_packed_for_is_unproven() -> None:
    other = STERILE.replace('cycle.recorded {machine="steam"', 'cycle.recorded {machine="washer"')
    assert "packed for steam, but run in washer" in why(of(READY + WASHED + other + RELEASED, "load:s1"))


def test_a_spore_test_counts_only_beside_a_control_that_grew() -> None:
    from fettlebook.standing.machine_runs import newest_run

    for control, verdict in (("as it should", Verdict.FIT), ("not as it should", Verdict.UNPROVEN), ("none", Verdict.UNPROVEN)):
        spore = f'2026-03-09 06:00 ana machine.test {{machine="steam", test="spore test", outcome="passed", control="{control}"}}'
        assert newest_run(Book(READY + spore).at("2026-03-09 08:00").look, "steam", "spore test")[0] is verdict


def test_a_spore_test_that_fails_later_puts_the_load_in_doubt_from_then_on_and_not_before() -> None:
    good = '2026-03-09 05:12 ana machine.test {machine="steam", test="spore test", outcome="passed", control="as it should"}\n'
    ran = moment("2026-03-09 09:00")
    says = f'{{machine="steam", test="spore test", outcome="failed", control="as it should", ran_ms={ran}}}'
    bad = f"2026-03-11 09:00 ana machine.test {says}\n"
    book = Book(READY + good + WASHED + STERILE + RELEASED + bad)
    assert book.at("2026-03-10 08:00").standing("load:s1").verdict is Verdict.FIT, "nobody knew then"
    later = book.at("2026-03-11 10:00").standing("load:s1")
    assert "spore test failed" in why(later)
    known_now = book.on.fold(book.received()).as_of(book.at("2026-03-10 08:00").look.at, 1 << 60).standing("load:s1")
    assert known_now.verdict is not Verdict.FIT, "as it was, by what is known now"
    again = RELEASED.replace("2026-03-09 07:50", "2026-03-11 11:00")
    no_lead = Book(READY + good + WASHED + STERILE + RELEASED + bad + again.replace("ana", "cai"))
    assert no_lead.at("2026-03-11 12:00").standing("load:s1").verdict is Verdict.UNPROVEN, "only the lead settles a look-back"
    lead = Book(READY + good + WASHED + STERILE + RELEASED + bad + again)
    assert lead.at("2026-03-11 12:00").standing("load:s1").verdict is Verdict.FIT


def test_a_machine_after_a_failed_cycle_waits_for_a_test_and_after_two_is_off() -> None:
    fails = '2026-03-09 08:00 ana cycle.recorded {machine="steam", cycle="wrapped", load="x1", said="failed"}\n'
    again = fails.replace("08:00", "09:00").replace("x1", "x2")
    assert of(READY + fails, "machine:steam").verdict is Verdict.UNPROVEN
    assert of(READY + fails + again, "machine:steam", "2026-03-09 09:30").verdict is Verdict.UNFIT
    tested = '2026-03-09 08:20 ana machine.test {machine="steam", test="daily", outcome="passed"}'
    assert of(READY + fails + tested, "machine:steam").verdict is Verdict.FIT


def test_a_failed_test_is_unfit_and_the_worse_of_two_entries_of_one_run_counts() -> None:
    failed = '2026-03-09 05:10 ana machine.test {machine="steam", test="daily", outcome="failed"}'
    assert of(READY + failed, "machine:steam").verdict is Verdict.UNFIT
    both = failed.replace("05:10", "05:11") + "\n" + failed.replace("05:10", "05:11").replace("failed", "passed")
    assert of(READY + both, "machine:steam").verdict is Verdict.UNFIT, "entered twice: one of the two says failed"
    assert of(READY + failed.replace("05:10", "05:09"), "machine:steam").verdict is Verdict.FIT, "run again and passed"


def test_a_test_from_before_a_repair_proves_nothing_after_it() -> None:
    repair = '2026-03-09 07:00 ana repair.done {machine="steam", what="door seal replaced"}'
    assert "before the repair" in why(of(READY + repair, "machine:steam"))


def test_a_product_is_good_for_its_open_life_from_the_first_opening() -> None:
    assert of(READY, "product:h2o2/A1", "2026-05-30 12:00").verdict is Verdict.FIT
    assert of(READY, "product:h2o2/A1", "2026-05-31 12:00").verdict is Verdict.UNFIT
    twice = READY + '2026-05-20 12:00 ana product.opened {product="h2o2", lot="A1"}'
    assert of(twice, "product:h2o2/A1", "2026-05-31 12:00").verdict is Verdict.UNFIT
    printed = '2026-03-09 06:00 ana product.opened {product="h2o2", lot="C1", use_by="2026-03-10"}'
    assert of(READY + printed, "product:h2o2/C1", "2026-03-10 23:00").verdict is Verdict.FIT
    assert of(READY + printed, "product:h2o2/C1", "2026-03-11 00:30").verdict is Verdict.UNFIT


def test_a_step_with_a_lot_past_its_time_is_unfit() -> None:
    old = """
    2026-03-09 06:00 ana product.opened {product="wipes", lot="C1", use_by="2026-03-08"}
    2026-03-09 07:30 ana step.done {duty="chair.first", step="first.lay_out", chair="1", outcome="done", product="wipes", lot="C1"}
    """
    assert "lot C1 was good until" in why(of(READY + old, "chair:1"))
