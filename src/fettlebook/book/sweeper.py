"""Has a SQLite book swept by processes of their own, so that a verification of millions of records uses more than one processor.

Each process takes a stretch, gives what it found, and takes the next: so none waits for one that was held up. Only hashes and sums come
back, no records.
"""

import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from functools import reduce
from itertools import pairwise
from queue import Empty, SimpleQueue
from typing import Final

from fettlebook.book.sweep import RUN, Salt, Swept
from fettlebook.book.sweeping import answer_in, job_of

APART_FROM: Final = 20_000  # entries: below that, starting a process takes longer than the work
_CORES_MOST: Final = 4
_STRETCH: Final = 128 * RUN  # records of one job: a tenth of a second
_COMMAND: Final = [sys.executable, "-P", "-m", "fettlebook.book.sweeping"]  # -P: nothing in the folder of work is taken for a module


def sweep_apart(uri: str, practice: str, size: int, salt: Salt | None, *, cores: int | None) -> Swept | None:
    """Sweep the records 1 to `size` in processes of their own; None where something doesn't agree, or no process can be had."""
    parts = min(cores or min(os.cpu_count() or 1, _CORES_MOST), max(size // RUN, 1))
    stretch = min(_STRETCH, max(size // RUN // parts, 1) * RUN)
    bounds = [*range(0, size // RUN * RUN, stretch), size]
    jobs: SimpleQueue[tuple[int, bytes]] = SimpleQueue()
    for number, (first, last) in enumerate(pairwise(bounds)):
        jobs.put((number, job_of(uri, practice, first + 1, last, salt)))
    swept: dict[int, Swept] = {}
    processes: list[subprocess.Popen[bytes]] = []
    try:
        for _ in range(parts):
            processes.append(subprocess.Popen(_COMMAND, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL))  # noqa: S603 - our own words
        with ThreadPoolExecutor(parts) as threads:  # each only waits for its process
            for done in [threads.submit(_take_turns, process, jobs, swept) for process in processes]:
                done.result()
    except (OSError, ValueError):
        return None  # the careful way needs no process
    finally:
        for process in processes:
            process.kill()
            process.communicate()
    found = [swept[number] for number in sorted(swept)]
    return reduce(Swept.joined, found) if len(found) == len(bounds) - 1 else None


def _take_turns(process: "subprocess.Popen[bytes]", jobs: "SimpleQueue[tuple[int, bytes]]", swept: dict[int, Swept]) -> None:
    """Have one process do jobs as long as there are any; where one gives nothing, no one goes on."""
    assert process.stdin is not None
    assert process.stdout is not None
    while True:
        try:
            number, job = jobs.get_nowait()
        except Empty:
            return
        found = None
        try:
            process.stdin.write(job)
            process.stdin.flush()
            found = answer_in(process.stdout.readline())
        finally:
            if found is None:
                while not jobs.empty():
                    jobs.get_nowait()
        if found is None:
            return
        swept[number] = found
