"""Reading one of the two source files whole, with a message where it can't be."""

from pathlib import Path
from typing import Final

from fettlebook.errors import Mendable

MOST_BYTES: Final = 20_000_000  # as the calendar reader takes; a wrong file may be of any size


def read_whole(path: Path) -> bytes:
    """Return a file's bytes.

    Raises
    ------
    Mendable
        There is no such file, it is a folder, it may not be read, or it is far too large to be what it should be.
    """
    try:
        with path.open("rb") as stream:
            data = stream.read(MOST_BYTES + 1)
    except FileNotFoundError:
        raise Mendable(
            "there is no such file", where=str(path), mend="Correct the name, or write a first one: fettlebook demo DIR."
        ) from None
    except IsADirectoryError:
        raise Mendable("this is a folder, not a file", where=str(path), mend="Name the file inside it.") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "the name can't be a file's name"
        raise Mendable(f"the file can't be read: {reason}", where=repr(str(path)), mend="Name a file that this user may read.") from None
    if len(data) > MOST_BYTES:
        raise Mendable(
            f"more than {MOST_BYTES // 1_000_000} MB", where=str(path), mend="Is it the right file? Name another, or export less."
        )
    return data
