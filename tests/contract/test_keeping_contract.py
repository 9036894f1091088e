"""Export and import, and people's words that can be erased: the same for every store."""

import json
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from fettlebook.book.backup import back_up_group_book, restore, restore_group_book, try_restore
from fettlebook.book.bundle import export_book, import_book
from fettlebook.book.checkpoint import Checkpoint
from fettlebook.book.entries import Moment, new_entry
from fettlebook.book.kinds import RepairDone, SetRetired, StepDone, TextErased
from fettlebook.book.notes import Signer
from fettlebook.book.stores import Store, open_book
from fettlebook.book.words import erase_words, open_words, seal_words, words_before
from fettlebook.errors import Mendable

pytestmark = pytest.mark.invented
NOW = 1_772_442_000_000
MOMENT = Moment(NOW, "Europe/Berlin")


def fill(store: Store, count: int = 300) -> Signer:
    signer = Signer("quayside", Ed25519PrivateKey.generate())
    held = store.keep_file(b"time,temp\n", media="text/csv")
    made = [
        new_entry(
            StepDone(duty="d", step="s", chair=f"chair {n % 3}", outcome="done", files=(held,) if n == 7 else None),
            moment=Moment(NOW + n, "Europe/Berlin"),
            device="tablet-3",
            n=n,
            by="ana",
        )
        for n in range(1, count + 1)
    ]
    store.append(made, now=NOW, via="tablet-3", offset=17)
    store.append([made[0].model_copy(update={"by": "ben"}).encode()], now=NOW, via="tablet-3")
    store.checkpoint(signer)
    return signer


def test_an_exported_book_is_the_same_book_after_import_in_either_store(
    open_store: Callable[..., Store], tmp_path: Path, kind_of_store: str
) -> None:
    store = open_store()
    signer = fill(store)
    said = export_book(store, tmp_path / "book.zip")
    assert (said.size, said.root, said.files) == (301, store.head().root, 1)
    with open_book(tmp_path / "elsewhere.sqlite", "another") as elsewhere:
        for into in (open_store("mill lane"), elsewhere):
            import_book(tmp_path / "book.zip", into)
            assert [r.leaf for r in into.read()] == [r.leaf for r in store.read()]
            assert into.head() == store.head()
            assert into.checkpoints() == store.checkpoints()
            assert [d for d, sound in into.files() if sound] == [d for d, sound in store.files() if sound]
            assert into.verify(anchors=[Checkpoint("q", said.size, said.root).anchor("the export")]).whole
            again = [r.entry for r in store.read(subjects=["chair:chair 1"])]
            assert [r.entry for r in into.read(subjects=["chair:chair 1"])] == again
            into.append([again[0]], now=NOW + 9, via="tablet-3")  # known there too
            assert into.head().size == said.size
            note = into.checkpoint(signer)
            assert note == store.checkpoint(signer)
            with pytest.raises(Mendable, match="entries already"):
                import_book(tmp_path / "book.zip", into)
    with pytest.raises(Mendable, match="there already"):
        export_book(store, tmp_path / "book.zip")


def test_a_book_in_either_store_is_backed_up_while_others_write_and_restored_to_either(
    open_store: Callable[..., Store], tmp_path: Path
) -> None:
    store = open_store()
    signer = fill(store)
    leaves, rows, files = [r.leaf for r in store.read()], store.rows, store.files

    def and_write(until: int | None = None) -> Any:
        for row in rows(until):
            if row.seq % 150 == 0:
                store.note(SetRetired(unit="exam#1", reason="worn"), moment=MOMENT)
                store.checkpoint(signer)
            yield row

    store.rows = and_write  # type: ignore[method-assign]
    backup = back_up_group_book(store, tmp_path / "backups", now=NOW)
    store.rows = rows  # type: ignore[method-assign]
    assert store.head().size == len(leaves) + 2
    assert backup.books == {store.practice: (len(leaves), store.root_at(len(leaves)))}
    assert sorted(p.name for p in backup.folder.iterdir()) == ["book.sqlite", "manifest.json"]
    assert [tried.whole for tried in try_restore(backup, tmp_path).values()] == [True]
    there = open_store("mill lane")
    assert restore_group_book(backup, store.practice, there).whole
    assert [r.leaf for r in there.read()] == leaves
    assert list(there.files()) == list(files())
    assert len(there.checkpoints()) == 1  # the later ones are of entries that the backup lacks
    with pytest.raises(Mendable, match="entries already"):
        restore_group_book(backup, store.practice, there)
    with pytest.raises(Mendable, match="no book of 'elm'"):
        restore_group_book(backup, "elm", open_store("elm"))
    restore(backup, tmp_path / "restored.sqlite")
    with open_book(tmp_path / "restored.sqlite", store.practice) as in_file:
        assert [r.leaf for r in in_file.read()] == leaves


