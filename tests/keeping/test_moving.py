"""A practice carried to another machine: everything, verified, once; and what the person sees when something goes wrong on the way."""

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from fettlebook.book.backup import back_up, read_backup
from fettlebook.book.entries import Moment, new_entry
from fettlebook.book.keyfile import make_key
from fettlebook.book.kinds import SetRetired, StepDone
from fettlebook.book.moved import mark_beside
from fettlebook.book.signing import sign_book
from fettlebook.book.stores import SqliteStore, open_book
from fettlebook.book.words import open_words, seal_words
from fettlebook.demo import book_ics, practice_text
from fettlebook.errors import Mendable
from fettlebook.exchange.key import beside, load_or_make_key
from fettlebook.exchange.moving import BESIDE, STAYS, move_in, move_out, read_moving
from fettlebook.practice.load import read_practice
from fettlebook.web.people.devices import Devices
from fettlebook.web.people.people import People
from fettlebook.web.people.people_file import PeopleFile, people_file_beside, pepper_beside
from fettlebook.web.tls.authority import folder_beside, make_authority, now_utc, read

pytestmark = pytest.mark.invented
NOW = 1_795_600_000_000
PRACTICE = "quayside"


def step(n: int) -> StepDone:
    return StepDone(duty="chair.between", step="between.flush", chair="chair 1", outcome="done")


def put(store: SqliteStore, first: int, last: int) -> list[str]:
    made = [new_entry(step(n), moment=Moment(NOW + n, "UTC"), device="tablet-3", n=n, by="ana") for n in range(first, last + 1)]
    store.append(made, now=NOW + last, via="tablet-3")
    return [one.id for one in made]


def people_of(book: Path) -> tuple[People, PeopleFile]:
    practice = read_practice(practice_text(), "practice.toml").practice
    assert practice is not None
    file = PeopleFile(people_file_beside(book))
    return People(lambda: practice, file, load_or_make_key(pepper_beside(book)), note=lambda _one, _by: None), file


@pytest.fixture
def old(tmp_path: Path) -> Path:
    """The old machine: a practice with everything that stands beside a book."""
    folder = tmp_path / "old machine"
    folder.mkdir()
    (folder / "practice.toml").write_bytes(practice_text())
    (folder / "book.ics").write_bytes(book_ics())
    book = folder / "book.sqlite"
    with open_book(book, PRACTICE) as store:
        make_key(folder / "book.sqlite.key", PRACTICE)
        put(store, 1, 40)
        store.note(SetRetired(unit="exam#1", reason="worn", remark=seal_words("bent", store.text_keys())), moment=Moment(NOW, "UTC"))
        store.keep_file(b"time,temp\n", media="text/csv")
        sign_book(store, folder / "book.sqlite.key")
    load_or_make_key(beside(book))
    people, file = people_of(book)
    Devices(people).give_pin("ana", "482913", "482913", "program")
    file.close()
    make_authority(folder_beside(book), "Quayside", ["practice.local"], ["192.168.1.20"], now_utc())
    (folder / "book.sqlite.aside").mkdir()
    (folder / "book.sqlite.aside" / "log.csv").write_text("?")
    (folder / "book.sqlite.word").write_text("{}")
    return folder


