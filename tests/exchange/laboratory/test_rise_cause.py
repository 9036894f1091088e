"""From the book: which of mains, lot and laboratory the chairs of a round share, and what is said of their rise."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "web"))
import made_up_day

from fettlebook.book.entries import Moment
from fettlebook.book.kinds import Data, ProductOpened, SampleResult, SampleTaken, StepDone, to_ms
from fettlebook.book.stores import open_book
from fettlebook.exchange.laboratory.beside import WaterBeside, water_beside
from fettlebook.exchange.laboratory.from_book import judge_book
from fettlebook.exchange.laboratory.water_words import cause_words
from fettlebook.rules.load import load_rulebook
from fettlebook.standing.standings import fold
from fettlebook.times.running import running_times

pytestmark = pytest.mark.invented
NOW = made_up_day.at(8, 29)
CHAIRS = ("chair 1", "chair 2", "chair 3", "chair 4")
DAY_MS = 86_400_000


def beside(
    tmp_path: Path, last: dict[str, int], *, laboratory: dict[str, str] | None = None, more: tuple[tuple[float, Data], ...] = ()
) -> WaterBeside:
    """Return what stands beside seven rounds of about 60 CFU/mL and a last one with these colonies on 0.1 mL."""
    said: list[tuple[float, Data]] = list(more)
    for number in range(8):
        for place, chair in enumerate(CHAIRS):
            colonies = last[chair] if number == 7 else 5 + (number + place) % 3
            sample, days = f"W{number}-{place}", 220 - 28 * number
            where = (laboratory or {}).get(chair) if number == 7 else None
            said.append(
                (days, SampleTaken(sample=sample, what="water", chair=chair, outlets=("syringe",), neutralised=True, laboratory=where))
            )
            result = SampleResult(
                sample=sample, quantity="water count", value=10 * colonies, value_unit="CFU/mL", chair=chair, colonies=colonies,
                plated_nl=100_000,
            )  # fmt: skip
            said.append((days - 7, result))
    practice = made_up_day.practice()
    rulebook = load_rulebook(practice)
    with open_book(tmp_path / "book.sqlite", practice.practice.id) as store:
        for days, data in sorted(said, key=lambda pair: -pair[0]):
            store.note(data, moment=Moment(to_ms(NOW) - round(days * DAY_MS), "Europe/London"), by="ana")
        look = fold(store.read(), practice, rulebook, running_times(practice, rulebook)).as_of(to_ms(NOW), 1 << 61).look
        return water_beside(look, judge_book(look))


def test_where_all_chairs_rose_the_counts_cannot_tell_what_all_of_them_share(tmp_path: Path) -> None:
    found = beside(tmp_path, dict.fromkeys(CHAIRS, 90), more=((26.0, ProductOpened(product="line h2o2", lot="L9")),))
    assert found.cause is not None
    assert found.cause.suspected
    assert found.cause.suspects[0].names == ("the laboratory", "lot L9 of line h2o2")
    words = " ".join(cause_words(found))
    assert "no count of this round can tell them apart" in words
    assert "one to a second laboratory" in words
    assert "treat one chair with another lot" in words


def test_chairs_of_one_laboratory_alone_that_rose_name_it(tmp_path: Path) -> None:
    places = {"chair 1": "North", "chair 2": "North", "chair 3": "South", "chair 4": "South"}
    found = beside(tmp_path, {"chair 1": 160, "chair 2": 150, "chair 3": 6, "chair 4": 7}, laboratory=places)
    assert found.cause is not None
    assert found.cause.named is not None
    assert found.cause.named.names == ("the laboratory North",)
    (first, second) = cause_words(found)
    assert first.startswith("Chairs that share something rose together")
    assert "It fits the laboratory North" in second
    assert "chair 1, chair 2 rose together" in second


def test_a_lot_touches_the_chairs_whose_entries_name_it_and_an_old_one_is_no_suspect(tmp_path: Path) -> None:
    where = {"duty": "chair.close", "step": "close.empty", "outcome": "done", "product": "line h2o2", "lot": "L9"}
    more = (
        (200.0, ProductOpened(product="line h2o2", lot="L1")),
        (26.0, ProductOpened(product="line h2o2", lot="L9")),
        (25.5, StepDone(chair="chair 2", **where)),
        (25.5, StepDone(chair="chair 3", **where)),
    )
    found = beside(tmp_path, {"chair 1": 6, "chair 2": 150, "chair 3": 160, "chair 4": 7}, more=more)
    lots = [one for one in found.shared if one.sort == "lot"]
    assert [(one.name, one.chairs) for one in lots] == [("lot L9 of line h2o2", frozenset({"chair 2", "chair 3"}))]
    assert found.cause is not None
    assert found.cause.named is not None
    assert found.cause.named.names == ("lot L9 of line h2o2",)


def test_a_quiet_round_says_so_with_its_chance(tmp_path: Path) -> None:
    found = beside(tmp_path, dict.fromkeys(CHAIRS, 6))
    (line,) = cause_words(found)
    assert line.startswith("Nothing that several chairs share")
