"""A book as one zip file that any program can read: the sealed bytes line by line, kept files, checkpoints; and back again.

| member | what it holds |
| --- | --- |
| `manifest.json` | form, practice, size, root, SHA-256 and length of each other member |
| `entries.jsonl` | the sealed bytes, one record per line, in order |
| `checkpoints.jsonl` | signed notes, one JSON text per line |
| `files/<sha256>` | kept files |
"""

import hashlib
import json
import os
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, Final

from fettlebook.book.files import sync_folder
from fettlebook.book.stores.base import Store
from fettlebook.book.stores.pruning import line_of
from fettlebook.errors import Mendable

FORM: Final = 1
LINE_MOST_BYTES: Final = 5 * 1024 * 1024
_MANIFEST_MOST: Final = 50_000_000
_DAMAGED: Final = "Export it again, or take another copy; this one was changed or cut."


@dataclass(frozen=True, slots=True)
class Exported:
    """What an export holds."""

    practice: str
    size: int
    root: bytes
    files: int


def export_book(store: Store, to: Path) -> Exported:
    """Write the whole book to a new zip file; others may write to the book meanwhile (what is there at the start goes out).

    Raises
    ------
    Mendable
        A file is there already, can't be written, or the book holds bytes that are not those of its root.
    """
    if to.exists():
        raise Mendable("a file is there already", where=str(to), mend="Name another file; it is never overwritten.")
    size = store.head().size
    root = store.root_at(size) if size else store.head().root
    draft = to.with_name(f".{to.name}.draft")
    members: dict[str, dict[str, Any]] = {}
    try:
        with zipfile.ZipFile(draft, "w", zipfile.ZIP_DEFLATED) as bundle:
            _put(bundle, "entries.jsonl", (line_of(row) + b"\n" for row in store.rows(until=size)), members)
            notes = (json.dumps(note, ensure_ascii=False).encode() + b"\n" for note in store.checkpoints())
            _put(bundle, "checkpoints.jsonl", notes, members)
            for digest, sound in store.files():
                if not sound:
                    raise Mendable("its bytes were changed", where=f"file {digest:.16}", mend="Verify the book; restore the last backup.")
                _put(bundle, f"files/{digest}", iter([store.file(digest)]), members)
            said = {"form": FORM, "practice": store.practice, "size": size, "root": root.hex(), "members": members}
            bundle.writestr("manifest.json", json.dumps(said, indent=1, sort_keys=True))
        with draft.open("rb+") as file:
            os.fsync(file.fileno())
        os.link(draft, to)
        sync_folder(to.parent)
    except OSError as error:
        raise Mendable(
            f"can't be written ({error.strerror})", where=str(to), mend="Name a file in a folder that you may write to."
        ) from None
    finally:
        with suppress(OSError):
            draft.unlink(missing_ok=True)
    return Exported(store.practice, size, root, len(members) - 2)


def practice_in(bundle: Path) -> str:
    """Return whose book an export is; raises `Mendable` where it is none."""
    try:
        with zipfile.ZipFile(bundle) as held:
            return str(_manifest_in(held, bundle)["practice"])
    except OSError as error:
        raise Mendable(f"can't be read ({error.strerror})", where=str(bundle), mend="Name the zip file of an export.") from None
    except (zipfile.BadZipFile, ValueError, KeyError, TypeError, EOFError, NotImplementedError, RuntimeError, zlib.error):
        raise Mendable("no export of a book, or damaged", where=str(bundle), mend=_DAMAGED) from None


def import_book(bundle: Path, store: Store) -> Exported:
    """Take an exported book into an empty one: the same sealed bytes, places and times of receipt; all of it or nothing.

    Raises
    ------
    Mendable
        The book is not empty, the bundle is damaged or of a newer form, or its entries do not give the root that it names.
    """
    try:
        with zipfile.ZipFile(bundle) as held:
            said = _manifest_in(held, bundle)
            members = said["members"]
            exported = Exported(said["practice"], said["size"], bytes.fromhex(said["root"]), len(members) - 2)
            for name in members:  # first all digests: nothing of a damaged bundle is taken
                for _ in _chunks(held, name, members[name], bundle):
                    pass
            store.take_sealed(
                _lines(held, "entries.jsonl"), size=exported.size, root=exported.root, files=_files(held, members), notes=_notes(held)
            )
            return exported
    except OSError as error:
        raise Mendable(f"can't be read ({error.strerror})", where=str(bundle), mend="Name the zip file of an export.") from None
    except (zipfile.BadZipFile, ValueError, KeyError, TypeError, EOFError, NotImplementedError, RuntimeError, zlib.error):
        raise Mendable("no export of a book, or damaged", where=str(bundle), mend=_DAMAGED) from None


def _put(bundle: zipfile.ZipFile, name: str, parts: Iterator[bytes], members: dict[str, dict[str, Any]]) -> None:
    digest, length = hashlib.sha256(), 0
    with bundle.open(zipfile.ZipInfo(name), "w", force_zip64=True) as out:
        for part in parts:
            out.write(part)
            digest.update(part)
            length += len(part)
    members[name] = {"sha256": digest.hexdigest(), "length_bytes": length}


def _manifest_in(held: zipfile.ZipFile, bundle: Path) -> dict[str, Any]:
    with held.open("manifest.json") as file:
        said = json.loads(file.read(_MANIFEST_MOST))
    if said["form"] != FORM:
        raise Mendable(f"an export of form {said['form']}", where=str(bundle), mend="Update fettlebook, then do it again.")
    if {"entries.jsonl", "checkpoints.jsonl"} - set(said["members"]) or set(held.namelist()) != {*said["members"], "manifest.json"}:
        raise Mendable("parts are missing or were added", where=str(bundle), mend=_DAMAGED)
    return dict(said)


def _chunks(held: zipfile.ZipFile, name: str, said: dict[str, Any], bundle: Path) -> Iterator[bytes]:
    digest, length = hashlib.sha256(), 0
    with held.open(name) as file:
        while part := file.read(1 << 16):
            length += len(part)
            if length > said["length_bytes"]:  # a small file that unpacks without end
                break
            digest.update(part)
            yield part
    if digest.hexdigest() != said["sha256"] or length != said["length_bytes"]:
        raise Mendable(f"{name} is not what was exported", where=str(bundle), mend=_DAMAGED)


def _lines(held: zipfile.ZipFile, name: str) -> Iterator[bytes]:
    with held.open(name) as file:
        yield from _ended(file)


def _ended(file: IO[bytes]) -> Iterator[bytes]:
    while line := file.readline(LINE_MOST_BYTES + 1):
        if not line.endswith(b"\n"):
            raise ValueError("a line without an end")
        yield line[:-1]


def _files(held: zipfile.ZipFile, members: dict[str, Any]) -> Iterator[tuple[str, bytes]]:
    for name in members:
        if name.startswith("files/"):
            content = held.read(name)
            digest = name.removeprefix("files/")
            if hashlib.sha256(content).hexdigest() != digest:
                raise ValueError("a file under another digest")
            yield digest, content


def _notes(held: zipfile.ZipFile) -> Iterator[str]:
    for line in _lines(held, "checkpoints.jsonl"):
        yield str(json.loads(line))
