"""Is all in order with the machine? Each thing that can go wrong is played, and what the person sees; and the backup of each day."""

import json
import shutil
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, time, timedelta
from importlib.resources import files
from pathlib import Path
from zoneinfo import ZoneInfo

import made_up_day
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from fettlebook.book.backup import backups_in, read_backup
from fettlebook.book.entries import Moment
from fettlebook.book.kinds import PracticeFileVersion, RestoreTried, to_ms
from fettlebook.book.stores import open_book
from fettlebook.cli.doctor import doctor
from fettlebook.cli.service import quoted, unit_text
from fettlebook.web.desk import Desk
from fettlebook.web.health.backing_up import BackingUp, due
from fettlebook.web.health.checks import House, look_at
from fettlebook.web.health.looked import Looked, Seen
from fettlebook.web.record import Record

pytestmark = pytest.mark.invented
LONDON = ZoneInfo("Europe/London")
NOW = datetime(2026, 11, 25, 10, tzinfo=UTC)
Settled = Callable[[Callable[[], bool]], None]


@pytest.fixture
def house(tmp_path: Path) -> House:
    practice = tmp_path / "practice.toml"
    practice.write_bytes(files("fettlebook.demo").joinpath("practice.toml").read_bytes())
    visit = "BEGIN:VEVENT\nUID:1\nDTSTART:20261215T090000Z\nDTEND:20261215T093000Z\nLOCATION:Treatment room 1\nEND:VEVENT\n"
    (tmp_path / "book.ics").write_text(f"BEGIN:VCALENDAR\nVERSION:2.0\n{visit}END:VCALENDAR\n")
    with open_book(tmp_path / "book.sqlite", "quayside") as store:
        said = PracticeFileVersion.of(practice.read_text("utf-8"), "practice.toml")
        store.note(said, moment=Moment(to_ms(NOW) - 60_000, "Europe/London"), subjects=("practice:quayside",))
    return House(practice, tmp_path / "book.ics", tmp_path / "book.sqlite", tmp_path / "backups", NOW)


def of(house: House, thing: str) -> list[Looked]:
    return [one for one in look_at(house) if one.thing == thing]


def test_a_house_in_order_is_good_but_for_what_a_test_machine_lacks(house: House) -> None:
    found = list(look_at(house))
    assert {one.thing for one in found if one.seen is Seen.GOOD} >= {"appointment book", "book", "certificate", "arrivals", "versions"}
    assert [one.line for one in of(house, "backup")] == ["there is none in backups"]


def test_each_fault_is_seen_and_says_how_to_mend_it(house: House) -> None:
    (house.data.parent / "book.ics").write_text("BEGIN:VCALENDAR\nVERSION:2.0\nEND:VCALENDAR\n")
    assert of(house, "appointment book")[0].seen is Seen.BAD
    (house.data.parent / "book.ics").unlink()
    assert "no such file" in of(house, "appointment book")[0].line
    late = House(house.practice_file, house.book_file, house.data, house.backups, NOW - timedelta(hours=3))
    assert "clock stands" in of(late, "clock")[0].line
    house.practice_file.write_text(house.practice_file.read_text("utf-8") + "\n# changed\n", "utf-8")
    assert any("not in the book yet" in one.line for one in of(house, "practice file"))
    house.practice_file.write_text("this is no TOML", "utf-8")
    assert of(house, "practice file")[0].seen is Seen.BAD
    broken = bytearray(house.data.read_bytes())
    broken[4096:4400] = b"\xff" * 304
    house.data.write_bytes(bytes(broken))
    assert of(house, "book")[0].seen is Seen.BAD
    house.data.unlink()
    assert of(house, "book")[0].line == "there is none"
    assert all(one.mend for one in look_at(house) if one.seen is Seen.BAD)


