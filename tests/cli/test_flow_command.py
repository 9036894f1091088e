"""`fettlebook flow` from typed readings to the practice file."""

import json
import os
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from fettlebook.cli.flow import flow
from fettlebook.demo import practice_text
from fettlebook.errors import Finding, Mendable
from fettlebook.practice.load import read_practice
from fettlebook.times.readings import CupText, read_cup

CUPS = ["--reading", "52mL/60s", "--reading", "51/1:00", "--reading", "52 ml / 61"]
ON = ["--on", "2026-11-25"]


def run(*arguments: str) -> Result:
    return CliRunner(env={"COLUMNS": "80"}).invoke(flow, list(arguments))


@pytest.fixture
def motor(tmp_path: Path) -> list[str]:
    (tmp_path / "practice.toml").write_bytes(practice_text())
    return ["--practice", str(tmp_path / "practice.toml"), "--chair", "chair 2", "--outlet", "motor"]


@pytest.mark.parametrize(
    ("text", "cup"),
    [
        ("52mL/60s", CupText(52, weighed=False, seconds=60)),
        ("52,5 / 60", CupText(52.5, weighed=False, seconds=60)),
        (" 0.5 L/2min ", CupText(500, weighed=False, seconds=120)),
        ("51.2g/1:30", CupText(51.2, weighed=True, seconds=90)),
        ("-4/60", CupText(-4, weighed=False, seconds=60)),
    ],
)
def test_readings_are_taken_as_people_write_them(text, cup):
    assert read_cup(text, "reading 1") == cup


@pytest.mark.parametrize("text", ["", "52", "52/", "fifty/60", "52/60/60", "52 mL 60 s", "1e3/60", "52/1:30min", "nan/60", "/" * 5000])
def test_what_is_no_reading_is_said_and_shown_how_to_write(text):
    found = read_cup(text, "reading 1")
    assert isinstance(found, Finding)
    assert len(found.what) < 80


def test_a_flow_alone_needs_no_practice_file():
    done = run(*CUPS)
    assert done.exit_code == 0, done.output
    assert done.output.startswith("Flow: 51.4 mL/min, from ")
    assert "(95 %" in done.output


def test_the_causes_are_told_on_request():
    assert "reading the cup" not in run(*CUPS).output
    assert "reading the cup" in run(*CUPS, "--explain").output


@pytest.mark.invented
def test_a_file_that_says_otherwise_is_told_with_the_times_that_change(motor):
    done = run(*CUPS, *ON, *motor)
    text = " ".join(done.output.split())
    assert done.exit_code == 1
    assert "The file says 60 mL/min (not measured); measured is 14 % less, more than the uncertainty." in text
    assert "Open together as in use: turbine, motor and syringe." in text
    assert "Running times of chair 2 that change:" in text
    assert "Fill until the last outlet" in text
    assert "practice.toml line 85: flow_ml_min = 51.4, measured_on = 2026-11-25" in text
    assert Path(motor[1]).read_bytes() == practice_text()


@pytest.mark.invented
@pytest.mark.parametrize(
    ("ml", "stands", "said"),
    [
        (60, "inside", "taken as 51 to 69 mL/min: the measurement lies inside. All 7 running times through this outlet are long enough."),
        (51, "partly outside", "the measurement lies partly outside. 5 of 7 running times"),
        (32, "outside", "the measurement lies outside, slower. 5 of 7 running times through this outlet are long enough. TOO SHORT by"),
        (95, "outside", "the measurement lies outside, faster. All 7"),
    ],
)
def test_what_was_promised_is_held_against_what_was_measured(motor, ml, stands, said):
    readings = [w for n in (0, 1, 0) for w in ("--reading", f"{ml + n}/60")]
    assert said in " ".join(run(*readings, *ON, *motor).output.split())
    told = json.loads(run(*readings, *ON, *motor, "--json").stdout)["practice_file"]
    assert told["stands"] == stands
    assert told["assumed_ml_min"] == pytest.approx([51, 69])
    assert {p["step"] for p in told["promises"]} >= {"first.flush", "between.flush", "close.fill", "close.rinse"}
    assert all(p["holds"] == (p["needs_s"] <= p["promised_s"]) for p in told["promises"])


@pytest.mark.invented
def test_a_slower_outlet_never_shortens_its_own_times(motor):
    data = json.loads(run(*CUPS, *ON, *motor, "--json").stdout)
    assert data["practice_file"]["changes"]
    assert all(c["after_s"] > c["before_s"] for c in data["practice_file"]["changes"])


@pytest.mark.invented
def test_write_changes_the_one_line_and_reads_back(motor):
    done = run(*CUPS, *ON, *motor, "--write")
    assert done.exit_code == 0, done.output
    assert "Nothing else in it was touched" in " ".join(done.output.split())
    after = Path(motor[1]).read_bytes()
    within = read_practice(after, "practice.toml").practice.chairs[1].outlets[1].flow_within_pct
    assert 2.0 < within < 4.0  # the answer said plus or minus 3 %
    told = f'"motor hose", flow_ml_min = 51.4, measured_on = 2026-11-25, flow_within_pct = {within:.1f} }}'.encode()
    assert after == practice_text().replace(b'"motor hose", flow_ml_min = 60.0 }', told)
    outlet = read_practice(after, "practice.toml").practice.chairs[1].outlets[1]
    assert (outlet.flow_ml_min, outlet.measured_on) == (51.4, date(2026, 11, 25))
    again = run(*CUPS, *ON, *motor)
    assert again.exit_code == 0
    assert "within the uncertainty" in " ".join(again.output.split())


