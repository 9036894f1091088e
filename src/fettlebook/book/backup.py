"""Copies of a book in one file: made while it is written, checked when made, found changed by any single bit, tried out by restoring.

Sources
-------
[V] SQLite, "VACUUM INTO": a whole copy of one state of the database, also from a connection that only reads. secondary
[K] How many to keep (7 daily, 5 weekly, 12 monthly). practice
"""

import json
import os
import shutil
import sqlite3
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote

from fettlebook.book.checkpoint import parse_checkpoint, text_of
from fettlebook.book.files import digest_of_file, sync_folder, write_private
from fettlebook.book.kinds import BookRestored, RestoreTried, digest_of, from_ms
from fettlebook.book.kinds.keeping import root_text
from fettlebook.book.signing import book_name
from fettlebook.book.stores.base import Store
from fettlebook.book.stores.pruning import line_of
from fettlebook.book.stores.sqlite import SqliteStore, open_book
from fettlebook.book.verify import Anchor, Verification
from fettlebook.errors import Mendable

BOOK: Final = "book.sqlite"
MANIFEST: Final = "manifest.json"
KEEP: Final = (("day", 7), ("week", 5), ("month", 12))  # [K]
_STAMP: Final = "%Y%m%dT%H%M%SZ"
_FORM: Final = 1


@dataclass(frozen=True, slots=True)
class Backup:
    """One backup: a folder with the copy of the book and what the copy must be. `books` has size and root by practice."""

    folder: Path
    made_ms: int
    digest: str
    length_bytes: int
    books: dict[str, tuple[int, bytes]]
    checkpoints: dict[str, tuple[str, ...]]  # by practice, signed notes as they stood in the book

    @property
    def file(self) -> Path:
        """The copy of the book."""
        return self.folder / BOOK


def back_up(book: Path, into: Path, *, now: int) -> Backup:
    """Copy a book into a new folder under `into`, verify the copy, and return it; others may write to the book meanwhile.

    The keys of people's words are not in it: kept apart, they can be erased for good.

    Raises
    ------
    Mendable
        The book can't be read, the place can't be written or is full, or the copy is not whole. No half backup is left behind.
    """
    with open_book(book, write=False):  # says in words what is no book, and what is damaged
        pass
    return _put_away(into, book.stem, now, lambda draft: _copy(book, draft / BOOK))


def back_up_group_book(store: Store, into: Path, *, now: int) -> Backup:
    """Copy one practice's book out of a group's database, as `back_up` does: into a SQLite book of its own, with its sealed bytes.

    What devices last said of their counters is left out; each says it again on its next contact.
    """

    def copy(draft: Path) -> None:
        filled = draft / "filling.sqlite"
        with open_book(filled, store.practice) as into_file:
            take_over(store, into_file)
        _copy(filled, draft / BOOK)
        for end in ("", "-wal", "-shm", ".writer"):
            Path(f"{filled}{end}").unlink(missing_ok=True)

    return _put_away(into, book_name(store.practice), now, copy)


def take_over(source: Store, target: Store) -> None:
    """Fill an empty book with all that another one holds now: sealed bytes, files, checkpoints; all of it or nothing.

    Raises
    ------
    Mendable
        The target has entries already, a file of the source has other bytes now, or its entries do not give its root.
    """
    size = source.head().size
    root = source.root_at(size) if size else source.head().root
    files = ((digest, source.file(digest)) for digest, _ in source.files())
    notes = (note for note in source.checkpoints() if parse_checkpoint(text_of(note)).size <= size)
    target.take_sealed((line_of(row) for row in source.rows(until=size)), size=size, root=root, files=files, notes=notes)


def restore_group_book(backup: Backup, practice: str, store: Store) -> Verification:
    """Put one book of a backup into a group's database, where this practice has no entries yet, and verify it there.

    Raises
    ------
    Mendable
        The backup holds no such book or is damaged, the practice has entries already, or what is there now is not what was backed up.
    """
    if practice not in backup.books:
        mend = f"Name one that it holds: {', '.join(sorted(backup.books)):.300}."
        raise Mendable(f"no book of {practice!r} in this backup", where=str(backup.folder), mend=mend)
    read_backup(backup.folder)
    with open_book(backup.file, practice, write=False) as held:
        take_over(held, store)
    size, root = backup.books[practice]
    found = store.verify(anchors=[Anchor(size, root, "the backup's manifest")] if size else [])
    if not found.whole or found.size != size:
        raise Mendable("the restored book is not the one that was backed up", where=str(backup.folder), mend="Take another backup.")
    return found


