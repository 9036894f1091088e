"""`fettlebook judge` from a bare CSV, a criteria file or a practice file to verdict, JSON and drawing."""

import json
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from made_cycle import Made, as_csv

from fettlebook.cli.judge import judge
from fettlebook.demo import practice_text
from fettlebook.errors import Mendable

pytestmark = pytest.mark.invented
GOOD = Made(lag_s={"chamber": 2.0, "drain": 3.5, "load": 5.0})


def run(*arguments: object) -> Result:
    return CliRunner().invoke(judge, [str(a) for a in arguments])


def data(*arguments: object) -> dict:
    done = run(*arguments, "--json")
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    return json.loads(done.output)


@pytest.fixture
def good(tmp_path: Path) -> Path:
    (tmp_path / "good.csv").write_text(as_csv(GOOD.log()))
    return tmp_path / "good.csv"


@pytest.fixture
def practice(tmp_path: Path) -> Path:
    lines = practice_text().decode().replace(
        '{ id = "wrapped 134", minutes = 42, type = "B", criteria = "steam-134-b" }',
        '{ id = "wrapped 134", minutes = 42, type = "B", criteria = "steam-134-b", limits = { pulses = 3, pulse_depth_kpa = 16.0 }, '
        'limits_from = "validation report of 2026-03-04" }',
    )  # fmt: skip
    lines = lines.replace(', type = "N", criteria = "steam-134-n" }', ', type = "N" }')
    lines = lines.replace(
        'day_cycle = "wrapped 134"\n',
        'day_cycle = "wrapped 134"\nsensors = [{ channel = "chamber", within = 0.2, reads_more_by = 0.1, calibrated_on = 2026-03-04 }]\n',
        1,
    )
    (tmp_path / "practice.toml").write_text(lines)
    return tmp_path / "practice.toml"


def test_a_bare_log_with_named_criteria_is_judged_and_drawn(good: Path, tmp_path: Path):
    done = run(good, "--machine", "sterilizer 1", "--criteria", "steam-134-b", "--plot", tmp_path / "out.svg")
    assert done.exit_code == 0, done.output
    assert done.output.startswith("● fit  sterilizer 1, good.csv\n")
    assert max(map(len, done.output.splitlines())) <= 80
    assert "never prove that air was removed" in " ".join(done.output.split())
    drawing = ET.parse(tmp_path / "out.svg").getroot()
    words = " ".join("".join(e.itertext()) for e in drawing.iter())
    for said in ("fit", "plateau", "saturated steam", "band", "uncertainty", "air 101 kPa", "hold 26"):
        assert said in words


def test_json_says_verdict_reasons_and_values_with_their_units(good: Path):
    said = data(good, "--criteria", "steam-134-b")
    assert (said["verdict"], said["reasons"]) == ("fit", [])
    units = ("_s", "_c", "_k", "_kpa", "_min", "_share", "_k_min", "pulses")
    assert all(key.endswith(units) for key in said["values"]), [k for k in said["values"] if not k.endswith(units)]
    assert said["values"]["hold_s"] == pytest.approx(264, abs=4)
    assert all(o["source"] and o["sure"] for o in said["outcomes"])
    assert next(o for o in said["outcomes"] if o["id"] == "hold_s")["checked"] is False
    assert said["log"]["units"]["pressure"] == "kPa absolute, told by its size"


def test_a_bad_cycle_exits_1_with_its_reasons(tmp_path: Path):
    (tmp_path / "short.csv").write_text(as_csv(replace(GOOD, hold_s=100).log()))
    done = run(tmp_path / "short.csv", "--criteria", "steam-134-b", "--plot", tmp_path / "short.svg")
    assert done.exit_code == 1
    assert done.output.startswith("■ unfit")
    assert "asked: 180 s" in (tmp_path / "short.svg").read_text()


def test_without_criteria_it_is_unproven_and_says_what_it_saw(good: Path):
    said = data(good)
    assert said["verdict"] == "unproven"
    assert "in 134 to 137 degC" in said["reasons"][0]
    assert "steam-134-b" in said["reasons"][0]


