"""`fettlebook plan` and `fettlebook day` as a user runs them: what they print, write and return."""

import json
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
import reference_check

from fettlebook.cli import main
from fettlebook.demo import book_ics, practice_text

Run = Callable[..., "Ended"]
INSTANCES = Path(__file__).with_name("instances")


@dataclass
class Ended:
    """What a command printed, and how it ended. A traceback would come out of `run` as the exception itself."""

    returncode: int
    stdout: str
    stderr: str


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Callable[..., Ended]:
    def run(*args: str | Path) -> Ended:
        monkeypatch.setattr(sys, "argv", ["fettlebook", *map(str, args)])
        with pytest.raises(SystemExit) as end:
            main()
        out = capsys.readouterr()
        assert isinstance(end.value.code, int)
        return Ended(end.value.code, out.out, out.err)

    return run


@pytest.fixture
def files(tmp_path: Path) -> tuple[Path, Path]:
    practice, book = tmp_path / "practice.toml", tmp_path / "book.ics"
    practice.write_bytes(practice_text())
    book.write_bytes(book_ics())
    return practice, book


# --- plan --------------------------------------------------------------------------------------------------------


@pytest.mark.invented
def test_plan_writes_a_valid_plan_and_says_how_late_it_is(run: Run, tmp_path: Path) -> None:
    out = tmp_path / "plan.json"
    done = run("plan", INSTANCES / "tiny-1.json", "-o", out, "--limit", "5")
    assert done.returncode == 1
    assert "2 visits late, 120 min in all, which no plan can better" in done.stdout
    assert "(proven best)" in done.stdout
    data = json.loads((INSTANCES / "tiny-1.json").read_text())
    assert reference_check.check(data, json.loads(out.read_text()))[0] == []
    assert list(tmp_path.iterdir()) == [out]


@pytest.mark.invented
def test_plan_prints_json_and_nothing_else(run: Run, tmp_path: Path) -> None:
    done = run("plan", INSTANCES / "tiny-1.json", "--json", "--limit", "0")
    data = json.loads(done.stdout)
    assert (data["visits"], data["left_out"], data["weighted_minutes_late"]) == (4, [], 120)
    assert reference_check.check(json.loads((INSTANCES / "tiny-1.json").read_text()), data["plan"])[0] == []
    assert done.stderr == ""


@pytest.mark.invented
def test_plan_of_a_day_on_time_ends_with_0(run: Run, tmp_path: Path) -> None:
    data = json.loads((INSTANCES / "tiny-1.json").read_text())
    data["visits"] = data["visits"][:1]
    (tmp_path / "day.json").write_text(json.dumps(data))
    done = run("plan", tmp_path / "day.json")
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("fits: the one visit on time")


@pytest.mark.invented
def test_plan_names_what_is_short_and_who_is_not_served(run: Run, tmp_path: Path) -> None:
    data = json.loads((INSTANCES / "tiny-1.json").read_text())
    data["set_types"][1]["owned"] = 0
    (tmp_path / "day.json").write_text(json.dumps(data))
    done = run("plan", tmp_path / "day.json", "--limit", "2")
    assert done.returncode == 1
    assert "a visit needs 1 of filling, 0 owned" in done.stdout
    assert "not served: v1.4" in done.stdout


@pytest.mark.invented
@pytest.mark.parametrize(
    ("content", "said"),
    [("", "JSON"), ("{}", "$.day_start"), ("[1]", "$"), ("\x00" * 50, "JSON"), ('{"schema": 1, "chars": []}', "$.chars")],
)
def test_plan_refuses_what_is_no_instance_and_writes_nothing(run: Run, tmp_path: Path, content: str, said: str) -> None:
    (tmp_path / "day.json").write_text(content)
    done = run("plan", tmp_path / "day.json", "-o", tmp_path / "plan.json")
    assert done.returncode == 2
    assert said in done.stderr
    assert not (tmp_path / "plan.json").exists()


@pytest.mark.invented
def test_plan_leaves_what_stood_there_when_it_can_t_write(run: Run, tmp_path: Path) -> None:
    done = run("plan", INSTANCES / "tiny-1.json", "-o", tmp_path / "no" / "plan.json", "--limit", "0")
    assert done.returncode == 2
    assert "can't be written" in done.stderr
    missing = run("plan", tmp_path / "none.json")
    assert missing.returncode == 2
    assert "no such file" in missing.stderr


# --- day ---------------------------------------------------------------------------------------------------------


