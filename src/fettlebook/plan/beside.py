"""Neighbourhoods that begin again from plans of other manners, in processes beside the search.

Where sets are scarce a manner of the list scheduler decides which visit waits for which load, and no neighbourhood undoes all of
that: where a search ends hangs on where it began, and hardly on how late that was. So several begin, each for some seconds, one
core each, and the best of all is kept. Every plan that comes in is checked by who takes it.
"""

import contextlib
import multiprocessing
import os
import random
import threading
import time
from collections.abc import Callable, Iterator
from multiprocessing.connection import Connection, wait
from multiprocessing.context import SpawnProcess
from queue import Empty, Queue
from typing import Final

from fettlebook.plan.check import figures
from fettlebook.plan.dispatch import dispatch
from fettlebook.plan.improve import Improving, improved, searchable
from fettlebook.plan.instance import Instance, Plan
from fettlebook.plan.manner import wide

EACH_S: Final = 10.0  # from one beginning, at most
FIRST_S: Final = 2.5  # by then it is as good as what other beginnings brought, or it is given up
NEAR: Final = 1.01  # times the best so far: as good
MANNERS: Final = 12  # are tried before the first beginning
NOT_FAR: Final = 1.1  # times the least late of all manners tried: worth beginning from
LOOK_S: Final = 0.2  # so often is looked whether to stop
LEAST_S: Final = 1.0  # less is no beginning


class Beside:
    """Searches of one day in processes of their own, until they are closed.

    Parameters
    ----------
    day
        The instance; only plans that serve all its visits are looked at.
    processes
        How many.
    seconds
        How long they search, at most [s].
    seed
        Each process draws manners of its own from it.
    goal
        Weighted minutes late that are good enough.
    """

    def __init__(self, day: Instance, *, processes: int, seconds: float, seed: int, goal: int) -> None:
        spawn = multiprocessing.get_context("spawn")
        self._until = time.perf_counter() + seconds
        self._running: list[tuple[SpawnProcess, Connection]] = []
        self._came: Queue[Plan | None] = Queue()
        for n in range(processes):
            here, there = spawn.Pipe(duplex=False)
            args, more = (there, day, seed * 1_000 + n, seconds), {"goal": goal, "parent": os.getpid()}
            process = spawn.Process(target=_search, args=args, kwargs=more, daemon=True)
            process.start()
            there.close()  # theirs alone: its end is then the end of what comes
            self._running.append((process, here))
        self._reader = threading.Thread(target=self._read, name="plans from beside", daemon=True)
        self._reader.start()

    def _read(self) -> None:
        """Take in whatever comes at once, so that none of them waits for a reader."""
        open_ = [here for _, here in self._running]
        while open_:
            for here in wait(open_):
                assert isinstance(here, Connection)
                try:
                    plan = here.recv()
                except (EOFError, OSError):  # it has ended, well or not: the others go on
                    open_.remove(here)
                    continue
                self._came.put(plan)
        self._came.put(None)

    def take(self, offer: Callable[[Plan], None], go_on: Callable[[], bool]) -> None:
        """Hand each plan that comes to `offer`, until the time is over, all have ended, or `go_on` says no."""
        while go_on() and (left := self._until - time.perf_counter()) > 0:
            try:
                plan = self._came.get(timeout=min(LOOK_S, left))
            except Empty:
                continue
            if plan is None:
                return
            offer(plan)

    def close(self) -> None:
        """End them at once."""
        for process, _ in self._running:
            process.kill()
        self._reader.join()
        for process, here in self._running:
            process.join()
            here.close()
        self._running = []


def _search(there: Connection, day: Instance, seed: int, seconds: float, *, goal: int, parent: int) -> None:
    """Begin again and again, and tell each plan that is better than all before."""
    began, draw = time.perf_counter(), random.Random(seed)  # noqa: S311 - a search, no secret

    def left() -> float:
        return seconds - (time.perf_counter() - began) if os.getppid() == parent else 0.0

    with contextlib.suppress(OSError, KeyboardInterrupt):  # nobody listens any more
        best = 1 << 62
        for plan in _beginnings(day, draw, left):
            one = _Beginning(day, left, best, there)
            how = Improving(seconds_left=one.left, seed=draw.randrange(1 << 30), goal=goal, stop=one.hopeless)
            one.told(improved(day, plan, how, one.told))
            best = min(best, one.best)


class _Beginning:
    """How far the search from one plan has come, beside the best of those before."""

    def __init__(self, day: Instance, left: Callable[[], float], best: int, there: Connection) -> None:
        self._day, self._left, self.best, self._there = day, left, best, there
        self._now = 1 << 62
        self._began = time.perf_counter()

    def _spent(self) -> float:
        return time.perf_counter() - self._began

    def left(self) -> float:
        return min(self._left(), EACH_S - self._spent())

    def hopeless(self) -> bool:
        return self._left() <= 0 or (self._spent() > FIRST_S and self._now > NEAR * self.best)

    def told(self, plan: Plan) -> None:
        self._now = figures(self._day, plan).weighted_minutes_late
        if self._now < self.best:
            self.best = self._now
            self._there.send(plan)


def _beginnings(day: Instance, draw: random.Random, left: Callable[[], float]) -> Iterator[Plan]:
    """Yield plans of manners drawn wide that serve all visits and are not far from the least late of them."""
    tried = 0
    least: tuple[int, Plan] | None = None
    while left() > LEAST_S:
        plan = dispatch(day, wide(draw))
        tried += 1
        if searchable(day, plan):
            late = figures(day, plan).weighted_minutes_late
            if tried > MANNERS and least is not None and late <= NOT_FAR * least[0]:
                yield plan
            if least is None or late < least[0]:
                least = late, plan
        if tried == MANNERS and least is not None:
            yield least[1]
