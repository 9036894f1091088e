"""The three commands, as they are typed, on a book in a file."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from small_book import PRACTICE, READY, Book
from test_instruments_standing import RELEASED, STERILE, WASHED

from fettlebook.book.stores import open_book
from fettlebook.cli import _fettlebook
from fettlebook.errors import Mendable

pytestmark = pytest.mark.invented


@pytest.fixture(scope="module")
def practice_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("standing") / "practice.toml"
    path.write_text(PRACTICE, encoding="utf-8")
    visit = '2026-03-09 09:00 ana visit.ended {visit="v1", chair="1", units=["exam#1"]}\n'
    failed = '2026-03-10 05:00 ana machine.test {machine="steam", test="daily", outcome="failed"}\n'
    with open_book(path.with_name("book.sqlite"), "small") as store:
        for one in Book(READY + WASHED + STERILE + RELEASED + visit + failed).received():
            store.append([one.entry], now=one.received, via=one.via)
    return path


def run(practice: Path, *words: str) -> Result:
    done = CliRunner().invoke(_fettlebook, [*words, "--practice", str(practice)])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done


def test_a_fit_chair_exits_0_and_says_until_when(practice_file: Path) -> None:
    done = run(practice_file, "standing", "1", "--at", "2026-03-09T08:00")
    assert done.exit_code == 0, done.output
    assert "● FIT  1  until Tue 10 Mar 2026 00:00" in done.output
    assert "(invented)" in done.output
    assert all(len(line) <= 80 for line in done.output.splitlines())


def test_a_chair_after_a_visit_exits_1_with_the_way_to_fit(practice_file: Path) -> None:
    done = run(practice_file, "standing", "1", "--at", "2026-03-09T09:30")
    assert done.exit_code == 1
    assert "▲ UNPROVEN  1" in done.output
    assert "Way to fit:" in done.output
    assert "evidence" in done.output
    assert "rule" in done.output


def test_the_overview_names_every_chair_machine_and_set_type(practice_file: Path) -> None:
    done = run(practice_file, "standing", "--at", "2026-03-09T09:30")
    assert done.exit_code == 1
    for word in ("the practice", "washer", "steam", "exam", "h2o2, lot A1", "lines"):
        assert word in done.output
    assert all(len(line) <= 80 for line in done.output.splitlines())


def test_json_holds_every_condition_and_nothing_else_is_printed(practice_file: Path) -> None:
    done = run(practice_file, "standing", "exam#2", "--at", "2026-03-09T09:30", "--json")
    data = json.loads(done.output)
    (standing,) = data["standings"]
    assert (data["invented"], standing["subject"], standing["verdict"]) == (True, "unit:exam#2", "fit")
    assert all({"what", "verdict", "why", "rule", "source", "sure", "evidence", "expires_at"} <= set(c) for c in standing["conditions"])


def test_known_at_now_brings_in_what_came_later(practice_file: Path) -> None:
    then = run(practice_file, "standing", "load:s1", "--at", "2026-03-09T10:00")
    assert then.exit_code == 0
    later = run(practice_file, "standing", "load:s1", "--at", "2026-03-10T10:00")
    assert later.exit_code == 1
    assert "no look-back from daily" in later.output


def test_due_lists_what_is_overdue_first(practice_file: Path) -> None:
    done = run(practice_file, "due", "--at", "2026-03-10T09:00")
    assert done.exit_code == 1
    assert done.output.index("Overdue") < done.output.index("Due today")
    data = json.loads(run(practice_file, "due", "--at", "2026-03-10T09:00", "--json").output)
    assert all({"subject", "duty", "due", "overdue", "rule", "source", "attended_min", "unattended_min"} <= set(one) for one in data["due"])


def test_trace_and_look_back_are_printed_and_given_as_json(practice_file: Path) -> None:
    traced = run(practice_file, "trace", "visit:v1")
    assert traced.exit_code == 0
    assert "load:s1" in traced.output
    back = run(practice_file, "trace", "steam", "--look-back")
    assert back.exit_code == 1
    assert "Visits concerned: 1" in back.output
    assert "exam#2  pack P2" in back.output
    data = json.loads(run(practice_file, "trace", "steam", "--look-back", "--json").output)["look_back"]
    assert [visit["visit"] for visit in data["visits"]] == ["v1"]
    assert json.loads(run(practice_file, "trace", "visit:v1", "--json").output)["links"]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("standing", "9"), "nothing is called"),
        (("standing", "1", "--at", "yesterday"), "is no moment"),
        (("standing", "1", "--at", "2026-03-29T01:30"), "never was"),
        (("standing", "1", "--data", "nowhere.sqlite"), "there is no such book"),
        (("standing", "chair:9"), "nothing is called"),
        (("trace", "moon:1"), "nothing is called"),
        (("trace", "exam#1", "--look-back"), "has no test"),
        (("trace", "steam", "--look-back", "--test", "x"), "no x of steam"),
    ],
)
def test_what_can_not_be_asked_is_told_with_its_mend(practice_file: Path, words: tuple[str, ...], says: str) -> None:
    with pytest.raises(Mendable) as told:
        run(practice_file, *words)
    assert says in told.value.what
    assert told.value.mend
