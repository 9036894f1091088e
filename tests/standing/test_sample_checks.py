"""An invalid sample is unproven, not good news; a bad count stays bad."""

import pytest
from small_book import PRACTICE, Book, Ground, ground, moment

from fettlebook.standing.model import Condition, Verdict

CHLORINE = """
[[products]]
id = "drops"
name = "Water additive (invented)"
active = "sodium hypochlorite (free chlorine)"
uses = [{ use = "line continuous", strength = 1.0, strength_unit = "mg/L", contact_s = 60, temperature_c = [5.0, 35.0] }]

[in_use]
line_continuous = "drops"
"""


def under(text: str = PRACTICE) -> Ground:
    return ground(text.replace('rulebooks = ["general", "uk"]', 'rulebooks = ["general", "us"]'))


def dosed() -> Ground:
    return under(PRACTICE.replace("[in_use]\n", CHLORINE))


def count_of(taken: str = "", result: str = "", value: int = 40, on: Ground | None = None) -> Condition:
    book = Book(on=on or under()).write(
        f"""
        2026-03-09 07:00 ana sample.taken {{sample="W2", what="water", chair="1", outlets=["turbine", "syringe"], neutralised=true{taken}}}
        2026-03-16 06:00 ana sample.result {{sample="W2", quantity="water count", value={value}, value_unit="CFU/mL", chair="1"{result}}}
        """
    )
    found = book.at("2026-03-16 08:00").standing("chair:1").conditions
    return next(c for c in found if c.what == "water count within the limit")


def after(hours: float) -> str:
    return f", received_ms={moment('2026-03-09 07:00') + round(hours * 3_600_000)}"


@pytest.mark.published(source="Standard Methods 9060 B: heterotrophic counts begun within 8 h of sampling", sure="secondary")
def test_a_sample_begun_after_more_than_eight_hours_proves_nothing() -> None:
    assert count_of(result=after(8.0)).verdict is Verdict.FIT
    late = count_of(result=after(8.1))
    assert late.verdict is Verdict.UNPROVEN
    assert "begun after 8.1 h, at most 8 h" in late.why


@pytest.mark.published(source="ISO 19458: samples kept at 5 +/- 3 degC on the way", sure="memory")
@pytest.mark.parametrize(("mc", "verdict"), [(2000, "fit"), (8000, "fit"), (8100, "unproven"), (1900, "unproven")])
def test_a_sample_that_came_too_warm_or_frozen_proves_nothing(mc: int, verdict: str) -> None:
    assert count_of(result=f", received_mc={mc}").verdict == verdict


@pytest.mark.parametrize(
    ("result", "said"),
    [
        (", blank_colonies=2", "field blank grew 2 colonies"),
        (', not_valid="bottle leaked"', "not valid: bottle leaked"),
        (", colonies=90, plated_nl=100000", "its plates say 900 CFU/mL"),
        (after(-1), "before it was taken"),
    ],
)
def test_an_invalid_sample_leaves_the_water_unproven(result: str, said: str) -> None:
    found = count_of(result=result)
    assert found.verdict is Verdict.UNPROVEN
    assert said in found.why


@pytest.mark.parametrize("result", [", blank_colonies=0", ", colonies=4, plated_nl=100000", ", colonies=41, plated_nl=1000000"])
def test_what_is_in_order_stays_fit(result: str) -> None:
    assert count_of(result=result).verdict is Verdict.FIT


def test_a_count_over_the_limit_is_acted_on_although_its_sample_is_invalid() -> None:
    assert count_of(result=", blank_colonies=2", value=900).verdict is Verdict.UNFIT


@pytest.mark.published(source="Standard Methods 9060 A.2: sodium thiosulfate against chlorine", sure="read")
def test_the_neutraliser_must_stop_what_is_in_the_water() -> None:
    assert count_of(', neutraliser="Sodium thiosulfate 3 %"', on=dosed()).verdict is Verdict.FIT
    wrong = count_of(', neutraliser="catalase"', on=dosed())
    assert wrong.verdict is Verdict.UNPROVEN
    assert "catalase does not stop sodium hypochlorite" in wrong.why
    assert count_of(', neutraliser="catalase"').verdict is Verdict.FIT  # nothing is dosed here: the neutraliser doesn't matter


def test_plates_too_many_to_count_are_not_held_against_the_number() -> None:
    plates = ", plates=[{colonies=300, plated_nl=100000000, too_many=true}, {colonies=4, plated_nl=100000}]"
    assert count_of(result=plates).verdict is Verdict.FIT