def test_the_command_says_the_same_and_changes_nothing(house: House) -> None:
    before = sorted(house.data.parent.iterdir())
    ran = CliRunner().invoke(doctor, [str(house.practice_file), str(house.book_file), "--json"])
    assert ran.exit_code == 1
    assert {"thing", "seen", "line", "mend"} == set(json.loads(ran.output)[0])
    after = [p for p in house.data.parent.iterdir() if not p.name.endswith(("-shm", "-wal"))]  # SQLite's own, of any reader
    assert sorted(after) == [p for p in before if not p.name.endswith(("-shm", "-wal"))]


class Files(made_up_day.Hands):
    pass


@pytest.fixture
def record(tmp_path: Path) -> Iterator[tuple[Record, Desk]]:
    desk = Desk(Files(), lambda: NOW)
    with open_book(tmp_path / "a" / "book.sqlite", "quayside") as store:
        store.note(PracticeFileVersion.of("x", "p"), moment=Moment(to_ms(NOW), "Europe/London"))
        record = Record(store, desk)
        yield record, desk
        record.close()
        assert desk.close(wait_s=10)


def test_the_day_s_backup_is_made_tried_and_noted(record: tuple[Record, Desk], tmp_path: Path, settled: Settled) -> None:
    kept, desk = record
    folder = tmp_path / "disk" / "backups"
    work = BackingUp(folder, time(13), kept, desk, look_s=0.05, clock=lambda: NOW)
    settled(lambda: work.newest is not None)
    work.close()
    (made,) = backups_in(folder)
    assert read_backup(made).books
    noted = kept.store.latest(RestoreTried.KIND)
    assert noted is not None
    assert isinstance(noted.entry.data, RestoreTried)
    assert noted.entry.data.whole
    assert [p for p in folder.iterdir() if p != made] == []


def test_a_vanished_disk_is_said_and_it_comes_back_by_itself(record: tuple[Record, Desk], tmp_path: Path, settled: Settled) -> None:
    kept, desk = record
    folder = tmp_path / "disk"
    folder.write_text("not a folder: as where a disk is not mounted")
    moments = iter([NOW + timedelta(minutes=20 * n) for n in range(10_000)])
    work = BackingUp(folder / "backups", time(13), kept, desk, look_s=0.02, clock=lambda: next(moments))
    settled(lambda: work.trouble is not None)
    assert work.trouble is not None
    assert "can't be reached" in work.trouble.what
    folder.unlink()
    settled(lambda: work.trouble is None and work.newest is not None)
    work.close()
    assert len(backups_in(folder / "backups")) >= 1


@given(st.integers(-3000, 3000), st.integers(0, 1439), st.integers(0, 23))
def test_a_backup_is_due_once_a_day_at_its_time_and_soon_where_one_is_missing(ago_min: int, minute: int, hour: int) -> None:
    now = datetime(2026, 11, 25, tzinfo=LONDON) + timedelta(minutes=minute)
    newest = now - timedelta(minutes=ago_min)
    set_today = datetime(2026, 11, 25, hour, tzinfo=LONDON)
    wanted = ago_min > 25 * 60 or (now >= set_today > newest)
    assert due(newest, now, time(hour), LONDON) is wanted
    assert due(None, now, time(hour), LONDON)


def test_the_unit_is_one_that_systemd_reads(tmp_path: Path) -> None:
    text = unit_text('Mill % "Dental"\nRooms', ["/usr/bin/python3", "-m", "fettlebook", "serve", "/srv/a b/p%.toml"], "ana", ["/srv/a b"])
    assert 'Description=fettlebook, Mill %% "Dental" Rooms\n' in text
    assert 'serve "/srv/a b/p%%.toml"' in text
    assert quoted('a"b\\c$d') == '"a\\"b\\\\c$$d"'
    analyze = shutil.which("systemd-analyze")
    if analyze:
        from subprocess import run

        unit = tmp_path / "fettlebook.service"
        unit.write_text(text)
        told = run([analyze, "verify", str(unit)], capture_output=True, text=True, check=False)
        assert "Unknown" not in told.stderr, told.stderr
