"""`fettlebook serve` as a process: how it starts, refuses, stops, follows its files, and what it keeps to itself."""

import json
import os
import re
import signal
import socket
import sqlite3
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest
from real_page import DAY

pytestmark = pytest.mark.invented


def ask(address: str, **headers: str) -> tuple[int, str]:
    try:
        with urllib.request.urlopen(urllib.request.Request(address, headers=headers), timeout=20) as answer:
            return answer.status, answer.read().decode()
    except urllib.error.HTTPError as error:
        return error.code, error.read().decode()


def run(*arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "fettlebook", "serve", *arguments], cwd=cwd, capture_output=True, text=True, timeout=60, check=False
    )


def planned(served, day: str = DAY, *, after: int = 0) -> dict:
    for _ in range(600):
        status, text = ask(f"{served.address}/day/{day}/progress")
        known = json.loads(text)
        if status == 200 and known["version"] > after and not known["stage"]:
            return known
        time.sleep(0.1)
    pytest.fail(f"never planned: {known}")


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT])
def test_it_stops_in_good_order_also_while_planning(serve, how):
    served = serve("--date", DAY)
    status, text = ask(f"{served.address}/day/{DAY}")
    assert status == 200
    assert "The day is being planned" in text, "the page doesn't wait for the plan"
    assert ask(f"{served.address}/times/chair%201")[0] == 200
    assert served.stop(how) == 0
    assert "Traceback" not in served.log.read_text()
    assert served.process.stdout.read().decode() == "Stopped.\n"


def test_an_open_connection_does_not_hold_it(serve):
    served = serve("--date", DAY)
    host, port = served.address.removeprefix("http://").split(":")
    with socket.create_connection((host, int(port))) as open_line:
        open_line.sendall(b"GET /health HTTP/1.1\r\nHost: 127.0.0.1\r\n")
        assert served.stop() == 0


