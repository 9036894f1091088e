"""The evidence of a few invented days: what it says, that its numbers are the standings' own, and what bad input comes to."""

import json
import os
import shutil
import sqlite3
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest
from pypdf import PdfReader

sys.path.insert(0, str(Path(__file__).parents[2] / "web"))
from test_printed_languages import TONGUES, left_in_english, plain

import fettlebook
from fettlebook.errors import Mendable
from fettlebook.exchange.evidence import bundle
from fettlebook.exchange.evidence.blocks import Clock
from fettlebook.exchange.evidence.bundle import new_folder, zip_bytes_to
from fettlebook.exchange.evidence.content import content_of
from fettlebook.exchange.evidence.first_page import areas_of
from fettlebook.exchange.evidence.make import Made
from fettlebook.exchange.evidence.span import span_of
from fettlebook.standing.model import Verdict
from fettlebook.web.languages.tongue import Tongue

pytestmark = pytest.mark.invented


def text_of(pdf: Path) -> str:
    ran = subprocess.run(["pdftotext", "-layout", pdf, "-"], capture_output=True, text=True, check=False)
    return ran.stdout


def test_equal_books_give_equal_bytes(ground: object, made: Made, tmp_path: Path) -> None:
    again = ground.make(tmp_path / "again")  # type: ignore[attr-defined]
    for path in sorted(p for p in made.folder.rglob("*") if p.is_file()):
        assert (again.folder / path.relative_to(made.folder)).read_bytes() == path.read_bytes(), path.name
    for name in ("a.zip", "b.zip"):
        zip_bytes_to(made.folder, tmp_path / name)
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()


def test_the_numbers_are_those_of_the_entries(made: Made) -> None:
    records = [json.loads(line)["entry"] for line in (made.folder / "entries.jsonl").read_bytes().splitlines()]
    in_days = [e for e in records if made.found.span.since <= e["at"] < made.found.span.until]
    visits = {e["data"]["visit"] for e in in_days if e["kind"] == "visit.started"}
    assert made.figures.value("visits") == pytest.approx(len(visits), abs=2)  # a late entry or a corrected time moves one over midnight
    failed = [e for e in in_days if e["kind"] == "cycle.recorded" and e["data"]["said"] in ("failed", "aborted")]
    assert made.figures.value("cycles.failed") >= len(failed) > 0
    rows = made.figures.rows
    assert made.figures.value("duties") == sum(len(row.occasions) for row in rows) > 100
    assert sum(made.figures.value(f"duties.{name}") for name in ("in_time", "late", "missed", "not_provable")) == made.figures.value(
        "duties"
    )


def test_the_first_page_is_no_better_than_its_worst_area(made: Made) -> None:
    areas = areas_of(made.found, made.figures, made.seals)
    assert len(areas) == 8
    assert any(verdict is not Verdict.FIT for _, verdict, _ in areas)
    told = text_of(made.folder / "report.pdf").split("\f")[0]
    assert "Not in order" in told
    for area, _, _ in areas:
        assert area in told
    assert made.seals.checkpoint.short() in " ".join(told.split())


def test_the_document_has_every_chapter_a_title_and_page_numbers(made: Made) -> None:
    told = text_of(made.folder / "report.pdf")
    pages = told.rstrip("\f").split("\f")
    for title in ("Duties not done in time", "Deviations", "Look-backs", "Water", "Machines", "Cycle graphs", "Loads", "Gaps", "Staff"):
        assert title in pages[1], f"{title} is not among the contents"
        assert title in "".join(pages[2:])
    assert f"{len(pages)} of {len(pages)}" in pages[-1]
    raw = (made.folder / "report.pdf").read_bytes()
    for sign in (b"/Outlines", b"/StructTreeRoot", b"/Marked true", b"pdfuaid"):
        assert sign in raw


def test_no_words_of_people_and_no_other_days_go_out(ground: object, made: Made) -> None:
    raw = (made.folder / "entries.jsonl").read_bytes()
    assert made.shown < made.size
    assert b'"remark"' not in raw or b'"words"' in raw  # sealed where there is one
    shown = [json.loads(line)["seq"] for line in raw.splitlines()]
    hidden = [json.loads(line) for line in (made.folder / "tree.jsonl").read_bytes().splitlines()]
    assert all(set(one) == {"first", "last", "hash"} for one in hidden)
    assert sum(one["last"] - one["first"] + 1 for one in hidden) + len(shown) == made.size


