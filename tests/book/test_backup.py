"""Backups: taken while the book is written, every flipped bit found, restored and verified, and which may go."""

import random
import shutil
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from fettlebook.book.backup import (
    BOOK,
    MANIFEST,
    Backup,
    back_up,
    backups_in,
    read_backup,
    restore,
    restored,
    to_drop,
    try_restore,
    written,
)
from fettlebook.book.entries import Moment, new_entry
from fettlebook.book.files import digest_of_file
from fettlebook.book.keyfile import make_key
from fettlebook.book.kinds import BookRestored, SetRetired, StepDone, to_ms
from fettlebook.book.signing import sign_book
from fettlebook.book.stores import SqliteStore, open_book
from fettlebook.book.words import seal_words
from fettlebook.errors import Mendable

pytestmark = pytest.mark.invented
NOW = 1_772_442_000_000


def fill(store: SqliteStore, count: int, device: str = "tablet-3", start: int = 1) -> None:
    data = StepDone(duty="chair.between", step="between.flush", chair="chair 1", outcome="done")
    made = [new_entry(data, moment=Moment(NOW + n, "UTC"), device=device, n=n, by="ana") for n in range(start, start + count)]
    store.append(made, now=NOW, via=device)


@pytest.fixture
def book(tmp_path: Path) -> Path:
    path = tmp_path / "book.sqlite"
    make_key(tmp_path / "book.key", "quayside")
    with open_book(path, "quayside") as store:
        fill(store, 300)
        store.note(SetRetired(unit="exam#1", reason="worn", remark=seal_words("bent by Ben", store.text_keys())), moment=Moment(NOW, "UTC"))
        store.keep_file(b"time,temp\n", media="text/csv")
        sign_book(store, tmp_path / "book.key")
        fill(store.of("mill lane"), 3)
    return path


def test_a_backup_restores_to_the_same_books(book: Path, tmp_path: Path) -> None:
    backup = back_up(book, tmp_path / "backups", now=NOW)
    assert read_backup(backup.folder) == backup
    assert sorted(backup.books) == ["mill lane", "quayside"]
    assert sorted(p.name for p in backup.folder.iterdir()) == [BOOK, MANIFEST]
    found = restore(backup, tmp_path / "again" / "book.sqlite")
    assert all(one.whole for one in found.values())
    with open_book(book, "quayside") as old, open_book(tmp_path / "again" / "book.sqlite", "quayside") as new:
        assert [r.leaf for r in new.read()] == [r.leaf for r in old.read()]
        assert new.checkpoints() == old.checkpoints()
        said = restored(backup, "quayside")
        assert new.note(said, moment=Moment(NOW + 1, "UTC")).seq == 302
        last = new.latest(BookRestored.KIND)
        assert last is not None
        assert last.entry.data == said
    assert sorted(p.name for p in (tmp_path / "again").iterdir()) == ["book.sqlite", "book.sqlite.writer"]


def test_the_keys_of_peoples_words_are_in_no_backup(book: Path, tmp_path: Path) -> None:
    backup = back_up(book, tmp_path / "backups", now=NOW)
    assert book.with_name("book.sqlite.words").stat().st_mode & 0o077 == 0
    assert b"bent by Ben" not in backup.file.read_bytes()
    assert b"text_key" not in backup.file.read_bytes()


def test_a_backup_taken_while_others_write_is_whole(book: Path, tmp_path: Path) -> None:
    stop = threading.Event()
    with open_book(book, "quayside") as store:

        def write() -> None:
            start = 1
            while not stop.is_set():
                fill(store, 20, device="tablet-9", start=start)
                start += 20

        writer = threading.Thread(target=write)
        writer.start()
        try:
            backups = [back_up(book, tmp_path / "backups", now=NOW + 1000 * n) for n in range(3)]
        finally:
            stop.set()
            writer.join()
        sizes = [b.books["quayside"][0] for b in backups]
        assert sizes == sorted(sizes)
        assert sizes[-1] > sizes[0]
        for backup in backups:
            size, root = backup.books["quayside"]
            assert store.root_at(size) == root


def test_every_flipped_bit_in_a_backup_is_found(book: Path, tmp_path: Path) -> None:
    backup = back_up(book, tmp_path / "backups", now=NOW)
    chance = random.Random(20260302)
    for name in (BOOK, MANIFEST):
        path = backup.folder / name
        good = path.read_bytes()
        for _ in range(150):
            at = chance.randrange(len(good))
            bad = bytearray(good)
            bad[at] ^= 1 << chance.randrange(8)
            path.write_bytes(bad)
            with pytest.raises(Mendable):
                read_backup(backup.folder)
        path.write_bytes(good[:-1])
        with pytest.raises(Mendable):
            read_backup(backup.folder)
        path.write_bytes(good)
    assert read_backup(backup.folder) == backup


