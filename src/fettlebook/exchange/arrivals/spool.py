"""Putting what came by an address or a broker into the folder of arrivals: durable before the sender hears that it came."""

import contextlib
import os
import re
import secrets
from pathlib import Path
from typing import Final

from fettlebook.book.kinds import digest_of
from fettlebook.errors import Mendable

SOURCE: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9 ._-]{0,59}")  # as ids of the practice file
PLAIN: Final = re.compile(r"[^A-Za-z0-9._-]+")
NAME_MOST: Final = 80


def spool(folder: Path, source: str, name: str, content: bytes, at_ms: int) -> Path:
    """Write a file into the folder of its source; return where it lies once it is durable. The same content again changes nothing.

    Raises
    ------
    Mendable
        The source can't be a machine's id, or the folder can't be written.
    """
    if SOURCE.fullmatch(source) is None or source.strip(". ") == "":
        raise Mendable(f"{source[:60]!r} can't be a source", where="source", mend='Name a machine of the practice file, or "laboratory".')
    safe = PLAIN.sub("-", name.replace("\\", "/").rpartition("/")[2]).strip("-.")[-NAME_MOST:] or "file"
    into = folder / source
    path = into / f"{digest_of(content)[:16]}-{safe}"
    draft = into / f".{path.name}.{secrets.token_hex(4)}"
    try:
        into.mkdir(parents=True, exist_ok=True)
        if path.exists():
            return path
        with draft.open("wb") as out:
            out.write(content)
            out.flush()
            os.fsync(out.fileno())
        os.utime(draft, (at_ms / 1000, at_ms / 1000))
        draft.replace(path)
        _sync(into)
    except OSError as error:
        with contextlib.suppress(OSError):
            draft.unlink(missing_ok=True)
        reason = error.strerror or type(error).__name__
        raise Mendable(f"can't be kept: {reason}", where=str(folder), mend="Make room there; the sender sends it again.") from None
    return path


def _sync(folder: Path) -> None:
    """Make the folder's new name durable too, where the system can."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
