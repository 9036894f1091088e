"""`fettlebook times` from the practice file to the screen, the table file and JSON."""

import csv
import io
import json
import os
import re
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import pytest
from click.testing import CliRunner
from times_practice import NO_PRODUCT, ONE_HOSE, PEROXIDE, REST

from fettlebook.cli.times import times
from fettlebook.errors import Mendable

DEMO = str(files("fettlebook.demo") / "practice.toml")
ON = ["--on", "2026-11-25"]


def run(*arguments: str):
    return CliRunner().invoke(times, list(arguments))


@pytest.fixture
def small(tmp_path: Path):
    def write(*parts: str) -> str:
        path = tmp_path / "practice.toml"
        path.write_text("\n".join((REST, *parts)), "utf-8")
        return str(path)

    return write


@pytest.mark.invented
def test_the_demo_practice_has_every_time_and_says_which_set_it():
    done = run(DEMO, *ON)
    assert done.exit_code == 0, done.output
    assert "Quayside Dental Rooms (invented): running times" in done.output
    for chair in ("chair 1", "chair 2", "chair 3", "chair 4"):
        assert f"\n{chair}, " in done.output
    assert re.search(r"Flush every line +2:00 +rule +line, by \d:\d\d +no", done.output)
    assert "flow not measured: motor" in done.output
    assert "solved wash-out" in done.output
    assert re.search(r"line \d:\d\d, best estimate \d:\d\d", done.output)
    assert re.search(r"put in at least \d+ mL of mixed solution", done.output)
    assert re.search(r"Volumes: \d+ mL of water", done.output)
    assert "sterile water by a sterile path" in done.output


@pytest.mark.invented
@pytest.mark.parametrize("more", [[], ["--explain"], ["--every-step"], ["--explain", "--every-step"]])
def test_no_line_is_wider_than_80_columns(more):
    done = CliRunner(env={"COLUMNS": "80"}).invoke(times, [DEMO, *ON, *more])
    assert max(len(line) for line in done.output.splitlines()) <= 80


@pytest.mark.published(source="HTM 01-05, 2009 edition, para 6.85: at least two minutes at the start of the day", sure="secondary")
def test_no_chair_of_a_uk_practice_starts_its_day_with_less_than_two_minutes_of_flush():
    data = json.loads(run(DEMO, *ON, "--duty", "before the first visit", "--json").output)
    flushes = [t for t in data["times"] if t["step"]["id"] == "first.flush"]
    assert len(flushes) == 4
    assert all(g["seconds"] >= 120 for t in flushes for g in t["groups"])


@pytest.mark.published(source="HTM 01-05, 2009 edition, section 6: 20 to 30 s between patients", sure="secondary")
def test_no_chair_of_a_uk_practice_is_flushed_for_less_than_twenty_seconds_between_visits():
    data = json.loads(run(DEMO, *ON, "--duty", "between visits", "--json").output)
    flushes = [t for t in data["times"] if t["step"]["id"] == "between.flush"]
    assert len(flushes) == 4
    assert all(g["seconds"] >= 20 for t in flushes for g in t["groups"])


@pytest.mark.invented
def test_json_is_all_that_is_printed_and_holds_every_step():
    done = run(DEMO, *ON, "--json")
    data = json.loads(done.output)
    assert data["practice"]["invented"] is True
    assert data["on"] == "2026-11-25"
    assert data["complete"] is True
    assert {t["chair"] for t in data["times"]} == {"chair 1", "chair 2", "chair 3", "chair 4"}
    assert all(t["set_by"] and t["seconds"] > 0 for t in data["times"])


@pytest.mark.invented
def test_the_table_file_on_the_screen_and_on_disk_are_the_same(tmp_path):
    on_screen = run(DEMO, *ON, "--csv", "-").output
    target = tmp_path / "times.csv"
    done = run(DEMO, *ON, "--csv", str(target))
    assert done.exit_code == 0
    on_disk = target.read_bytes().decode("utf-8-sig")
    assert list(csv.reader(io.StringIO(on_disk))) == list(csv.reader(io.StringIO(on_screen)))
    assert os.listdir(tmp_path) == ["times.csv"]


@pytest.mark.invented
def test_one_chair_and_one_step_can_be_asked_for_and_explained():
    done = run(DEMO, *ON, "--chair", "chair 1", "--duty", "close.rinse", "--explain")
    assert "chair 2" not in done.output
    text = " ".join(done.output.split())
    assert "feed 0.9 m x 4.0 mm holds 11.3 mL; at 255 mL/min one volume change takes 2.7 s (Reynolds 1096, laminar)." in text
    assert "from 30,000 mg/L in the line: 1 part in 3,000" in text


@pytest.mark.invented
def test_the_safe_bound_can_be_asked_for_and_is_never_shorter():
    exact, bound = (json.loads(run(DEMO, *ON, "--json", *more).output) for more in ([], ["--bound"]))
    assert (exact["method"], bound["method"]) == ("exact", "safe bound")
    pairs = [(e, b) for e, b in zip(exact["times"], bound["times"], strict=True) if e["nominal_s"] is not None]
    assert len(pairs) > 20
    assert all(e["nominal_s"] <= b["nominal_s"] and e["p95_s"] <= b["p95_s"] and e["nominal_s"] < e["p95_s"] for e, b in pairs)
    assert all({"water_ml", "product_ml", "waste_ml", "bottle_fills"} == set(e["volumes"]) for e, _ in pairs)
    assert "0.63 divided by the root" in " ".join(run(DEMO, *ON, "--bound").output.split())


@pytest.mark.invented
def test_missing_times_give_exit_status_1_and_their_mend(small):
    done = run(small(ONE_HOSE, NO_PRODUCT), *ON)
    assert done.exit_code == 1, done.output
    assert "unknown" in done.output
    assert "Unknown, and so never to be taken as done" in done.output
    assert "Set in_use.line_intensive" in " ".join(done.output.split())
    assert "at least" in done.output


@pytest.mark.invented
def test_a_chair_out_of_service_is_shown_as_that(small):
    chair = ONE_HOSE.replace('room = "room 1"', 'room = "room 1"\nout_of_service = true')
    second = ONE_HOSE.replace("chair 1", "chair 2")
    done = run(small(chair, second, PEROXIDE), *ON)
    assert "OUT OF SERVICE" in done.output, done.output


@pytest.mark.invented
@pytest.mark.parametrize(
    ("arguments", "where", "word"),
    [
        (["--chair", "chair 9"], "--chair", "chair 1, chair 2"),
        (["--duty", "never"], "--duty", "between visits"),
        (["--csv", "no-such-folder/times.csv"], "times.csv", "folder"),
    ],
)
def test_what_can_not_be_done_says_where_and_how_to_mend_it(arguments, where, word):
    done = run(DEMO, *ON, *arguments)
    assert isinstance(done.exception, Mendable)
    assert where in done.exception.where
    assert word in done.exception.mend


@pytest.mark.invented
def test_json_and_a_table_on_one_output_are_refused():
    assert run(DEMO, "--json", "--csv", "-").exit_code == 2


@pytest.mark.invented
def test_the_real_program_ends_with_status_2_and_three_lines_for_a_file_that_is_not_there():
    command = [sys.executable, "-m", "fettlebook", "times"]
    done = subprocess.run([*command, "no such practice.toml"], capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert done.stdout == ""
    assert "no such file" in done.stderr
    assert "Traceback" not in done.stderr
    fine = subprocess.run([*command, DEMO, *ON, "--json"], capture_output=True, text=True, check=False)
    assert fine.returncode == 0
    assert json.loads(fine.stdout)["form"] == 1
