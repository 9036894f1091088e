"""Entries in words: each kind has a name that people use, and what was done is said by the rulebook's and the practice file's names."""

from zoneinfo import ZoneInfo

import pytest

from fettlebook.book.entries import Moment, new_entry
from fettlebook.book.kinds import KINDS, Data, StepDone, VisitStarted
from fettlebook.book.received import Received
from fettlebook.demo import practice_text
from fettlebook.practice.load import read_practice
from fettlebook.rules.load import load_rulebook
from fettlebook.web.entry_words import EntryNames, row_of
from fettlebook.web.kind_names import KIND_NAMES, kind_name
from fettlebook.web.languages.tongue import tongue_of

pytestmark = pytest.mark.invented
NOW = 1_772_442_000_000


@pytest.fixture(scope="module")
def names() -> EntryNames:
    practice = read_practice(practice_text(), "practice.toml").practice
    assert practice is not None
    return EntryNames(practice, load_rulebook(practice))


def row(data: Data, names: EntryNames):  # type: ignore[no-untyped-def]
    entry = new_entry(data, moment=Moment(NOW, "Europe/London"), device="tablet-3", n=1, by="ana")
    return row_of(Received(entry=entry, seq=1, received=NOW, offset=0, via="", leaf=b"{}"), ZoneInfo("Europe/London"), names)


def test_each_kind_has_a_name_and_no_name_stands_for_two() -> None:
    assert set(KIND_NAMES) == set(KINDS)
    assert len(set(KIND_NAMES.values())) == len(KIND_NAMES)
    assert kind_name("of.tomorrow") == "of.tomorrow"
    assert tongue_of("de").say(kind_name("load.released")) == "Charge freigegeben"


def test_a_step_is_told_by_the_names_of_the_rulebook(names: EntryNames) -> None:
    step = StepDone(
        duty="chair.between", step="between.flush", chair="chair 1", outlets=("turbine",), outcome="done", readings={"flush_s": 30}
    )
    told = row(step, names)
    assert (told.called, told.by) == ("step done", "Ana")
    assert told.done.startswith("Between visits: Flush the lines")
    assert "between.flush" not in told.told
    assert "readings flush s 30" in told.told
    assert "outcome" not in told.told
    assert tongue_of("de").say(told.done).startswith("Zwischen")


def test_a_step_of_another_rulebook_and_an_outcome_that_is_not_done_stay_as_they_came(names: EntryNames) -> None:
    told = row(StepDone(duty="chair.between", step="of.another", chair="chair 1", outcome="broken off"), names).told
    assert "step of.another" in told
    assert "outcome broken off" in told


def test_sets_are_called_as_in_the_practice_file(names: EntryNames) -> None:
    told = row(VisitStarted(visit="v_1", chair="chair 1", visit_kind="exam", units=("exam#3", "gone#1")), names)
    assert "Examination set 3" in told.told
    assert "gone#1" in told.told
    assert names.subject("unit:exam#3") == "Examination set 3"
    assert names.subject("person:ana") == "Ana"
