"""A chair's water as the book tells it: results with what they rest on, treatments whole or not."""

from small_book import READY, Book, moment

from fettlebook.standing.basis import DAY_MS
from fettlebook.standing.model import Verdict
from fettlebook.standing.steps import AtChair, duty_says
from fettlebook.standing.treatments import treatments
from fettlebook.standing.water_history import ChairWater, chair_water


def history(book: Book, at: str = "2026-03-20 08:00") -> ChairWater:
    look = book.now(at).look
    return chair_water(look, look.basis.chairs["1"])


def sampled(day: str, number: int, result: str) -> str:
    return f"""
    {day} 07:00 ana sample.taken {{sample="S{number}", what="water", chair="1", outlets=["turbine"], neutralised=true}}
    {day} 17:00 ana sample.result {{sample="S{number}", quantity="water count", value_unit="CFU/mL", {result}}}
    """


def test_results_stand_by_day_with_colonies_volume_and_days_since_the_treatment() -> None:
    book = Book(READY).write(
        sampled("2026-03-12", 3, "value=120, colonies=12, plated_nl=100000")
        + sampled("2026-03-10", 2, 'value=10, mark="below", plated_nl=100000')
    )
    found = history(book)
    assert [one.sample for one in found.results] == ["W1", "S2", "S3"]
    assert found.results[0].seen is None  # a number without a volume says nothing of how sure it is
    sample = found.results[0].as_sample(0.0, volume_ml=0.1)
    assert (sample and (sample.kind, sample.colonies, sample.volume_ml)) == ("count", 4, 0.1)
    below, counted = found.results[1].as_sample(0.0), found.results[2].as_sample(0.0)
    assert (below and (below.kind, below.colonies)) == ("below", 0)
    assert (counted and (counted.kind, counted.colonies)) == ("count", 12)
    assert len(found.whole) == 2
    done = found.whole[0].done_ms
    assert moment("2026-03-02 05:02") < done < moment("2026-03-02 07:00")
    assert found.days_since_intensive(done + 3 * DAY_MS) == 3.0
    assert found.days_since_intensive(done - 1) is None


def test_a_treatment_too_short_is_shown_and_does_not_count() -> None:
    book = Book(READY).write('2026-03-11 05:00 ana duty {duty="chair.long_still", chair="1", short=["long.contact"]}')
    found = history(book)
    assert [one.whole for one in found.treatments] == [True, True, False]
    assert "Line disinfectant acts" in found.treatments[2].why
    assert found.days_since_intensive(moment("2026-03-13 05:00")) > 3  # type: ignore[operator]


def test_a_step_left_out_makes_a_treatment_not_whole() -> None:
    book = Book(READY).write('2026-03-11 05:00 ana duty {duty="chair.long_still", chair="1", leave_out=["long.strip_rinse"]}')
    assert [one.whole for one in history(book).treatments] == [True, True, False]


def test_each_treatment_is_one() -> None:
    book = Book(READY).write('2026-03-11 05:00 ana duty {duty="chair.long_still", chair="1"}')
    assert [one.whole for one in history(book).treatments] == [True, True, True]


def test_nothing_of_later_is_known_earlier() -> None:
    book = Book(READY).write(sampled("2026-03-12", 3, "value=120, colonies=12, plated_nl=100000"))
    assert [one.sample for one in history(book, "2026-03-11 08:00").results] == ["W1"]


def test_plates_that_contradict_each_other_prove_nothing() -> None:
    plates = "value=30, plates=[{colonies=300, plated_nl=1000000, too_many=true}, {colonies=3, plated_nl=100000}]"
    (_, found) = history(Book(READY).write(sampled("2026-03-12", 3, plates))).results
    assert found.seen is None
    assert "don't go together" in found.doubts[0]
    assert found.verdict is Verdict.UNPROVEN


def test_standing_history_and_treatments_judge_a_weak_feed_alike() -> None:
    """The strip at the feed shows that the lines never held the label's strength: no part of the program may call that a treatment."""
    book = Book(
        READY.replace(
            '05:20 ana duty {duty="chair.long_still", chair="1"',
            '05:20 ana duty {duty="chair.long_still", chair="1", weak=["long.strip_feed"]',
        )
    )
    look = book.now("2026-03-20 08:00").look
    chair = look.basis.chairs["1"]
    record = treatments(look, chair)
    assert [one.whole for one in history(book).treatments] == [one.verdict is Verdict.FIT for one in record] == [True, False]
    assert "strip 3 mg/L" in history(book).treatments[1].why
    duty = record[1].duty
    says = duty_says(AtChair(look, chair, record[1].began_ms, frozenset({"turbine", "syringe"})), duty)
    assert (says.verdict, says.open[0].step.id) == (Verdict.UNFIT, "long.strip_feed")
