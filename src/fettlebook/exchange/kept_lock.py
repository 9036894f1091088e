"""A lock between processes on one machine, which falls with the process that holds it."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path


@contextmanager
def locked(path: Path) -> Iterator[bool]:
    """Hold the lock of this file for a while; gives False where another process holds it, or no file can be made there."""
    try:
        held = sqlite3.connect(path, timeout=0, isolation_level=None, check_same_thread=False)
    except sqlite3.Error:
        yield False
        return
    with closing(held):
        try:
            held.execute("BEGIN EXCLUSIVE")  # nothing is ever written; it is the portable lock that the standard library has
        except sqlite3.Error:
            yield False
            return
        yield True
