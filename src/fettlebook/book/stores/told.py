"""Who is told when a store has added entries: pages that show the book as it is now."""

import threading
from collections.abc import Callable

OnAdded = Callable[[int], None]


class Told:
    """Those who want to know, and how to tell them; safe from several threads."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._who: tuple[OnAdded, ...] = ()

    def add(self, tell: OnAdded) -> Callable[[], None]:
        """Let `tell` know from now on; return what ends that."""
        with self._lock:
            self._who = (*self._who, tell)

        def forget() -> None:
            with self._lock:
                self._who = tuple(who for who in self._who if who is not tell)

        return forget

    def added(self, size: int) -> None:
        """Tell everyone that the book holds so many entries."""
        for tell in self._who:
            tell(size)