def test_a_stop_while_it_starts_is_in_good_order_too(demo, tmp_path):
    command = [sys.executable, "-m", "fettlebook", "serve", str(demo / "practice.toml"), str(demo / "book.ics"), "--port", "0"]
    for pause_s in (1.0, 1.6, 2.2):
        process = subprocess.Popen(
            [*command, "--data", str(tmp_path / "b.sqlite")], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        time.sleep(pause_s)
        process.send_signal(signal.SIGINT)
        out, errors = process.communicate(timeout=10)
        assert "Traceback" not in out + errors


def test_a_taken_port_is_said_with_what_to_do(demo):
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = str(other.getsockname()[1])
        done = run("practice.toml", "book.ics", "--port", port, cwd=demo)
    assert done.returncode == 2
    assert f"127.0.0.1 port {port}" in done.stderr
    assert "--port 0" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.0.2.1", "example.org"])
def test_another_address_than_this_machine_is_refused_outright(demo, host):
    done = run("practice.toml", "book.ics", "--host", host, "--port", "0", cwd=demo)
    assert done.returncode == 2
    assert "there is no certificate yet" in done.stderr
    assert done.stdout == ""


def test_wrong_files_are_said_and_leave_nothing_behind(demo, tmp_path):
    (tmp_path / "practice.toml").write_text("schema = 1\nschema = 2\n")
    (tmp_path / "other.ics").write_bytes((demo / "book.ics").read_bytes())
    cases = {
        ("missing.toml", "other.ics"): "there is no such file",
        ("practice.toml", "other.ics"): "line 2",
        (str(demo / "practice.toml"), "missing.ics"): "there is no such file",
        (str(demo / "practice.toml"), "empty"): "no appointment book lies in this folder yet",
    }
    (tmp_path / "empty").mkdir()
    for (practice, book), said in cases.items():
        done = run(practice, book, "--data", "new.sqlite", "--port", "0", cwd=tmp_path)
        assert done.returncode == 2, (practice, book)
        assert said in done.stderr
        assert "Traceback" not in done.stderr
    assert sorted(path.name for path in tmp_path.iterdir()) == ["empty", "other.ics", "practice.toml"]


def test_a_calendar_that_is_none_stops_the_start_with_a_message(demo, tmp_path):
    (tmp_path / "book.ics").write_bytes(os.urandom(100_000))
    done = run(str(demo / "practice.toml"), "book.ics", "--data", "new.sqlite", "--port", "0", cwd=tmp_path)
    assert done.returncode == 2
    assert "mend" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_changed_book_is_planned_again_and_a_broken_practice_file_leaves_the_last_plan(serve):
    served = serve("--date", DAY)
    first = planned(served)
    book = served.folder / "book.ics"
    book.write_bytes(book.read_bytes().replace(b"CATEGORIES:Surgical", b"CATEGORIES:Filling"))
    second = planned(served, after=first["version"])
    practice = served.folder / "practice.toml"
    good = practice.read_text()
    practice.write_text(good.replace("bore_mm = 4.0", "bore_mm = 40.0", 1))
    for _ in range(200):
        if json.loads(ask(f"{served.address}/day/{DAY}/progress")[1])["trouble"]:
            break
        time.sleep(0.1)
    status, text = ask(f"{served.address}/day/{DAY}")
    assert status == 200
    assert "can&#39;t be used as they are" in text or "can't be used as they are" in text
    assert re.search(r"practice\.toml.* line \d+", text)
    practice.write_text(good)
    assert not planned(served, after=second["version"])["trouble"]


def test_the_button_plans_again(serve):
    served = serve("--date", DAY)
    first = planned(served)
    request = urllib.request.Request(f"{served.address}/day/{DAY}/again", method="POST", headers={"Origin": served.address})
    with urllib.request.urlopen(request, timeout=20) as answer:
        assert answer.url == f"{served.address}/day/{DAY}?by=chair"
    assert planned(served, after=first["version"])["version"] == first["version"] + 1


def test_a_second_program_on_the_same_book_is_refused(served):
    done = run("practice.toml", "book.ics", "--data", "book.sqlite", "--port", "0", cwd=served.folder)
    assert done.returncode == 2
    assert "another fettlebook is writing" in done.stderr


def test_a_foreign_name_and_foreign_pages_are_refused(served):
    assert ask(f"{served.address}/health", Host="evil.example")[0] == 421
    request = urllib.request.Request(f"{served.address}/day/{DAY}/again", method="POST", headers={"Origin": "http://evil.example"})
    with pytest.raises(urllib.error.HTTPError, match="403"):
        urllib.request.urlopen(request, timeout=20)


def test_the_book_of_entries_holds_file_visits_and_plan_once(serve):
    served = serve("--date", DAY)
    planned(served)
    assert served.stop() == 0
    again = serve("--date", DAY)
    planned(again)
    assert again.stop() == 0
    from fettlebook.book.stores.sqlite import open_book

    with open_book(served.folder / "book.sqlite", "quayside", write=False) as store:
        kinds = [received.entry.kind for received in store.read()]
    assert sorted(set(kinds)) == ["book.imported", "day.planned", "practice_file.version", "rulebook.version"]
    assert kinds.count("practice_file.version") == kinds.count("rulebook.version") == kinds.count("book.imported") == 1


MARKS = ("Zzmarker", "zz-marker", "zzmarker@example.org", "Zzdescribed", "ZZUID")


def marked(book: str) -> str:
    """Return the book with somebody's name in every place that can hold one, and entries that fit nothing."""
    person = (
        "SUMMARY:Zzmarker Patient, root canal\r\nDESCRIPTION:Zzdescribed allergy\r\nCOMMENT:Zzdescribed again\r\n"
        "CONTACT:zz-marker 555\r\nATTENDEE;CN=Zzmarker:mailto:zzmarker@example.org\r\nORGANIZER;CN=Zzmarker:mailto:zzmarker@example.org\r\n"
        "X-PATIENT:Zzmarker\r\n"
    )
    lines = [line for line in book.replace("\r\n ", "").split("\r\n") if not line.startswith(("SUMMARY", "DESCRIPTION"))]
    text = "\r\n".join(lines).replace("UID:", "UID:ZZUID-").replace("END:VEVENT", person + "END:VEVENT")
    broken = (
        "BEGIN:VEVENT\r\nUID:ZZUID-1\r\nDTSTAMP:20261101T000000Z\r\nDTSTART;TZID=Europe/London:20261125T101500\r\n"
        f"DTEND;TZID=Europe/London:20261125T104500\r\nLOCATION:Unknown room\r\n{person}END:VEVENT\r\n"
        f"BEGIN:VEVENT\r\nUID:ZZUID-2\r\nDTSTAMP:20261101T000000Z\r\nDTSTART:Zzmarker\r\n{person}END:VEVENT\r\n"
    )
    return text.replace("END:VCALENDAR", broken + "END:VCALENDAR")


def test_no_name_of_the_calendar_reaches_database_log_or_page(serve, demo, tmp_path):
    (tmp_path / "book.ics").write_bytes(marked((demo / "book.ics").read_bytes().decode()).encode())
    served = serve("--date", DAY, "--at", f"{DAY}T10:42")
    planned(served)
    seen = ""
    for address in (f"/day/{DAY}", f"/day/{DAY}?by=person", f"/day/{DAY}?by=machine", "/times/chair%201", "/rules"):
        status, text = ask(served.address + address)
        assert status == 200
        seen += text
    assert all(mark.encode() in (tmp_path / "book.ics").read_bytes() for mark in MARKS)
    assert "Needs a look" in seen
    for file in ("plan.csv", "plan.json", "progress"):
        seen += ask(f"{served.address}/day/{DAY}/{file}")[1]
    with urllib.request.urlopen(f"{served.address}/day/{DAY}/sheet.pdf", timeout=20) as answer:
        (tmp_path / "sheet.pdf").write_bytes(answer.read())
    seen += subprocess.run(["pdftotext", str(tmp_path / "sheet.pdf"), "-"], capture_output=True, text=True, check=True).stdout
    (tmp_path / "book.ics").write_bytes(b"BEGIN:VCALENDAR\r\nSUMMARY:Zzmarker\r\n" + os.urandom(200))
    for _ in range(200):
        if json.loads(ask(f"{served.address}/day/{DAY}/progress")[1])["trouble"]:
            break
        time.sleep(0.1)
    seen += ask(f"{served.address}/day/{DAY}")[1] + ask(f"{served.address}/day/2026-11-26")[1]
    kept = b"".join(path.read_bytes() for path in tmp_path.glob("book.sqlite*"))
    assert served.stop() == 0
    kept += b"".join(path.read_bytes() for path in tmp_path.glob("book.sqlite*"))
    said = served.log.read_text() + served.process.stdout.read().decode()
    with sqlite3.connect(tmp_path / "book.sqlite") as database:
        tables = [name for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type='table'")]
        rows = [row for table in tables for row in database.execute(f"SELECT * FROM {table}")]
    stored = b"".join(value if isinstance(value, bytes) else str(value).encode() for row in rows for value in row)
    assert b"v_" in stored, "the visits are there by reference"
    for mark in MARKS:
        for place, text in (("page", seen.encode()), ("database", kept + stored), ("log", said.encode())):
            assert mark.lower().encode() not in text.lower(), f"{mark} in {place}"
