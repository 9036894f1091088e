"""Writing a file whole or not at all."""

import os
import tempfile
from pathlib import Path

from fettlebook.errors import Mendable


def write_whole(path: Path, content: str | bytes, *, encoding: str = "utf-8") -> None:
    """Write `content` (text in `encoding`) to `path` through a draft beside it, so that nobody ever finds half a file.

    Raises
    ------
    Mendable
        The folder is missing, or nothing may be written there; what stood at `path` is unchanged.
    """
    draft = ""
    try:
        handle, draft = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        with os.fdopen(handle, "wb") as out:
            out.write(content.encode(encoding) if isinstance(content, str) else content)
        umask = os.umask(0)
        os.umask(umask)
        os.chmod(draft, 0o666 & ~umask)  # a draft is private; the file gets the rights that any new file gets
        os.replace(draft, path)
    except OSError as error:
        if draft and os.path.exists(draft):
            os.unlink(draft)
        raise Mendable(
            f"can't be written: {error.strerror}", where=str(path), mend="Name a file in a folder that you may write to."
        ) from None
