"""`fettlebook calibrate`: from dipped strips to whether the rinse is long enough. All strips are invented."""

import json
import math
from datetime import date
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from fettlebook.cli.calibrate import calibrate
from fettlebook.demo import practice_text
from fettlebook.errors import Finding, Mendable
from fettlebook.practice.load import read_practice
from fettlebook.rules.load import load_rulebook
from fettlebook.science.stretched import MIXINGS, STRETCHES
from fettlebook.times.readings import read_strip
from fettlebook.times.strips import line_under_test

COLOURS = (1.0, 3.0, 10.0, 30.0, 100.0)
STRIP = ["--strip", "0,1,3,10,30,100"]
ON = ["--on", "2026-11-25"]


def run(*arguments: str) -> Result:
    return CliRunner(env={"COLUMNS": "80"}).invoke(calibrate, list(arguments))


@pytest.fixture
def demo(tmp_path: Path) -> Path:
    path = tmp_path / "practice.toml"
    path.write_bytes(practice_text())
    return path


def asked(path: Path, *dips: str) -> list[str]:
    return [str(path), "--chair", "chair 1", "--outlet", "turbine", *STRIP, *ON, *(w for d in dips for w in ("--reading", d))]


def dips_of(slower: float, *, mixing: float = 0.0, stuck_mg_l: float = 0.0, seed: int = 1) -> list[str]:
    """Strips of a made-up line: chair 1's turbine, `slower` times as slow, with a mixing volume behind it."""
    practice = read_practice(practice_text(), "practice.toml").practice
    line = line_under_test(practice, load_rulebook(practice), practice.chairs[0], "turbine")
    rng = np.random.default_rng(seed)
    at_one = int(np.argmin(abs(STRETCHES - 1.0)))
    behind = int(np.argmin(abs(MIXINGS - mixing)))
    end_s = float(line.curve.seconds_to(line.limit_mg_l / line.strength_mg_l)[behind, at_one]) * slower
    texts = []
    for share in (0.55, 0.65, 0.75, 0.85, 0.95, 1.05, 1.2, 1.4):
        left = math.exp(line.curve.log_left_at(share * end_s / slower)[behind, at_one])
        seen = (line.strength_mg_l * left + stuck_mg_l) * math.exp(0.25 * rng.standard_normal())
        edges = [0.0, 1.0, *(math.sqrt(a * b) for a, b in pairwise(COLOURS)), math.inf]
        block = next(i for i in range(len(edges) - 1) if edges[i] <= seen < edges[i + 1])
        texts.append(f"{share * end_s:.1f}s/{(0.0, *COLOURS)[block]:g}")
    return texts


@pytest.mark.parametrize(
    ("text", "reading"),
    [
        ("60s/30", (60, 30, 30)),
        ("1:30 / 3-10 mg/L", (90, 3, 10)),
        ("120/0", (120, 0, 0)),
        ("120/<1", (120, 0, 0)),
        ("20/>100", (20, 100, math.inf)),
        ("2min/3", (120, 3, 3)),
    ],
)
def test_strips_are_taken_as_people_write_them(text, reading):
    assert read_strip(text, "reading 1", COLOURS) == reading


@pytest.mark.parametrize("text", ["", "60", "60/", "sixty/3", "60/3/3", "60/pink", "60 3"])
def test_what_is_no_strip_reading_is_said(text):
    assert isinstance(read_strip(text, "reading 1", COLOURS), Finding)


@pytest.mark.invented
@pytest.mark.parametrize("chair", range(4))
def test_the_curve_that_strips_are_held_against_reaches_the_limit_when_the_times_say_so(chair):
    practice = read_practice(practice_text(), "practice.toml").practice
    rulebook = load_rulebook(practice)
    for outlet in practice.chairs[chair].outlets:
        line = line_under_test(practice, rulebook, practice.chairs[chair], outlet.id)
        reached = float(np.interp(1.0, STRETCHES, line.curve.seconds_to(line.limit_mg_l / line.strength_mg_l)[0]))
        assert reached == pytest.approx(line.computed_s, rel=0.01), outlet.id
        assert line.floor_s >= 120  # the demo label's shortest rinse


@pytest.mark.invented
def test_a_line_as_computed_is_in_order_and_the_running_time_stays(demo):
    done = run(*asked(demo, *dips_of(1.0)))
    text = " ".join(done.output.split())
    assert done.exit_code == 0, done.output
    assert "Down to the limit: from" in text
    assert "Long enough as it is: close.rinse" in text
    assert "Strips never shorten it." in text
    assert "(invented)" in text


@pytest.mark.invented
@pytest.mark.parametrize(("slower", "mixing"), [(4.0, 1.0), (5.0, 0.0), (3.0, 0.5)])
def test_a_line_slower_than_its_running_time_is_written_and_then_runs_as_long_as_the_strips_ask(demo, slower, mixing):
    dips = dips_of(slower, mixing=mixing)
    data = json.loads(run(*asked(demo, *dips), "--json").stdout)
    done = run(*asked(demo, *dips))
    assert data["borne_out"]
    assert done.exit_code == 1
    assert "TOO SHORT: close.rinse runs 2:00" in " ".join(done.output.split())
    assert "To put it there: the same command with --write." in " ".join(done.output.split())
    assert demo.read_bytes() == practice_text()
    wrote = run(*asked(demo, *dips), "--write")
    assert wrote.exit_code == 0, wrote.output
    assert "Nothing else in it was touched" in " ".join(wrote.output.split())
    outlet = read_practice(demo.read_bytes(), "practice.toml").practice.chairs[0].outlets[0]
    assert outlet.strips is not None
    assert outlet.strips.dipped_on == date(2026, 11, 25)
    assert outlet.strips.slower_from <= outlet.strips.slower <= outlet.strips.slower_to
    line = next(row for row in demo.read_text("utf-8").splitlines() if "strips = {" in row)
    assert demo.read_text("utf-8").replace(line[line.index(", strips") : line.rindex(" }")], "") == practice_text().decode()
    again = json.loads(run(*asked(demo, *dips), "--json").stdout)
    assert all(rinse["long_enough"] for rinse in again["rinses"])
    assert {r["step"]: r["seconds"] for r in again["rinses"]}["close.rinse"] >= data["keep_to_s"]
    twice = run(*asked(demo, *dips), "--write")
    assert twice.exit_code == 0
    assert demo.read_text("utf-8").count("strips = {") == 1


