"""`fettlebook book` and `fettlebook note` as they are typed: what they print, what they refuse, their exit status."""

import json
import shutil
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from fettlebook import cli
from fettlebook.book.canonical import encode
from fettlebook.book.entries import Moment, new_entry
from fettlebook.book.kinds import StepDone
from fettlebook.book.stores import open_book
from fettlebook.demo import practice_text

pytestmark = pytest.mark.invented
NOW = 1_772_442_000_000


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "practice.toml").write_bytes(practice_text())
    monkeypatch.chdir(tmp_path)
    return tmp_path


class Desk:
    """Runs commands in this process, as they are typed."""

    def __init__(self, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
        self._capsys, self._monkeypatch = capsys, monkeypatch

    def __call__(self, *words: str) -> tuple[int, str, str]:
        self._monkeypatch.setattr(sys, "argv", ["fettlebook", *words])
        with pytest.raises(SystemExit) as left:
            cli.main()
        said = self._capsys.readouterr()
        assert "Traceback" not in said.err
        return int(left.value.code or 0), said.out, said.err

    def good(self, *words: str) -> str:
        status, out, err = self(*words)
        assert status == 0, err
        return out

    def bad(self, *words: str) -> str:
        status, out, err = self(*words)
        assert status == 2, (status, out, err)
        assert out == ""
        assert "mend" in err
        return " ".join(err.split())


@pytest.fixture
def run(desk: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Desk:
    return Desk(capsys, monkeypatch)


@pytest.fixture
def begun(run: Desk) -> Desk:
    run.good("book", "init", "book.sqlite", "practice.toml")
    return run


def piped(words: list[str], stdin: bytes) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run([sys.executable, "-m", "fettlebook", *words], input=stdin, capture_output=True, timeout=100, check=False)


def line(n: int, **changed: Any) -> bytes:
    data = StepDone(duty="chair.between", step="between.flush", chair="chair 1", outcome="done")
    entry = new_entry(data, moment=Moment(NOW + n, "Europe/Berlin"), device="tablet-3", n=n, by="ana")
    return encode(json.loads(entry.encode()) | changed) + b"\n"


def test_a_book_is_begun_with_the_practice_file_and_a_private_key(run: Desk) -> None:
    said = json.loads(run.good("book", "init", "book.sqlite", "practice.toml", "--json"))
    assert said["practice"] == "quayside"
    assert Path("book.sqlite.key").stat().st_mode & 0o077 == 0
    first, rules = (json.loads(one)["entry"] for one in run.good("book", "dump", "book.sqlite", "--json").splitlines())
    assert first["data"]["text"].encode() == practice_text()
    assert {layer["name"] for layer in rules["data"]["layers"]} >= {"general", "uk"}
    assert "entries already" in run.bad("book", "init", "book.sqlite", "practice.toml")


def test_a_changed_practice_file_is_taken_in_once(begun: Desk) -> None:
    assert json.loads(begun.good("book", "renew", "book.sqlite", "practice.toml", "--json")) == {"written": {}}
    Path("practice.toml").write_bytes(practice_text().replace(b"Quayside Dental Rooms", b"Quayside Rooms"))
    assert list(json.loads(begun.good("book", "renew", "book.sqlite", "practice.toml", "--json"))["written"]) == ["practice_file.version"]
    assert "holds this practice file" in begun.good("book", "renew", "book.sqlite", "practice.toml")
    with open_book("book.sqlite", "quayside", write=False) as store:
        assert store.head().size == 3


def test_a_book_is_not_begun_from_a_practice_file_with_errors(run: Desk) -> None:
    Path("practice.toml").write_text("schema = 1\n")
    run.bad("book", "init", "book.sqlite", "practice.toml")
    assert not Path("book.sqlite").exists()


def test_lines_are_acknowledged_by_id_and_again_when_sent_again(begun: Desk) -> None:
    sent = b"".join(line(n) for n in range(1, 601))
    done = piped(["book", "append", "book.sqlite", "--via", "tablet-3"], b"\n" + sent + sent[:-1])  # the last line without its end
    assert done.returncode == 0, done.stderr
    ids = [json.loads(one)["id"] for one in sent.splitlines()]
    assert done.stdout.decode().split() == ids + ids
    with open_book("book.sqlite", "quayside", write=False) as store:
        assert [r.entry.id for r in store.read(since=2)] == ids
    loose = json.dumps(json.loads(line(601)), indent=None).encode() + b"\n"  # other spacing: it gets the one spelling
    done = piped(["book", "append", "book.sqlite", "--json"], loose)
    receipt = json.loads(done.stdout)
    assert (receipt["id"], receipt["seq"]) == (json.loads(loose)["id"], 603)


def test_each_id_is_said_only_once_it_is_durable_and_without_waiting_for_the_next_line(begun: Desk) -> None:
    words = [sys.executable, "-m", "fettlebook", "book", "append", "book.sqlite"]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as running:
        assert running.stdin is not None
        assert running.stdout is not None
        for n in (1, 2):
            running.stdin.write(line(n))
            running.stdin.flush()
            said = running.stdout.readline().decode().strip()
            with open_book("book.sqlite", "quayside", write=False) as store:
                assert store.get(said) is not None
        running.send_signal(signal.SIGKILL)
    with open_book("book.sqlite", "quayside") as store:
        assert store.head().size == 4


BAD_LINES = {
    "no JSON": (b"nonsense\n", "not JSON"),
    "half a line": (line(1)[:-20] + b"\n", "not JSON"),
    "a list": (b"[1]\n", "a list"),
    "a future version": (line(1, v=2), "entry of version 2"),
    "a server's field": (line(1, seq=5), "only the receiver sets it"),
    "an unknown chair": (line(1, subjects=["chair:chair 9"]), "no chair 'chair 9'"),
    "1 MB of text": (line(1, data={"duty": "d", "step": "s", "outcome": "done", "x": "y" * 1_000_000}), "bytes"),
    "10 MB of text": (b'"' + b"x" * 10_000_000 + b'"\n', "bytes"),
    "before 2000": (line(1, at=5), "before the year 2000"),
    "far ahead": (line(1, at=NOW * 3), "more than a year ahead"),
    "a null": (b'{"v":null}\n', "null"),
    "bytes that are no text": (b"\xff\xfe\n", "not JSON"),
    "doubled key": (b'{"v":1,"v":1}\n', "twice"),
    "deep nesting": (b"[" * 50_000 + b"\n", "nested"),
    "a kind of the store's own": (
        line(1, kind="entry.clash", data={"digest": "ab" * 32, "via": "x"}, refers_to=json.loads(line(1))["id"]),
        "only the",
    ),
}


def test_bad_lines_are_named_and_the_good_ones_beside_them_go_in(begun: Desk) -> None:
    sent = b"".join(bad for bad, _ in BAD_LINES.values()) + line(2)
    done = piped(["book", "append", "book.sqlite"], sent)
    told = done.stderr.decode()
    assert done.returncode == 1, told
    assert "Traceback" not in told
    assert done.stdout.decode().split() == [json.loads(line_sent(sent, -1))["id"]]
    for number, (_, said) in enumerate(BAD_LINES.values(), start=1):
        part = told[told.index(f"line {number},") :]
        assert said in " ".join(part.partition(f"line {number + 1},")[0].split()), number
    assert piped(["book", "append", "book.sqlite"], b"nonsense\n").returncode == 2


def line_sent(sent: bytes, which: int) -> bytes:
    return sent.splitlines()[which]


def test_other_content_under_a_known_id_is_refused_and_kept_as_evidence(begun: Desk) -> None:
    first = line(1)
    other = encode(json.loads(first) | {"by": "ben"}) + b"\n"
    done = piped(["book", "append", "book.sqlite", "--json"], first + other + other)
    assert done.returncode == 1
    said = [json.loads(one) for one in done.stdout.splitlines()]
    assert "another content" in said[1]["refused"][0]["what"]
    kept = begun.good("book", "dump", "book.sqlite", "--kind", "entry.clash", "--json")
    assert json.loads(kept)["entry"]["refers_to"] == said[0]["id"]
    begun.good("book", "verify", "book.sqlite")


def test_a_receipt_proves_that_an_entry_was_taken_out(begun: Desk, tmp_path: Path) -> None:
    done = piped(["book", "append", "book.sqlite", "--json"], line(1) + line(2))
    (tmp_path / "receipts.jsonl").write_bytes(done.stdout)
    begun.good("book", "verify", "book.sqlite", "--receipts", "receipts.jsonl")
    shutil.copy("practice.toml", "other.toml")
    begun.good("book", "init", "other.sqlite", "other.toml")
    status, out, _ = begun("book", "verify", "other.sqlite", "--receipts", "receipts.jsonl")
    assert status == 1
    assert "a receipt was given for it" in out


def test_a_book_that_its_owner_rewrote_is_found_by_an_earlier_checkpoint(begun: Desk) -> None:
    piped(["book", "append", "book.sqlite"], b"".join(line(n) for n in range(1, 5)))
    note = begun.good("book", "checkpoint", "book.sqlite")
    Path("printed.txt").write_text(note)
    vkey = json.loads(begun.good("book", "checkpoint", "book.sqlite", "--json"))["vkey"]
    piped(["book", "append", "book.sqlite"], line(9))
    assert "held against 1 checkpoint\n" not in begun.good("book", "verify", "book.sqlite", "--checkpoint", "printed.txt")
    # The owner makes another past: a whole book, with a tree of its own.
    begun.good("book", "init", "forged.sqlite", "practice.toml")
    piped(["book", "append", "forged.sqlite"], b"".join(line(n, by="ben") for n in range(1, 6)))
    begun.good("book", "verify", "forged.sqlite")
    status, out, _ = begun("book", "verify", "forged.sqlite", "--checkpoint", "printed.txt", "--vkey", vkey)
    assert status == 1
    assert "rewritten" in out
    bare = note.partition("\n\n")[0] + "\n"
    Path("three lines.txt").write_text(bare)
    assert "signature not checked" in begun("book", "verify", "forged.sqlite", "--checkpoint", "three lines.txt")[1]
    Path("forged.txt").write_text(note.replace("quayside\n6", "quayside\n5"))
    assert "does not hold" in begun.bad("book", "verify", "book.sqlite", "--checkpoint", "forged.txt")
    Path("junk.txt").write_text("junk")
    assert "no checkpoint" in begun.bad("book", "verify", "book.sqlite", "--checkpoint", "junk.txt")


def test_a_changed_entry_is_located_and_the_status_is_one(begun: Desk) -> None:
    piped(["book", "append", "book.sqlite"], b"".join(line(n) for n in range(1, 5)))
    raw = sqlite3.connect("book.sqlite")
    raw.executescript("DROP TRIGGER entry_no_delete; DELETE FROM entry WHERE seq = 3;")
    raw.close()
    status, out, _ = begun("book", "verify", "book.sqlite")
    assert status == 1
    assert "entry 3: missing" in out
    status, out, _ = begun("book", "verify", "book.sqlite", "--json")
    assert {"kind": "missing", "first": 3, "last": 3, "what": "sealed once, and not here"} in json.loads(out)["faults"]


def test_a_lost_key_a_new_one_and_the_code_for_the_day_sheet(begun: Desk) -> None:
    begun.good("book", "checkpoint", "book.sqlite", "--qr", "code.svg")
    assert Path("code.svg").read_text().lstrip().startswith("<")
    Path("book.sqlite.key").rename("lost")
    assert "stay valid" in begun.bad("book", "checkpoint", "book.sqlite")
    said = json.loads(begun.good("book", "checkpoint", "book.sqlite", "--key", "second.key", "--new-key", "quayside 2", "--json"))
    assert said["note"].startswith("quayside%202\n2\n")


def test_a_checkpoint_of_a_new_key_is_checked_with_the_printed_line_of_the_old_one(begun: Desk) -> None:
    old = json.loads(begun.good("book", "checkpoint", "book.sqlite", "--json"))["vkey"]
    Path("new.txt").write_text(begun.good("book", "checkpoint", "book.sqlite", "--key", "second.key", "--new-key", "quayside/2"))
    assert "signature not checked" not in begun.good("book", "verify", "book.sqlite", "--checkpoint", "new.txt", "--vkey", old)
    begun.good("book", "init", "other.sqlite", "practice.toml")
    stranger = json.loads(begun.good("book", "checkpoint", "other.sqlite", "--json"))["vkey"]
    assert "by none of the keys" in begun.bad("book", "verify", "book.sqlite", "--checkpoint", "new.txt", "--vkey", stranger)


def test_a_book_in_use_can_be_read_verified_signed_and_backed_up_but_not_written(begun: Desk) -> None:
    with open_book("book.sqlite", "quayside"):
        begun.good("book", "verify", "book.sqlite")
        begun.good("book", "dump", "book.sqlite")
        begun.good("book", "backup", "book.sqlite", "backups", "--drill")
        assert begun.good("book", "checkpoint", "book.sqlite").startswith("quayside\n2\n")
        assert "another fettlebook is writing" in begun.bad(
            "note", "set.retired", "unit=exam#1", "reason=x", "--book", "book.sqlite", "--by", "ana"
        )


def test_backup_restore_export_and_import_give_the_same_book(begun: Desk) -> None:
    piped(["book", "append", "book.sqlite"], b"".join(line(n) for n in range(1, 5)))
    root = json.loads(begun.good("book", "verify", "book.sqlite", "--json"))["root"]
    said = json.loads(begun.good("book", "backup", "book.sqlite", "backups", "--drill", "--rotate", "--json"))
    assert said["books"]["quayside"] == {"size": 6, "root": root}
    assert said["restored_and_verified"]
    begun.good("book", "restore", said["folder"], "again.sqlite")
    again = [json.loads(one)["entry"] for one in begun.good("book", "dump", "again.sqlite", "--json").splitlines()]
    assert [e["kind"] for e in again][-1] == "book.restored"
    assert "there already" in begun.bad("book", "restore", said["folder"], "again.sqlite")
    begun.good("book", "export", "book.sqlite", "book.zip")
    assert json.loads(begun.good("book", "import", "new.sqlite", "book.zip", "--json"))["root"] == root
    assert begun.good("book", "dump", "new.sqlite", "--json") == begun.good("book", "dump", "book.sqlite", "--json")
    assert "entries already" in begun.bad("book", "import", "new.sqlite", "book.zip")


def test_words_are_listed_before_they_are_erased(begun: Desk) -> None:
    words = ("note", "fault.reported", "chair=chair 1", "fault=F1", "what=drips", "stops_use=no", "--book", "book.sqlite", "--by", "ana")
    begun.good(*words, "--remark", "ben saw it first")
    erase = ("book", "erase", "book.sqlite", "--by", "ana", "--why", "asked for", "--before", "2099-01-01", "--json")
    listed = json.loads(begun.good(*erase))
    assert (len(listed["entries"]), listed["erased"]) == (1, False)
    assert json.loads(begun.good(*erase, "--yes"))["entries"] == listed["entries"]
    assert json.loads(begun.good(*erase))["entries"] == []
    assert "years" in json.loads(begun.good(*erase[:7], "--json"))["term"]
    begun.good("book", "verify", "book.sqlite")


@pytest.mark.parametrize("content", [b"", b"hello", b"SQLite format 3\x00" + bytes(4000)])
@pytest.mark.parametrize("words", [("dump",), ("verify",), ("append",), ("checkpoint",), ("backup", "b")])
def test_what_is_no_book_is_left_alone(run: Desk, content: bytes, words: tuple[str, ...]) -> None:
    Path("thing").write_bytes(content)
    run.bad("book", words[0], "thing", *words[1:]) if words[0] != "append" else run.bad("book", "append", "thing")
    assert Path("thing").read_bytes() == content
    run.bad("book", words[0], "mistyped", *words[1:])
    assert not Path("mistyped").exists()


def test_a_note_says_what_it_needs_and_writes_one_entry(begun: Desk, tmp_path: Path) -> None:
    assert "step.done" in begun.good("note")
    assert "entry.clash" not in begun.good("note")
    assert "needed" in begun.good("note", "step.done")
    (tmp_path / "cycle.csv").write_text("time,temp\n")
    book = ("--book", "book.sqlite", "--by", "ana", "--json")
    said = json.loads(
        begun.good(
            "note", "load.packed", "load=L1", "machine=sterilizer 1", "items=exam#1:P1:solid,filling#2", *book, "--at", "2026-03-02T08:10"
        )
    )
    begun.good(
        "note", "cycle.recorded", "machine=sterilizer 1", "cycle=wrapped 134", "said=passed", "log=@cycle.csv", "readings.hold_s=212", *book
    )
    begun.good("note", "entry.withdrawn", "why=wrong load", "--refers-to", said["id"], *book)
    entries = [json.loads(one)["entry"] for one in begun.good("book", "dump", "book.sqlite", "--json").splitlines()][2:]
    assert entries[0]["data"]["items"] == [{"form": "solid", "pack": "P1", "unit": "exam#1"}, {"unit": "filling#2"}]
    assert entries[0]["zone"] == "Europe/London"
    assert entries[0]["at"] == 1772439000000  # 08:10 UTC: London keeps winter time in March
    assert entries[1]["data"]["readings"] == {"hold_s": 212}
    with open_book("book.sqlite", "quayside") as store:
        assert store.file(entries[1]["data"]["log"]["digest"]) == b"time,temp\n"
        assert store.verify().whole


def test_entries_are_shown_in_the_practices_time_with_what_they_claim_where_it_is_far_off(begun: Desk) -> None:
    words = ("note", "set.retired", "unit=exam#1", "reason=worn", "--book", "book.sqlite", "--by", "ana")
    begun.good(*words, "--at", "2026-07-02T08:10", "--from-paper")
    begun.good(*words)
    first, _rules, second, third = [line for line in begun.good("book", "dump", "book.sqlite").splitlines() if " by " in line]
    assert "says 2026-07-02 08:10:00+0100" in second
    assert "says" not in first + third


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("nothing.known", "a=b"), "no kind of entry"),
        (("entry.clash", "a=b"), "written by the program only"),
        (("step.done", "duty=d"), "step"),
        (("step.done", "duty=d", "step=s", "outcome=perhaps"), "'perhaps'"),
        (("step.done", "duty=d", "step=s", "outcome=done", "colour=red"), "names no field"),
        (("step.done", "duty=d", "duty=e", "step=s", "outcome=done"), "given twice"),
        (("step.done", "duty=d", "step=s", "outcome=done", "readings.strip=5"), "does not end in a unit"),
        (("step.done", "duty=d", "step=s", "outcome=done", "readings.strip_mg_l=lots"), "'lots'"),
        (("step.done", "duty=d", "step=s", "outcome=done", "chair=chair 9"), "no chair"),
        (("cycle.recorded", "machine=sterilizer 1", "cycle=c", "said=passed", "log=@none.csv"), "no such file"),
        (("cycle.recorded", "machine=sterilizer 1", "cycle=c", "said=passed", "log=none.csv"), "Write an @"),
        (("set.retired", "unit=exam#1", "reason=worn", "--at", "1999-01-01T10:00"), "before the year 2000"),
        (("set.retired", "unit=exam#1", "reason=worn", "--remark", "x" * 501), "501 characters"),
        (("entry.withdrawn", "why=wrong"), "needs refers_to"),
        (("entry.withdrawn", "why=wrong", "--refers-to", "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"), "no entry"),
        (("entry.withdrawn", "why=wrong", "--refers-to", "nonsense"), "pattern"),
    ],
)
def test_a_note_that_can_not_be_is_refused_and_nothing_is_written(begun: Desk, words: tuple[str, ...], said: str) -> None:
    assert said in begun.bad("note", *words, "--book", "book.sqlite", "--by", "ana")
    with open_book("book.sqlite", "quayside", write=False) as store:
        assert store.head().size == 2
        assert list(store.files()) == []
