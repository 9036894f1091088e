"""Bad input through the real commands: a clear message, the right exit status, no traceback, nothing half-written.

Each command starts as a process of its own with some of the files; with the others its `main` is called here, which saves the
seconds of a start.
"""

import subprocess
import sys
from collections.abc import Callable
from contextlib import chdir, redirect_stderr, redirect_stdout
from io import StringIO
from pathlib import Path
from unittest import mock

import pytest

from fettlebook.cli import main
from fettlebook.demo import book_ics, practice_text

pytestmark = pytest.mark.invented


def run(*words: object, cwd: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "fettlebook", *map(str, words)], cwd=cwd, capture_output=True, text=True, timeout=170, check=False
    )


def call(*words: object, cwd: Path) -> subprocess.CompletedProcess[str]:
    """Do the same in this process; what a process would show as a traceback comes out as itself."""
    argv, out, err = ["fettlebook", *map(str, words)], StringIO(), StringIO()
    with chdir(cwd), mock.patch.object(sys, "argv", argv), redirect_stdout(out), redirect_stderr(err), pytest.raises(SystemExit) as left:
        main()
    return subprocess.CompletedProcess(argv, int(left.value.code or 0), out.getvalue(), err.getvalue())


def told(done: subprocess.CompletedProcess[str]) -> str:
    everything = done.stdout + done.stderr
    assert "Traceback" not in everything, everything
    return " ".join(everything.split())


@pytest.fixture
def desk(tmp_path: Path) -> Path:
    (tmp_path / "practice.toml").write_bytes(practice_text())
    (tmp_path / "book.ics").write_bytes(book_ics())
    return tmp_path


def changed(desk: Path, was: str, becomes: str) -> None:
    text = (desk / "practice.toml").read_text("utf-8")
    assert text.count(was) >= 1, f"the demo practice has no {was!r}"
    (desk / "practice.toml").write_text(text.replace(was, becomes, 1), "utf-8")


def add_feed_loop(desk: Path) -> None:
    changed(desk, '{ id = "feed", bore_mm', '{ id = "feed", from = "block", bore_mm')


def drop_outlets(desk: Path) -> None:
    text = (desk / "practice.toml").read_text("utf-8")
    start = text.index("outlets = [")
    end = text.index("]\n", start) + 2
    (desk / "practice.toml").write_text(text[:start] + "outlets = []\n" + text[end:], "utf-8")


BAD_PRACTICES: dict[str, tuple[Callable[[Path], None], tuple[str, ...]]] = {
    "TOML syntax": (lambda d: changed(d, 'id = "quayside"', 'id = "quayside'), ("line 5",)),
    "unknown key": (lambda d: changed(d, "length_m = 0.9", "lenght_m = 0.9"), ("lenght_m", "length_m")),
    "negative dimension": (lambda d: changed(d, "length_m = 0.9", "length_m = -0.9"), ("-0.9", "length_m", "line")),
    "absurd bore": (lambda d: changed(d, "bore_mm = 4.0", "bore_mm = 20.0"), ("20", "bore_mm", "0.5 to 10")),
    "9 L/min through a syringe": (lambda d: changed(d, "flow_ml_min = 110.0", "flow_ml_min = 9000.0"), ("9000", "flow_ml_min", "syringe")),
    "chair without outlet": (drop_outlets, ("chair 1", "outlet")),
    "loop in the circuit": (add_feed_loop, ("feed", "block", "loop")),
    "set type never owned": (lambda d: changed(d, "owned = 2\n", "owned = 0\n"), ("root canal", "0")),
    "shift that ends before it starts": (
        lambda d: changed(d, "from = 07:30:00, to = 16:30:00", "from = 22:00:00, to = 06:00:00"),
        ("over_midnight", "22:00", "06:00"),
    ),
}


AS_PROCESS = ("TOML syntax", "unknown key")  # `serve` reads the practice file as the others do, and has these two only
NAMED = [(command, case) for command in ("check", "times", "day") for case in BAD_PRACTICES] + [("serve", case) for case in AS_PROCESS]


@pytest.mark.parametrize(("command", "case"), NAMED)
def test_a_bad_practice_file_is_named_by_every_command(desk: Path, case: str, command: str) -> None:
    spoil, words = BAD_PRACTICES[case]
    spoil(desk)
    before = {p.name for p in desk.iterdir()}
    book = ["book.ics"] if command in {"day", "serve"} else []
    extra = ["--port", "0"] if command == "serve" else []
    start = run if command == "serve" or case in AS_PROCESS else call
    done = start(command, "practice.toml", *book, *extra, cwd=desk)
    text = told(done)
    unreadable = case == "TOML syntax"
    assert done.returncode == (1 if command == "check" and not unreadable else 2), text
    for word in ("practice.toml", *words):
        assert word in text, f"{word!r} is not in: {text}"
    assert {p.name for p in desk.iterdir()} == before, "a file was left behind"


@pytest.mark.parametrize("command", ["check", "rules", "times", "day", "serve"])
def test_a_file_that_is_not_there_is_named(tmp_path: Path, command: str) -> None:
    book = ["book.ics"] if command in {"day", "serve"} else []
    done = run(command, "nowhere.toml", *book, cwd=tmp_path)
    assert done.returncode == 2
    assert "nowhere.toml" in told(done)
    assert not list(tmp_path.iterdir())