@pytest.mark.invented
def test_the_promises_say_on_which_step_the_strips_find_too_little(demo):
    data = json.loads(run(*asked(demo, *dips_of(4.0, mixing=1.0)), "--json").stdout)["practice_file"]
    assert data["values"]["strips"].startswith("{ dipped_on = 2026-11-25, slower = ")
    assert {p["step"] for p in data["promises"] if not p["holds"]} == {c["step"] for c in data["changes"]}
    assert all(p["needs_s"] > p["promised_s"] for p in data["promises"] if not p["holds"])
    fitting = json.loads(run(*asked(demo, *dips_of(1.0)), "--json").stdout)["practice_file"]
    assert all(p["holds"] for p in fitting["promises"])


@pytest.mark.invented
@pytest.mark.parametrize(
    "dips",
    [["0:30/100", "1:00/30", "1:30/30", "2:30/30", "3:20/30"], ["60/10", "90/0"], [*dips_of(1.0, stuck_mg_l=40.0), "150/30", "200/30"]],
)
def test_strips_that_bear_no_time_out_are_not_written(demo, dips):
    done = run(*asked(demo, *dips), "--write")
    assert isinstance(done.exception, Mendable)
    assert done.exception.where == "chair 1, turbine, readings"
    assert "nothing was written" in done.exception.what
    assert "dip again" in done.exception.mend
    assert demo.read_bytes() == practice_text()


@pytest.mark.invented
def test_a_strip_over_the_limit_at_the_end_gives_no_time_to_write_down(demo):
    done = run(*asked(demo, "0:30/100", "1:00/30", "1:30/30", "2:30/30", "3:20/30"))
    text = " ".join(done.output.split())
    assert done.exit_code == 1
    assert "Rinse this group for longer than 3:20" in text
    assert "From these strips no time can be said. Rinse until every strip is clear, and find out why." in text
    assert "own_rules" not in text


@pytest.mark.invented
def test_product_that_keeps_coming_is_a_misfit_and_no_time_is_said(demo):
    done = run(*asked(demo, *dips_of(1.0, stuck_mg_l=40.0), "100/30", "150/30", "200/30"))
    text = " ".join(done.output.split())
    assert done.exit_code == 1
    assert "can't be said, since the readings do not fit this line" in text
    assert "dead leg" in text
    data = json.loads(run(*asked(demo, *dips_of(1.0, stuck_mg_l=40.0), "100/30", "150/30", "200/30"), "--json").stdout)
    assert data["keep_to_s"] >= 200


@pytest.mark.invented
def test_too_few_strips_are_said(demo):
    done = run(*asked(demo, "60/10", "90/0"))
    assert done.exit_code == 1
    assert "too few readings" in " ".join(done.output.split())


@pytest.mark.parametrize(
    ("dips", "where", "said"),
    [
        ([], "readings", "no reading"),
        (["0/10"], "reading 1", "a time of 0 s"),
        (["60/10", "60/7"], "reading 2", "7 mg/L is not on this strip"),
        (["60/<5"], "reading 1", "not on this strip"),
        (["pink"], "reading 1", "is no strip reading"),
        (["-60/10"], "reading 1", "a time of -60 s"),
    ],
)
def test_strips_that_can_not_be_are_named(demo, dips, where, said):
    done = run(*asked(demo, *dips))
    assert isinstance(done.exception, Mendable), done.output
    assert done.exception.where == where
    assert said in done.exception.what


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--limit-mg-l", "0"], "a limit of 0 mg/L"),
        (["--limit-mg-l", "50000"], "a limit of 50000 mg/L"),
        (["--strength-mg-l", "nan"], "a strength of nan mg/L"),
        (["--strip", "pink,red"], "is no list of colours"),
        (["--strip", "3"], "colours 3"),
        (["--read-error", "0"], "a reading error of 0"),
        (["--outlet", "cup filler"], 'no outlet "cup filler"'),
        (["--chair", "chair 7"], 'no chair "chair 7"'),
    ],
)
def test_settings_that_can_not_be_are_named(demo, more, said):
    done = run(*asked(demo, "60/10"), *more)
    assert isinstance(done.exception, Mendable), done.output
    assert said in done.exception.what


@pytest.mark.invented
def test_without_a_residual_limit_on_the_label_it_must_be_given(demo):
    demo.write_text(demo.read_text("utf-8").replace("residual_limit_mg_l = 10.0, ", ""), "utf-8")
    done = run(*asked(demo, *dips_of(1.0)))
    assert isinstance(done.exception, Mendable)
    assert "no residual limit" in done.exception.what
    given = run(*asked(demo, *dips_of(1.0)), "--limit-mg-l", "10")
    assert "Running time not known: close.rinse" in " ".join(given.output.split())


@pytest.mark.invented
def test_no_line_is_wider_than_80_columns_and_json_is_all_that_is_printed(demo):
    arguments = asked(demo, *dips_of(1.0), "5/>100")
    assert max(len(line) for line in run(*arguments).output.splitlines()) <= 80
    assert json.loads(run(*arguments, "--json").stdout)["practice"]["invented"] is True