def test_of_one_chair_no_visit_of_another_goes_out(ground: object, tmp_path: Path) -> None:
    some = ground.make(tmp_path / "one", chairs=("chair 2",))  # type: ignore[attr-defined]
    records = [json.loads(line)["entry"] for line in (some.folder / "entries.jsonl").read_bytes().splitlines()]
    chairs = {e["data"]["chair"] for e in records if e["kind"] in ("visit.started", "visit.ended", "step.done") and e["data"].get("chair")}
    assert chairs == {"chair 2"}
    assert {s.subject for s in some.found.standings if s.subject.startswith("chair:")} == {"chair:chair 2"}
    ran = subprocess.run([sys.executable, some.folder / "check.py"], capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stdout


def test_days_without_an_entry_unknown_chairs_and_reversed_days_are_refused(ground: object, tmp_path: Path) -> None:
    with pytest.raises(Mendable, match="no entry of"):
        ground.make(tmp_path / "none", date(2025, 1, 1), date(2025, 1, 2))  # type: ignore[attr-defined]
    assert not (tmp_path / "none").exists()
    practice = ground.practice  # type: ignore[attr-defined]
    with pytest.raises(Mendable) as refused:
        span_of(practice, date(2026, 11, 6), date(2026, 11, 2), date(2026, 11, 1), ["chair 9", "../../etc"])
    assert [finding.where for finding in refused.value.findings] == ["--to", "--from", "--chair", "--chair"]


def test_what_stands_there_is_never_overwritten(ground: object, tmp_path: Path) -> None:
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "mine.txt").write_text("mine")
    (tmp_path / "file").write_text("mine")
    (tmp_path / "link").symlink_to(tmp_path / "elsewhere")
    for name in ("full", "file", "link"):
        with pytest.raises(Mendable, match="something is there already"):
            ground.make(tmp_path / name)  # type: ignore[attr-defined]
    assert (tmp_path / "full" / "mine.txt").read_text() == (tmp_path / "file").read_text() == "mine"
    (tmp_path / "empty").mkdir()
    with new_folder(tmp_path / "empty") as writing:
        writing.put("one", b"1")
    assert (tmp_path / "empty" / "one").read_bytes() == b"1"


