"""The commands of arrivals, sharing and labels as a person types them, on a few lived days; and what they say of bad input."""

import csv
import json
import os
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from fettlebook.cli.arrivals import arrivals
from fettlebook.cli.demo import demo
from fettlebook.cli.labels import labels
from fettlebook.cli.share import share
from fettlebook.demo.heat import as_csv, make_log
from fettlebook.errors import Mendable

pytestmark = pytest.mark.invented


@pytest.fixture(scope="module")
def lived(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("lived") / "demo"
    ran = CliRunner().invoke(demo, [str(folder), "--lived", "4"])
    assert ran.exit_code == 0, ran.output
    return folder


def said(ran: Result) -> str:
    assert ran.exception is None or isinstance(ran.exception, (SystemExit, Mendable)), ran.exception
    return f"{ran.output} {ran.exception if isinstance(ran.exception, Mendable) else ''}"


def test_arrivals_are_taken_in_by_the_command_and_a_giant_is_left_alone(lived: Path, tmp_path: Path) -> None:
    machine = tmp_path / "in" / "sterilizer 1"
    machine.mkdir(parents=True)
    log = machine / "run.csv"
    log.write_text(as_csv(make_log("good", 3)))
    at = log.stat().st_mtime - 60
    os.utime(log, (at, at))
    with (machine / "giant.csv").open("wb") as giant:
        giant.truncate(1_000_000_000)
    options = [str(tmp_path / "in"), "--practice", str(lived / "practice.toml"), "--json"]
    ran = CliRunner().invoke(arrivals, options)
    assert ran.exit_code == 1, said(ran)
    told = {one["file"]: one for one in map(json.loads, ran.output.splitlines())}
    assert told["run.csv"]["became"] == "kept"
    assert "1,000 MB are no log" in told["giant.csv"]["line"]
    again = {one["file"]: one["became"] for one in map(json.loads, CliRunner().invoke(arrivals, options).output.splitlines())}
    assert again == {"run.csv": "known", "giant.csv": "put aside"}
    assert not list((lived).glob("*.aside/*giant*"))  # no copy of what is far too large
    assert "no such folder" in said(CliRunner().invoke(arrivals, [str(tmp_path / "x"), "--practice", str(lived / "practice.toml")]))


def test_tables_fhir_and_diary_are_written_whole_or_not_at_all(lived: Path, tmp_path: Path) -> None:
    practice = str(lived / "practice.toml")
    ran = CliRunner().invoke(share, ["tables", practice, "-o", str(tmp_path / "t"), "--kind", "visit.ended"])
    assert ran.exit_code == 0, said(ran)
    rows = list(csv.DictReader((tmp_path / "t" / "visit.ended.csv").read_text("utf-8-sig").splitlines()))
    assert len(rows) > 10
    assert all(row["visit"].startswith("v_") for row in rows)
    assert "something is there already" in said(CliRunner().invoke(share, ["tables", practice, "-o", str(tmp_path / "t")]))
    assert "Did you mean visit.ended" in said(CliRunner().invoke(share, ["tables", practice, "-o", "x", "--kind", "visit.endet"]))
    assert CliRunner().invoke(share, ["fhir", practice, "-o", str(tmp_path / "f.json")]).exit_code == 0
    assert json.loads((tmp_path / "f.json").read_text("utf-8"))["resourceType"] == "Bundle"
    book = str(lived / "book.ics")
    ran = CliRunner().invoke(share, ["diary", practice, book, "--person", "anna", "-o", str(tmp_path / "d.ics")])
    assert "Did you mean ana" in said(ran)
    assert "gets no word" in said(CliRunner().invoke(share, ["secret", practice, "hall"]))


def test_labels_of_a_load_that_is_there_and_of_one_that_is_not(lived: Path, tmp_path: Path) -> None:
    practice = str(lived / "practice.toml")
    CliRunner().invoke(share, ["tables", practice, "-o", str(tmp_path / "t"), "--kind", "load.packed"])
    rows = list(csv.DictReader((tmp_path / "t" / "load.packed.csv").read_text("utf-8-sig").splitlines()))
    load = next(row["load"] for row in reversed(rows) if row["machine"].startswith("sterilizer"))
    ran = CliRunner().invoke(labels, [load, "--practice", practice, "-o", str(tmp_path / "l.pdf"), "--single", "62x29"])
    assert ran.exit_code == 0, said(ran)
    assert (tmp_path / "l.pdf").read_bytes().startswith(b"%PDF")
    assert "no load of that name" in said(CliRunner().invoke(labels, ["L9", "--practice", practice, "-o", str(tmp_path / "x.pdf")]))
    wrong = CliRunner().invoke(labels, [load, "--practice", practice, "--sheet", "many", "-o", str(tmp_path / "x.pdf")])
    assert "two numbers with x between" in said(wrong)
    assert not (tmp_path / "x.pdf").exists()