def _put_away(into: Path, name: str, now: int, copy: Callable[[Path], None]) -> Backup:
    """Make a backup in a folder that appears when it is whole."""
    final = into / f"{name}-{from_ms(now).strftime(_STAMP)}"
    draft = into / f".{final.name}.draft"
    try:
        into.mkdir(parents=True, exist_ok=True)
        if final.exists():
            raise Mendable("a backup of this second is there", where=str(final), mend="Wait a second, then do it again.")
        shutil.rmtree(draft, ignore_errors=True)
        draft.mkdir(mode=0o700)
        copy(draft)
        made = _describe(draft, now)
        write_private(draft / MANIFEST, written(made))
        sync_folder(draft)
        os.rename(draft, final)
        sync_folder(into)
    except OSError as error:
        mend = "Give a folder that you may write to, with room for a whole copy."
        raise Mendable(f"can't be written ({error.strerror})", where=str(into), mend=mend) from None
    finally:
        shutil.rmtree(draft, ignore_errors=True)
    return read_backup(final)


def read_backup(folder: Path) -> Backup:
    """Return the backup in this folder; raises `Mendable` where its manifest or its copy is not what it was when it was made."""
    path = folder / MANIFEST
    try:
        raw = path.read_bytes()
        said = json.loads(raw)
        books = {str(p): (int(b["size"]), bytes.fromhex(b["root"])) for p, b in said["books"].items()}
        notes = {str(p): tuple(map(str, b["checkpoints"])) for p, b in said["books"].items()}
        backup = Backup(folder, int(said["made_ms"]), str(said["sha256"]), int(said["length_bytes"]), books, notes)
        form = said["form"]
    except OSError as error:
        raise Mendable(f"no backup ({error.strerror})", where=str(path), mend="Name the folder of one backup.") from None
    except (ValueError, KeyError, TypeError, AttributeError):
        raise Mendable("the manifest is damaged", where=str(path), mend="Take another backup; this one can't be trusted.") from None
    if form != _FORM:
        raise Mendable(f"a backup of form {form}", where=str(path), mend="Update fettlebook, then do it again.")
    if raw != written(backup):  # one spelling, with its own digest in it: any flipped bit shows
        raise Mendable("the manifest is damaged", where=str(path), mend="Take another backup; this one can't be trusted.")
    if (found := digest_of_file(backup.file)) != backup.digest:
        what = f"the copy is not what was backed up (SHA-256 {found:.16}..., was {backup.digest:.16}...)"
        raise Mendable(what, where=str(backup.file), mend="Take another backup; this one was changed or damaged.")
    return backup


def restore(backup: Backup, to: Path) -> dict[str, Verification]:
    """Put a backup's book to a new file, verify it whole, and return what was found, by practice (all whole).

    Raises
    ------
    Mendable
        A file is there already, the copy is damaged, or a book is not the one that was backed up. Nothing is left at `to` then.
    """
    if to.exists() or Path(f"{to}-wal").exists():
        mend = "Name another file, or move the old book (with its -wal file) away first. It is never overwritten."
        raise Mendable("a file is there already", where=str(to), mend=mend)
    read_backup(backup.folder)
    draft = to.with_name(f".{to.name}.draft")
    try:
        to.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(backup.file, draft)
        with draft.open("rb+") as file:
            os.fsync(file.fileno())
        found = _verify(draft, backup)
        os.rename(draft, to)
        sync_folder(to.parent)
    except OSError as error:
        raise Mendable(f"can't be written ({error.strerror})", where=str(to), mend="Give a folder with room for the book.") from None
    finally:
        for end in ("", "-wal", "-shm", ".writer"):
            Path(f"{draft}{end}").unlink(missing_ok=True)
    return found


def restored(backup: Backup, practice: str) -> BookRestored:
    """Return what the restored book says of itself, as an entry."""
    size, root = backup.books[practice]
    return BookRestored(backup_size=size, backup_root=root_text(root), backup_digest=backup.digest, lost_from_seq=size + 1)


def try_restore(backup: Backup, scratch: Path) -> dict[str, RestoreTried]:
    """Restore a backup under `scratch`, verify it, clean up, and return the outcome by practice, for an entry each."""
    place = scratch / f"try-{backup.folder.name}"
    try:
        found = restore(backup, place / BOOK)
        return {
            practice: RestoreTried(backup_digest=backup.digest, size=one.size, root=root_text(backup.books[practice][1]), whole=one.whole)
            for practice, one in found.items()
        }
    finally:
        shutil.rmtree(place, ignore_errors=True)


