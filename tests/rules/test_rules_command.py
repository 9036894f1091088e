"""`fettlebook rules` from the practice file to the screen, JSON and the table file."""

import csv
import io
import json
import os
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import pytest
from click.testing import CliRunner
from small_practice import small_practice_text

from fettlebook.cli.rules import rules
from fettlebook.errors import Mendable
from fettlebook.rules.sources_page import sources_page

DEMO = str(files("fettlebook.demo") / "practice.toml")
ON = ["--on", "2026-11-25"]
LOOSE = '[[own_rules]]\nid = "first.flush"\nvalue = 60.0'


def run(*arguments: str, columns: int = 120):
    return CliRunner(env={"COLUMNS": str(columns)}).invoke(rules, list(arguments))


@pytest.fixture
def practice_file(tmp_path: Path):
    def write(*packs: str, **changes: str) -> str:
        path = tmp_path / "practice.toml"
        path.write_text(small_practice_text(*packs, **changes), "utf-8")
        return str(path)

    return write


def test_the_demo_practice_lists_duties_and_limits_with_their_source_and_how_sure_it_is():
    done = run(DEMO, *ON)
    assert done.exit_code == 0, done.output
    assert "Quayside Dental Rooms (invented): rules in force on 2026-11-25" in done.output
    assert "Layers, lowest first: general, en-standards, uk" in done.output
    assert "first.flush" in done.output
    assert "HTM 01-05, 2009 edition, para 6.85" in done.output
    assert "UNCHECKED" in done.output
    assert "Instructions for use, product labels and local rules come first" in done.output


@pytest.mark.parametrize("columns", [80, 120])
@pytest.mark.parametrize("more", [[], ["--full"], ["--duties"], ["--limits", "--full"]])
def test_no_line_is_wider_than_the_terminal(columns, more):
    done = run(DEMO, *ON, *more, columns=columns)
    assert max(len(line) for line in done.output.splitlines()) <= columns
    assert not any(line != line.rstrip() for line in done.output.splitlines())


def test_duties_and_limits_can_be_asked_for_alone():
    duties, limits = run(DEMO, *ON, "--duties").output, run(DEMO, *ON, "--limits").output
    assert "chair.between" in duties
    assert "Limits: " not in duties
    assert "Limits: records" in limits
    assert "(chair.between)" not in limits


def test_the_full_list_shows_evidence_cautions_notes_and_rules_without_a_number():
    short, full = run(DEMO, *ON).output, run(DEMO, *ON, "--full").output
    for words in ("leaves start, stop, outlets", "Caution: ", "note: ", "Asked for without a number"):
        assert words in full
        assert words not in short


def test_every_row_in_force_stands_in_the_full_list_by_its_id(practice_file):
    path = practice_file("us-wa", "us-ca", "de")
    data, full = json.loads(run(path, *ON, "--json").output), run(path, *ON, "--full").output
    assert len(data["requirements"]) > 70
    assert [row["id"] for row in data["requirements"] if f"  {row['id']} " not in full] == []


def test_a_refused_own_value_is_shown_with_its_line_and_leaves_the_layer_below_in_force(practice_file):
    path = practice_file("uk", own=LOOSE)
    line = Path(path).read_text("utf-8").splitlines().index("value = 60.0") + 1
    done = run(path, *ON)
    assert done.exit_code == 1
    assert f"practice.toml line {line}, own rule" in done.output
    assert "no reason is given" in " ".join(done.output.split())
    assert "first.flush             computed, at least 2 min" in done.output


def test_a_reason_is_shown_beside_the_looser_value_with_what_it_overrides(practice_file):
    own = LOOSE + '\nreason = "Unit flushes itself at night"\ndecided_by = "Ana"'
    done = run(practice_file("uk", own=own), *ON)
    assert done.exit_code == 0
    _, after = done.output.split("computed, at least 1 min; own rule (decided by Ana)")
    assert "REASON of the practice: Unit flushes itself at night" in after[:300]
    assert "overrides at least 120 s; uk guidance" in after[:300]


def test_a_product_barred_by_law_is_exit_status_1(practice_file):
    done = run(practice_file("us", amalgam="true"), *ON)
    assert done.exit_code == 1
    assert "Law against product" in done.output
    assert "40 CFR 441.30(b)(2)" in done.output