@pytest.mark.parametrize("content", ["", "time_s,chamber_c,pressure_kpa\n", "time_s,chamber_c\n0,1\n1,2\n"])
def test_an_empty_or_useless_log_is_unproven_not_an_error(tmp_path: Path, content: str):
    (tmp_path / "a.csv").write_text(content)
    said = data(tmp_path / "a.csv", "--criteria", "steam-134-b")
    assert said["verdict"] == "unproven"
    assert said["reasons"]
    assert run(tmp_path / "a.csv", "--criteria", "steam-134-b", "--plot", tmp_path / "a.svg").exit_code == 1


def test_a_gauge_log_with_the_airs_pressure_and_other_columns(tmp_path: Path):
    log = GOOD.log()
    gauge = replace(log, pressure_kpa=(log.pressure_kpa - 101.0) / 100.0)
    (tmp_path / "g.csv").write_text(as_csv(gauge, ("t", "a", "b", "c", "d")))
    columns = [x for role in ("time=t", "chamber=a", "drain=b", "load=c", "pressure=d") for x in ("--column", role)]
    told = ["--unit", "pressure=bar", "--pressure", "gauge", "--criteria", "steam-134-b"]
    assert data(tmp_path / "g.csv", *columns, *told, "--ambient-kpa", 101)["verdict"] == "fit"
    asked = data(tmp_path / "g.csv", *columns, *told)
    assert asked["verdict"] == "unproven"
    assert any("not told" in reason for reason in asked["reasons"])
    wrong = data(tmp_path / "g.csv", *columns, *told, "--ambient-kpa", 84)
    assert wrong["verdict"] != "fit"


def test_one_of_two_cycles_is_cut_out(tmp_path: Path):
    log = GOOD.log()
    end = float(log.time_s[-1]) + 1
    temps = {c: np.concatenate((v, v)) for c, v in log.temperatures_c.items()}
    both = replace(
        log, time_s=np.concatenate((log.time_s, log.time_s + end)), temperatures_c=temps, pressure_kpa=np.tile(log.pressure_kpa, 2)
    )
    (tmp_path / "two.csv").write_text(as_csv(both))
    assert data(tmp_path / "two.csv", "--criteria", "steam-134-b")["verdict"] == "unproven"
    assert data(tmp_path / "two.csv", "--criteria", "steam-134-b", "--to", end - 1)["verdict"] == "fit"
    assert data(tmp_path / "two.csv", "--criteria", "steam-134-b", "--from", end)["verdict"] == "fit"


def test_the_practice_file_says_criteria_limits_and_calibration(good: Path, practice: Path):
    said = data(good, "--practice", practice, "--machine", "sterilizer 1", "--cycle", "wrapped 134")
    assert said["verdict"] == "fit", said["reasons"]
    depth = next(o for o in said["outcomes"] if o["id"] == "pulse_depth_kpa")
    assert (depth["limit"], depth["source"]) == (16.0, "validation report of 2026-03-04")
    hottest = next(o for o in said["outcomes"] if o["id"] == "band_c")
    assert hottest["uncertainty"] == 0.5  # the worst of the sensors: only the chamber's is calibrated
    unwrapped = run(good, "--practice", practice, "--machine", "sterilizer 1", "--cycle", "unwrapped 134")
    assert isinstance(unwrapped.exception, Mendable)
    assert "names no criteria" in unwrapped.exception.what
    mixed = run(good, "--practice", practice, "--machine", "sterilizer 1", "--cycle", "unwrapped 134", "--criteria", "steam-134-b")
    assert "type N" in str(mixed.exception)


