"""The answers on disk: setup.json in the folder, whole after each answer, so that a power cut costs one question at most."""

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from fettlebook.book.files import write_private
from fettlebook.errors import Mendable
from fettlebook.exchange.setup.asking import MOST_SIGNS

FORM: Final = 1
NAME: Final = "setup.json"
MOST_BYTES: Final = 5_000_000


@dataclass(slots=True)
class Answers:
    """What was typed, by question: `taken` counts; `earlier` was gone back over; `refused` could not be taken, and is not lost."""

    taken: dict[str, str] = field(default_factory=dict)
    earlier: dict[str, str] = field(default_factory=dict)
    refused: dict[str, str] = field(default_factory=dict)
    done: bool = False  # whether it ended in a practice file


def read_answers(folder: Path) -> Answers:
    """Return the answers kept in a folder; none where there is no setup.json.

    Raises
    ------
    Mendable
        The file can't be read, or is none of this program's; it is left as it is.
    """
    path = folder / NAME
    try:
        if path.stat().st_size > MOST_BYTES:
            raise _foreign(path)
        data = json.loads(path.read_bytes())
    except FileNotFoundError:
        return Answers()
    except OSError as error:
        raise Mendable(f"can't be read: {error.strerror}", where=str(path), mend="Look at the rights of file and folder.") from None
    except (ValueError, RecursionError):
        raise _foreign(path) from None
    if not isinstance(data, dict) or data.get("form") != FORM:
        raise _foreign(path)
    parts: list[dict[str, str]] = []
    for name in ("taken", "earlier", "refused"):
        kept = data.get(name, {})
        if not isinstance(kept, dict) or not all(isinstance(v, str) and len(v) <= MOST_SIGNS for v in kept.values()):
            raise _foreign(path)
        parts.append(dict(kept))
    return Answers(parts[0], parts[1], parts[2], data.get("done") is True)


def keep_answers(folder: Path, answers: Answers) -> None:
    """Write the answers, durably and whole; raises `Mendable` where the folder can't be written to."""
    data = {"form": FORM, "taken": answers.taken, "earlier": answers.earlier, "refused": answers.refused, "done": answers.done}
    write_private(folder / NAME, (json.dumps(data, indent=1, ensure_ascii=False) + "\n").encode("utf-8", "surrogatepass"))


def make_folder(folder: Path) -> None:
    """Make the folder, and see that it can be written to; raises `Mendable` where not."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except FileExistsError:
        raise Mendable("this is a file, not a folder", where=str(folder), mend="Name a folder; it is made where there is none.") from None
    except OSError as error:
        mend = "Name a folder that you may write to, such as one in your home."
        raise Mendable(f"the folder can't be made: {error.strerror}", where=str(folder), mend=mend) from None


def _foreign(path: Path) -> Mendable:
    return Mendable(
        "this is not a set-up that this program can go on with",
        where=str(path),
        mend="Move the file away to begin anew; nothing was changed.",
    )