def test_a_restore_is_tried_out_and_leaves_nothing_behind(book: Path, tmp_path: Path) -> None:
    backup = back_up(book, tmp_path / "backups", now=NOW)
    tried = try_restore(backup, tmp_path)
    assert {p: (t.whole, t.size, t.backup_digest) for p, t in tried.items()} == {
        "mill lane": (True, 3, backup.digest),
        "quayside": (True, 301, backup.digest),
    }
    assert not list(tmp_path.glob("try-*"))
    with open_book(book, "quayside") as store:
        store.note(tried["quayside"], moment=Moment(NOW, "UTC"))


def test_a_restore_never_overwrites_and_a_bad_backup_is_refused(book: Path, tmp_path: Path) -> None:
    backup = back_up(book, tmp_path / "backups", now=NOW)
    with pytest.raises(Mendable, match="there already"):
        restore(backup, book)
    with pytest.raises(Mendable, match="no backup"):
        read_backup(tmp_path)
    with pytest.raises(Mendable, match="backup of this second"):
        back_up(book, tmp_path / "backups", now=NOW)
    (tmp_path / "foreign").write_text("x")
    with pytest.raises(Mendable, match="not a book"):
        back_up(tmp_path / "foreign", tmp_path / "backups", now=NOW + 5000)
    with pytest.raises(Mendable):
        back_up(book, tmp_path / "foreign" / "below", now=NOW)
    assert [p.name for p in (tmp_path / "backups").iterdir()] == [backup.folder.name]
    assert backups_in(tmp_path / "backups") == [backup.folder]


def test_a_damaged_book_gives_no_backup_that_looks_good(book: Path, tmp_path: Path) -> None:
    import sqlite3

    raw = sqlite3.connect(book)
    raw.executescript("DROP TRIGGER entry_no_update; UPDATE entry SET kind = 'x.y' WHERE seq = 9;")
    raw.close()
    with pytest.raises(Mendable, match="not whole"):
        back_up(book, tmp_path / "backups", now=NOW)
    assert not list((tmp_path / "backups").iterdir())


def test_a_book_put_back_from_an_old_backup_is_not_signed_as_if_nothing_had_happened(book: Path, tmp_path: Path) -> None:
    backup = back_up(book, tmp_path / "backups", now=NOW)
    key = tmp_path / "book.key"
    with open_book(book, "quayside") as store:
        fill(store, 5, device="tablet-8")
        sign_book(store, key)
    shutil.move(book, tmp_path / "lost.sqlite")
    restore(backup, book)
    with open_book(book, "quayside") as store:
        store.note(restored(backup, "quayside"), moment=Moment(NOW, "UTC"))
        with pytest.raises(Mendable, match="it had 306"):
            sign_book(store, key)
        fill(store, 50, device="tablet-8")  # sent again by the tablet, with more
        with pytest.raises(Mendable, match="does not begin with"):
            sign_book(store, key)
        new_key = tmp_path / "second.key"
        make_key(new_key, "quayside/2")
        assert sign_book(store, new_key)


def test_one_backup_of_each_of_the_last_days_weeks_and_months_is_kept() -> None:
    now = datetime(2026, 3, 2, 18, tzinfo=UTC)
    made = [to_ms(now - timedelta(hours=12 * n)) for n in range(2 * 500)]
    gone = to_drop(made)
    kept = sorted(set(made) - set(gone), reverse=True)
    assert kept[0] == made[0]
    days = [datetime.fromtimestamp(ms / 1000, tz=UTC).date() for ms in kept]
    assert all((now - timedelta(days=n)).date() in days for n in range(7))
    assert len({d.strftime("%Y-%m") for d in days}) == 12
    assert len(kept) <= 7 + 5 + 12
    assert to_drop(kept) == []
    assert to_drop([]) == []
    assert to_drop(made[:1]) == []


def test_a_backup_that_an_earlier_version_made_is_restored_and_brought_forward(tmp_path: Path) -> None:
    kept = Path(__file__).parent / "kept/book-schema-2.sqlite"
    with open_copy(kept, tmp_path) as store:
        head = store.head()
        folder = tmp_path / "backups" / "old"
        folder.mkdir(parents=True)
        shutil.copy(kept, folder / BOOK)
        books = {p: (store.of(p).head().size, store.of(p).head().root) for p in store.practices()}
    old = Backup(folder, NOW, digest_of_file(folder / BOOK), kept.stat().st_size, books, dict.fromkeys(books, ()))
    (folder / MANIFEST).write_bytes(written(old))
    restore(read_backup(folder), tmp_path / "new.sqlite")
    with open_book(tmp_path / "new.sqlite", "oak street") as store:
        assert store.head() == head


def open_copy(kept: Path, tmp_path: Path) -> SqliteStore:
    shutil.copy(kept, tmp_path / "copy.sqlite")
    return open_book(tmp_path / "copy.sqlite", "oak street")
