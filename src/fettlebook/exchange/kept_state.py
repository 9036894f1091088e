"""The fold of a book, kept in a file beside it: the next start reads that and adds what came since.

The file is a cache and nothing else: it may be dropped at any time, no backup takes it along, and it is taken only where it is whole, was
made by this very program, and the book has the root that it was made of. Anything else is folded anew, and the file is replaced.
"""

import hashlib
import json
from collections.abc import Callable, Iterator
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Any, Final

import fettlebook
from fettlebook.book.files import write_private
from fettlebook.book.stores import Store
from fettlebook.errors import Mendable
from fettlebook.standing.saved import NoStateError, state_from_lines, state_to_lines
from fettlebook.standing.state import State

FORM: Final = 1
KEEP_AFTER: Final = 2000  # entries that came since: fewer are folded again in no time
TOLD_EVERY: Final = 500
_MADE_BY: Final = ("book", "standing")  # folders of the program that decide what a state is


def state_of(store: Store, *, tell: Callable[[int], None] = lambda seen: None, kept: bool = True) -> State:
    """Return the state of all that a book holds.

    Parameters
    ----------
    tell
        Is told now and then how many entries are folded; what it raises ends the work.
    kept
        False: fold the book from its first entry, whatever was kept.
    """
    path = place_of(store) if kept else None
    state = (_read(path, store) if path is not None else None) or State(store.get)
    begun = state.seq
    for received in store.read(begun):
        state.add(received)
        if received.seq % TOLD_EVERY == 0:
            tell(received.seq)
    if path is not None and state.seq - begun >= KEEP_AFTER:
        with suppress(Mendable):  # a folder that can't be written: it takes longer, nothing else
            _write(path, store, state)
    return state


def place_of(store: Store) -> Path | None:
    """Return the file beside a book in a file; None for a book in a database."""
    path = getattr(store, "path", None)
    if not isinstance(path, Path):
        return None
    return path.with_name(f"{path.name}.{hashlib.sha256(store.practice.encode()).hexdigest()[:8]}.state")


def _write(path: Path, store: Store, state: State) -> None:
    body = b"".join(state_to_lines(state))
    head = _head(store, state.seq) | {"sha256": hashlib.sha256(body).hexdigest()}
    write_private(path, json.dumps(head).encode() + b"\n" + body)


def _read(path: Path, store: Store) -> State | None:
    """Return the state that is kept; None where there is none that can be taken."""
    try:
        with path.open("rb") as file:
            said = json.loads(file.readline(10_000))
            size = said["size"]
            if not isinstance(size, int) or not 1 <= size <= store.head().size:
                return None
            if said != _head(store, size) | {"sha256": hashlib.file_digest(file, "sha256").hexdigest()}:
                return None
            file.seek(0)
            file.readline()
            state = state_from_lines(_lines(file), store.get)
    except (OSError, ValueError, KeyError, TypeError, RecursionError, NoStateError, Mendable):
        return None
    return state if state.seq == size else None


def _lines(file: Any) -> Iterator[bytes]:
    yield from file


def _head(store: Store, size: int) -> dict[str, Any]:
    return {"form": FORM, "practice": store.practice, "size": size, "root": store.root_at(size).hex(), "program": _program()}


@cache
def _program() -> str:
    """Return what this program is, where that decides what a state is: a state of another one is never taken."""
    found = hashlib.sha256()
    folder = Path(fettlebook.__file__).parent
    for name in _MADE_BY:
        for path in sorted((folder / name).rglob("*.py")):
            found.update(path.relative_to(folder).as_posix().encode() + b"\0" + path.read_bytes() + b"\0")
    return found.hexdigest()
