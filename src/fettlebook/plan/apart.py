"""The search for a plan in a process of its own: killed, crashed or stuck, the answer is the best plan that had come by then.

Comes in: what `solve` takes. Goes out: what `solve` gives. The first plan is made here, so there always is one; every
plan that the other process sends is checked here before it counts.
"""

import json
import queue
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, replace
from typing import IO, Any

from fettlebook.errors import Mendable
from fettlebook.plan.bound import Reason
from fettlebook.plan.check import check_plan, figures
from fettlebook.plan.instance import Instance, Plan, read_plan, to_json
from fettlebook.plan.solve import Hopeless, Progress, Solved, solve

COMMAND = (sys.executable, "-P", "-m", "fettlebook.plan.apart_process")
APART_FROM_S = 2.0  # a shorter search is over before a process has begun: it runs here
GRACE_S = 3.0  # so long after being called off may the process take to hand in its plan
STUCK_S = 20.0  # so long beyond its limit it is held for slow (loading the solver on a busy machine), then for stuck
ASKED_EVERY_S = 0.05


def solve_apart(
    day: Instance,
    *,
    limit_s: float,
    seed: int = 0,
    workers: int = 2,
    deterministic: float | None = None,
    told: Callable[[Progress], None] | None = None,
    stop: Callable[[], bool] | None = None,
    command: Sequence[str] = COMMAND,
) -> Solved:
    """Return the best plan found within the limit; parameters and errors as `solve`. A search under 2 s stays in this process.

    Parameters
    ----------
    command
        How to start the process that searches.

    Notes
    -----
    Where the process ends early or hands in nothing in time, `method` of the answer says so.
    """
    began = time.perf_counter()
    first = solve(day, limit_s=0, seed=seed, workers=workers)
    if limit_s <= 0 or not day.visits:
        return first
    if limit_s < APART_FROM_S:
        return solve(day, limit_s=limit_s, seed=seed, workers=workers, deterministic=deterministic, told=told, stop=stop)
    asked = {"limit_s": limit_s - (time.perf_counter() - began), "seed": seed, "workers": workers, "deterministic": deterministic}
    try:
        process = subprocess.Popen(  # noqa: S603 - our own module, no shell
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, start_new_session=True
        )
    except OSError as error:
        return replace(first, method=f"{first.method} (the search could not be started: {error.strerror})")
    assert process.stdin is not None
    assert process.stdout is not None
    talk = _Talk(day, first, told)
    try:
        _send(process.stdin, {"day": json.loads(to_json(day)), "asked": asked})
        deadline = None if deterministic is not None else began + limit_s + STUCK_S
        _listen(process.stdin, process.stdout, talk, deadline, stop)
    finally:
        process.kill()
        process.stdout.close()
        process.wait()
    return talk.answer()


class _Talk:
    """What has come so far."""

    def __init__(self, day: Instance, first: Solved, told: Callable[[Progress], None] | None) -> None:
        self.day, self.best, self.told = day, first, told
        self.last: Solved | None = None
        self.refused: Mendable | None = None

    def take(self, line: bytes) -> None:
        """Take in one message; what can't be read or doesn't hold is left out."""
        try:
            said = json.loads(line)
            if "solved" in said:
                self.last = self.solved(said["solved"])
            elif "refused" in said:
                self.refused = Mendable(**said["refused"])
            else:
                self.better(Progress(**said["progress"]), said.get("plan"))
        except (ValueError, KeyError, TypeError, Mendable):
            return

    def better(self, progress: Progress, plan: Any) -> None:
        """Keep a plan that is better than what is known, and tell of it."""
        bound = max(self.best.bound, progress.bound)
        if plan is not None:
            offered = self.whole(read_plan(json.dumps(plan)))
            if not check_plan(self.day, offered):
                found = figures(self.day, offered)
                if found.rank < self.best.figures.rank:
                    self.best = replace(self.best, plan=offered, figures=found, method=progress.by)
        if not self.best.plan.left_out:
            self.best = replace(self.best, bound=min(bound, self.best.weighted_minutes_late))
        self.best = replace(self.best, progress=(*self.best.progress, progress))
        if self.told:
            self.told(progress)

    def whole(self, plan: Plan) -> Plan:
        """Return the plan with every visit named that it does not serve."""
        served = {v.id for v in plan.visits}
        return plan.model_copy(update={"left_out": tuple(v.id for v in self.day.visits if v.id not in served)})

    def solved(self, said: dict[str, Any]) -> Solved | None:
        """Return the final answer, if it holds."""
        plan = read_plan(json.dumps(said["plan"]))
        if check_plan(self.day, plan):
            return None
        return Solved(
            plan=plan,
            figures=figures(self.day, plan),
            bound=said["bound"],
            proven=said["proven"],
            method=said["method"],
            core=tuple(Reason(**r) for r in said["core"]),
            hopeless=tuple(Hopeless(h["visit"], Reason(**h["reason"]), h["why"]) for h in said["hopeless"]),
            progress=tuple(Progress(**p) for p in said["progress"]),
        )

    def answer(self) -> Solved:
        """Return the final answer, or the best that had come."""
        if self.refused is not None:
            raise self.refused
        return self.last or replace(self.best, method=f"{self.best.method} (the search ended early)")


def _send(to: IO[bytes], what: dict[str, Any]) -> None:
    try:
        to.write(json.dumps(what).encode() + b"\n")
        to.flush()
    except OSError:  # it is gone already; listening finds that out
        return


def _listen(stdin: IO[bytes], stdout: IO[bytes], talk: _Talk, deadline: float | None, stop: Callable[[], bool] | None) -> None:
    """Take messages until the last one, the end of the process, or the deadline; called off, it has the grace to hand in."""
    lines: queue.Queue[bytes | None] = queue.Queue()

    def read() -> None:
        try:
            for line in stdout:
                lines.put(line)
        except (OSError, ValueError):  # closed under it: nobody listens any more
            pass
        lines.put(None)

    threading.Thread(target=read, daemon=True).start()
    called_off = False
    while talk.last is None and talk.refused is None:
        try:
            now = time.perf_counter()
            if deadline is not None and now > deadline:
                return
            if not called_off and stop is not None and stop():
                raise KeyboardInterrupt
            line = lines.get(timeout=ASKED_EVERY_S)
        except queue.Empty:
            continue
        except KeyboardInterrupt:  # long enough: the best so far is the answer
            if called_off:
                return
            called_off, deadline = True, time.perf_counter() + GRACE_S
            _hang_up(stdin)
            continue
        if line is None:
            return
        talk.take(line)


def _hang_up(stdin: IO[bytes]) -> None:
    """Close the line: the process takes that as being called off."""
    try:
        stdin.close()
    except OSError:
        return


def as_message(solved: Solved) -> dict[str, Any]:
    """Return an answer as it is sent between the processes."""
    return {
        "solved": {
            "plan": json.loads(to_json(solved.plan)),
            "bound": solved.bound,
            "proven": solved.proven,
            "method": solved.method,
            "core": [asdict(r) for r in solved.core],
            "hopeless": [asdict(h) for h in solved.hopeless],
            "progress": [asdict(p) for p in solved.progress],
        }
    }