def test_json_is_json_only_and_marks_what_was_not_checked(practice_file):
    done = run(practice_file("uk", own=LOOSE), *ON, "--json")
    data = json.loads(done.output)
    assert done.exit_code == 1
    assert data["on"] == "2026-11-25"
    assert data["refused"][0]["where"].startswith("practice.toml line ")
    checked = {row["id"]: row["origin"]["checked"] for row in data["requirements"]}
    assert checked["uk.washer.a0"] is False
    assert checked["uk.records.signed"] is True
    assert {step["id"] for duty in data["duties"] for step in duty["steps"]} >= {"between.clear", "close.contact"}


def test_the_table_file_has_a_row_for_each_step_limit_and_rule(practice_file, tmp_path):
    out = tmp_path / "rules.csv"
    path = practice_file("us-ca")
    assert run(path, *ON, "--csv", str(out)).exit_code == 0
    rows = list(csv.DictReader(io.StringIO(out.read_text("utf-8-sig"))))
    data = json.loads(run(path, *ON, "--json").output)
    steps = sum(len(duty["steps"]) for duty in data["duties"])
    numbered = {limit["id"] for limit in data["limits"]}
    plain = [row for row in data["requirements"] if row["id"] not in numbered]
    assert len(rows) == steps + len(numbered) + len(plain)
    flush = next(row for row in rows if row["id"] == "between.flush")
    assert (flush["value"], flush["unit"], flush["layer"], flush["checked"]) == ("30", "s", "us", "yes")
    assert "us-ca, law" in flush["overrides"]
    assert [entry.name for entry in tmp_path.iterdir() if entry.name.startswith(".")] == []


def test_text_of_the_practice_file_is_no_formula_in_a_spreadsheet(practice_file):
    own = LOOSE + '\nreason = "=HYPERLINK(1)"'
    rows = list(csv.DictReader(io.StringIO(run(practice_file("uk", own=own), *ON, "--csv", "-").output)))
    assert next(row for row in rows if row["id"] == "first.flush")["reason"] == "'=HYPERLINK(1)"


def test_a_table_file_that_can_not_be_written_leaves_nothing_behind(practice_file, tmp_path):
    done = run(practice_file("uk"), *ON, "--csv", str(tmp_path / "no such folder" / "rules.csv"))
    assert isinstance(done.exception, Mendable)
    assert "can't be written" in done.exception.what


def test_a_past_day_has_its_own_rules(practice_file):
    path = practice_file("us-wa")
    old = {row["id"] for row in json.loads(run(path, "--on", "2020-01-01", "--json").output)["requirements"]}
    new = {row["id"] for row in json.loads(run(path, *ON, "--json").output)["requirements"]}
    assert new - old == {"us-wa.water.hpc_limit", "us-wa.water.test_interval", "us-wa.handpieces.motors"}


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (("rulebooks = ", "rulebooks = [] #"), "practice.toml line"),
        (('["general", "uk"]', '["general", "ku"]'), 'no pack is called "ku"'),
        (('["general", "uk"]', '["general", "uk"'), "practice.toml"),
    ],
)
def test_what_can_not_be_listed_is_exit_status_2_with_where_and_mend_and_no_traceback(practice_file, change, told):
    path = Path(practice_file("uk"))
    path.write_text(path.read_text("utf-8").replace(*change), "utf-8")
    environment = {**os.environ, "PYTHONUTF8": "1"}
    command = [sys.executable, "-m", "fettlebook", "rules", str(path)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, env=environment)
    assert done.returncode == 2
    assert told in done.stderr
    assert "mend" in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


def test_a_file_that_is_not_there_is_exit_status_2():
    with pytest.raises(Mendable, match="no such file"):
        CliRunner().invoke(rules, ["nowhere.toml"], catch_exceptions=False)


def test_the_inspectors_page_is_made_from_the_packs():
    page = Path(__file__).parents[2] / "docs/inspector/sources.md"
    assert page.read_text("utf-8") == sources_page(), "make it anew: python -m fettlebook.rules.sources_page > docs/inspector/sources.md"


def test_every_pack_key_and_duty_stands_in_the_page_for_the_assistant():
    from fettlebook.rules.pack import AddedStepRow, DutyRow, PackHead, RequirementRow, StepRow
    from fettlebook.rules.shelf import bundled_pack, pack_names

    page = (Path(__file__).parents[2] / "docs/assistant/rulebook.md").read_text("utf-8")
    keys = {name for form in (PackHead, RequirementRow, DutyRow, StepRow, AddedStepRow) for name in form.model_fields}
    duties = {duty.id for name in pack_names() for duty in bundled_pack(name).duty}
    assert [word for word in sorted(keys | duties | set(pack_names())) if f"`{word}`" not in page] == []
