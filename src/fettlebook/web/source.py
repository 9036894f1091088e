"""Reading one of the two source files whole, with a message where it can't be; and which file of a folder is the appointment book."""

from pathlib import Path
from typing import Final

from fettlebook.errors import Mendable

BOOKS: Final = (".ics", ".json")  # iCalendar, or a FHIR R4 Bundle
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


def newest_book(path: Path) -> Path:
    """Return the appointment book that is meant: the file itself, or the newest calendar or bundle in a folder of exports.

    Raises
    ------
    Mendable
        The folder holds neither.
    """
    if not path.is_dir():
        return path
    found = [(one.stat().st_mtime_ns, one) for one in path.iterdir() if one.suffix.lower() in BOOKS and not one.name.startswith(".")]
    if not found:
        raise Mendable(
            "no appointment book lies in this folder yet", where=str(path), mend="Export one there: a file ending in .ics or .json."
        )
    return max(found)[1]
