"""A process that sweeps one stretch of a SQLite book for another: a job as JSON on standard input, what it gave on standard output.

A verification of millions of records so uses more than one processor. It reads through a memory map, which is quicker; where the disk
fails under it the process ends, and whoever asked reads with care instead. Kept lean: it starts in a few hundredths of a second.
"""

import gc
import json
import os
import sqlite3
import subprocess
import sys
from base64 import b64decode, b64encode
from concurrent.futures import ThreadPoolExecutor
from functools import reduce
from itertools import pairwise
from typing import Any, Final

from fettlebook.book.sweep import AGREES_SQLITE, RUN, Salt, Swept, query, sweep
from fettlebook.book.tree import HASH_BYTES

APART_FROM: Final = 20_000  # entries: below that, starting a process takes longer than the work
_CORES_MOST: Final = 4
_ANEW: Final = 400  # runs until the map is let go of: else the whole file counts as this process's memory
_MAPPED: Final = 1 << 40


def job_of(uri: str, practice: str, first: int, last: int, salt: Salt | None) -> bytes:
    """Return a job as the process reads it; `uri` as SQLite takes it, `first` the first of a run."""
    given = [salt.key.hex(), salt.a, salt.b] if salt else None
    return json.dumps({"uri": uri, "practice": practice, "first": first, "last": last, "salt": given}).encode()


def answer_in(said: bytes) -> Swept | None:
    """Return what the process found; None where something doesn't agree, or it failed."""
    try:
        value = json.loads(said)
        runs, rest = (_cut(b64decode(value[name])) for name in ("runs", "rest"))
        return Swept(value["first"], value["last"], runs, rest, value["beside"], set(value["files"]))
    except (ValueError, KeyError, TypeError):
        return None


def sweep_apart(uri: str, practice: str, size: int, salt: Salt | None, *, cores: int | None) -> Swept | None:
    """Sweep the records 1 to `size` in processes of their own, a stretch of whole runs each; None where something doesn't agree."""
    parts = min(cores or min(os.cpu_count() or 1, _CORES_MOST), max(size // RUN, 1))
    bounds = [size // RUN * part // parts * RUN for part in range(parts)] + [size]
    jobs = [job_of(uri, practice, first + 1, last, salt) for first, last in pairwise(bounds)]
    command = [sys.executable, "-P", "-m", "fettlebook.book.sweeper"]  # -P: nothing in the folder of work is taken for a module
    processes: list[subprocess.Popen[bytes]] = []
    swept: list[Swept | None] = []
    try:
        for _ in jobs:
            processes.append(subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL))  # noqa: S603 - our own words
        with ThreadPoolExecutor(len(jobs)) as threads:  # each only waits for its process
            for said, _ in threads.map(lambda process, job: process.communicate(job), processes, jobs):
                swept.append(answer_in(said))
    except OSError:
        return None  # no process can be started here: the careful way needs none
    finally:
        for process in processes:
            process.kill()
            process.wait()
    found = [one for one in swept if one is not None]
    return reduce(Swept.joined, found) if len(found) == len(jobs) else None


def _cut(hashes: bytes) -> list[bytes]:
    return [hashes[i : i + HASH_BYTES] for i in range(0, len(hashes), HASH_BYTES)]


class _Pages:
    """The rows of a book, read through a map that is let go of now and then."""

    def __init__(self, uri: str, practice: str, sql: str) -> None:
        self._uri, self._practice, self._sql = uri, practice, sql
        self._connection: sqlite3.Connection | None = None
        self._given = 0

    def __call__(self, since: int, last: int) -> list[Any]:
        """Return the rows after one seq and up to another."""
        if self._connection is None or self._given % _ANEW == 0:
            self._connection = self._connected()
        self._given += 1
        return self._connection.execute(self._sql, (self._practice, since, last)).fetchall()

    def _connected(self) -> sqlite3.Connection:
        if self._connection is not None:
            self._connection.close()
        connection = sqlite3.connect(self._uri, uri=True, isolation_level=None, timeout=5)
        for pragma in ("query_only=1", "trusted_schema=OFF", "cell_size_check=ON", f"mmap_size={_MAPPED}"):
            connection.execute(f"PRAGMA {pragma}")
        return connection


def main() -> None:
    """Do the job on standard input."""
    job: dict[str, Any] = json.loads(sys.stdin.buffer.read())
    gc.disable()  # nothing here refers to itself, and looking for it takes a tenth of the time
    salt = Salt(bytes.fromhex(job["salt"][0]), *job["salt"][1:]) if job["salt"] else None
    pages = _Pages(job["uri"], job["practice"], query(AGREES_SQLITE if salt else None))
    swept = sweep(pages, job["first"], job["last"], salt)
    said: dict[str, Any] | None = None
    if swept is not None:
        runs, rest = (b64encode(b"".join(hashes)).decode() for hashes in (swept.runs, swept.rest))
        said = {"first": swept.first, "last": swept.last, "beside": swept.beside, "runs": runs, "rest": rest, "files": sorted(swept.files)}
    sys.stdout.write(json.dumps(said))


if __name__ == "__main__":
    main()
