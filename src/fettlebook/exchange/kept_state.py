"""The fold of a book, kept beside it: the next start takes down what it needs of that and adds what came since, however long the book is.

What is kept is a cache and nothing else: it may be dropped at any time, no backup takes it along, and it is taken only where a key proves
it, it was made by this very program, and the book has the root that it was made of. Anything else is folded anew.
"""

import hashlib
import sys
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, Final

import fettlebook
from fettlebook.book.kinds import BookPruned
from fettlebook.book.stores import Store
from fettlebook.errors import Mendable
from fettlebook.exchange.kept_file import KeptElsewhereError, KeptFile
from fettlebook.exchange.kept_key import kept_key
from fettlebook.standing.saved import fresh_on, keep, state_on
from fettlebook.standing.shelf import NoStateError
from fettlebook.standing.state import State

FORM: Final = 4
KEEP_AFTER: Final = 2000  # entries that came since: fewer are folded again in no time
KEEP_EVERY: Final = 100_000  # in a long fold: so much and no more of it is in memory
TOLD_EVERY: Final = 500
# Parts of the program that decide what a state is. How it is judged is not among them: a better rule needs no new fold.
_MADE_BY: Final = (
    *("book/canonical.py", "book/entries.py", "book/kinds", "book/received.py"),
    *("exchange/kept_file.py", "exchange/kept_state.py"),
    *(f"standing/{name}.py" for name in ("amend", "facts", "gaps", "moved", "older", "saved", "state", "streams")),
)


class KeptFold:
    """The fold of one book and where it is kept.

    Parameters
    ----------
    tell
        Is told now and then how many entries are folded; what it raises ends the work.
    kept
        False: fold the book from its first entry, in memory, whatever was kept.
    afresh
        True: fold the book from its first entry, and keep that.

    Raises
    ------
    Mendable
        The book can't be read.
    """

    def __init__(self, store: Store, *, tell: Callable[[int], None] = lambda seen: None, kept: bool = True, afresh: bool = False) -> None:
        self._store, self._tell = store, tell
        self._file = _file_of(store) if kept else None
        self._on_file = 0  # entries that what is on the shelf is made of
        try:
            self.state = self._begin(afresh=afresh)
            self._add_all()
        except NoStateError:  # found out only now, when something was asked for
            self.state = self._begin(afresh=True)
            self._add_all()

    def keep_up(self) -> None:
        """Keep the state again where much came since it was kept."""
        if self.state.seq - self._on_file >= KEEP_AFTER:
            self._keep()

    def drop(self) -> None:
        """Remove what is kept, where it can't be taken: the next start folds the book afresh."""
        if self._file is not None:
            self._file.drop()

    def _begin(self, *, afresh: bool) -> State:
        file = self._file
        if file is None:
            return self._begun(State(self._store.get))
        if not afresh and (state := self._taken(file)) is not None:
            self._on_file = state.seq
            return state
        self._on_file = 0
        file.begin()
        return self._begun(fresh_on(file, self._store.get))

    def _begun(self, state: State) -> State:
        state.begin_after(self._store.pruned_numbers())
        return state

    def _taken(self, file: KeptFile) -> State | None:
        """Return the state that is kept; None where there is none that can be taken."""
        try:
            file.open()
            size = file.stamp.get("size")
            if not isinstance(size, int) or not 1 <= size <= self._store.head().size or file.stamp != _stamp(self._store, size):
                return None
            state = state_on(file, self._store.get, file.head)
        except Mendable:
            return None
        return state if state.seq == size else None

    def _add_all(self) -> None:
        state = self.state
        for received in self._store.read(state.seq):
            state.add(received)
            if received.seq % TOLD_EVERY == 0:
                self._tell(received.seq)
            if state.seq - self._on_file >= KEEP_EVERY:
                self._keep()
                if self.state is not state:
                    return  # it could not be kept, and has been folded in memory
        self.keep_up()

    def _keep(self) -> None:
        if self._file is None:
            return
        self._file.stamp = _stamp(self._store, self.state.seq)
        try:
            keep(self.state, self._file)
            self._on_file = self.state.seq
        except KeptElsewhereError:
            self._on_file = self.state.seq  # another process keeps it: all the same to the next start
        except (OSError, Mendable):  # a folder that can't be written: it takes longer, nothing else
            self._file.drop()
            self._file = None
            self.state = self._begun(State(self._store.get))
            self._add_all()


def state_of(store: Store, *, tell: Callable[[int], None] = lambda seen: None, kept: bool = True) -> State:
    """Return the state of all that a book holds; see `KeptFold`."""
    return KeptFold(store, tell=tell, kept=kept).state


def place_of(store: Store) -> Path | None:
    """Return the file beside a book; None for a book in a database that was given no place on this machine."""
    path = _named_after(store)
    return None if path is None else path.with_name(f"{path.name}.{hashlib.sha256(store.practice.encode()).hexdigest()[:8]}.state")


def _named_after(store: Store) -> Path | None:
    path = getattr(store, "path", None) or getattr(store, "kept_beside", None)
    return path if isinstance(path, Path) else None


def _file_of(store: Store) -> KeptFile | None:
    place, path = place_of(store), _named_after(store)
    if place is None or path is None:
        return None
    try:
        return KeptFile(place, kept_key(path))
    except Mendable:
        return None  # a folder that can't be written: nothing is kept there


def _stamp(store: Store, size: int) -> dict[str, Any]:
    pruned = store.latest(BookPruned.KIND)  # a root says nothing of it
    said = {"form": FORM, "practice": store.practice, "size": size, "root": store.root_at(size).hex(), "program": _program()}
    return said | {"pruned": pruned.seq if pruned is not None else 0}


@cache
def _program() -> str:
    """Return what this program is, where that decides what a state is: a state of another one is never taken."""
    found = hashlib.sha256(sys.byteorder.encode())
    folder = Path(fettlebook.__file__).parent
    for name in _MADE_BY:
        for path in sorted((folder / name).rglob("*.py")) if (folder / name).is_dir() else [folder / name]:
            found.update(path.relative_to(folder).as_posix().encode() + b"\0" + path.read_bytes() + b"\0")
    return found.hexdigest()
