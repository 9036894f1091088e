"""One practice's night in a process of its own: whatever happens in it, the others go on.

`run_apart` starts the process, waits, and stops it after its time; run as a module, this file is that process: a job as
JSON on stdin, its outcome as JSON on stdout.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import time
from threading import Lock
from typing import Any

from fettlebook.cli.night_group import Job, Outcome, as_data
from fettlebook.errors import Mendable

_DONE = 0
_STARTING_S = 30.0  # a process may need so long to start on a busy machine; no time of the job


class Processes:
    """The processes that run; once stopped, none runs on and none begins."""

    def __init__(self) -> None:
        self._running: set[subprocess.Popen[bytes]] = set()
        self._lock = Lock()
        self._stopped = False

    def begin(self, process: subprocess.Popen[bytes]) -> None:
        """Count a process among those that run."""
        with self._lock:
            self._running.add(process)
            if self._stopped:
                _kill(process)

    def ended(self, process: subprocess.Popen[bytes]) -> None:
        """Count it no more."""
        with self._lock:
            self._running.discard(process)

    def stop(self) -> None:
        """Stop all that runs: told to stop, none may go on alone."""
        with self._lock:
            self._stopped = True
            for process in self._running:
                _kill(process)


def run_apart(job: Job, processes: Processes | None = None) -> Outcome:
    """Return what comes of a job that runs in a process of its own; never raises for what happens in there."""
    processes = processes or Processes()
    began = time.monotonic()
    process = subprocess.Popen(
        [sys.executable, "-m", "fettlebook.cli.night_job"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,  # so that all of it can be stopped, and Ctrl-C of the terminal is ours to handle
    )
    processes.begin(process)
    try:
        out, said = process.communicate(json.dumps(job.as_data()).encode(), timeout=job.most_s + _STARTING_S)
    except subprocess.TimeoutExpired:
        _kill(process)
        process.communicate()
        return Outcome(job.name, "too slow", f"not done after {job.most_s:g} s and stopped", round(time.monotonic() - began, 1))
    finally:
        processes.ended(process)
    seconds = round(time.monotonic() - began, 1)
    if process.returncode != _DONE:
        return Outcome(job.name, "stopped", f"the process ended by itself ({_why(process.returncode, said)})", seconds)
    try:
        return Outcome.of({**json.loads(out), "seconds": seconds})
    except (ValueError, TypeError, KeyError):
        return Outcome(job.name, "stopped", "the process gave no readable answer", seconds)


def _kill(process: subprocess.Popen[bytes]) -> None:
    with contextlib.suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)


def _why(code: int, said: bytes) -> str:
    if code < 0:
        return f"signal {-code}"
    last = said.decode("utf-8", "replace").strip().splitlines()
    return last[-1][:200] if last else f"exit status {code}"


def work_out(job: Job) -> Outcome:
    """Plan the day of one practice from its files, or look at its standing; what can't be read is refused in words."""
    if job.work == "standing":
        from fettlebook.cli.night_standing import look_at  # noqa: PLC0415

        return look_at(job)
    from datetime import date  # noqa: PLC0415 - only this process needs all of it
    from pathlib import Path  # noqa: PLC0415

    from fettlebook.cli.day_from_files import plan_from_files  # noqa: PLC0415
    from fettlebook.plan.day import DayVerdict  # noqa: PLC0415
    from fettlebook.web.tables import as_json  # noqa: PLC0415

    try:
        plan = plan_from_files(
            Path(job.practice),
            Path(job.appointments),
            day=date.fromisoformat(job.day) if job.day else None,
            key_file=job.key,
            data=job.book,
            limit_s=job.limit_s,
            seed=job.seed,
        ).plan
    except Mendable as error:
        first = error.findings[0]
        return Outcome(job.name, "refused", f"{first.where}: {first.what}", findings=tuple(as_data(f) for f in error.findings))
    to_mend = [f for f in plan.findings if f.weight == "error"]
    in_order = plan.verdict in {DayVerdict.FITS, DayVerdict.NOTHING_BOOKED} and not to_mend
    more = f"; {len(to_mend)} to mend" if to_mend else ""
    return Outcome(
        job.name,
        "planned",
        f"{plan.day}: {plan.line}{more}",
        in_order=in_order,
        findings=tuple(map(as_data, plan.findings)),
        plan=as_json(plan),
    )


def _main() -> None:
    data: dict[str, Any] = json.load(sys.stdin)
    print(json.dumps(work_out(Job(**data)).as_data(), ensure_ascii=False))


if __name__ == "__main__":
    _main()
