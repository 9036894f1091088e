"""Books that earlier versions wrote and that are kept here: each is brought forward, and nothing in it changes."""

import json
import shutil
import sqlite3
from pathlib import Path

import pytest

from fettlebook.book.entries import Moment
from fettlebook.book.kinds import PracticeFileVersion
from fettlebook.book.stores import open_book
from fettlebook.book.stores.sqlite import SCHEMA, before_upgrade
from fettlebook.book.tree import leaf_hash, peaks_of, verify_inclusion
from fettlebook.errors import Mendable

KEPT = Path(__file__).parent / "kept"
BOOKS = sorted(KEPT.glob("*.sqlite"))
pytestmark = pytest.mark.invented


def leaves_of(book: Path) -> dict[str, list[bytes]]:
    found: dict[str, list[bytes]] = {}
    for line in book.with_suffix(".jsonl").read_text("utf-8").splitlines():
        said = json.loads(line)
        found.setdefault(said["practice"], []).append(said["leaf"].encode())
    return found


@pytest.mark.parametrize("kept", BOOKS, ids=lambda p: p.stem)
def test_a_kept_book_is_brought_forward_with_all_its_entries_and_the_right_tree(kept: Path, tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    shutil.copy(kept, path)
    before = leaves_of(kept)
    assert before
    with open_book(path) as first:
        for practice, leaves in before.items():
            store = first.of(practice)
            assert [r.leaf for r in store.read()] == leaves
            tree = peaks_of([leaf_hash(leaf) for leaf in leaves])
            assert store.head().tree == tree
            proof = store.prove_entry(1)
            assert verify_inclusion(leaf_hash(leaves[0]), 0, len(leaves), proof.hashes, tree.root())
            assert store.verify().whole
            assert store.note(PracticeFileVersion.of(""), moment=Moment(1, "UTC")).seq == len(leaves) + 1
    raw = sqlite3.connect(path)
    assert raw.execute("PRAGMA user_version").fetchone() == (SCHEMA,)
    raw.close()


def test_a_record_that_was_changed_before_is_located_also_after_its_book_was_brought_forward(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    shutil.copy(KEPT / "book-schema-3.sqlite", path)
    raw = sqlite3.connect(path)
    raw.execute("DROP TRIGGER entry_no_update")
    raw.execute("UPDATE entry SET leaf = CAST(replace(CAST(leaf AS TEXT), 'ana', 'ben') AS BLOB) WHERE practice = 'mill lane' AND seq = 77")
    raw.execute("CREATE TRIGGER entry_no_update BEFORE UPDATE ON entry BEGIN SELECT RAISE(ABORT, 'entries are never changed'); END")
    raw.commit()
    raw.close()
    with open_book(path, "mill lane") as store:
        assert [(f.kind, f.first, f.last) for f in store.verify().faults] == [("changed", 77, 77)]
        assert store.of("quayside").verify().whole


def test_there_is_a_kept_book_of_every_earlier_schema() -> None:
    assert [p.stem for p in BOOKS] == [f"book-schema-{n}" for n in range(1, SCHEMA)]


def test_an_older_book_is_not_read_before_it_is_brought_forward(tmp_path: Path) -> None:
    shutil.copy(KEPT / "book-schema-1.sqlite", tmp_path / "book.sqlite")
    with pytest.raises(Mendable, match="older schema 1"):
        open_book(tmp_path / "book.sqlite", write=False)


def test_a_step_that_fails_leaves_the_book_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    shutil.copy(KEPT / "book-schema-1.sqlite", path)
    raw = sqlite3.connect(path)
    raw.execute("CREATE TABLE node (in_the_way)")
    raw.close()
    for _ in range(2):
        with pytest.raises(Mendable, match="could not be brought forward"):
            open_book(path)
    raw = sqlite3.connect(path)
    assert raw.execute("PRAGMA user_version").fetchone() == (1,)
    assert "peaks" not in [c[1] for c in raw.execute("PRAGMA table_info(head)")]
    assert raw.execute("SELECT count(*) FROM entry").fetchone() == (274,)
    raw.execute("DROP TABLE node")
    raw.close()
    open_book(path).close()


@pytest.mark.parametrize("kept", BOOKS, ids=lambda p: p.stem)
def test_before_it_is_brought_forward_a_book_is_kept_as_it_was(kept: Path, tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    shutil.copy(kept, path)
    version = int(kept.stem.rpartition("-")[2])
    with open_book(path):
        pass
    way_back = before_upgrade(path, version)
    with sqlite3.connect(way_back) as old:
        assert old.execute("PRAGMA user_version").fetchone() == (version,)
        leaves = {practice: [] for practice in leaves_of(kept)}
        for practice, leaf in old.execute("SELECT practice, leaf FROM entry ORDER BY practice, seq"):
            leaves[practice].append(bytes(leaf))
    assert leaves == leaves_of(kept)
    assert way_back.stat().st_mode & 0o077 == 0
    shutil.copy(way_back, path)  # and forward again from there
    with open_book(path) as again:
        assert again.head().size == len(leaves_of(kept).get(again.practice, []))


def test_what_breaks_off_on_the_way_forward_leaves_the_book_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from fettlebook.book.stores import migrate

    path = tmp_path / "book.sqlite"
    shutil.copy(BOOKS[0], path)

    def broken(*_: object) -> None:
        raise RuntimeError("the power went")

    with monkeypatch.context() as patched:
        patched.setattr(migrate, "bring_forward", broken)
        with pytest.raises(RuntimeError, match="power"):
            open_book(path)
    with sqlite3.connect(path) as old:
        assert old.execute("PRAGMA user_version").fetchone() == (1,)
    with open_book(path) as store:
        assert store.verify().whole
    assert not list(tmp_path.glob("*.draft"))
