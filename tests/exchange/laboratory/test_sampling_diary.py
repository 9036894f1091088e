"""Which chair is sampled next, what the plan in force can tell, and what stands on the sheet of a round."""

import io
import sys
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pypdf
import pytest
from scipy.stats import norm

sys.path.insert(0, str(Path(__file__).parents[2] / "standing"))
from small_book import PRACTICE, READY, Book, Ground, ground

from fettlebook.exchange.laboratory.beside import water_beside
from fettlebook.exchange.laboratory.from_book import BookWater, judge_book
from fettlebook.exchange.laboratory.sampling_diary import DueSample, PlanTold, due_samples, plan_told, plan_words
from fettlebook.exchange.paper.sampling_sheet import sampling_sheet, sheet_content
from fettlebook.exchange.water_chart import water_chart
from fettlebook.standing.look import Look


def asked(book: Book, at: str = "2026-03-20 08:00") -> tuple[Look, BookWater, tuple[DueSample, ...]]:
    look = book.now(at).look
    water = judge_book(look, volume_ml=0.1)
    return look, water, due_samples(look, water, water_beside(look, water))


def sampled(day: str, number: int, outlet: str, value: int) -> str:
    return f"""
    {day} 07:00 ana sample.taken {{sample="S{number}", what="water", chair="1", outlets=["{outlet}"], neutralised=true}}
    {day} 17:00 ana sample.result {{sample="S{number}", quantity="water count", value_unit="CFU/mL", value={value}, colonies={value}, plated_nl=1000000}}
    """  # noqa: E501 - one entry a line


def test_a_chair_without_a_sample_is_due_now() -> None:
    (one,) = asked(Book())[2]
    assert (one.due, one.outlet, one.p_above) == (date(2026, 3, 20), "turbine", None)
    assert one.why == "no valid sample in the book"


def test_the_next_sample_is_due_when_the_last_no_longer_holds_from_the_outlet_not_sampled_longest() -> None:
    look, _, (one,) = asked(Book(READY).write(sampled("2026-03-10", 2, "turbine", 20)))
    every = min(days for days, _, _ in look.basis.intervals)
    assert one.due == date(2026, 3, 10) + (date(2026, 3, 10 + 1) - date(2026, 3, 10)) * every
    assert one.outlet == "syringe"


def test_after_a_high_result_it_is_treated_first_and_sampled_in_the_window_of_the_rule() -> None:
    high = READY + sampled("2026-03-16", 2, "syringe", 5000)
    (untreated,) = asked(Book(high))[2]
    assert untreated.due == date(2026, 3, 20)
    assert untreated.why.startswith("the last result is over the limit: treat")
    (treated,) = asked(Book(high).write('2026-03-18 05:00 ana duty {duty="chair.long_still", chair="1"}'))[2]
    assert (treated.from_day, treated.due) == (date(2026, 3, 25), date(2026, 4, 1))  # common practice: after one to two weeks
    assert treated.outlet == "syringe"


def told(book: Book, **ways: float) -> PlanTold:
    look, water, _ = asked(book)
    return plan_told(look, water, **ways)


@pytest.mark.published(source="pass probability of one sample: Phi(-log10(m)/s), counts.md table, recomputed with scipy", sure="computed")
def test_what_the_plan_tells_is_the_normal_distribution_function() -> None:
    found = told(Book(READY), multiple=3.0)
    assert found.passes_once == pytest.approx(float(norm.cdf(-0.47712125 / found.sd_log10)), rel=1e-6)
    assert found.every_days is not None
    assert found.passes_a_year == pytest.approx(found.passes_once ** round(365 / found.every_days))
    assert found.singly is not None
    assert (
        1 - found.passes_once**found.singly.rounds
        >= 0.9
        > (1 - found.passes_once ** (found.singly.rounds - 1) if found.singly.rounds > 1 else 0)
    )
    assert any("passes a sample with chance" in line for line in plan_words(found))


def test_more_power_never_costs_fewer_samples() -> None:
    rounds = [told(Book(READY), power=power).singly for power in (0.5, 0.9, 0.99)]
    numbers = [one.rounds for one in rounds if one is not None]
    assert numbers == sorted(numbers)
    assert len(numbers) == 3


def dosed() -> Ground:
    return ground(PRACTICE.replace('"general", "uk"', '"general", "us"'))


@pytest.mark.published(source="ISO 19458 and Standard Methods 9060 by the rulebook's rows: 100 mL, 2 to 8 degC, 8 h", sure="secondary")
def test_the_sheet_says_volume_neutraliser_cold_and_time_with_their_rules() -> None:
    look, _, due = asked(Book(on=dosed()))
    content = sheet_content(look.basis.practice, look.basis.rulebook, due, made_at=datetime(2026, 3, 20, 8, tzinfo=UTC))
    said = {one["what"]: one["how"] for one in content["mind"]}
    assert "at least 100 mL" in said["Volume"]
    assert "2 to 8 degC" in said["On the way"]
    assert "within 8 h" in said["At the laboratory"]
    assert "catalase" in said["In the bottle"]


def test_where_no_rule_says_it_the_sheet_sends_to_the_laboratory() -> None:
    look, _, due = asked(Book())
    content = sheet_content(look.basis.practice, look.basis.rulebook, due, made_at=datetime(2026, 3, 20, 8, tzinfo=UTC))
    assert {one["what"]: one["how"] for one in content["mind"]}[
        "At the laboratory"
    ] == "The rules in force name nothing: ask the laboratory."
    silver = look.basis.practice.model_copy(
        update={"products": tuple(p.model_copy(update={"active": "silver and peroxide"}) for p in look.basis.practice.products)}
    )
    bottle = {
        one["what"]: one["how"]
        for one in sheet_content(silver, look.basis.rulebook, due, made_at=datetime(2026, 3, 20, 8, tzinfo=UTC))["mind"]
    }["In the bottle"]
    assert "ask the laboratory what stops it" in bottle


def test_the_sheet_is_a_pdf_with_a_label_for_each_sample() -> None:
    look, _, due = asked(Book())
    two = (due[0], replace(due[0], outlet="syringe"))
    pdf = sampling_sheet(look.basis.practice, look.basis.rulebook, two, made_at=datetime(2026, 3, 20, 8, tzinfo=UTC))
    text = " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages)
    assert text.count("Neutralised with:") == 2
    assert "1, syringe" in text
    assert "invented data" in text


def test_the_drawing_shows_each_result_by_its_shape_and_names_the_chair() -> None:
    book = Book(READY).write(sampled("2026-03-10", 2, "turbine", 20))
    book.write(
        """
        2026-03-12 07:00 ana sample.taken {sample="S3", what="water", chair="1", outlets=["turbine"], neutralised=true}
        2026-03-12 17:00 ana sample.result {sample="S3", quantity="water count", value=1, value_unit="CFU/mL", mark="below", plated_nl=1000000}
        """  # noqa: E501 - one entry a line
    )
    look, water, _ = asked(book)
    drawn = water_chart(look, water, "1")
    assert drawn.count("<circle") == 2  # W1, S2
    assert drawn.count("11z") == 1  # the triangle of a bound
    assert drawn.count("h12l-6 8z") == 2  # treatments
    assert "aim 200" in drawn
    assert "style=" not in drawn
    assert "<polygon" in drawn
