"""`fettlebook treatments`, as it is typed, on a book in a file."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from small_book import PRACTICE, Book
from test_treatments import entry, step, treated

from fettlebook.book.stores import open_book
from fettlebook.cli import _fettlebook
from fettlebook.errors import Mendable

pytestmark = pytest.mark.invented


def asked(folder: Path, text: str, *words: str) -> Result:
    path = folder / "practice.toml"
    path.write_text(PRACTICE, encoding="utf-8")
    with open_book(path.with_name("book.sqlite"), "small") as store:
        for one in Book(text).received():
            store.append([one.entry], now=one.received, via=one.via)
    done = CliRunner().invoke(_fettlebook, ["treatments", *words, "--practice", str(path), "--at", "2026-03-20T08:00"])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done


def test_a_fit_treatment_exits_0_with_planned_and_reached(tmp_path: Path) -> None:
    done = asked(tmp_path, treated(), "1")
    assert done.exit_code == 0, done.output
    assert "1 treatment in 92 days, 1 of them fit" in done.output
    assert "● FIT  1, 2026-03-11 05:00" in done.output
    assert "10:00    10:03" in done.output
    assert "lot A2, 1.0 days old" in done.output
    assert all(len(line) <= 80 for line in done.output.splitlines())


def test_a_short_one_exits_1_with_reason_and_rule(tmp_path: Path) -> None:
    done = asked(tmp_path, treated(contact=500))
    assert done.exit_code == 1
    assert "short" in done.output
    assert "must run 10:00" in done.output
    assert "rule h2o2" in done.output or "the product's label" in " ".join(done.output.split())


def test_json_holds_seconds_clocks_sources_and_entries(tmp_path: Path) -> None:
    done = asked(tmp_path, treated(contact=500), "--json")
    told = json.loads(done.output)["treatments"][0]
    contact = told["steps"][1]
    assert (contact["planned_s"], contact["achieved_s"], contact["wall_s"], contact["forward_s"]) == (600, 500, 500, 500)
    assert (contact["held"], told["verdict"]) == ("short", "unfit")
    assert contact["planned_by"]["source"]
    assert told["reasons"][0]["evidence"]


def test_a_book_without_treatments_is_not_in_order(tmp_path: Path) -> None:
    done = asked(tmp_path, entry(0, "visit.started", 'visit="v1", chair="1"'))
    assert done.exit_code == 1
    assert "No treatment in the book in 92 days." in done.output


def test_days_leave_older_ones_out(tmp_path: Path) -> None:
    assert json.loads(asked(tmp_path, treated(), "--days", "3", "--json").output)["chairs_without"] == ["1"]


def test_a_chair_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(Mendable, match="no chair is called"):
        asked(tmp_path, entry(0, "step.started", step("fill")), "9")