def calendar(*events: str) -> bytes:
    head = "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//invented//EN\r\n"
    return (head + "".join(events) + "END:VCALENDAR\r\n").encode()


def event(uid: str, begin: str, end: str, *more: str) -> str:
    lines = ["BEGIN:VEVENT", f"UID:{uid}", "DTSTAMP:20260101T000000Z", f"DTSTART;TZID=Europe/London:{begin}"]
    lines += [f"DTEND;TZID=Europe/London:{end}", "LOCATION:Treatment room 1", *more, "END:VEVENT"]
    return "\r\n".join(lines) + "\r\n"


def test_overlapping_visits_on_a_chair_are_both_named_and_none_is_dropped_in_silence(desk: Path) -> None:
    (desk / "book.ics").write_bytes(
        calendar(event("a", "20261126T090000", "20261126T100000"), event("b", "20261126T093000", "20261126T101500"))
    )
    done = call("day", "practice.toml", "book.ics", "--date", "2026-11-26", cwd=desk)
    text = told(done)
    assert done.returncode == 1
    for word in ("chair 1", "09:00", "09:30", "overlap"):
        assert word in text


def test_a_million_recurrences_answer_for_one_day(desk: Path) -> None:
    endless = event("a", "20200101T090000", "20200101T091500", "RRULE:FREQ=DAILY;COUNT=1000000")
    (desk / "book.ics").write_bytes(calendar(endless))
    done = call("day", "practice.toml", "book.ics", "--date", "2026-11-26", cwd=desk)
    assert done.returncode == 0, told(done)
    assert "09:00" in told(done)
    (desk / "book.ics").write_bytes(calendar(endless.replace("DAILY", "SECONDLY")))
    done = call("day", "practice.toml", "book.ics", "--date", "2026-11-26", cwd=desk)
    assert done.returncode in {1, 2}
    assert "line" in told(done)


@pytest.mark.parametrize("name", ["practice.toml", "book.ics"])
def test_a_hundred_megabytes_of_garbage_are_refused_by_their_size(desk: Path, name: str) -> None:
    with (desk / name).open("wb") as out:
        for _ in range(100):
            out.write(b"\xff\x00garbage" * 116_509)
    done = call("day", "practice.toml", "book.ics", cwd=desk)
    assert done.returncode == 2
    assert name in told(done)
    assert "MB" in told(done)


def test_an_empty_day_is_said_and_is_in_order(desk: Path) -> None:
    (desk / "book.ics").write_bytes(calendar())
    done = call("day", "practice.toml", "book.ics", "--date", "2026-11-26", cwd=desk)
    assert done.returncode == 0
    assert "nothing booked" in told(done).lower()


@pytest.mark.published(
    source="IANA time zone database, Europe/London: forward on the last Sunday of March, back on that of October, at 01:00 UTC",
    sure="memory",
)
@pytest.mark.parametrize(("day", "elapsed_h"), [("2026-03-29", 8), ("2026-10-25", 10)])
def test_the_two_days_when_clocks_change_are_planned(desk: Path, day: str, elapsed_h: int) -> None:
    from datetime import datetime
    from zoneinfo import ZoneInfo

    stamp = day.replace("-", "")
    changed(
        desk,
        'days = ["mon", "tue", "wed", "thu", "fri"]\nfrom = 08:30:00',
        'days = ["mon", "tue", "wed", "thu", "fri", "sun"]\nfrom = 08:30:00',
    )
    changed(desk, 'days = ["mon", "tue", "wed", "thu", "fri"], from = 07:30:00', 'days = ["mon", "sun"], from = 07:30:00')
    (desk / "book.ics").write_bytes(calendar(event("a", f"{stamp}T090000", f"{stamp}T093000")))
    done = run("day", "practice.toml", "book.ics", "--date", day, "--json", cwd=desk)
    assert done.returncode == 0, told(done)
    import json

    visit = json.loads(done.stdout)["visits"][0]
    start = datetime.fromisoformat(visit["start"])
    assert start.astimezone(ZoneInfo("Europe/London")).strftime("%H:%M") == "09:00"
    midnight = datetime.fromisoformat(f"{day}T00:00:00").replace(tzinfo=ZoneInfo("Europe/London"))
    assert (start.timestamp() - midnight.timestamp()) / 3600 == elapsed_h


def test_a_shift_over_midnight_that_says_so_is_planned(desk: Path) -> None:
    changed(desk, "from = 08:00:00, to = 18:15:00, breaks = [[13:00:00, 13:30:00]]", "from = 15:00:00, to = 00:30:00, over_midnight = true")
    done = call("day", "practice.toml", "book.ics", "--date", "2026-11-26", cwd=desk)
    assert done.returncode in {0, 1}
    told(done)


def test_a_plan_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    (tmp_path / "instance.json").write_text('{"schema": 1, "name": "x", "people": "nobody"', "utf-8")
    done = run("plan", "instance.json", "-o", "plan.json", cwd=tmp_path)
    assert done.returncode == 2
    assert "instance.json" in told(done)
    assert [p.name for p in tmp_path.iterdir()] == ["instance.json"]
