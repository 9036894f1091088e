"""Verdicts against numbers that others published: limits, storage times, intervals of tests."""

import pytest
from small_book import PRACTICE, READY, Book, ground, moment
from test_instruments_standing import RELEASED, STERILE, WASHED

from fettlebook.standing.model import Condition, Standing, Verdict


def under(*rulebooks: str) -> Book:
    names = ", ".join(f'"{name}"' for name in rulebooks)
    return Book(on=ground(PRACTICE.replace('rulebooks = ["general", "uk"]', f"rulebooks = [{names}]")))


def condition(standing: Standing, what: str) -> Condition:
    return next(c for c in standing.conditions if c.what.startswith(what))


def counted(value: int, *rulebooks: str) -> Standing:
    book = under(*rulebooks)
    book.write(
        f"""
        2026-03-09 05:00 ana sample.taken {{sample="W9", what="water", chair="1", outlets=["turbine"], neutralised=true}}
        2026-03-16 05:00 ana sample.result {{sample="W9", quantity="water count", value={value}, value_unit="CFU/mL"}}
        """
    )
    return book.at("2026-03-16 08:00").standing("chair:1")


@pytest.mark.published(source="CDC, Best Practices for Dental Unit Water Quality: at most 500 CFU/mL, non-surgical water", sure="read")
@pytest.mark.parametrize(("value", "verdict"), [(500, Verdict.FIT), (501, Verdict.UNFIT)])
def test_the_united_states_limit_of_500_cfu_ml_divides_fit_from_unfit(value: int, verdict: Verdict) -> None:
    found = condition(counted(value, "general", "us"), "water count")
    assert found.verdict is verdict, found.why


@pytest.mark.published(source="KRINKO/RKI, Bundesgesundheitsbl 2006;49:375-394: at most 100 CFU/mL", sure="secondary")
@pytest.mark.parametrize(("value", "verdict"), [(100, Verdict.FIT), (101, Verdict.UNFIT)])
def test_the_german_limit_of_100_cfu_ml_divides_fit_from_unfit(value: int, verdict: Verdict) -> None:
    found = condition(counted(value, "general", "de"), "water count")
    assert found.verdict is verdict, found.why


@pytest.mark.published(source="HTM 01-05 2013, para 2.4k(i): wrapped instruments up to one year (365 d)", sure="secondary")
def test_a_wrapped_set_is_stored_for_365_days_and_not_a_minute_longer() -> None:
    book = Book(READY + WASHED + STERILE + RELEASED)
    ended = moment("2026-03-09 07:45")
    stored = [
        condition(book.on.fold(book.received()).as_of(at).standing("unit:exam#1"), "within its storage life").verdict
        for at in (ended + 365 * 86_400_000 - 60_000, ended + 365 * 86_400_000)
    ]
    assert stored == [Verdict.FIT, Verdict.UNPROVEN]


@pytest.mark.published(source="HTM 01-05 2013, para 2.4k(ii): unwrapped, clinical area: to the end of the working day", sure="secondary")
def test_an_unwrapped_set_is_good_for_the_day_of_its_cycle() -> None:
    unwrapped = STERILE.replace(', pack="P1"', "").replace(', pack="P2"', "")
    book = Book(READY + WASHED + unwrapped + RELEASED)
    assert condition(book.at("2026-03-09 23:59").standing("unit:exam#1"), "within its storage life").verdict is Verdict.FIT
    assert condition(book.at("2026-03-10 00:00").standing("unit:exam#1"), "within its storage life").verdict is Verdict.UNPROVEN


@pytest.mark.published(source="CDC, MMWR 2003;52(RR-17), VI.F: spore test at least weekly", sure="secondary")
def test_in_the_united_states_a_sterilizer_without_a_spore_test_of_the_week_is_unproven() -> None:
    def spore(at: str) -> Condition:
        book = under("general", "us")
        book.write('2026-03-02 05:00 ana machine.test {machine="steam", test="spore test", outcome="passed", control="as it should"}')
        return condition(book.at(at).standing("machine:steam"), "Spore test, each week")

    assert spore("2026-03-09 23:00").verdict is Verdict.FIT
    assert spore("2026-03-10 01:00").verdict is Verdict.UNPROVEN


@pytest.mark.published(source="WAC 246-817-660: unit water tested quarterly where the IFU names no interval", sure="secondary")
def test_in_washington_state_a_count_is_never_older_than_a_quarter() -> None:
    book = under("general", "us-wa")
    for n, day in enumerate(("2026-01-05", "2026-02-02", "2026-03-02")):
        book.write(
            f"""
            {day} 05:00 ana sample.taken {{sample="Q{n}", what="water", chair="1", outlets=["turbine"], neutralised=true}}
            {day} 06:00 ana sample.result {{sample="Q{n}", quantity="water count", value=20, value_unit="CFU/mL"}}
            """
        )
    found = condition(book.at("2026-03-03 08:00").standing("chair:1"), "water count")
    assert found.verdict is Verdict.FIT
    assert found.expires_ms is not None
    assert found.expires_ms <= moment("2026-06-03 00:00") + 3_600_000  # 92 days are the longest quarter


@pytest.mark.practice_fact
def test_a_weekend_asks_for_the_longer_flush_and_a_holiday_for_treatment() -> None:
    book = Book(READY)
    monday = {d.duty_id for d in book.at("2026-03-10 12:00").standing("chair:1").way_to_fit.duties}
    holiday = {d.duty_id for d in book.at("2026-03-17 12:00").standing("chair:1").way_to_fit.duties}
    assert "chair.still" in monday
    assert "chair.long_still" not in monday
    assert "chair.long_still" in holiday