def to_drop(made_ms: Iterable[int], keep: Sequence[tuple[str, int]] = KEEP) -> list[int]:
    """Return which of these backups (by their times) can go: all but the newest of each of the last days, weeks and months [K]."""
    times = sorted(set(made_ms), reverse=True)
    kept = set(times[:1])
    for period, count in keep:
        newest: dict[str, int] = {}
        for one in times:
            newest.setdefault(_period(one, period), one)
        kept |= set(list(newest.values())[:count])
    return [one for one in times if one not in kept]


def rotate(into: Path, unread: Callable[[Path, Mendable], None] = lambda _path, _error: None) -> list[Path]:
    """Drop the backups that are kept no longer, and return them; one that can't be read is told, and neither counted nor dropped."""
    by_time: dict[int, Path] = {}
    for path in backups_in(into):
        try:
            by_time[read_backup(path).made_ms] = path
        except Mendable as error:
            unread(path, error)
    dropped = [by_time[one] for one in to_drop(by_time)]
    for path in dropped:
        shutil.rmtree(path)
    return dropped


def backups_in(into: Path) -> list[Path]:
    """Return the folders of the backups under `into`, oldest first; drafts and other things are passed over."""
    try:
        return sorted(p for p in into.iterdir() if (p / MANIFEST).is_file() and not p.name.startswith("."))
    except OSError as error:
        raise Mendable(f"can't be read ({error.strerror})", where=str(into), mend="Name the folder that holds the backups.") from None


def _period(ms: int, period: str) -> str:
    day = datetime.fromtimestamp(ms / 1000, tz=UTC)
    return day.strftime({"day": "%Y-%m-%d", "week": "%G-%V", "month": "%Y-%m"}[period])


def _copy(book: Path, to: Path) -> None:
    try:
        source = sqlite3.connect(f"file:{quote(str(book.absolute()))}?mode=ro", uri=True, isolation_level=None, timeout=5)
        try:
            source.execute("VACUUM INTO ?", (str(to),))  # [V]
        finally:
            source.close()
    except sqlite3.Error as error:
        mend = "Look at the room on the disk for the backup; verify the book."
        raise Mendable(f"can't be copied ({error})", where=str(book), mend=mend) from error
    with to.open("rb+") as file:
        os.fsync(file.fileno())


def _describe(draft: Path, now: int) -> Backup:
    """Open the copy as it lies there, verify every book in it, and say what it is."""
    path = draft / BOOK
    length, digest = path.stat().st_size, digest_of_file(path)
    books: dict[str, tuple[int, bytes]] = {}
    notes: dict[str, tuple[str, ...]] = {}
    with open_book(path, write=False) as first:
        first.check()
        for practice in first.practices():
            store = first.of(practice)
            head = store.head()
            found = store.verify()
            _refuse_unsound(store, found)
            books[practice] = (head.size, head.root)
            notes[practice] = tuple(store.checkpoints())
    return Backup(draft, now, digest, length, books, notes)


def _verify(draft: Path, backup: Backup) -> dict[str, Verification]:
    found: dict[str, Verification] = {}
    with open_book(draft) as first:  # for writing: a book of an older schema is brought forward here
        first.check()
        if set(first.practices()) != set(backup.books):
            raise Mendable("other practices than were backed up", where=str(backup.file), mend="Take another backup.")
        for practice, (size, root) in backup.books.items():
            store = first.of(practice)
            anchors = [Anchor(size, root, "the backup's manifest")] if size else []
            for note in backup.checkpoints[practice]:
                held = parse_checkpoint(text_of(note))
                anchors += [held.anchor(f"the checkpoint of {held.size} entries")] if held.size else []
            found[practice] = store.verify(anchors=anchors)
            _refuse_unsound(store, found[practice])
    return found


def _refuse_unsound(store: SqliteStore, found: Verification) -> None:
    if not found.whole:
        what = f"the book of {store.practice} is not whole ({found.faults[0]})"
        raise Mendable(what, where=str(store.path), mend="Verify the book itself, and keep the earlier backups.")


def written(backup: Backup) -> bytes:
    """Return the bytes of the manifest."""
    return json.dumps(_manifest(backup), indent=1, sort_keys=True).encode() + b"\n"


def _manifest(backup: Backup) -> dict[str, Any]:
    said: dict[str, Any] = {
        "form": _FORM,
        "made_ms": backup.made_ms,
        "sha256": backup.digest,
        "length_bytes": backup.length_bytes,
        "books": {
            practice: {"size": size, "root": root.hex(), "checkpoints": list(backup.checkpoints[practice])}
            for practice, (size, root) in backup.books.items()
        },
    }
    return said | {"manifest_sha256": digest_of(json.dumps(said, sort_keys=True).encode())}
