"""What follows a failed cycle, a failed or missing test: worked histories from the failure to the machine's return."""

import pytest
from small_book import PRACTICE, READY, Book, ground, moment
from test_instruments_standing import ALL, RELEASED, STERILE, WASHED

from fettlebook.standing.failure import Failure, failures
from fettlebook.standing.model import Verdict

pytestmark = pytest.mark.invented
US = ground(PRACTICE.replace('rulebooks = ["general", "uk"]', 'rulebooks = ["general", "us"]'))
CYCLE = '2026-03-09 07:45 ana cycle.recorded {machine="steam", cycle="wrapped", load="s1", said="passed"}'
FAILED = READY + WASHED + STERILE.replace(CYCLE, CYCLE.replace("passed", "failed") + " = bad")
GOOD = '2026-03-08 05:12 ana machine.test {machine="steam", test="spore test", outcome="passed", control="as it should"}\n'
RAN = moment("2026-03-09 12:00")


def us(text: str) -> Book:
    """A book under the rules of the United States; duties that only the other pack has are left out."""
    known = {duty.id for duty in US.rulebook.duties}
    lines = [line for line in text.splitlines() if " duty {" not in line or line.partition('duty="')[2].partition('"')[0] in known]
    return Book("\n".join(lines), US)


def spore(at: str, outcome: str, ran: int, name: str = "") -> str:
    says = f'{{machine="steam", test="spore test", outcome="{outcome}", control="as it should", ran_ms={ran}}}'
    return f"{at} ana machine.test {says}{f' = {name}' if name else ''}\n"


POSITIVE = ALL + GOOD + spore("2026-03-10 09:00", "failed", RAN, "bad")


def found(text: str, at: str = "2026-03-10 10:00", on: object = None) -> tuple[Failure, ...]:
    book = us(text) if on is US else Book(text)
    return failures(book.at(at).look, next(m for m in book.on.practice.machines if m.id == "steam"))


def states(failure: Failure) -> dict[str, str]:
    return {step.id: step.state for step in failure.steps}


def test_nothing_failed_nothing_follows() -> None:
    assert found(ALL, "2026-03-09 09:00") == ()


def test_a_failed_cycle_step_by_step() -> None:
    (first,) = found(FAILED, "2026-03-09 08:00")
    assert (first.kind, first.short, [load.load for load in first.quarantine]) == ("cycle", (("exam", 2),), ["s1"])
    assert states(first) == {"aside": "open", "review": "open", "retest": "open", "again": "open"}
    used = '2026-03-09 07:55 ana visit.started {visit="v3", chair="1", units=["exam#2"]}\n'
    (touched,) = found(FAILED + used, "2026-03-09 08:00")
    assert touched.back is not None
    assert [visit for visit, _, _ in touched.back.visits] == ["v3"], "used all the same"
    text = FAILED + '2026-03-09 08:01 ana load.rejected {load="s1", meaning="rejected", reason="short hold"}\n'
    text += '2026-03-09 08:02 ana failure.step <bad> {machine="steam", step="review", outcome="done", reason="door seal"}\n'
    text += '2026-03-09 08:20 ana machine.test {machine="steam", test="daily", outcome="passed"}\n'
    text += '2026-03-09 08:22 ana load.packed {load="w2", machine="washer", items=[{unit="exam#1"}, {unit="exam#2"}]}\n'
    (last,) = found(text, "2026-03-09 08:30")
    assert (last.open, last.quarantine, last.short) == (False, (), ())
    assert all(step.entry for step in last.steps if step.id in ("aside", "review", "retest"))


def test_two_failed_cycles_in_a_row_put_the_machine_off_until_a_person_returns_it() -> None:
    second = '2026-03-09 09:00 ana cycle.recorded {machine="steam", cycle="wrapped", load="s2", said="aborted"}\n'
    (failure,) = found(FAILED + second, "2026-03-09 09:10")
    assert (states(failure)["out"], states(failure)["return"]) == ("open", "not yet")
    tested = '2026-03-09 09:30 ana machine.test {machine="steam", test="daily", outcome="passed"}\n'
    assert states(found(FAILED + second + tested, "2026-03-09 09:40")[0])["return"] == "open"


@pytest.mark.published(
    source="CDC, MMWR 2003;52(RR-17), VI.F: positive spore test: out of service, review, retest; negative retest: back in service",
    sure="secondary",
)
def test_a_positive_spore_test_from_out_of_service_to_the_return() -> None:
    (failure,) = found(POSITIVE, on=US)
    assert states(failure) == {
        "out": "open",
        "review": "open",
        "retest": "open",
        "quarantine": "open",
        "authority": "open",
        "return": "not yet",
    }
    assert [load.load for load in failure.quarantine] == ["s1"]
    assert failure.short == (("exam", 2),)
    assert failure.steps[0].origin.rule_id == "all.spore_test.positive"
    assert us(POSITIVE).at("2026-03-10 10:00").standing("machine:steam").verdict is Verdict.UNFIT
    text = POSITIVE + '2026-03-10 10:00 ana subject.out_of_service {machine="steam", reason="positive spore test"}\n'
    text += '2026-03-10 10:05 ana failure.step <bad> {machine="steam", step="review", outcome="done", reason="overloaded"}\n'
    text += '2026-03-10 10:06 ana failure.step <bad> {machine="steam", step="authority", outcome="not needed", reason="local rules"}\n'
    text += '2026-03-10 10:10 ana load.rejected {load="s1", meaning="recalled", reason="positive spore test"}\n'
    text += spore("2026-03-11 10:00", "passed", moment("2026-03-10 11:00"))
    (later,) = found(text, "2026-03-11 11:00", US)
    assert states(later) == {"out": "done", "review": "done", "retest": "done", "quarantine": "done", "authority": "done", "return": "open"}
    text += '2026-03-11 11:05 ana subject.returned {machine="steam", reason="retest negative", meaning="returned"}\n'
    assert not found(text, "2026-03-11 12:00", US)[0].open
    assert found(text, "2026-04-20 12:00") == (), "a closed one leaves the page"


