"""A verdict about a past day stands on the practice file and the rules that held then, as far as they were known."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_book import PRACTICE, READY, Book, ground, moment

from fettlebook.book.kinds import PracticeFileVersion, RulebookLayer, RulebookVersion
from fettlebook.errors import Mendable
from fettlebook.rules.shelf import pack_text
from fettlebook.standing.model import Standing, Verdict
from fettlebook.standing.rules_now import rulebook_version
from fettlebook.standing.standings import View

pytestmark = pytest.mark.invented

SLOWER = PRACTICE.replace("flow_ml_min = 60.0", "flow_ml_min = 20.0")
WITHOUT_CAI = PRACTICE[: PRACTICE.index('[[people]]\nid = "cai"')] + PRACTICE[PRACTICE.index("[[products]]") :]
SOLD = PRACTICE.replace('id = "steam"', 'id = "steam 2"')
BROKEN = "this is no practice file"
ANA = ("ana", "server", 100)
LOAD = """
2026-03-09 06:20 ana load.packed {load="w1", machine="washer", items=[{unit="exam#1"}]}
2026-03-09 07:00 ana cycle.recorded {machine="washer", cycle="wash", load="w1", said="passed"}
2026-03-09 07:01 ana load.packed {load="s1", machine="steam", items=[{unit="exam#1", pack="P1"}]}
2026-03-09 07:45 ana cycle.recorded {machine="steam", cycle="wrapped", load="s1", said="passed"}
2026-03-09 07:50 cai load.released {load="s1", meaning="released", dry=true, indicators_turned=true}
"""


def held(book: Book, at: str, text: str, late: int = 100) -> Book:
    data = PracticeFileVersion.of(text, "practice.toml").model_dump(exclude_none=True)
    book.add("practice_file.version", ("ana", "server", late), moment(at), data)
    return book


def ruled(book: Book, at: str, **change: tuple[str, str]) -> Book:
    layers = []
    for layer in rulebook_version(book.on.practice).layers:
        was, now = change.get(layer.name, ("", ""))
        assert was in layer.text
        layers.append(RulebookLayer.of(layer.name, layer.text.replace(was, now)))
    book.add("rulebook.version", ANA, moment(at), RulebookVersion(layers=tuple(layers)).model_dump(exclude_none=True))
    return book


def first_flush(view: View) -> Standing:
    return view.standing("outlet:1/turbine")


def test_a_flush_is_held_to_the_running_time_of_the_file_that_held_on_the_day_asked_about() -> None:
    book = held(held(Book(READY), "2026-03-01 08:00", PRACTICE), "2026-03-09 12:00", SLOWER)
    standings = book.on.fold(book.received())
    assert first_flush(standings.as_of(moment("2026-03-09 08:00"))).verdict is Verdict.FIT
    slower = first_flush(standings.as_of(moment("2026-03-09 12:05")))
    assert slower.verdict is not Verdict.FIT
    assert any("must run" in condition.why for condition in slower.failing)
    # What is learned later of the past changes no answer about what was known then.
    assert first_flush(standings.as_of(moment("2026-03-09 08:00"), moment("2026-03-20 08:00"))).verdict is Verdict.FIT


def test_a_version_counts_from_its_receipt_on() -> None:
    hour = 3_600_000
    book = held(held(Book(READY), "2026-03-01 08:00", PRACTICE), "2026-03-09 06:00", SLOWER, late=5 * hour)
    standings = book.on.fold(book.received())
    at = moment("2026-03-09 08:00")
    assert first_flush(standings.as_of(at)).verdict is Verdict.FIT
    assert first_flush(standings.as_of(at, at + 4 * hour)).verdict is not Verdict.FIT


def test_before_the_first_version_the_first_holds_and_without_any_what_was_given() -> None:
    book = held(Book(READY), "2026-03-10 12:00", SLOWER)
    at, later = moment("2026-03-09 08:00"), moment("2026-03-11 08:00")
    assert first_flush(book.on.fold(book.received()).as_of(at, later)).verdict is not Verdict.FIT
    assert first_flush(book.on.fold(book.received()).as_of(at)).verdict is Verdict.FIT
    assert first_flush(Book(READY).at("2026-03-09 08:00")).verdict is Verdict.FIT


@pytest.mark.parametrize("after", [WITHOUT_CAI, SOLD], ids=["who released it left", "the sterilizer was sold"])
def test_what_a_person_or_machine_did_stands_after_they_are_gone(after: str) -> None:
    book = held(held(Book(READY + LOAD), "2026-03-01 08:00", PRACTICE), "2026-03-09 12:00", after)
    standings = book.on.fold(book.received())
    for at in ("2026-03-09 08:00", "2026-03-09 13:00"):
        standing = standings.as_of(moment(at)).standing("unit:exam#1")
        assert standing.verdict is Verdict.FIT, [(c.what, c.why) for c in standing.failing]


def test_without_the_file_of_that_day_nobody_could_have_released_it() -> None:
    """So that the test above can fail."""
    book = held(Book(READY + LOAD), "2026-03-01 08:00", WITHOUT_CAI)
    assert book.at("2026-03-09 13:00").standing("unit:exam#1").verdict is Verdict.UNPROVEN


def test_rules_count_from_the_day_on_which_the_book_took_them_in() -> None:
    """A pack whose packs keep one day only (invented): the set is past its life after that pack, and not before."""
    text = pack_text("uk")
    row = text[text.index('id = "uk.storage"') :]
    was = row[: row.index("value = ") + len("value = 365")]
    book = held(ruled(Book(READY + LOAD), "2026-03-01 08:00"), "2026-03-01 08:00", PRACTICE)
    ruled(book, "2026-03-12 08:00", uk=(was, was.replace("365", "2")))
    standings = book.on.fold(book.received())
    dated = [
        next(c for c in standings.as_of(moment(at)).standing("unit:exam#1").conditions if c.what == "within its storage life")
        for at in ("2026-03-12 07:59", "2026-03-12 08:01")
    ]
    assert [condition.verdict for condition in dated] == [Verdict.FIT, Verdict.UNPROVEN]


@pytest.mark.parametrize("kind", ["file", "rules"])
def test_what_can_not_be_read_any_more_leaves_everything_unproven(kind: str) -> None:
    book = Book(READY + LOAD)
    if kind == "file":
        held(book, "2026-03-01 08:00", BROKEN)
    else:
        layers = (RulebookLayer.of("general", BROKEN),)
        book.add("rulebook.version", ANA, moment("2026-03-01 08:00"), RulebookVersion(layers=layers).model_dump(exclude_none=True))
    for subject in ("chair:1", "unit:exam#1", "machine:steam", "practice:all"):
        standing = book.at("2026-03-09 08:00").standing(subject)
        assert standing.verdict is Verdict.UNPROVEN
        assert "can't be read" in "".join(condition.why for condition in standing.failing)


def test_the_same_file_in_the_book_and_beside_it_is_the_same_basis() -> None:
    book = held(Book(READY), "2026-03-01 08:00", PRACTICE)
    standings = book.on.fold(book.received())
    assert standings.as_of(moment("2026-03-09 08:00")).look.basis is standings.basis


TEXTS = st.sampled_from([PRACTICE, SLOWER, WITHOUT_CAI, SOLD, BROKEN])
DAYS = st.integers(0, 16).map(lambda days: moment("2026-03-01 09:30") + days * 86_400_000)
Version = tuple[int, str, int]


@settings(max_examples=12, deadline=None)
@given(st.lists(st.tuples(DAYS, TEXTS, st.integers(100, 5 * 86_400_000)), max_size=3), DAYS, DAYS)
def test_versions_that_come_later_change_no_answer_about_what_was_known(versions: list[Version], at: int, known_at: int) -> None:
    book = Book(READY + LOAD)
    for happened, text, late in versions:
        data: dict[str, Any] = PracticeFileVersion.of(text, "practice.toml").model_dump(exclude_none=True)
        book.add("practice_file.version", ("ana", "server", late), happened, data)
    entries = book.received()
    whole, then = book.on.fold(entries), book.on.fold([one for one in entries if one.received <= known_at])
    for subject in ("outlet:1/turbine", "unit:exam#1", "machine:steam"):
        try:
            expected = then.as_of(at, known_at).standing(subject)
        except Mendable:  # the file of that day has no such machine
            with pytest.raises(Mendable):
                whole.as_of(at, known_at).standing(subject)
        else:
            assert whole.as_of(at, known_at).standing(subject) == expected


def test_the_ground_of_these_tests_is_what_it_says() -> None:
    for text in (PRACTICE, SLOWER, WITHOUT_CAI, SOLD):
        assert ground(text).practice.practice.id == "small"
    assert {time.seconds for time in ground(SLOWER).times} != {time.seconds for time in ground(PRACTICE).times}