def rewritten(bundle: Path, to: Path, change: Callable[[str, bytes], bytes | None]) -> Path:
    with zipfile.ZipFile(bundle) as old, zipfile.ZipFile(to, "w") as new:
        for name in old.namelist():
            if (content := change(name, old.read(name))) is not None:
                new.writestr(name, content)
    return to


def test_a_changed_export_is_refused_and_nothing_of_it_is_taken(tmp_path: Path) -> None:
    with open_book(tmp_path / "a.sqlite") as store:
        fill(store, 20)
        export_book(store, tmp_path / "good.zip")
    good = tmp_path / "good.zip"

    def forged(name: str, content: bytes) -> bytes:
        """The entries and the digests over them, made to agree again: only the root tells."""
        entries = zipfile.ZipFile(good).read("entries.jsonl").replace(b'"by":"ana"', b'"by":"ben"', 1)
        if name == "entries.jsonl":
            return entries
        if name == "manifest.json":
            import hashlib

            said = json.loads(content)
            said["members"]["entries.jsonl"] = {"sha256": hashlib.sha256(entries).hexdigest(), "length_bytes": len(entries)}
            return json.dumps(said).encode()
        return content

    bad = [
        rewritten(good, tmp_path / "b1.zip", lambda n, c: c.replace(b"ana", b"ben", 1) if n == "entries.jsonl" else c),
        rewritten(good, tmp_path / "b2.zip", lambda n, c: None if n.startswith("files/") else c),
        rewritten(good, tmp_path / "b3.zip", forged),
        rewritten(good, tmp_path / "b4.zip", lambda n, c: c.replace(b'"form": 1', b'"form": 2') if n == "manifest.json" else c),
        rewritten(good, tmp_path / "b5.zip", lambda n, c: b"[]" if n == "manifest.json" else c),
    ]
    (tmp_path / "b6.zip").write_bytes(good.read_bytes()[:-30])
    (tmp_path / "b7.zip").write_bytes(b"no zip")
    with open_book(tmp_path / "into.sqlite") as into:
        for path in (*bad, tmp_path / "b6.zip", tmp_path / "b7.zip", tmp_path / "none.zip"):
            with pytest.raises(Mendable):
                import_book(path, into)
            assert into.head().size == 0, path.name
            assert list(into.files()) == []
        import_book(good, into)
        assert into.verify().whole


def test_words_are_read_with_their_key_and_gone_for_good_without_it(store: Store) -> None:
    keys = store.text_keys()
    said = ["called the firm, they come on Friday", "ä" * 100, "x"]
    for words in said:
        data = RepairDone(chair="chair 1", what="pump", remark=seal_words(words, keys))
        store.note(data, moment=MOMENT, by="ana")
    held = list(store.read(kinds=["repair.done"]))
    remarks: list[Any] = [r.entry.data.remark for r in held]  # type: ignore[attr-defined]
    assert [open_words(r, keys) for r in remarks] == said
    for r in held:
        assert not any(words.encode() in r.leaf for words in said[:2])
    root = store.head().root
    receipt = erase_words(store, keys, held[0], why="asked for", moment=MOMENT, by="ana")
    assert open_words(remarks[0], keys) is None
    assert [open_words(r, keys) for r in remarks[1:]] == said[1:]
    assert not keys.erase(remarks[0].key)
    (gone,) = store.read(kinds=[TextErased.KIND])
    assert (gone.seq, gone.entry.refers_to, gone.entry.by) == (receipt.seq, held[0].entry.id, "ana")
    assert gone.entry.subjects == ("chair:chair 1",)
    assert store.root_at(3) == root
    assert store.verify().whole
    assert [r.seq for r in words_before(store, keys, NOW + 1000)] == [2, 3]
    assert [r.seq for r in words_before(store, keys, NOW + 2)] == [2]


def test_the_key_of_other_words_opens_nothing(store: Store) -> None:
    keys = store.text_keys()
    one, other = seal_words("one", keys), seal_words("other", keys)
    with pytest.raises(Mendable, match="not that of these words"):
        open_words(one.model_copy(update={"key": other.key}), keys)


@pytest.mark.parametrize("words", ["", "   ", "x" * 501])
def test_no_words_and_too_many_are_refused(store: Store, words: str) -> None:
    with pytest.raises(Mendable, match="characters"):
        seal_words(words, store.text_keys())


def test_an_entry_without_words_has_none_to_erase(store: Store) -> None:
    store.note(SetRetired(unit="exam#1", reason="worn"), moment=MOMENT)
    (held,) = store.read()
    with pytest.raises(Mendable, match="no words"):
        erase_words(store, store.text_keys(), held, why="asked for", moment=MOMENT, by="ana")
    assert store.head().size == 1
