"""A whole practice in one folder, to carry to another machine: files, book, keys, people, certificates; each with its digest.

The book goes as a backup does: verified when it is copied, and held against its root and its signed checkpoints when it is put to its new
place. Its tree, its devices' numbers and its key are the same there, so every checkpoint, receipt and tablet goes on fitting.
The folder holds secrets, also the keys of people's own words: it is for the way only.
"""

import json
import os
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote

from fettlebook.book.backup import Backup, back_up, read_backup, restore
from fettlebook.book.files import digest_of_file, sync_folder, write_private
from fettlebook.book.kinds import digest_of, from_ms
from fettlebook.book.moved import mark_moved
from fettlebook.book.stores import open_book
from fettlebook.errors import Mendable
from fettlebook.practice.load import load_practice

MANIFEST: Final = "moving.json"
README: Final = "READ ME FIRST.txt"
COPY: Final = "book"  # the folder with the copy of the book, as a backup
PRACTICE: Final = "practice.toml"
BOOK: Final = "book.sqlite"
_FORM: Final = 1
# What stands beside a book by the ending of its name, and goes along where it is there.
BESIDE: Final[dict[str, str]] = {
    ".key": "the key that signs checkpoints",
    ".key.signed": "what that key signed last",
    ".visits": "the key of visits' references",
    ".people": "PINs, badges and devices",
    ".pepper": "the key of PINs and badges",
    ".words": "the keys of people's own words",
    ".word": "what other programs were told",
    ".tls": "the practice's authority and the server's certificate",
    ".aside": "files that were put aside",
}
# These are made again on the new machine, hold nothing of their own, or are the way back to an older program.
STAYS: Final = (".writer", ".lock", ".new", ".state", ".state-key", ".moved", "-wal", "-shm", "-journal", ".schema-")


@dataclass(frozen=True, slots=True)
class Moving:
    """A practice on its way. `files` has digest and length by name inside the folder; the book stands apart, as a backup."""

    folder: Path
    practice: str
    made_ms: int
    stays: bool  # the book of the old machine stays in use: a trial
    files: dict[str, tuple[str, int]]
    copy: Backup

    @property
    def size(self) -> int:
        """How many entries the book had."""
        return self.copy.books[self.practice][0]

    @property
    def root(self) -> bytes:
        """The one hash that stands for them."""
        return self.copy.books[self.practice][1]


def move_out(practice_file: Path, appointments: Path | None, book: Path, to: Path, *, now: int, stays: bool = False) -> Moving:
    """Pack a practice into a new folder `to`, read it again as it lies there, and close the book here.

    `stays` leaves the book here in use: for a trial of the other machine.

    Raises
    ------
    Mendable
        The folder is there already, a page is open, the practice file or the book is not in order, or the disk is full. Nothing is changed.
    """
    practice = load_practice(practice_file).practice.id
    if not book.exists():
        raise Mendable("no such file", where=str(book), mend="Name the book with --data.")
    _refuse_there(to)
    draft = _draft_of(to)
    with open_book(book, practice) as held:  # alone: nobody writes while its keys and people are copied
        if practice not in held.practices():
            mend = f"Name the practice file of this book ({', '.join(held.practices()):.200})."
            raise Mendable(f"no book of {practice!r} in it", where=str(book), mend=mend)
        try:
            shutil.rmtree(draft, ignore_errors=True)
            draft.mkdir(mode=0o700, parents=True)
            files = dict(_put(practice_file, draft / PRACTICE, draft))
            if appointments is not None:
                files |= _put(appointments, draft / f"book{appointments.suffix.lower()}", draft)
            for ending in BESIDE:
                files |= _put(book.with_name(book.name + ending), draft / f"{BOOK}{ending}", draft)
            copied = back_up(book, draft / "copies", now=now)
            os.rename(copied.folder, draft / COPY)
            os.rmdir(draft / "copies")
            moving = Moving(draft, practice, now, stays, files, read_backup(draft / COPY))
            write_private(draft / README, _readme(moving).encode())
            write_private(draft / MANIFEST, _written(moving))
            read_moving(draft)  # the disk gives back what was written
            sync_folder(draft)
            os.rename(draft, to)
            sync_folder(to.parent)
        except OSError as error:
            raise _unwritable(error, to) from None
        except sqlite3.Error as error:
            mend = "Look at the room on the disk, and at the people file beside the book."
            raise Mendable(f"can't be copied ({error})", where=f"{book}.people", mend=mend) from None
        finally:
            shutil.rmtree(draft, ignore_errors=True)
        if not stays:
            mark_moved(book, from_ms(now), to)
    return read_moving(to)


def read_moving(folder: Path) -> Moving:
    """Return the practice that is packed in this folder; raises `Mendable` where anything in it is not what was packed."""
    path = folder / MANIFEST
    damaged = Mendable("the list of this folder is damaged", where=str(path), mend="Pack it again on the old machine.")
    try:
        raw = path.read_bytes()
        said = json.loads(raw)
        form = said["form"]
        files = {str(name): (str(one["sha256"]), int(one["length_bytes"])) for name, one in said["files"].items()}
        practice, made, stays = str(said["practice"]), int(said["made_ms"]), said["stays"] is True
    except OSError as error:
        mend = "Name the folder that `fettlebook move out` made."
        raise Mendable(f"no practice is packed here ({error.strerror})", where=str(folder), mend=mend) from None
    except (ValueError, KeyError, TypeError, AttributeError):
        raise damaged from None
    if form != _FORM:
        raise Mendable(f"packed in form {form}", where=str(path), mend="Update fettlebook on this machine, then do it again.")
    copy = read_backup(folder / COPY)
    moving = Moving(folder, practice, made, stays, files, copy)
    if raw != _written(moving) or practice not in copy.books or any(Path(name).is_absolute() or ".." in Path(name).parts for name in files):
        raise damaged
    for name, (digest, _) in files.items():
        if digest_of_file(folder / name) != digest:
            raise Mendable("this is not what was packed", where=str(folder / name), mend="Pack it again on the old machine.")
    return moving


