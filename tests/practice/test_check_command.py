"""`fettlebook check`: what it prints and with which status it ends."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from fettlebook.cli.check import check
from fettlebook.demo import practice_text
from fettlebook.errors import Mendable


def run(*arguments: str) -> Result:
    return CliRunner().invoke(check, arguments)


@pytest.fixture
def spoilt(tmp_path: Path, small: str) -> Path:
    path = tmp_path / "practice.toml"
    path.write_text(
        small.replace("bore_mm = 4.0", "bore_mm = 40").replace(", flow_ml_min = 110.0, measured_on = 2026-11-02", ", flow_ml_min = 110")
    )
    return path


def test_a_file_in_order_says_what_it_holds(tmp_path: Path):
    path = tmp_path / "practice.toml"
    path.write_bytes(practice_text())
    done = run(str(path))
    assert done.exit_code == 0
    assert done.output.splitlines()[-1] == (
        "practice.toml: in order: 4 chairs, 14 outlets, 4 machines, 5 set types, 4 people, 3 products, 5 visit kinds; 1 warning"
    )


def test_errors_and_warnings_are_grouped_by_part_within_80_columns(spoilt: Path):
    done = run(str(spoilt))
    assert done.exit_code == 1
    assert done.output == (
        'chair "chair 1"\n'
        '  error    line 29, segment "feed", bore_mm\n'
        "           40 is outside 0.5 to 10\n"
        "           Give the inner diameter in mm. Is it 4.0?\n"
        '  warning  line 36, outlet "syringe"\n'
        "           the flow of 110 mL/min is not measured\n"
        "           Measure it with cup and clock, and add measured_on = the day.\n"
        "\n"
        "practice.toml: 1 error, 1 warning\n"
    )
    assert all(len(row) <= 80 for row in done.output.splitlines())


def test_json_is_the_only_thing_on_stdout_and_holds_every_finding(spoilt: Path):
    done = run(str(spoilt), "--json")
    assert done.exit_code == 1
    told = json.loads(done.stdout)
    assert (told["readable"], told["in_order"], told["errors"], told["warnings"], told["holds"]) == (True, False, 1, 1, {})
    assert told["findings"][0] == {
        "weight": "error",
        "line": 29,
        "path": ["chairs", 0, "segments", 0, "bore_mm"],
        "where": 'practice.toml line 29, chair "chair 1", segment "feed", bore_mm',
        "what": "40 is outside 0.5 to 10",
        "mend": "Give the inner diameter in mm. Is it 4.0?",
    }


def test_a_file_that_is_no_toml_ends_with_2(tmp_path: Path):
    path = tmp_path / "practice.toml"
    path.write_text("from = 08:30\n")
    done = run(str(path))
    assert done.exit_code == 2
    assert "line 1, column 8" in done.output
    assert json.loads(run(str(path), "--json").stdout)["readable"] is False


def test_no_file_ends_with_2_and_says_how_to_go_on(tmp_path: Path):
    done = run(str(tmp_path / "none.toml"))
    assert isinstance(done.exception, Mendable)  # which the command line turns into status 2 and readable lines
    assert done.exception.what == "there is no such file"
    assert run().exit_code == 2


def test_the_schema_can_be_printed_without_a_file():
    done = run("--schema")
    assert done.exit_code == 0
    assert json.loads(done.stdout)["title"] == "fettlebook practice file"


def test_what_the_rulebook_refuses_stands_among_the_findings(tmp_path: Path, small: str):
    path = tmp_path / "practice.toml"
    path.write_text(small.replace('rulebooks = ["general"]', 'rulebooks = ["general", "ukk"]'))
    done = run(str(path))
    assert done.exit_code == 1
    assert "  error    line 7, rulebooks, entry 2\n" in done.output
    assert "ukk" in done.output
    assert "Traceback" not in done.output
