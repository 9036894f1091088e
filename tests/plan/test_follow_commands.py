"""The commands replan, stress and capacity: what they print, their exit statuses, and bad input."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from fettlebook.cli.capacity import capacity
from fettlebook.cli.plan import plan
from fettlebook.cli.replan import replan
from fettlebook.cli.stress import stress
from fettlebook.errors import Mendable
from fettlebook.plan.instance import read_instance

INSTANCES = Path(__file__).with_name("instances")
SMALL, TIGHT, TINY = (str(INSTANCES / f"{n}.json") for n in ("small-1", "smalltight-1", "tiny-1"))


@pytest.fixture
def small_plan(tmp_path: Path) -> str:
    out = tmp_path / "plan.json"
    CliRunner().invoke(plan, [SMALL, "--limit", "0", "-o", str(out)])
    return str(out)


def _said(result: Result) -> str:
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.output


@pytest.mark.invented
def test_replan_names_whom_to_tell_and_writes_a_plan_of_the_day_that_it_writes(small_plan: str, tmp_path: Path) -> None:
    new, day = tmp_path / "new.json", tmp_path / "day.json"
    options = ["--at", "10:30", "--overrun", "v3.4=20", "--missing", "p1=12:00", "--rounds", "2", "-o", str(new), "--day", str(day)]
    result = CliRunner().invoke(replan, [SMALL, small_plan, *options])
    said = _said(result)
    assert result.exit_code == 1
    assert said.startswith("From 10:30: all 27 visits served")
    assert "Visits to tell" in said
    assert "taken for granted: p1 is away until 12:00" in said
    import reference_check

    assert reference_check.check(json.loads(day.read_text()), json.loads(new.read_text()))[0] == []
    assert all(len(line) <= 80 for line in said.replace(str(tmp_path), "").splitlines())


@pytest.mark.invented
def test_replan_leaves_sets_out_that_are_held(small_plan: str, tmp_path: Path) -> None:
    day = tmp_path / "day.json"
    asked = [SMALL, small_plan, "--at", "10:30", "--held", "exam=1", "--limit", "0", "--day", str(day)]
    assert "1 of exam can't be used for the rest of the day" in _said(CliRunner().invoke(replan, asked))
    owned = {t["id"]: t["owned"] for t in json.loads(day.read_text())["set_types"]}
    assert owned["exam"] == read_instance(Path(SMALL).read_text()).owned()["exam"] - 1


@pytest.mark.invented
def test_replan_prints_only_json_when_asked(small_plan: str) -> None:
    data = json.loads(
        _said(CliRunner().invoke(replan, [SMALL, small_plan, "--at", "10:30", "--out", "sterilizer 1", "--rounds", "1", "--json"]))
    )
    assert data["now"] == 630
    assert data["not_loaded_until"] == {"sterilizer 1": 10**9}
    assert {"changes", "line", "plan", "left_out"} <= set(data)


@pytest.mark.invented
@pytest.mark.parametrize(
    ("options", "what"),
    [
        (["--at", "1030"], "'1030' is no time"),
        (["--at", "10:75"], "'10:75' is no time"),
        ([], "no minute"),
        (["--at", "10:30", "--overrun", "v3.4"], "has no ="),
        (["--at", "10:30", "--overrun", "v3.4=0"], "no number of minutes"),
        (["--at", "10:30", "--overrun", "v3.4=soon"], "no number of minutes"),
        (["--at", "10:30", "--urgent", "chair 1=20,gold"], "no set type 'gold'"),
        (["--at", "10:30", "--out", "oven"], "no machine 'oven'"),
        (["--at", "10:30", "--held", "exam"], "has no ="),
        (["--at", "10:30", "--held", "exam=none"], "no number of sets"),
        (["--at", "10:30", "--held", "gold=1"], "no set type 'gold'"),
        (["--at", "10:30", "--held", "exam=99"], "can't be held back"),
        (["--at", "23:59"], "outside the day"),
    ],
)
def test_replan_refuses_what_cannot_be_and_writes_nothing(small_plan: str, tmp_path: Path, options: list[str], what: str) -> None:
    new = tmp_path / "new.json"
    result = CliRunner().invoke(replan, [SMALL, small_plan, *options, "-o", str(new)])
    assert isinstance(result.exception, Mendable)
    assert what in result.exception.what
    assert not new.exists()


@pytest.mark.invented
def test_stress_says_how_likely_each_visit_is_late_and_draws_it(tmp_path: Path) -> None:
    out = tmp_path / "late.svg"
    result = CliRunner().invoke(stress, [TINY, "--samples", "12", "--all", "--plot", str(out)])
    said = _said(result)
    assert "start at most 5 min late" in said
    assert "assumed, not measured" in said
    assert all(len(line) <= 80 for line in said.replace(str(tmp_path), "").splitlines())
    drawn = out.read_text()
    assert drawn.startswith("<svg")
    assert "more than 15 min late" in drawn


@pytest.mark.invented
def test_stress_fits_the_spread_from_visits_of_ones_own(tmp_path: Path) -> None:
    table = tmp_path / "visits.csv"
    table.write_text("booked;actual\n" + "30;33,5\n30;28\n" * 15)
    data = json.loads(_said(CliRunner().invoke(stress, [TINY, "--samples", "3", "--measured", str(table), "--json"])))
    assert data["days"][0]["overruns"]["visits"] == 30


@pytest.mark.invented
def test_stress_and_capacity_take_days_of_the_invented_practice(tmp_path: Path) -> None:
    from fettlebook.demo import book_ics, practice_text

    practice, book = tmp_path / "practice.toml", tmp_path / "book.ics"
    practice.write_bytes(practice_text())
    book.write_bytes(book_ics())
    files = [str(practice), str(book), "--date", "2026-11-25"]
    assert "chair 1 no. 1" in _said(CliRunner().invoke(stress, [*files, "--samples", "2", "--all"]))
    assert "1 day, " in _said(CliRunner().invoke(capacity, [*files, "--days", "1", "--samples", "2", "--most", "1"]))


@pytest.mark.invented
def test_a_booked_day_is_planned_as_a_neutral_one_and_planned_again_by_the_names_of_its_visits(tmp_path: Path) -> None:
    from fettlebook.demo import book_ics, practice_text

    practice, book, day, first = (tmp_path / n for n in ("practice.toml", "book.ics", "day.json", "plan.json"))
    practice.write_bytes(practice_text())
    book.write_bytes(book_ics())
    options = ["--date", "2026-11-25", "--limit", "0", "-o", str(first), "--day", str(day)]
    _said(CliRunner().invoke(plan, [str(practice), str(book), *options]))
    said = _said(CliRunner().invoke(replan, [str(day), str(first), "--at", "10:45", "--overrun", "chair 1 no. 3=20", "--rounds", "1"]))
    assert "chair 1 no. 3 ends at" in said


@pytest.mark.invented
def test_capacity_says_what_to_buy_first_with_bound_and_confirmation() -> None:
    result = CliRunner().invoke(capacity, [TIGHT, "--samples", "2", "--most", "2"])
    said = _said(result)
    assert result.exit_code == 1
    assert "root canal (short)" in said
    assert "root canal: 3 instead of 2" in said
    assert all(len(line) <= 80 for line in said.splitlines())


@pytest.mark.invented
@pytest.mark.parametrize("command", [stress, capacity])
def test_two_spreads_at_once_or_three_files_are_refused(command: object, tmp_path: Path) -> None:
    table = tmp_path / "visits.csv"
    table.write_text("booked,actual\n")
    for options in (
        [TINY, "--cv", "0.2", "--measured", str(table)],
        [TINY, TINY, TINY],
        [str(tmp_path / "none.json")],
        [TINY, "--measured", str(table)],
    ):
        result = CliRunner().invoke(command, options)  # type: ignore[arg-type]
        assert isinstance(result.exception, Mendable)
        assert result.exception.mend