@pytest.mark.parametrize(
    ("arguments", "where"),
    [
        (("--practice", "{practice}"), "--machine"),
        (("--practice", "{practice}", "--machine", "sterilizer 9"), "--machine"),
        (("--practice", "{practice}", "--machine", "sterilizer 1"), "--cycle"),
        (("--practice", "{practice}", "--machine", "sterilizer 1", "--cycle", "rinse"), "--cycle"),
        (("--criteria", "steam-135-b"), "--criteria"),
        (("--criteria", "none.toml"), "none.toml"),
        (("--criteria", "steam-134-b", "--unit", "pressure"), "--unit"),
        (("--criteria", "steam-134-b", "--column", "chamber=T9"), "good.csv, --column"),
        (("--criteria", "steam-134-b", "--past", "none.csv"), "none.csv"),
    ],
)  # fmt: skip
def test_what_can_t_be_done_is_told_with_its_place(good: Path, practice: Path, arguments: tuple[str, ...], where: str):
    done = run(good, *(a.format(practice=practice) for a in arguments))
    assert isinstance(done.exception, Mendable), done.output
    assert done.exception.where == where
    assert done.exception.mend


def test_the_machines_past_is_read_from_logs_and_from_answers(tmp_path: Path, good: Path):
    past = []
    for seed in range(9):
        (tmp_path / f"p{seed}.csv").write_text(as_csv(replace(GOOD, seed=seed).log()))
        past += ["--past", tmp_path / f"p{seed}.csv"]
    answers = tmp_path / "answers.jsonl"
    said = [data(tmp_path / f"p{seed}.csv", "--criteria", "steam-134-b") for seed in range(9)]
    answers.write_text("\n".join(json.dumps(s) for s in said))
    slow = replace(GOOD, hold_c=136.3).log()
    (tmp_path / "slow.csv").write_text(as_csv(slow))
    for told in (past, ["--past", answers]):
        assert data(good, "--criteria", "steam-134-b", *told)["remarks"] == data(good, "--criteria", "steam-134-b")["remarks"]
        hot = data(tmp_path / "slow.csv", "--criteria", "steam-134-b", *told)
        assert any("hold temperature" in remark and "usually" in remark for remark in hot["remarks"])
        assert hot["verdict"] == "fit"
    (tmp_path / "bad.json").write_text("{}")
    assert isinstance(run(good, "--criteria", "steam-134-b", "--past", tmp_path / "bad.json").exception, Mendable)


def test_leak_tests_and_washers_have_drawings_of_their_own(tmp_path: Path):
    t = np.arange(0.0, 1300.0, 1.0)
    p = np.where(t < 200, 101 * (4 / 101) ** (t / 200), 4.0 + 0.1 * (t - 200) / 60)
    p = np.where(t > 1200, 101.0, p)
    (tmp_path / "leak.csv").write_text(
        "time_s,chamber_c,pressure_kpa\n" + "".join(f"{a:g},40,{b:.3f}\n" for a, b in zip(t, p, strict=True))
    )
    assert data(tmp_path / "leak.csv", "--criteria", "leak-test", "--plot", tmp_path / "leak.svg")["verdict"] == "fit"
    assert "steepest rise that passes: 0.13 kPa/min" in (tmp_path / "leak.svg").read_text()
    wash = np.interp(t, [0, 200, 600, 960, 1000, 1300], [20, 50, 90, 90, 60, 40])
    (tmp_path / "wash.csv").write_text("time_s,chamber_c\n" + "".join(f"{a:g},{b:.2f}\n" for a, b in zip(t, wash, strict=True)))
    assert data(tmp_path / "wash.csv", "--criteria", "washer-a0-3000", "--plot", tmp_path / "wash.svg")["verdict"] == "fit"
    drawn = (tmp_path / "wash.svg").read_text()
    assert "A0 counts from 65 °C" in drawn
    assert "saturated steam" not in drawn


def test_a_missing_file_ends_in_readable_lines_and_status_2(tmp_path: Path):
    import subprocess
    import sys

    command = [sys.executable, "-m", "fettlebook", "judge", str(tmp_path / "none.csv"), "--criteria", "steam-134-b"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "can't be read" in done.stderr
    assert "mend" in done.stderr
    assert "Traceback" not in done.stderr
