"""Connections by which entries are added, each with the practice named that it served last: few, whatever the number of practices.

A practice that adds again finds its own connection and makes one journey to the server. In a group of hundreds they take turns: who
comes to another's connection names itself first.
"""

import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, Final

from fettlebook.errors import AwayError

MOST: Final = 8  # for one program; a server lets in a hundred, as it comes
WAIT_S: Final = 30.0  # for one that is free; each is busy for the time of one statement
_NAME: Final = "SELECT set_config('fettlebook.practice', %s, false)"


class Lines:
    """The connections of one program to one database.

    Parameters
    ----------
    opened
        Opens one (psycopg's, each statement committing by itself).
    most
        How many at once.
    """

    def __init__(self, opened: Callable[[], Any], *, most: int = MOST) -> None:
        self._opened, self._most = opened, most
        self._idle: OrderedDict[str, Any] = OrderedDict()  # by the practice that each has named; the one longest unused first
        self._held = 0  # idle and busy
        self._free = threading.Condition()
        self._turns: dict[str, threading.Lock] = {}

    def turn(self, practice: str) -> threading.Lock:
        """Return the lock that one practice's additions take: one after the other."""
        with self._free:
            return self._turns.setdefault(practice, threading.Lock())

    @contextmanager
    def of(self, practice: str, *, harmless: tuple[type[BaseException], ...]) -> Iterator[Any]:
        """Give a connection that has named the practice; after a failure that is not `harmless` it is closed, not used again.

        Raises
        ------
        AwayError
            None was free in time.
        """
        driver = self._taken(practice)
        try:
            yield driver
        except harmless:
            self._back(practice, driver)
            raise
        except BaseException:
            self._gone(driver)
            raise
        self._back(practice, driver)

    def close(self) -> None:
        """Close those that nobody uses."""
        with self._free:
            while self._idle:
                self._idle.popitem()[1].close()
                self._held -= 1

    def _taken(self, practice: str) -> Any:
        named, driver = True, None
        with self._free:
            if not self._free.wait_for(lambda: self._idle or self._held < self._most, WAIT_S):
                mend = "Send it again: what was not acknowledged was not stored."
                raise AwayError("all connections to the database are busy", where=practice, mend=mend)
            if practice in self._idle:
                driver = self._idle.pop(practice)
            elif self._held < self._most:
                self._held += 1
            else:
                named, driver = False, self._idle.popitem(last=False)[1]
        try:
            if driver is None:
                named, driver = False, self._opened()
            if not named:
                driver.execute(_NAME, (practice,))
        except BaseException:
            self._gone(driver)
            raise
        return driver

    def _back(self, practice: str, driver: Any) -> None:
        with self._free:
            self._idle[practice] = driver  # one practice adds once at a time: it can't be there already
            self._free.notify()

    def _gone(self, driver: Any) -> None:
        with self._free:
            self._held -= 1
            self._free.notify()
        if driver is not None:
            driver.close()
