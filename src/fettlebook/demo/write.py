"""Files into a directory: all or none, and never over something that somebody has changed."""

import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

from fettlebook.errors import Finding, Mendable


def write_files(directory: Path, contents: Mapping[str, bytes], *, overwrite: bool = False) -> dict[str, bool]:
    """Write each content under its name into `directory`, which is made if it is missing.

    Returns
    -------
    dict[str, bool]
        Name -> whether it was written; False where a file of the same content stood there already.

    Raises
    ------
    Mendable
        A file of another content stands there and `overwrite` is off, or the directory can't be written. Nothing is
        written then, and every such file is named.
    """
    try:
        directory.mkdir(parents=True, exist_ok=True)
        standing = {name: (directory / name).read_bytes() if (directory / name).exists() else None for name in contents}
        changed = [name for name in contents if standing[name] not in (None, contents[name])]
        if changed and not overwrite:
            raise Mendable.of(
                [
                    Finding(
                        "a file of this name and another content stands here",
                        str(directory / name),
                        "Name another directory, or add --overwrite.",
                    )
                    for name in changed
                ]
            )
        to_write = {name: content for name, content in contents.items() if standing[name] != content}
        _write_all(directory, to_write)
    except (FileExistsError, NotADirectoryError):
        raise Mendable("this is a file, not a directory", where=str(directory), mend="Name a directory.") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "the name can't be a directory's name"
        raise Mendable(
            f"the files can't be written: {reason}", where=str(directory), mend="Name a directory that may be written."
        ) from None
    return {name: name in to_write for name in contents}


def _write_all(directory: Path, contents: Mapping[str, bytes]) -> None:
    """Write every file beside its place first; only when all are complete do they take their names."""
    waiting: dict[str, str] = {}
    try:
        for name, content in contents.items():
            handle, waiting[name] = tempfile.mkstemp(dir=directory, prefix=f".{name}.")
            with os.fdopen(handle, "wb") as stream:
                stream.write(content)
                stream.flush()
                os.fsync(stream.fileno())
                os.chmod(waiting[name], 0o644)  # mkstemp's files are for one user only
        for name in contents:
            os.replace(waiting[name], directory / name)
            del waiting[name]
    finally:
        for left in waiting.values():
            os.unlink(left)
