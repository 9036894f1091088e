"""A group's night on this machine: some practices at a time, each in a process of its own."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor, as_completed
from typing import TYPE_CHECKING

from fettlebook.cli.night_job import Processes, run_apart

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from fettlebook.cli.night_group import Job, Outcome


def plan_here(jobs: Sequence[Job], *, at_once: int, told: Callable[[Outcome], None]) -> tuple[Outcome, ...]:
    """Return the outcome of each job, in the order of the jobs; `told` is called as each is there.

    Interrupted by the user, what runs is stopped and what has come is kept by whoever was told.
    """
    found: dict[str, Outcome] = {}
    pool, processes = ThreadPoolExecutor(at_once), Processes()
    try:
        for done in as_completed([pool.submit(run_apart, job, processes) for job in jobs]):
            outcome = done.result()
            found[outcome.name] = outcome
            told(outcome)
    finally:
        pool.shutdown(wait=False, cancel_futures=True)
        processes.stop()
        pool.shutdown(wait=True)
    return tuple(found[job.name] for job in jobs)