@pytest.mark.published(
    source="CDC, MMWR 2003;52(RR-17), VI.F: retest positive: inspected, repaired, three empty-chamber cycles in a row", sure="secondary"
)
def test_a_positive_retest_asks_for_a_repair_and_three_passes_in_a_row() -> None:
    again = POSITIVE + spore("2026-03-11 10:00", "failed", moment("2026-03-10 11:00"))
    failure = found(again, "2026-03-11 11:00", US)[0]
    assert states(failure)["repair"] == "open"
    assert states(failure)["retest"] == "not yet"
    repaired = again + '2026-03-12 09:00 ana repair.done {machine="steam", what="vacuum pump"}\n'
    passes = [spore(f"2026-03-1{3 + n} 10:00", "passed", moment(f"2026-03-12 1{n}:00")) for n in range(3)]
    for n in range(3):
        now = us(repaired + "".join(passes[: n + 1])).at("2026-03-16 08:00")
        open_ones = [c for c in now.standing("machine:steam").conditions if c.what == "no failed spore test open"]
        assert bool(open_ones) is (n < 2), f"{n + 1} of 3 passed"
    assert states(found(repaired + "".join(passes), "2026-03-16 08:00", US)[0])["retest"] == "done"


def test_one_passed_test_between_two_failures_is_not_a_repeated_failure() -> None:
    text = GOOD + POSITIVE.removesuffix("\n") + "\n" + spore("2026-03-11 10:00", "passed", moment("2026-03-10 11:00"))
    text += spore("2026-03-17 10:00", "failed", moment("2026-03-16 11:00"))
    failure = found(text, "2026-03-17 11:00", US)[0]
    assert "repair" not in states(failure)


def test_a_failed_test_of_the_morning_holds_the_loads_since_the_last_good_one_until_the_lead_decides() -> None:
    bad = '2026-03-10 05:10 ana machine.test {machine="steam", test="daily", outcome="failed"} = bad\n'
    (failure,) = found(ALL + bad, "2026-03-10 08:00")
    assert (failure.kind, [load.load for load in failure.quarantine], failure.short) == ("test", ["s1"], (("exam", 2),))
    assert Book(ALL + bad).at("2026-03-10 08:00").standing("unit:exam#1").verdict is Verdict.UNPROVEN
    anew = RELEASED.replace("2026-03-09 07:50", "2026-03-10 08:10")
    assert found(ALL + bad + anew, "2026-03-10 09:00")[0].quarantine == ()
    assert found(ALL + bad + anew.replace("ana", "cai"), "2026-03-10 09:00")[0].quarantine != (), "cai is no lead"


def test_a_visit_that_used_a_set_of_the_quarantine_is_listed() -> None:
    used = '2026-03-09 10:00 ana visit.started {visit="v7", chair="1", units=["exam#2"]}\n'
    (failure,) = found(ALL + used + POSITIVE.removeprefix(ALL))
    assert failure.back is not None
    assert [visit for visit, _, _ in failure.back.visits] == ["v7"]
    assert failure.short == (("exam", 1),), "the other set is still in the cupboard"


@pytest.mark.published(source="CDC, MMWR 2003;52(RR-17), VI.F: spore test at least weekly", sure="secondary")
def test_a_missing_spore_test_lists_what_ran_since_the_last_good_one() -> None:
    assert found(ALL + GOOD, "2026-03-09 09:00", US) == ()
    (failure,) = found(ALL + GOOD, "2026-03-17 09:00", US)
    assert (failure.kind, failure.quarantine) == ("missing spore test", ()), "s1 ran in the week of the good test"
    later = STERILE.replace("2026-03-09", "2026-03-17").replace('"s1"', '"s9"')
    assert [load.load for load in found(ALL + GOOD + later, "2026-03-17 09:00", US)[0].quarantine] == ["s9"]
    assert found(ALL, "2026-03-17 09:00") == (), "no rule of the United Kingdom's pack asks for one"
    late = STERILE.replace("2026-03-09", "2026-03-17").replace('"s1"', '"s9"')
    for text, verdict in (
        (ALL + GOOD + late, Verdict.UNPROVEN),
        (ALL + GOOD + late + spore("2026-03-17 12:00", "passed", moment("2026-03-17 08:30")), Verdict.FIT),
    ):
        conditions = us(text).at("2026-03-17 13:00").standing("load:s9").conditions
        assert next(c.verdict for c in conditions if c.what == "a spore test of its week") is verdict
    (never,) = found(ALL, "2026-03-09 09:00", US)
    assert "none good in the book" in never.told