def run(*arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", "fettlebook", *arguments], cwd=cwd, capture_output=True, text=True, check=False)


def everything(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_a_practice_moves_whole_and_its_book_goes_on(old: Path, tmp_path: Path) -> None:
    with open_book(old / "book.sqlite", PRACTICE, write=False) as store:
        leaves, notes, head = [r.leaf for r in store.read()], store.checkpoints(), store.head()
    secret = {p.name: p.read_bytes() for p in old.iterdir() if p.name.endswith((".key", ".visits", ".pepper", ".words"))}
    fingerprint = read(folder_beside(old / "book.sqlite")).authority_fingerprint
    out = run("move", "out", "old machine/practice.toml", "stick", "--appointments", "old machine/book.ics", cwd=tmp_path)
    assert (out.returncode, out.stderr) == (0, ""), out.stderr
    assert "verified" in out.stdout
    assert "The book here is closed" in out.stdout
    assert "not here, so not in it" not in out.stdout
    new = tmp_path / "new machine"
    came = run("move", "in", "stick", "new machine", cwd=tmp_path)
    assert (came.returncode, came.stderr) == (0, ""), came.stderr
    assert "the book goes on where it stood" in came.stdout
    assert "delete stick: it holds keys" in came.stdout
    assert {name: (new / name).read_bytes() for name in secret} == secret
    for name in ("practice.toml", "book.ics", "book.sqlite.aside/log.csv", "book.sqlite.word"):
        assert (new / name).read_bytes() == (old / name).read_bytes()
    assert read(folder_beside(new / "book.sqlite")).authority_fingerprint == fingerprint  # no tablet must trust anew
    people, file = people_of(new / "book.sqlite")
    assert "ana" in people.with_pin()
    file.close()
    with open_book(new / "book.sqlite", PRACTICE) as store:
        assert [r.leaf for r in store.read()] == leaves
        assert store.checkpoints() == notes
        assert store.head().root == head.root
        retired = store.latest(SetRetired.KIND)
        assert retired is not None
        assert isinstance(retired.entry.data, SetRetired)
        assert retired.entry.data.remark is not None
        assert open_words(retired.entry.data.remark, store.text_keys()) == "bent"
        assert put(store, 41, 43)  # the tablet's own numbers go on
        assert store.verify().whole
        signed = sign_book(store, new / "book.sqlite.key")  # refused if the book did not begin with what was signed before
        assert signed
    checked = run("book", "verify", "new machine/book.sqlite", cwd=tmp_path)
    assert checked.returncode == 0, checked.stdout
    assert "whole: 44 entries, held against 3 checkpoints" in checked.stdout
    assert "Not received" not in checked.stdout  # no number of a device is missing


def test_secrets_stay_their_owner_s_alone(old: Path, tmp_path: Path) -> None:
    move_out(old / "practice.toml", old / "book.ics", old / "book.sqlite", tmp_path / "stick", now=NOW)
    move_in(tmp_path / "stick", tmp_path / "new")
    for place in (tmp_path / "stick", tmp_path / "new"):
        assert place.stat().st_mode & 0o077 == 0
        for path in place.rglob("book.sqlite*"):
            if "book/" not in path.as_posix():
                assert path.stat().st_mode & 0o077 == 0, path


def test_the_old_book_can_be_read_and_not_written_until_its_mark_is_taken_away(old: Path, tmp_path: Path) -> None:
    move_out(old / "practice.toml", None, old / "book.sqlite", tmp_path / "stick", now=NOW)
    assert run("book", "verify", "book.sqlite", cwd=old).returncode == 0
    refused = run("serve", "practice.toml", "book.ics", "--port", "0", cwd=old)
    assert refused.returncode == 2
    assert "this book has moved to another machine" in refused.stderr
    assert "Go on there" in refused.stderr
    assert "book.sqlite.moved" in refused.stderr
    mark_beside(old / "book.sqlite").unlink()
    with open_book(old / "book.sqlite", PRACTICE) as store:
        put(store, 41, 41)


def test_a_trial_leaves_the_old_book_in_use_and_says_what_it_is(old: Path, tmp_path: Path) -> None:
    out = run("move", "out", "old machine/practice.toml", "stick", "--trial", cwd=tmp_path)
    assert out.returncode == 0
    assert "A trial" in out.stdout
    with open_book(old / "book.sqlite", PRACTICE) as store:
        put(store, 41, 41)
    assert "Don't work with this one" in run("move", "in", "stick", "new", cwd=tmp_path).stdout


def test_nothing_is_overwritten_on_either_side(old: Path, tmp_path: Path) -> None:
    (tmp_path / "stick").mkdir()
    (tmp_path / "stick" / "holiday.jpg").write_bytes(b"x")
    before = everything(old)
    refused = run("move", "out", "old machine/practice.toml", "stick", cwd=tmp_path)
    assert refused.returncode == 2
    assert "there is something of this name already" in refused.stderr
    assert everything(old) == before
    assert everything(tmp_path / "stick") == {"holiday.jpg": b"x"}
    move_out(old / "practice.toml", None, old / "book.sqlite", tmp_path / "pack", now=NOW)
    refused = run("move", "in", "pack", "stick", cwd=tmp_path)
    assert refused.returncode == 2
    assert "there is something in this folder already" in refused.stderr
    assert everything(tmp_path / "stick") == {"holiday.jpg": b"x"}


def test_it_is_refused_while_the_page_is_open(old: Path, tmp_path: Path) -> None:
    with open_book(old / "book.sqlite", PRACTICE):
        refused = run("move", "out", "old machine/practice.toml", "stick", cwd=tmp_path)
    assert refused.returncode == 2
    assert "another fettlebook is writing" in refused.stderr
    assert not (tmp_path / "stick").exists()


def test_another_practice_s_book_is_not_taken_for_this_one_s(old: Path, tmp_path: Path) -> None:
    text = (old / "practice.toml").read_text().replace(f'id = "{PRACTICE}"', 'id = "elsewhere"', 1)
    (old / "practice.toml").write_text(text)
    with pytest.raises(Mendable, match="no book of 'elsewhere'"):
        move_out(old / "practice.toml", None, old / "book.sqlite", tmp_path / "stick", now=NOW)
    assert not (tmp_path / "stick").exists()
    assert not mark_beside(old / "book.sqlite").exists()


def test_any_changed_byte_on_the_way_is_found_and_nothing_is_put_down(old: Path, tmp_path: Path) -> None:
    stick = tmp_path / "stick"
    move_out(old / "practice.toml", old / "book.ics", old / "book.sqlite", stick, now=NOW)
    names = sorted([*read_moving(stick).files, "moving.json", "book/manifest.json", "book/book.sqlite"])
    for name in names:
        whole = (stick / name).read_bytes()
        spoilt = bytearray(whole)
        spoilt[len(spoilt) // 2] ^= 1
        (stick / name).write_bytes(spoilt)
        with pytest.raises(Mendable):
            move_in(stick, tmp_path / "new")
        (stick / name).unlink()
        with pytest.raises(Mendable):
            move_in(stick, tmp_path / "new")
        (stick / name).write_bytes(whole)
        assert not (tmp_path / "new").exists(), name
    move_in(stick, tmp_path / "new")


def test_a_list_that_points_outside_its_folder_is_refused(old: Path, tmp_path: Path) -> None:
    from dataclasses import replace

    from fettlebook.exchange import moving

    stick = tmp_path / "stick"
    move_out(old / "practice.toml", None, old / "book.sqlite", stick, now=NOW)
    held = read_moving(stick)
    (tmp_path / "outside").write_bytes(b"x")
    for name in ("../outside", str(tmp_path / "outside")):
        forged = replace(held, files=held.files | {name: (held.files["practice.toml"][0], 1)})
        (stick / "moving.json").write_bytes(moving._written(forged))  # with a digest that fits: only the place is wrong
        with pytest.raises(Mendable, match="damaged"):
            move_in(stick, tmp_path / "new")


# One process that dies by kill -9 at the n-th write to the disk, for each n; its parent looks at what is left.
KILLED = """
import os, signal, sys
from pathlib import Path
from fettlebook.book.backup import read_backup, restore
from fettlebook.exchange.moving import move_in, move_out
what, source, to = sys.argv[1], Path(sys.argv[2]), Path(sys.argv[3])
def work():
    if what == "in": move_in(source, to)
    elif what == "out": move_out(source / "practice.toml", source / "book.ics", source / "book.sqlite", to, now=1_795_600_000_000)
    else: restore(read_backup(source), to)
def dying(n):
    left = [n]
    def wrap(name):
        real = getattr(os, name)
        def deadly(*given, **more):
            left[0] -= 1
            if left[0] == 0: os.kill(os.getpid(), signal.SIGKILL)
            return real(*given, **more)
        setattr(os, name, deadly)
    for name in ("fsync", "rename", "replace", "open"): wrap(name)
    work()
for n in range(1, 200):
    child = os.fork()
    if child == 0:
        try: dying(n)
        finally: os._exit(0)
    killed = os.WIFSIGNALED(os.waitpid(child, 0)[1])
    print(n, killed, to.exists(), flush=True)
    if to.exists(): break
"""


def die_at_each_write(what: str, source: Path, to: Path) -> list[list[str]]:
    done = subprocess.run([sys.executable, "-c", KILLED, what, str(source), str(to)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return [line.split() for line in done.stdout.splitlines()]


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
def test_a_power_cut_in_the_middle_of_moving_in_leaves_nothing_or_all(old: Path, tmp_path: Path) -> None:
    stick, new = tmp_path / "stick", tmp_path / "new"
    move_out(old / "practice.toml", old / "book.ics", old / "book.sqlite", stick, now=NOW)
    before = everything(stick)
    seen = die_at_each_write("in", stick, new)
    assert len(seen) > 10, "it died at too few places to mean anything"
    assert all(killed == "True" and there == "False" for _, killed, there in seen[:-1])
    assert everything(stick) == before
    with open_book(new / "book.sqlite", PRACTICE) as store:  # the last one: killed after the folder took its name, or not at all
        assert store.verify().whole
    assert set(read_moving(stick).files) <= set(everything(new))
    assert not [p for p in tmp_path.iterdir() if p.name.startswith(".") and seen[-1][1] == "False"]


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
def test_a_power_cut_in_the_middle_of_moving_out_leaves_the_old_book_in_use(old: Path, tmp_path: Path) -> None:
    before = everything(old)
    seen = die_at_each_write("out", old, tmp_path / "stick")
    assert len(seen) > 10
    assert all(there == "False" for _, _, there in seen[:-1])
    assert read_moving(tmp_path / "stick").size == 41
    kept = {name: content for name, content in everything(old).items() if not name.endswith((*STAYS, ".moved"))}
    assert kept == {name: content for name, content in before.items() if not name.endswith(STAYS)}


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
def test_a_power_cut_in_the_middle_of_a_restore_leaves_nothing_or_all(old: Path, tmp_path: Path) -> None:
    made = back_up(old / "book.sqlite", tmp_path / "backups", now=NOW)
    seen = die_at_each_write("restore", made.folder, tmp_path / "again.sqlite")
    assert len(seen) >= 3
    assert all(killed == "True" and there == "False" for _, killed, there in seen[:-1])
    with open_book(tmp_path / "again.sqlite", PRACTICE) as store:
        assert store.verify().whole
    read_backup(made.folder)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    place = tmp_path / "small disk"
    place.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=160k", "tmpfs", str(place)], capture_output=True, check=False)
    if mounted.returncode:
        pytest.skip("this user may not mount a small disk")
    yield place
    subprocess.run(["umount", "-l", str(place)], check=True)


def test_a_full_disk_is_said_and_leaves_both_sides_as_they_were(old: Path, tmp_path: Path, small_disk: Path) -> None:
    refused = run("move", "out", "old machine/practice.toml", "small disk/stick", cwd=tmp_path)
    assert refused.returncode == 2
    assert "No space left on device" in refused.stderr or "full" in refused.stderr, refused.stderr
    assert "Traceback" not in refused.stderr
    assert list(small_disk.iterdir()) == []
    assert not mark_beside(old / "book.sqlite").exists()
    move_out(old / "practice.toml", old / "book.ics", old / "book.sqlite", tmp_path / "stick", now=NOW)
    refused = run("move", "in", "stick", "small disk/new", cwd=tmp_path)
    assert refused.returncode == 2
    assert "No space left on device" in refused.stderr or "full" in refused.stderr, refused.stderr
    assert "room" in refused.stderr
    assert list(small_disk.iterdir()) == []
    made = back_up(tmp_path / "old machine" / "book.sqlite", tmp_path / "backups", now=NOW)
    (small_disk / "ballast").write_bytes(bytes(100_000))
    refused = run("book", "restore", str(made.folder), "small disk/again.sqlite", cwd=tmp_path)
    assert refused.returncode == 2
    assert "No space left on device" in refused.stderr or "full" in refused.stderr, refused.stderr
    assert [p.name for p in small_disk.iterdir()] == ["ballast"]
    assert run("move", "in", "stick", "elsewhere", cwd=tmp_path).returncode == 0


def test_a_folder_that_is_none_and_one_of_a_newer_program_are_said(old: Path, tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    said = run("move", "in", "empty", "new", cwd=tmp_path)
    assert said.returncode == 2
    assert "no practice is packed here" in said.stderr
    move_out(old / "practice.toml", None, old / "book.sqlite", tmp_path / "stick", now=NOW)
    newer = json.loads((tmp_path / "stick" / "moving.json").read_text()) | {"form": 9}
    (tmp_path / "stick" / "moving.json").write_text(json.dumps(newer))
    said = run("move", "in", "stick", "new", cwd=tmp_path)
    assert "packed in form 9" in said.stderr
    assert "Update fettlebook" in said.stderr


def test_whatever_the_program_puts_beside_a_book_goes_along_or_is_known_to_stay() -> None:
    # Read from the program's own text: a new neighbour of the book must be thought of here.
    import re

    import fettlebook

    endings: set[str] = set()
    for path in Path(fettlebook.__file__).parent.rglob("*.py"):
        text = path.read_text("utf-8")
        endings |= set(re.findall(r'with_name\(f"\{\w+(?:\.\w+)*\}(\.[a-z-]+)"\)', text))
        endings |= set(re.findall(r'with_name\(\w+(?:\.\w+)*\.name \+ "(\.[a-z-]+)"\)', text))
        endings |= {".key.signed"} if 'key_file.name + ".signed"' in text else set()
    assert {".key", ".key.signed", ".visits", ".people", ".pepper", ".words", ".word", ".tls", ".aside", ".writer"} <= endings
    assert endings <= {*BESIDE, *STAYS, ".draft", ".signed"}, "say in exchange/moving.py whether it goes along"


def test_a_copy_of_the_folder_moves_in_as_the_folder_does(old: Path, tmp_path: Path) -> None:
    move_out(old / "practice.toml", None, old / "book.sqlite", tmp_path / "stick", now=NOW)
    shutil.copytree(tmp_path / "stick", tmp_path / "copied")  # by whatever means it came over
    (tmp_path / "copied" / ".DS_Store").write_bytes(b"left by a computer")
    (tmp_path / "new").mkdir()  # an empty folder is taken
    assert move_in(tmp_path / "copied", tmp_path / "new").size == 41