def move_in(folder: Path, to: Path) -> Moving:
    """Put a packed practice to the folder `to`, which is new or empty: all of it, verified, or nothing.

    Raises
    ------
    Mendable
        Something is in `to` already, the packed folder was changed, the book is not whole, or the disk is full. `to` is as before then.
    """
    moving = read_moving(folder)
    if to.exists() and (not to.is_dir() or any(to.iterdir())):
        mend = "Name a new folder. What is there is never overwritten."
        raise Mendable("there is something in this folder already", where=str(to), mend=mend)
    draft = _draft_of(to)
    try:
        shutil.rmtree(draft, ignore_errors=True)  # of a move that was cut short
        draft.mkdir(mode=0o700, parents=True)
        for name, (digest, _) in moving.files.items():
            _copy(folder / name, draft / name, secret=_is_secret(name))
            if digest_of_file(draft / name) != digest:
                raise Mendable("this is not what was packed", where=str(draft / name), mend="Do it again; look at the disk.")
        restore(moving.copy, draft / BOOK)
        (draft / BOOK).chmod(0o600)
        load_practice(draft / PRACTICE)
        sync_folder(draft)
        os.rename(draft, to)
        sync_folder(to.parent)
    except OSError as error:
        raise _unwritable(error, to) from None
    finally:
        shutil.rmtree(draft, ignore_errors=True)
    return moving


def missing(moving: Moving) -> list[str]:
    """Return what a practice usually has beside its book and this one has not: a signing key that was put away, for instance."""
    there = {Path(name).parts[0] for name in moving.files}
    return [what for ending, what in BESIDE.items() if f"{BOOK}{ending}" not in there and ending not in {".key.signed", ".word", ".aside"}]


def _put(source: Path, target: Path, draft: Path) -> Iterator[tuple[str, tuple[str, int]]]:
    """Copy a file, or a folder with its files, and say what was copied; nothing where there is none."""
    found = [source] if source.is_file() else sorted(p for p in source.rglob("*") if p.is_file()) if source.is_dir() else []
    for one in found:
        place = target if source.is_file() else target / one.relative_to(source)
        name = place.relative_to(draft).as_posix()
        _copy(one, place, secret=_is_secret(name), database=name == f"{BOOK}.people")
        yield name, (digest_of_file(place), place.stat().st_size)


def _is_secret(name: str) -> bool:
    return name.startswith(BOOK)  # practice file and appointment book are none, and other programs write them


def _copy(source: Path, target: Path, *, secret: bool, database: bool = False) -> None:
    """Copy one file, a secret for its owner's eyes only; a database as one whole state of it."""
    target.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    os.close(os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
    if database:
        with closing(sqlite3.connect(f"file:{quote(str(source.absolute()))}?mode=ro", uri=True, timeout=5)) as held:
            held.execute("VACUUM INTO ?", (str(target),))
    else:
        shutil.copyfile(source, target)
    if not secret:
        with suppress(OSError):  # a stick without rights
            target.chmod(0o644)
    with target.open("rb+") as file:
        os.fsync(file.fileno())


def _refuse_there(to: Path) -> None:
    if to.exists():
        raise Mendable("there is something of this name already", where=str(to), mend="Name a new folder. It is never overwritten.")


def _draft_of(to: Path) -> Path:
    return to.with_name(f".{to.name}.draft")


def _unwritable(error: OSError, to: Path) -> Mendable:
    mend = "Give a folder that you may write to, with room for all of it. Nothing was moved, and nothing half is left."
    return Mendable(f"can't be written ({error.strerror})", where=str(to), mend=mend)


def _written(moving: Moving) -> bytes:
    said: dict[str, Any] = {
        "form": _FORM,
        "practice": moving.practice,
        "made_ms": moving.made_ms,
        "stays": moving.stays,
        "files": {name: {"sha256": digest, "length_bytes": length} for name, (digest, length) in sorted(moving.files.items())},
        "book": {"folder": COPY, "sha256": moving.copy.digest, "size": moving.size, "root": moving.root.hex()},
    }
    whole = said | {"manifest_sha256": digest_of(json.dumps(said, sort_keys=True).encode())}
    return json.dumps(whole, indent=1, sort_keys=True).encode() + b"\n"


def _readme(moving: Moving) -> str:
    return (
        f"The practice {moving.practice} with {moving.size} entries, packed on {from_ms(moving.made_ms):%Y-%m-%d at %H:%M} UTC.\n"
        "On the new machine:  fettlebook move in THIS-FOLDER NEW-FOLDER\n"
        "This folder holds keys: whoever has it can sign for the practice. Carry it yourself, and delete it once the practice runs there.\n"
    )