def test_odd_readings_are_not_written_unless_told_to(motor):
    odd = ["--reading", "52/60", "--reading", "26/60", *ON, *motor, "--write"]
    done = run(*odd)
    assert done.exit_code == 1
    assert "Not written, since the readings look odd" in " ".join(done.output.split())
    assert Path(motor[1]).read_bytes() == practice_text()
    run(*odd, "--even-so")
    assert Path(motor[1]).read_bytes() != practice_text()


def test_one_reading_says_that_its_range_is_wide(motor):
    done = run("--reading", "52/60", *ON, *motor)
    assert done.exit_code == 1
    assert "only one reading" in done.output


def test_without_readings_it_says_how_to_measure(motor):
    done = run(*motor)
    assert done.exit_code == 0
    assert "4 cups of 1:00, about 60 mL each" in done.output
    assert "Running times rest on 60 mL/min (not measured), taken as 51 to 69 mL/min." in " ".join(done.output.split())
    assert "turbine, motor and syringe" in " ".join(done.output.split())
    assert "finer lines" in " ".join(run("--about", "30", "--resolution-ml", "50").output.split())


def test_before_measuring_it_says_that_the_old_flow_is_from_before_the_lines_were_changed(motor):
    path = Path(motor[1])
    text = path.read_text("utf-8").replace("segments = [", "changed_on = 2026-11-20\nsegments = [", 1)
    path.write_text(text, "utf-8")
    done = run("--practice", str(path), "--chair", "chair 1", "--outlet", "motor")
    told = " ".join(done.output.split())
    assert "Running times rest on 60 mL/min (measured on 2026-11-02, before the lines were changed), taken as 51 to 69 mL/min." in told


def test_a_flow_that_no_such_outlet_has_is_refused_before_anything_is_said_of_times(motor):
    done = run("--reading", "500/10", "--reading", "510/10", "--reading", "505/10", *ON, *motor)
    assert isinstance(done.exception, Mendable)
    assert "flow_ml_min" in done.exception.where


def test_every_bad_reading_is_named_at_once():
    done = run("--reading", "50/0", "--reading", "50/60", "--reading", "-50/60")
    assert isinstance(done.exception, Mendable)
    assert [f.where for f in done.exception.findings] == ["reading 1", "reading 3"]
    done = run("--reading", "fifty/60", "--reading", "soon")
    assert isinstance(done.exception, Mendable)
    assert len(done.exception.findings) == 2


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--chair", "chair 9", "--outlet", "motor"], "Choose one of: chair 1"),
        (["--chair", "chair 2", "--outlet", "scaler"], "Choose one of: turbine"),
        (["--chair", "chair 2"], "which outlet"),
        ([], "which chair"),
    ],
)
def test_a_place_that_is_not_there_or_not_said_is_told(motor, more, words):
    done = run(*CUPS, *motor[:2], *more)
    assert isinstance(done.exception, Mendable)
    assert words in str(done.exception)


def test_a_file_with_errors_is_refused_and_stays_as_it_is(motor):
    bad = practice_text().replace(b"bore_mm = 4.0", b"bore_mm = 40.0")
    Path(motor[1]).write_bytes(bad)
    done = run(*CUPS, *motor, "--write")
    assert isinstance(done.exception, Mendable)
    assert "bore_mm" in done.exception.where
    assert Path(motor[1]).read_bytes() == bad


@pytest.mark.parametrize(
    "more", [["--write"], ["--chair", "chair 1"], ["--aim", "0"], ["--resolution-ml", "nan"], ["--resolution-ml", "0"]]
)
def test_options_that_make_no_sense_are_refused(more):
    done = run(*CUPS, *more)
    assert done.exit_code != 0
    assert isinstance(done.exception, (SystemExit, Mendable))


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may write everywhere")
def test_a_folder_that_may_not_be_written_is_told_and_nothing_is_lost(motor):
    folder = Path(motor[1]).parent
    folder.chmod(0o500)
    try:
        assert isinstance(run(*CUPS, *motor, "--write").exception, Mendable)
    finally:
        folder.chmod(0o700)
    assert Path(motor[1]).read_bytes() == practice_text()


@pytest.mark.parametrize("more", [[], ["--explain"], ["--write"]])
def test_no_line_is_wider_than_80_columns(motor, more):
    done = run("--reading", "52/60", "--reading", "26/60", *ON, *motor, *more)
    assert max(len(line) for line in done.output.splitlines()) <= 80


def test_json_is_all_that_is_printed(motor):
    data = json.loads(run(*CUPS, *ON, *motor, "--json").stdout)
    assert data["practice_file"]["invented"] is True
    assert data["low_ml_min"] < data["flow_ml_min"] < data["high_ml_min"]