@pytest.mark.invented
def test_day_prints_the_verdict_and_three_timetables_in_80_columns(run: Run, files: tuple[Path, Path]) -> None:
    done = run("day", *files, "--date", "2026-11-27", "--limit", "1")
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert lines[0] == "Fri 27 Nov 2026, Quayside Dental Rooms (invented)"
    assert lines[1].startswith("Fits: all 26 visits on time, last chair closed ")
    assert max(map(len, lines)) <= 80
    for part in ("Ana: ", "Ben: ", "chair 1", "chair 4", "washer 1", "sterilizer 1", "packing"):
        assert any(line.startswith(part) for line in lines), part
    assert "A person releases each" in done.stdout


@pytest.mark.invented
def test_day_ends_with_1_where_a_visit_is_late_and_says_why(run: Run, files: tuple[Path, Path]) -> None:
    done = run("day", *files, "--date", "2026-11-25", "--limit", "1", "--by", "chair")
    assert done.returncode == 1
    assert "visits late" in done.stdout
    assert "the book leaves 10 min, the" in done.stdout
    assert "Ana: " not in done.stdout


@pytest.mark.invented
def test_day_prints_json_and_nothing_of_a_person(run: Run, files: tuple[Path, Path]) -> None:
    done = run("day", *files, "--date", "2026-11-25", "--limit", "1", "--json")
    data = json.loads(done.stdout)
    assert data["day"] == "2026-11-25"
    assert len(data["visits"]) == 29
    assert all(datetime.fromisoformat(t["start"]).tzinfo for t in data["tasks"])
    summaries = [line.partition(":")[2] for line in book_ics().decode().splitlines() if line.startswith("SUMMARY")]
    assert summaries
    assert not [s for s in summaries if s in done.stdout]


@pytest.mark.invented
def test_day_without_a_date_takes_today_or_the_next_day_with_visits(run: Run, files: tuple[Path, Path]) -> None:
    practice, book = files
    done = run("day", practice, book, "--limit", "0", "--json")
    today = datetime.now(ZoneInfo("Europe/London")).date().isoformat()  # noqa: TID251 - the command reads the clock too
    if done.returncode == 2:  # the invented book has an end
        assert "no visit is booked" in done.stderr
    else:
        assert json.loads(done.stdout)["day"] >= today


@pytest.mark.invented
def test_day_says_that_nothing_is_booked(run: Run, files: tuple[Path, Path]) -> None:
    done = run("day", *files, "--date", "2026-11-29")
    assert done.returncode == 0
    assert "Nothing booked" in done.stdout


@pytest.mark.invented
@pytest.mark.parametrize("which", ["practice.toml", "book.ics"])
@pytest.mark.parametrize("content", [b"", b"\xff\xfe\x00garbage" * 40, None])
def test_day_refuses_what_it_can_t_read(run: Run, files: tuple[Path, Path], which: str, content: bytes | None) -> None:
    practice, book = files
    bad = practice.with_name(which)
    if content is None:
        bad.unlink()
    else:
        bad.write_bytes(content)
    before = sorted(practice.parent.iterdir())
    done = run("day", practice, book, "--date", "2026-11-25")
    assert done.returncode == 2
    assert which in done.stderr
    assert done.stdout == ""
    assert sorted(practice.parent.iterdir()) == before


@pytest.mark.invented
def test_two_entries_on_a_chair_at_once_are_named_and_cost_an_exit_status(run: Run, files: tuple[Path, Path]) -> None:
    practice, book = files
    extra = "\r\n".join(
        (
            "BEGIN:VEVENT",
            "UID:second@invented",
            "DTSTAMP:20261101T090000Z",
            "DTSTART;TZID=Europe/London:20261127T083500",
            "DTEND;TZID=Europe/London:20261127T085500",
            "LOCATION:Treatment room 1",
            "SUMMARY:Invented Person",
            "END:VEVENT",
            "END:VCALENDAR",
        )
    )
    book.write_bytes(book_ics().replace(b"END:VCALENDAR", extra.encode()))
    done = run("day", practice, book, "--date", "2026-11-27", "--limit", "1")
    assert done.returncode == 1
    assert "Does not fit" in done.stdout
    assert "1 visit of 27 not served" in done.stdout
    assert "Not served" in done.stdout
    assert "Invented Person" not in done.stdout + done.stderr


@pytest.mark.invented
@pytest.mark.parametrize("command", ["plan", "day"])
def test_help_names_the_exit_statuses(run: Run, command: str) -> None:
    done = run(command, "--help")
    assert done.returncode == 0
    assert "Exit status:" in done.stdout
