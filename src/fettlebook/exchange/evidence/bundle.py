"""The bundle on disk: written beside its place under another name, then renamed. On any fault nothing is left.

| file | what it holds |
| --- | --- |
| `report.pdf` | the document |
| `entries.jsonl` | sealed records, one a line, in order |
| `tree.jsonl` | hashes that stand for the records not shown: {"first","last","hash"} |
| `checkpoint.txt` | size and root, as a signed note |
| `earlier.jsonl` | earlier checkpoints with proofs of growth: {"note","proof"} |
| `vkey.txt` | the keys that signed, one a line |
| `figures.json` | every number with the entries that it counts |
| `files/<sha256>` | kept files that the entries name |
| `check.py`, `README.txt` | how to check it |
| `manifest.json`, `manifest.note` | SHA-256 and length of each of the former; its SHA-256, signed |
"""

import hashlib
import json
import os
import shutil
import tempfile
import zipfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from importlib.resources import files as packaged
from pathlib import Path
from typing import Any, Final

from fettlebook.book.files import sync_folder
from fettlebook.book.notes import Signer, sign_note
from fettlebook.book.stores import Store
from fettlebook.book.tree import consistency_proof
from fettlebook.errors import Mendable
from fettlebook.exchange.evidence.sealed import Chosen, cover, hash_at
from fettlebook.exchange.evidence.seals import Seals

MANIFEST_TITLE: Final = "fettlebook evidence manifest of "
EARLIEST_IN_A_ZIP: Final = (1980, 1, 1, 0, 0, 0)


class Writing:
    """A folder that is being written; every file goes into the manifest."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.members: dict[str, dict[str, Any]] = {}

    def put(self, name: str, content: bytes | Iterable[bytes]) -> str:
        """Write a file; return its SHA-256."""
        digest, length = hashlib.sha256(), 0
        path = self.folder / name
        path.parent.mkdir(exist_ok=True)
        with path.open("xb") as out:
            for part in (content,) if isinstance(content, bytes) else content:
                out.write(part)
                digest.update(part)
                length += len(part)
            out.flush()
            os.fsync(out.fileno())
        self.members[name] = {"sha256": digest.hexdigest(), "length_bytes": length}
        return digest.hexdigest()

    def finish(self, signer: Signer | None) -> None:
        """Write the manifest and, with a key, its signature."""
        raw = canonical({"files": self.members})
        (self.folder / "manifest.json").write_bytes(raw)
        if signer is not None:
            text = f"{MANIFEST_TITLE}{signer.name}\n{hashlib.sha256(raw).hexdigest()}\n"
            (self.folder / "manifest.note").write_bytes(sign_note(text, signer).encode())


def canonical(data: Any) -> bytes:
    """Return data as JSON in one spelling: sorted keys, no spaces, ASCII."""
    return json.dumps(data, sort_keys=True, separators=(",", ":")).encode()


@contextmanager
def new_folder(to: Path) -> Iterator[Writing]:
    """Give a folder to write into, which is at `to` when all went well; otherwise nothing is left.

    Raises
    ------
    Mendable
        Something is at `to` already (an empty folder is taken), or the disk refuses.
    """
    refuse_taken(to)
    draft: Path | None = None
    try:
        to.parent.mkdir(parents=True, exist_ok=True)
        draft = Path(tempfile.mkdtemp(prefix=f".{to.name[:80]}.", suffix=".draft", dir=to.parent))
        yield Writing(draft)
        os.chmod(draft, 0o755)  # noqa: S103 - made for its owner only; it is meant for others
        os.replace(draft, to)  # an empty folder gives way, anything else makes this fail
        sync_folder(to.parent)
        draft = None
    except OSError as error:
        mend = "Name a new folder on a disk with room, in a place that you may write to."
        raise Mendable(f"can't be written ({error.strerror})", where=str(to), mend=mend) from None
    finally:
        if draft is not None:
            shutil.rmtree(draft, ignore_errors=True)


def refuse_taken(to: Path) -> None:
    """Raise `Mendable` where something stands at this place already: asked before the long work, and again by the rename."""
    with suppress(OSError):
        if to.is_symlink() or (to.exists() and not (to.is_dir() and not any(to.iterdir()))):
            raise Mendable("something is there already", where=str(to), mend="Name a new folder; what is there is never overwritten.")


def write_records(writing: Writing, store: Store, chosen: Chosen) -> None:
    """Write the sealed records that go in, and the hashes of the others."""
    wanted = frozenset(chosen.seqs)
    rows = store.rows(until=chosen.size)
    writing.put("entries.jsonl", (row.leaf + b"\n" for row in rows if row.seq in wanted))
    gaps = ({"first": first, "last": last, "hash": held.hex()} for first, last, held in cover(chosen))
    writing.put("tree.jsonl", (canonical(one) + b"\n" for one in gaps))


def write_seals(writing: Writing, held: Seals, chosen: Chosen) -> None:
    """Write checkpoint, keys and earlier checkpoints with their proofs."""
    writing.put("checkpoint.txt", (held.note or held.checkpoint.text() + "\n").encode())
    writing.put("vkey.txt", "".join(f"{key}\n" for key in held.keys).encode())
    proofs = (
        {"note": note, "proof": [h.hex() for h in consistency_proof(old.size, chosen.size, lambda level, n: hash_at(chosen, level, n))]}
        for old, note in held.earlier
    )
    writing.put("earlier.jsonl", (canonical(one) + b"\n" for one in proofs))


def write_files(writing: Writing, store: Store, digests: Iterable[str], tell: Callable[[str, int, int], None]) -> tuple[str, ...]:
    """Write the kept files; return those that are not in the book any more, or not as they were."""
    missing = []
    for number, digest in enumerate(digests):
        try:
            content = store.file(digest)
        except Mendable:
            missing.append(digest)
            continue
        writing.put(f"files/{digest}", content)
        if number % 50 == 0:
            tell("copying kept files", number, 0)
    return tuple(missing)


def write_how_to(writing: Writing, words: str) -> None:
    """Write the script that checks the bundle, byte for byte as it is in this program, and the few words beside it."""
    writing.put("check.py", packaged("fettlebook.exchange.evidence").joinpath("check.py").read_bytes())
    writing.put("README.txt", words.encode())


def zip_bytes_to(folder: Path, to: Path) -> None:
    """Pack a bundle as one zip file, always the same bytes for the same bundle."""
    with zipfile.ZipFile(to, "w", zipfile.ZIP_DEFLATED) as packed:
        for path in sorted(p for p in folder.rglob("*") if p.is_file()):
            name = zipfile.ZipInfo(path.relative_to(folder).as_posix(), EARLIEST_IN_A_ZIP)
            name.compress_type = zipfile.ZIP_DEFLATED
            with packed.open(name, "w", force_zip64=True) as out, path.open("rb") as held:
                shutil.copyfileobj(held, out, 1 << 20)
