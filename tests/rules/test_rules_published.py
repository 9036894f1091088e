"""Figures of documents that were read, held against the rulebook: value, comparator, unit, source and how sure."""

import pytest

from fettlebook.rules.load import load_rulebook

WAC = "WAC 246-817-660"
GEORGIA = "Ga. Comp. R. & Regs. 150-8-.05, as announced by the Georgia Board of Dentistry 2025-08-29"
CDC_PAGE = "CDC page Best Practices for Dental Unit Water Quality"


def found(small, pack: str, limit_id: str) -> tuple[tuple[float, ...], str, str]:
    limit = load_rulebook(small(pack)).limit(limit_id)
    return limit.value, limit.unit, limit.compare


@pytest.mark.published(source=f"{WAC} (1): 500 colony forming units per millilitre or less", sure="read")
def test_washington_holds_dental_water_to_500_or_less(small):
    assert found(small, "us-wa", "us-wa.water.hpc_limit") == ((500,), "CFU/mL", "<=")
    origin = load_rulebook(small("us-wa")).limit("us-wa.water.hpc_limit").origin
    assert (origin.source, origin.sure, origin.force, origin.layer) == ("WAC 246-817-660 (1)", "read", "law", "us-wa")


@pytest.mark.published(source=f"{WAC} (2): at least quarterly where the instructions give no interval", sure="read")
def test_washington_asks_for_a_test_each_quarter(small):
    assert found(small, "us-wa", "us-wa.water.test_interval") == ((4,), "per year", ">=")


@pytest.mark.published(source=f"{WAC} (2): five to ten days after repair, again at twenty-one to twenty-eight days later", sure="read")
def test_washington_asks_for_two_tests_after_a_repair_in_windows(small):
    assert found(small, "us-wa", "us-wa.water.after_repair_1") == ((5, 10), "d", "window")
    assert found(small, "us-wa", "us-wa.water.after_repair_2") == ((21, 28), "d", "window")
    reading = next(row.reading for row in load_rulebook(small("us-wa")).requirements if row.id == "us-wa.water.after_repair_2")
    assert "our reading" in reading


@pytest.mark.published(source=f"{WAC} (2)(a): up to ten lines of one unit pooled; (2)(c): records kept five years", sure="read")
def test_washington_allows_ten_lines_in_a_pool_and_keeps_records_five_years(small):
    assert found(small, "us-wa", "us-wa.water.pool") == ((10,), "lines", "<=")
    assert found(small, "us-wa", "us-wa.records.water") == ((5,), "years", ">=")


@pytest.mark.published(source=GEORGIA, sure="read")
def test_georgia_holds_500_tests_each_quarter_and_within_30_days_of_a_repair(small):
    assert found(small, "us-ga", "us-ga.water.hpc_limit") == ((500,), "CFU/mL", "<=")
    assert found(small, "us-ga", "us-ga.water.test_interval") == ((4,), "per year", ">=")
    assert found(small, "us-ga", "us-ga.water.after_repair") == ((30,), "d", "<=")


@pytest.mark.published(source=f"{CDC_PAGE}: fewer than 500 CFU/mL; states' rule texts say 500 or less", sure="read")
def test_the_federal_guidance_holds_500_and_says_what_is_disputed_at_500_itself(small):
    assert found(small, "us", "us.water.hpc_limit")[:2] == ((500,), "CFU/mL")
    assert "fewer than" in load_rulebook(small("us")).limit("us.water.hpc_limit").origin.note


@pytest.mark.published(source="American Dental Association, statement on dental unit waterlines 1995: 200 CFU/mL, goal", sure="read")
def test_the_american_goal_of_200_is_an_aim_and_no_limit(small):
    book = load_rulebook(small("us"))
    assert (book.limit("us.ada.goal").value, book.limit("us.ada.goal").role) == ((200,), "aim")
    assert book.strictest("water count", "limit").value == (500,)


@pytest.mark.published(source="TrinkwV section 31 and annex 3 part II, as stated by the Bavarian state portal: 100 CFU/100 mL", sure="read")
def test_the_german_action_value_for_legionella_acts_when_it_is_reached(small):
    assert found(small, "de", "de.legionella.action") == ((100,), "CFU/100 mL", ">=")


@pytest.mark.published(
    source="HSE, Legionnaires' disease: Monitoring and keeping records: results 5 years, scheme 2 years after", sure="read"
)
def test_british_legionella_results_are_kept_five_years(small):
    assert found(small, "uk", "uk.records.legionella") == ((5,), "years", ">=")
    assert found(small, "uk", "uk.records.legionella_scheme") == ((2,), "years", ">=")


@pytest.mark.published(
    source="Standard Methods 9060 A.2: 0.1 mL of 3 % thiosulfate takes up to 5 mg/L, of 10 % up to 15 mg/L chlorine", sure="read"
)
def test_thiosulfate_in_the_bottle_neutralises_up_to_what_the_method_says(small):
    assert found(small, "general", "all.sample.neutraliser_chlorine")[:2] == ((5, 15), "mg/L Cl2")


@pytest.mark.published(
    source="California Code of Regulations title 16 section 1005: two minutes at the start, 20 seconds between", sure="secondary"
)
def test_california_asks_two_minutes_at_the_start_before_devices_are_attached_and_20_s_between(small):
    book = load_rulebook(small("us-ca"))
    assert (book.step("first.flush").seconds, book.step("first.flush").handpieces) == (120, "off")
    assert "at least 20 s" in [over.value for over in book.step("between.flush").overrides]


@pytest.mark.published(source="HTM 01-05 2013 edition, para 2.4k: wrapped 365 days, unwrapped 1 day and 7 days", sure="secondary")
def test_british_packs_keep_a_year_wrapped_a_day_or_a_week_unwrapped(small):
    held = [found(small, "uk", f"uk.storage{part}")[0] for part in ("", ".unwrapped_clinical", ".unwrapped_other")]
    assert held == [(365,), (1,), (7,)]


@pytest.mark.published(
    source="HTM 01-05, 2009 edition, para 6.85: two minutes; section 6: 20 to 30 seconds between patients", sure="secondary"
)
def test_british_flushes_last_two_minutes_at_the_ends_of_the_day_and_half_a_minute_between(small):
    book = load_rulebook(small("uk", in_use=""))
    assert [book.step(name).seconds for name in ("first.flush", "close.flush", "still.flush")] == [120, 120, 120]
    assert book.step("between.flush").floor_range_s == (20, 30)


@pytest.mark.practice_fact
def test_a_turnover_costs_seven_to_nine_attended_minutes(small):
    steps = load_rulebook(small("general")).duties_of("chair", "between visits")[0].steps
    assert 7 <= sum(step.seconds or 0 for step in steps if step.attended) / 60 <= 9


@pytest.mark.practice_fact
def test_the_start_of_a_chair_costs_ten_to_fifteen_attended_minutes(small):
    steps = load_rulebook(small("general")).duties_of("chair", "before the first visit")[0].steps
    assert 10 <= sum(step.seconds or 0 for step in steps if step.attended) / 60 <= 15


def test_what_is_known_from_memory_shows_as_unchecked(small):
    rows = load_rulebook(small("uk")).requirements
    assert {row.id for row in rows if not row.origin.checked} >= {"uk.washer.a0", "uk.legionella.action_high", "all.steam_bands"}
    assert all(row.origin.checked == (row.origin.sure != "memory") for row in rows)
