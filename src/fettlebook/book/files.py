"""Writing a file whole, durably and for its owner only: under another name first, then renamed."""

import hashlib
import os
import tempfile
from contextlib import suppress
from pathlib import Path

from fettlebook.errors import Mendable


def write_private(path: Path, content: bytes) -> None:
    """Write `content` to `path`, replacing what is there; on return it is durable, and no crash leaves half of it.

    Raises
    ------
    Mendable
        The folder can't be written; what stood there is unchanged.
    """
    draft = ""
    try:
        handle, draft = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")  # mode 600
        with os.fdopen(handle, "wb") as out:
            out.write(content)
            out.flush()
            os.fsync(out.fileno())
        os.replace(draft, path)
        sync_folder(path.parent)
    except OSError as error:
        if draft and os.path.exists(draft):
            os.unlink(draft)
        raise Mendable(
            f"can't be written: {error.strerror}", where=str(path), mend="Name a file in a folder that you may write to."
        ) from None


def sync_folder(folder: Path) -> None:
    """Make what was renamed in this folder durable."""
    with suppress(OSError, AttributeError):  # a folder can't be opened on Windows, where the rename is safe without
        opened = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(opened)
        finally:
            os.close(opened)


def digest_of_file(path: Path) -> str:
    """Return the SHA-256 of a file's bytes in hexadecimal."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise Mendable(f"can't be read ({error.strerror})", where=str(path), mend="Look for the file, and at its rights.") from None
