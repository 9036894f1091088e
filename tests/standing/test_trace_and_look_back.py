"""What was done, to whom: traces both ways, and what lies between the good results around a bad one."""

import pytest
from small_book import READY, Book
from test_instruments_standing import RELEASED, STERILE, WASHED

from fettlebook.errors import Mendable
from fettlebook.standing.look_back import since_last_good, water_look_back
from fettlebook.standing.trace import trace

pytestmark = pytest.mark.invented

DAY = (
    READY
    + WASHED
    + STERILE
    + RELEASED
    + """
2026-03-09 09:00 ana visit.started {visit="v1", chair="1", units=["exam#1"]}
2026-03-09 09:30 ana visit.ended {visit="v1", chair="1", units=["exam#1"]}
2026-03-09 09:32 ben step.done {duty="chair.between", step="between.wipe", chair="1", visit="v1", outcome="done", product="wipes", lot="B1"}
2026-03-10 05:10 ana machine.test {machine="steam", test="daily", outcome="failed"}
2026-03-10 06:00 ana machine.test {machine="steam", test="daily", outcome="passed"}
2026-03-10 07:01 ana load.packed {load="s2", machine="steam", items=[{unit="exam#1", pack="P3"}]}
2026-03-10 07:45 ana cycle.recorded {machine="steam", cycle="wrapped", load="s2", said="passed"}
2026-03-10 09:00 ana visit.ended {visit="v2", chair="1", units=["exam#1"]}
"""
)
AT = "2026-03-10 12:00"


def test_a_visit_leads_to_its_set_load_cycle_and_tests() -> None:
    found = trace(Book(DAY).at(AT).look, "visit:v1")
    assert found.of_kind("unit") == ("unit:exam#1",)
    assert set(found.of_kind("load")) == {"load:s1", "load:w1"}
    hows = [link.how for link in found.links]
    assert "daily before: passed" in hows
    assert "daily after: failed" in hows
    assert "sample before" in hows
    assert any(link.how == "between.wipe done by ben" for link in found.links)


def test_a_load_leads_to_the_visits_that_used_what_came_out_of_it_and_to_no_later_ones() -> None:
    assert trace(Book(DAY).at(AT).look, "load:s1").of_kind("visit") == ("visit:v1",)
    assert trace(Book(DAY).at(AT).look, "load:s2").of_kind("visit") == ("visit:v2",)


def test_traces_go_both_ways() -> None:
    look = Book(DAY).at(AT).look
    assert "visit:v1" in trace(look, "unit:exam#1").of_kind("visit")
    assert "load:s1" in trace(look, "pack:P1").of_kind("load")
    assert "visit:v1" in trace(look, "product:wipes/B1").of_kind("visit")
    assert "chair:1" in trace(look, "person:ben").of_kind("chair")
    assert "load:s1" in trace(look, "person:ana").of_kind("load")
    assert "visit:v1" in trace(look, "chair:1").of_kind("visit")
    assert any("water count: 40 CFU/mL" in link.how for link in trace(look, "sample:W1").links)
    with pytest.raises(Mendable, match="can't be traced"):
        trace(look, "moon:1")


def test_every_link_names_an_entry_of_the_book() -> None:
    book = Book(DAY)
    ids = {entry.id for _, entry, _ in book.made}
    for subject in ("visit:v1", "unit:exam#1", "load:s1", "chair:1", "machine:steam", "sample:W1", "person:ana"):
        links = trace(book.at(AT).look, subject).links
        assert links
        assert {link.entry for link in links} <= ids


def test_a_look_back_brackets_the_bad_test_and_says_what_is_still_in_the_cupboard() -> None:
    found = since_last_good(Book(DAY).at(AT).look, "steam")
    assert [load.load for load in found.loads] == ["s1"]
    assert [visit for visit, _, _ in found.visits] == ["v1"]
    assert [unit.unit for unit in found.at_hand] == ["exam#2"], "exam#1 was used, and processed again"
    assert found.last_good_ms is not None
    assert found.next_good_ms is not None
    assert found.last_good_ms < (found.bad_ms or 0) < found.next_good_ms


def test_without_a_good_test_before_everything_from_the_begin_of_the_book_is_concerned() -> None:
    text = "\n".join(line for line in DAY.splitlines() if not line.startswith("2026-03-09 05:10"))
    found = since_last_good(Book(text).at(AT).look, "steam")
    assert found.last_good_ms is None
    assert [load.load for load in found.loads] == ["s1"]


def test_a_test_that_is_not_in_the_book_is_named_with_those_that_are() -> None:
    with pytest.raises(Mendable, match="Choose one of: daily"):
        since_last_good(Book(DAY).at(AT).look, "steam", "spore test")


def test_a_high_count_looks_back_to_the_last_good_sample_of_the_chair() -> None:
    high = """
    2026-03-10 10:00 ana sample.taken {sample="W2", what="water", chair="1", outlets=["turbine"], neutralised=true}
    2026-03-17 10:00 ana sample.result {sample="W2", quantity="water count", value=900, value_unit="CFU/mL"}
    2026-03-18 09:00 ana visit.ended {visit="v3", chair="1", units=[]}
    """
    found = water_look_back(Book(DAY + high).at("2026-03-18 12:00").look, "1")
    assert [visit for visit, _, _ in found.visits] == ["v1", "v2", "v3"]
    assert found.next_good_ms is None
