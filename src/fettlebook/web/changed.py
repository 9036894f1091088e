"""Tells whoever waits that entries were added: those of this process at once, those of another on the same database when next looked at.

Nobody can miss an entry by asking late: everyone waits for more than the seq that they know of, not for a signal.
"""

import asyncio
import threading
from contextlib import suppress
from time import monotonic
from typing import Final

from fettlebook.book.stores import Store
from fettlebook.errors import Mendable

LOOK_EVERY_S: Final = 0.25  # at a book that other processes add to, while somebody waits
_Waiter = tuple[asyncio.AbstractEventLoop, asyncio.Event]


class Changed:
    """Where a book stands, to be waited for: by threads (`wait_for`) and by coroutines of any event loop (`after`).

    For server-sent events: `seq = await changed.after(seq, 15)` again and again; an answer no higher than before is a good moment for a
    comment line that keeps the connection open. Leave when `closed`. Many may wait at once; they share one look at the database.
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self._now = threading.Condition()
        self._size: int | None = None  # None: not looked at yet
        self._threads = 0
        self._waiting: set[_Waiter] = set()
        self._watching: threading.Thread | None = None
        self._leave = threading.Event()
        self._forget = store.on_added(self._reached)

    @property
    def closed(self) -> bool:
        """Whether nothing is told any more."""
        return self._leave.is_set()

    def wait_for(self, seq: int, timeout_s: float) -> int:
        """Wait in a thread until the book holds an entry after `seq`; return how many entries it holds (the newest one's seq).

        Parameters
        ----------
        seq
            The newest entry that the caller knows of; 0: none.
        timeout_s
            How long to wait at most. Then, and when the program ends, the answer is no higher than `seq`.

        Raises
        ------
        Mendable
            Where the book stands can't be read, at the first look.
        """
        self._look_first()
        until = monotonic() + timeout_s
        with self._now:
            self._threads += 1
            try:
                while self._known() <= seq and not self.closed and (left := until - monotonic()) > 0:
                    self._watch()
                    self._now.wait(left)
                return self._known()
            finally:
                self._threads -= 1

    async def after(self, seq: int, timeout_s: float) -> int:
        """Wait as `wait_for` does, in a coroutine; it may be cancelled at any moment."""
        if self._size is None:
            await asyncio.to_thread(self._look_first)
        waiter = (asyncio.get_running_loop(), asyncio.Event())
        with self._now:
            self._waiting.add(waiter)
        try:
            async with asyncio.timeout(timeout_s):
                while True:
                    with self._now:
                        waiter[1].clear()
                        if self._known() > seq or self.closed:
                            break
                        self._watch()
                    await waiter[1].wait()
        except TimeoutError:
            pass
        finally:
            with self._now:
                self._waiting.discard(waiter)
        return self._known()

    def close(self) -> None:
        """Let everyone who waits go."""
        self._forget()
        self._leave.set()
        with self._now:
            self._wake()

    def _known(self) -> int:
        return self._size or 0

    def _look_first(self) -> None:
        if self._size is None:
            self._reached(self._store.head().size)

    def _reached(self, size: int) -> None:
        """Take note of how many entries there are; called from whatever thread added them."""
        with self._now:
            if self._size is None or size > self._size:
                self._size = size
                self._wake()

    def _wake(self) -> None:
        self._now.notify_all()
        for loop, event in self._waiting:
            if not loop.is_closed():
                loop.call_soon_threadsafe(event.set)

    def _watch(self) -> None:
        """See that somebody looks at the database, where others add to it."""
        if self._store.others_add and self._watching is None and not self.closed:
            self._watching = threading.Thread(target=self._look_on, name="changed", daemon=True)
            self._watching.start()

    def _look_on(self) -> None:
        while not self._leave.wait(LOOK_EVERY_S):
            with suppress(Mendable):  # the database doesn't answer now; whoever asks for entries is told so, here the next look may do
                self._reached(self._store.head().size)
            with self._now:
                if not self._threads and not self._waiting:
                    self._watching = None  # nobody waits
                    return
