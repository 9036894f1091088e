"""A process that sweeps stretches of a SQLite book for another: a job a line on standard input, what it gave a line on standard output.

It reads through a memory map, which is quicker; where the disk fails under it the process ends, and whoever asked reads with care instead.
Kept lean, and apart from the module that starts it: what is imported here is the time that it takes to start.
"""

import gc
import json
import sqlite3
import sys
from typing import Any, Final

from fettlebook.book.sweep import Salt, Swept, query, sweep

_ANEW: Final = 400  # runs until the map is let go of: else the whole file counts as this process's memory
_MAPPED: Final = 1 << 40


class _Pages:
    """The rows of a book, read through a map that is let go of now and then."""

    def __init__(self, uri: str) -> None:
        self.uri = uri
        self._connection: sqlite3.Connection | None = None
        self._given = 0

    def rows(self, sql: str, values: tuple[Any, ...]) -> list[Any]:
        """Return what a query finds."""
        if self._connection is None or self._given % _ANEW == 0:
            self._connection = self._connected()
        self._given += 1
        return self._connection.execute(sql, values).fetchall()

    def _connected(self) -> sqlite3.Connection:
        if self._connection is not None:
            self._connection.close()
        connection = sqlite3.connect(self.uri, uri=True, isolation_level=None, timeout=5)
        for pragma in ("query_only=1", "trusted_schema=OFF", "cell_size_check=ON", f"mmap_size={_MAPPED}"):
            connection.execute(f"PRAGMA {pragma}")
        return connection


def job_of(uri: str, practice: str, first: int, last: int, salt: Salt | None) -> bytes:
    """Return a job as the process reads it; `uri` as SQLite takes it, `first` the first of a run."""
    given = (salt.key.hex(), salt.a, salt.b) if salt else None
    return json.dumps((uri, practice, first, last, given)).encode() + b"\n"


def answer_in(line: bytes) -> Swept | None:
    """Return what the process found; None where something doesn't agree, or it failed."""
    try:
        first, last, runs, rest, beside, files = json.loads(line)
        return Swept(first, last, [*map(bytes.fromhex, runs)], [*map(bytes.fromhex, rest)], beside, set(files))
    except (ValueError, TypeError):
        return None


def main() -> None:
    """Do the jobs on standard input, one after the other."""
    gc.disable()  # nothing here refers to itself, and looking for it takes a tenth of the time
    pages: _Pages | None = None
    for line in sys.stdin.buffer:
        uri, practice, first, last, given = json.loads(line)
        pages = pages if pages is not None and pages.uri == uri else _Pages(uri)
        salt = Salt(bytes.fromhex(given[0]), *given[1:]) if given else None
        sys.stdout.write(json.dumps(_swept(pages, practice, first, last, salt)) + "\n")
        sys.stdout.flush()


def _swept(pages: _Pages, practice: str, first: int, last: int, salt: Salt | None) -> list[Any] | None:
    sql = query(columns=salt is not None)
    found = sweep(lambda since, end: pages.rows(sql, (practice, since, end)), first, last, salt)
    if found is None:
        return None
    return [found.first, found.last, *([one.hex() for one in some] for some in (found.runs, found.rest)), found.beside, sorted(found.files)]


if __name__ == "__main__":
    main()
