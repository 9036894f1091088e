"""The book as the pages ask it: folded once in the background, then kept up entry by entry, always with what is in the store."""

import threading
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from typing import Final

from fettlebook.book.checkpoint import Checkpoint
from fettlebook.book.disk import low_on_space
from fettlebook.book.kinds import to_ms
from fettlebook.book.received import Received
from fettlebook.book.signing import book_name
from fettlebook.book.stores import Store
from fettlebook.errors import AwayError, Finding, Mendable
from fettlebook.exchange.kept_state import KeptFold
from fettlebook.standing.basis import Basis
from fettlebook.standing.shelf import NoStateError
from fettlebook.standing.standings import Standings, View
from fettlebook.web.changed import Changed
from fettlebook.web.desk import Desk, Reading, bug

FIRST_WINDOW: Final = 500
WIDEST_WINDOW: Final = 64_000
AGAIN_S: Final = 1.0  # between tries to read a book whose database is away


class Record:
    """A book with its standings, safe to ask from several threads.

    `changed` tells when entries were added, to live pages above all: by this process at once, by another one on the same PostgreSQL
    within half a second. `await record.changed.after(seq, timeout_s)` in a coroutine, `record.wait_for(seq, timeout_s)` in a thread.
    """

    def __init__(self, store: Store, desk: Desk) -> None:
        self.store = store
        self._desk = desk
        self._lock = threading.RLock()
        self._ready = threading.Event()
        self._leave = threading.Event()
        self._fold: KeptFold | None = None
        self._trouble: Exception | None = None
        self._of: Reading | None = None
        self._standings: Standings | None = None
        self.changed = Changed(store)
        self.seen = 0  # entries folded so far, while the first fold runs
        self._thread = self._reader()
        self._thread.start()

    def ready(self, wait_s: float = 0.0) -> bool:
        """Tell whether the book has been read, waiting a little for it."""
        return self._ready.wait(wait_s)

    def close(self) -> None:
        """Stop reading, where it still does, and let go whoever waits for entries."""
        self._leave.set()
        self.changed.close()
        self._thread.join(1)

    def wait_for(self, seq: int, timeout_s: float) -> int:
        """Wait until the book holds an entry after `seq`; return how many it holds (no higher than `seq` where none came in time).

        Coroutines `await record.changed.after(seq, timeout_s)` instead, which means the same.
        """
        return self.changed.wait_for(seq, timeout_s)

    @contextmanager
    def view(self, at: int | None = None, known_at: int | None = None) -> Iterator[View]:
        """Give the verdicts of a moment; nothing is added while they are looked at.

        Parameters
        ----------
        at
            The moment judged [ms]; left out: the page's now.
        known_at
            By what had been received then; left out: all there is.
        """
        with self._lock:
            standings = self._kept_up()
            known = max(standings.state.received, 0) if known_at is None else known_at
            try:
                yield standings.as_of(self.now() if at is None else at, known)
            except NoStateError:  # found out only when it was asked for; nothing was answered from it
                self._read_anew()
                raise

    def now(self) -> int:
        """Return the present moment as the pages have it [ms]."""
        return to_ms(self._desk.now())

    def newest(
        self, count: int, *, before: int | None = None, kinds: Collection[str] | None = None, subjects: Collection[str] | None = None
    ) -> list[Received]:
        """Return entries newest first: those with a lower seq than `before`, of these kinds and subjects; at most `count`."""
        found: list[Received] = []
        end, window = (self.store.head().size if before is None else before - 1), FIRST_WINDOW
        while end > 0 and len(found) < count:
            page = list(self.store.read(max(0, end - window), kinds=kinds, subjects=subjects, until=end))
            found.extend(reversed(page))
            end, window = end - window, min(2 * window, WIDEST_WINDOW)
        return found[:count]

    def low_on_space(self) -> Finding | None:
        """Return what to say where the disk under the book gets full."""
        path = getattr(self.store, "path", None)  # a group's database has its own disk
        return low_on_space(path) if path is not None else None

    def stands(self) -> Checkpoint:
        """Return where the book stands, for paper: its name, how many entries, and the root over them."""
        head = self.store.head()
        return Checkpoint(book_name(self.store.practice), head.size, head.root)

    def mended_by(self, entry_id: str) -> Sequence[Received]:
        """Return the entries that correct or withdraw an entry, in the order of receipt."""
        with self._lock:
            standings = self._kept_up()
            try:
                return tuple(standings.state.amendments_of(entry_id))
            except NoStateError:
                self._read_anew()
                raise

    def _kept_up(self) -> Standings:
        if self._trouble is not None:
            raise self._trouble
        fold = self._fold
        if fold is None:
            raise Mendable("the book is still being read", where="book", mend="Look again in a moment.")
        try:
            for received in self.store.read(fold.state.seq):
                fold.state.add(received)
            fold.keep_up()
        except NoStateError:
            self._read_anew()
            raise
        reading = self._desk.reading
        if self._standings is None or reading is not self._of or self._standings.state is not fold.state:
            basis = Basis.of(reading.practice, reading.rulebook, reading.times)
            self._standings, self._of = Standings(fold.state, basis), reading
        return self._standings

    def _read_anew(self) -> None:
        """Fold the book from its first entry, in the background: what was kept of it is not as it was written."""
        if self._fold is not None:
            self._fold.drop()
        self._fold = self._standings = None
        self._ready.clear()
        self._thread = self._reader()
        self._thread.start()

    def _reader(self) -> threading.Thread:
        return threading.Thread(target=self._begin, name="record", daemon=True)

    def _begin(self) -> None:
        try:
            while not self._leave.is_set():
                try:
                    self._fold = KeptFold(self.store, tell=self._told)
                    self._trouble = None
                    break
                except AwayError as error:
                    self._trouble = error
                    self._ready.set()  # whoever asks is told why
                    self._leave.wait(AGAIN_S)
        except _LeftError:
            return
        except Mendable as error:
            self._trouble = error
        except Exception as error:
            self._trouble = Mendable.of([bug(error, "reading the book")])
        self._ready.set()

    def _told(self, seen: int) -> None:
        self.seen = seen
        if self._leave.is_set():
            raise _LeftError


class _LeftError(Exception):
    """The program ends while the book is read."""
