"""The practice's secret key: 32 random bytes in a file that only its owner can read.

With it, and only with it, a visit's reference can be matched to the calendar's entry. It belongs beside the
database, into the backup, and never into an export.
"""

import contextlib
import os
import secrets
from pathlib import Path
from typing import Final

from fettlebook.errors import Mendable

KEY_BYTES: Final = 32


def check_key(key: bytes, where: str = "key") -> bytes:
    """Return the key if it has the right size, else say so (never showing it)."""
    if len(key) != KEY_BYTES:
        raise Mendable(
            f"the key has {len(key)} bytes; it needs {KEY_BYTES}",
            where=where,
            mend="Put the key file back from the backup. A new key makes new references: visits of the past are then not recognised.",
        )
    return key


def beside(data: Path) -> Path:
    """Return where the key of a book's references stands: `book.sqlite.visits`.

    An earlier edition kept it where the signing key belongs (`book.sqlite.key`): one of its size there is still that key, and
    stays, because a new one would make new references.
    """
    earlier = data.with_name(f"{data.name}.key")
    try:
        if earlier.stat().st_size == KEY_BYTES:
            return earlier
    except OSError:
        pass
    return data.with_name(f"{data.name}.visits")


def load_or_make_key(path: Path) -> bytes:
    """Return the key in `path`; make one there if there is no file yet.

    Two programs that start at once end up with the same key: the file appears whole or not at all, and only once.

    Raises
    ------
    Mendable
        The file has another size, or can't be read or written.
    """
    try:
        if not path.exists():
            path.parent.mkdir(parents=True, exist_ok=True)
            _make(path)
        with path.open("rb") as stream:
            key = stream.read(KEY_BYTES + 1)
        if os.name == "posix" and path.stat().st_mode & 0o077:
            path.chmod(0o600)  # a copy from a backup may have come back readable by all
    except OSError as error:
        reason = error.strerror or type(error).__name__
    else:
        return check_key(key, str(path))
    raise Mendable(
        f"the key file can't be used: {reason}", where=str(path), mend="Give this program's user the right to read and write there."
    )


def _make(path: Path) -> None:
    draft = path.with_name(f".{path.name}.{secrets.token_hex(8)}")
    try:
        _write(draft)
        with contextlib.suppress(FileExistsError):  # another program was quicker: its key is the key
            try:
                os.link(draft, path)
            except FileExistsError:
                raise
            except OSError:  # a disk without hard links
                _write(path)
    finally:
        draft.unlink(missing_ok=True)


def _write(path: Path) -> None:
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as stream:
        stream.write(secrets.token_bytes(KEY_BYTES))
        stream.flush()
        os.fsync(stream.fileno())
