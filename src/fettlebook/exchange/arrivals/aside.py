"""Files that could not be taken in: kept whole in a folder beside the book, each with its reasons, until a person has looked."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from fettlebook.book.kinds import digest_of
from fettlebook.errors import Mendable
from fettlebook.exchange.arrivals.arrived import Arrived, Outcome

PLAIN: Final = re.compile(r"[^A-Za-z0-9._-]+")
NAME_MOST: Final = 80
WHY: Final = ".why.txt"


@dataclass(frozen=True, slots=True)
class PutAside:
    """One file that waits for a person."""

    path: Path
    why: str


def aside_folder(book: Path) -> Path:
    """Return where a book's files lie that were put aside."""
    return book.with_name(f"{book.name}.aside")


def put_aside(folder: Path, arrived: Arrived, outcome: Outcome) -> Path:
    """Keep a file and why it was not taken in; the same file again changes nothing.

    The file's own name says nothing about where it goes: signs that a path could be made of become hyphens.

    Raises
    ------
    Mendable
        The folder can't be written: nothing is lost, the file stays where it came from.
    """
    safe = PLAIN.sub("-", arrived.name.replace("\\", "/").rpartition("/")[2]).strip("-.")[-NAME_MOST:] or "file"
    path = folder / f"{digest_of(arrived.content)[:16]}-{PLAIN.sub('-', arrived.source)[:40]}-{safe}"
    why = "\n".join(f"{one.where}: {one.what}. {one.mend}" for one in outcome.findings) or outcome.line
    came = datetime.fromtimestamp(arrived.at_ms / 1000, UTC).isoformat(timespec="seconds")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if not path.exists():
            draft = path.with_name(f".{path.name}.draft")
            draft.write_bytes(arrived.content)
            draft.replace(path)
        path.with_name(path.name + WHY).write_text(f"{arrived.name}, from {arrived.source}, written {came}\n{why}\n", "utf-8")
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise Mendable(f"can't be put aside: {reason}", where=str(folder), mend="Make room there, or give the right to write.") from None
    return path


def put_aside_files(folder: Path) -> Iterator[PutAside]:
    """Yield the files that wait, by name."""
    if not folder.is_dir():
        return
    for path in sorted(folder.iterdir()):
        why = path.with_name(path.name + WHY)
        if path.name.startswith(".") or path.name.endswith(WHY) or not path.is_file():
            continue
        yield PutAside(path, why.read_text("utf-8") if why.exists() else "")