def test_a_full_disk_leaves_nothing(ground: object, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(28, os.strerror(28))

    monkeypatch.setattr(bundle.os, "fsync", full)
    with pytest.raises(Mendable, match="No space left"):
        ground.make(tmp_path / "out")  # type: ignore[attr-defined]
    assert list(tmp_path.iterdir()) == []


def test_a_book_that_was_changed_still_gives_its_evidence_and_says_so_first(ground: object, tmp_path: Path) -> None:
    folder = tmp_path / "changed"
    shutil.copytree(ground.folder, folder)  # type: ignore[attr-defined]
    with sqlite3.connect(folder / "book.sqlite") as raw:
        for name in [row[0] for row in raw.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")]:
            raw.execute(f"DROP TRIGGER {name}")
        kept = raw.execute("SELECT leaf FROM entry WHERE seq = 3000").fetchone()[0]
        raw.execute("UPDATE entry SET leaf = ? WHERE seq = 3000", (kept.replace(b'"by":"', b'"by":"x', 1),))
        raw.execute("UPDATE entry SET leaf = cast('no record' AS BLOB) WHERE seq = 2000")
    for path in folder.glob("*.state"):
        path.unlink()
    from dataclasses import replace

    spoiled = replace(ground, folder=folder).make(tmp_path / "out")  # type: ignore[type-var]
    assert not spoiled.seals.whole
    assert "NOT WHOLE" in spoiled.seals.alarms[0]
    told = text_of(spoiled.folder / "report.pdf").split("\f")[0]
    assert "NOT WHOLE" in told
    assert "Not in order" in told
    ran = subprocess.run([sys.executable, spoiled.folder / "check.py"], capture_output=True, text=True, check=False)
    assert ran.returncode == 1
    assert ran.stderr == ""


def test_without_a_key_it_is_made_and_says_that_nothing_is_signed(ground: object, tmp_path: Path) -> None:
    folder = tmp_path / "no key"
    shutil.copytree(ground.folder, folder)  # type: ignore[attr-defined]
    for path in folder.glob("*.key*"):
        path.unlink()
    from dataclasses import replace

    plain = replace(ground, folder=folder).make(tmp_path / "out")  # type: ignore[type-var]
    assert not plain.seals.signed
    assert "NOT SIGNED" in text_of(plain.folder / "report.pdf").split("\f")[0]
    ran = subprocess.run([sys.executable, plain.folder / "check.py"], capture_output=True, text=True, check=False)
    assert (ran.returncode, ran.stderr) == (1, "")


def test_graphs_are_of_every_failed_run_with_a_log_and_one_of_each_month(made: Made) -> None:
    failed = [json.loads(line)["entry"] for line in (made.folder / "entries.jsonl").read_bytes().splitlines()]
    with_log = {e["id"][-12:] for e in failed if e["kind"] == "cycle.recorded" and "log" in e["data"] and e["data"]["said"] != "passed"}
    told = text_of(made.folder / "report.pdf")
    assert with_log
    for one in with_log:
        assert f"Entry {one}" in " ".join(told.split())
    assert len(list((made.folder / "files").iterdir())) >= len(with_log)


def test_moments_are_those_of_the_practices_clock(made: Made) -> None:
    clock = Clock(made.found.look.basis.zone)
    assert clock.at(None) == "-"
    assert clock.at(made.found.span.since) == "2026-11-02 00:00"
    assert callable(content_of)


def test_the_command_says_each_area_and_ends_with_one_where_something_is_not_in_order(ground: object, tmp_path: Path) -> None:
    practice = ground.folder / "practice.toml"  # type: ignore[attr-defined]
    words = ["evidence", practice, "--from", "2026-11-05", "--to", "2026-11-05"]

    def run(*more: object) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "-m", "fettlebook", *words, *more]
        return subprocess.run([str(w) for w in command], capture_output=True, text=True, check=False)

    told = run("-o", tmp_path / "a", "--zip", tmp_path / "a.zip", "--json")
    assert told.returncode == 1, told.stderr
    data = json.loads(told.stdout)
    assert data["figures"]["duties"] > 10
    assert data["whole"] is True
    assert (tmp_path / "a.zip").stat().st_size > 100_000
    again = run("-o", tmp_path / "a")
    assert (again.returncode, again.stdout) == (2, "")
    assert "never overwritten" in again.stderr


@pytest.mark.parametrize("tongue", TONGUES, ids=lambda tongue: tongue.language)
def test_the_report_is_in_the_language_asked_for_and_only_the_practices_and_the_rules_own_words_stay(
    ground: object, made: Made, tmp_path: Path, tongue: Tongue
) -> None:
    told = ground.make(tmp_path / "out", voice=tongue)  # type: ignore[attr-defined]
    reader = PdfReader(told.folder / "report.pdf")
    assert reader.trailer["/Root"]["/Lang"] == tongue.region.replace("_", "-")
    text = " ".join(page.extract_text() for page in reader.pages)
    program = Path(fettlebook.__file__).parent
    # Rules and criteria stay in the words of their source; what stands inside the drawing of a cycle is English.
    rules = "".join(one.read_text("utf-8") for one in (*program.glob("rules/*/*.toml"), program / "science/cycles/steam_cycle.py"))
    own = plain(ground.practice.model_dump_json() + rules)  # type: ignore[attr-defined]
    assert not [one for one in left_in_english(text, tongue) if one not in own]
    assert (told.folder / "figures.json").read_bytes() == (made.folder / "figures.json").read_bytes(), "numbers know no language"


def test_the_first_page_names_what_is_not_in_order(made: Made) -> None:
    first = text_of(made.folder / "report.pdf").partition("\f")[0]
    named = [s for s in made.found.standings if s.verdict is not Verdict.FIT]
    assert named or made.found.missing
    assert "What is not in order or not proven, by name" in first
    for standing in named:
        assert standing.subject.partition(":")[2] in first
