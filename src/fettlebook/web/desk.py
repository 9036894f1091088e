"""What the pages show, and the one worker that makes it: files are read and days planned here, never while a page waits.

The two makers (`read` and `plan`) are passed in. A page asks for a day and gets at once what is known of it; the
worker looks at the files every two seconds and plans again what changed. A file that can't be read any more leaves
the last good plan on the page, with the message above it.
"""

import logging
import threading
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from queue import Empty, Queue
from traceback import extract_tb
from typing import Final, Protocol
from uuid import uuid4
from zoneinfo import ZoneInfo

from fettlebook.errors import AwayError, Finding, Mendable
from fettlebook.plan.day import DayPlan
from fettlebook.plan.events import Event
from fettlebook.plan.follow import Course, timetable
from fettlebook.plan.instance import Instance
from fettlebook.practice.model import Practice
from fettlebook.rules.model import Rulebook
from fettlebook.said import said
from fettlebook.times.model import RunningTime
from fettlebook.web.kept_days import Kept

LOOK_EVERY_S: Final = 2.0
DAYS_KEPT: Final = 60
log = logging.getLogger("fettlebook.web")


@dataclass(frozen=True, slots=True)
class Reading:
    """What the files say, read together."""

    practice: Practice
    rulebook: Rulebook
    times: tuple[RunningTime, ...]
    booked: tuple[date, ...]  # days with visits, in order
    findings: tuple[Finding, ...]
    mark: Hashable  # changes when a file changes
    read_at: datetime

    @property
    def zone(self) -> ZoneInfo:
        """The practice's time zone."""
        return ZoneInfo(self.practice.practice.time_zone)


@dataclass(frozen=True, slots=True)
class DayState:
    """What is known of one day now."""

    day: date
    plan: DayPlan | None = None
    planned_at: datetime | None = None
    stage: str = ""  # what the worker is doing with this day; empty: nothing
    trouble: tuple[Finding, ...] = ()  # why there is no newer plan
    version: int = 0  # grows with each plan and each trouble
    first: DayPlan | None = None  # as planned from the files; `plan` is another once something happened and was kept
    first_version: int = 0  # grows with each `first`
    kept: Kept | None = None


class Makers(Protocol):
    """The work that the desk hands to its worker."""

    def mark(self) -> Hashable:
        """Return what changes when a file or the day changes."""

    def read(self) -> Reading:
        """Read the files; raises Mendable when they can't be used."""

    def plan(self, reading: Reading, day: date, tell: Callable[[str], None], stop: Callable[[], bool]) -> DayPlan:
        """Plan a day, telling how far it is, with the best so far once `stop` is true; raises Mendable when that can't be done."""

    def instance(self, reading: Reading, day: date) -> Instance:
        """Return a day as booked, without planning it."""

    def kept(self, day: date, first: DayPlan) -> Kept | None:
        """Return what a person kept of a day on which something happened."""

    def keep(self, reading: Reading, day: date, first: DayPlan, course: Course | None, events: Sequence[Event]) -> None:
        """Keep the course of a day for good, or put it aside (None); returns when that is durable."""


@dataclass(frozen=True, slots=True)
class _Job:
    day: date
    read_first: bool = field(default=False)


class Desk:
    """Holds the last good reading and the plans made from it."""

    def __init__(self, makers: Makers, clock: Callable[[], datetime]) -> None:
        """Read the files once; raises Mendable when they can't be read."""
        self._makers = makers
        self._clock = clock
        self._reading = makers.read()
        self._days: dict[date, DayState] = {}
        self._stale: set[date] = set()
        self._jobs: Queue[_Job | None] = Queue()
        self._lock = threading.Lock()
        self._seen = self._reading.mark
        self._trouble: tuple[Finding, ...] = ()
        self._last_asked: date | None = None
        self._enough = threading.Event()  # the plan that is being made is wanted now, as good as it is
        self._at_work: date | None = None
        self._away = False  # what a reading or a plan needs doesn't answer: tried again at each look
        self._closing = False
        self._worker = threading.Thread(target=self._work, name="planner", daemon=True)
        self._worker.start()

    @property
    def reading(self) -> Reading:
        """The last good reading of the files."""
        return self._reading

    @property
    def trouble(self) -> tuple[Finding, ...]:
        """Why the files as they are now can't be used; empty when they can."""
        return self._trouble

    def now(self) -> datetime:
        """Return the present moment, aware, in the practice's zone."""
        return self._clock().astimezone(self._reading.zone)

    def day(self, day: date) -> DayState:
        """Return what is known of a day, and have it planned if it isn't or if files changed since."""
        with self._lock:
            self._last_asked = day
            state = self._days.get(day, DayState(day))
            if ((state.plan is None and not state.trouble) or day in self._stale) and not state.stage:
                state = self._queue(_Job(day))
            return state

    def again(self, day: date) -> None:
        """Read the files and plan a day again."""
        with self._lock:
            if not self._days.get(day, DayState(day)).stage:
                self._queue(_Job(day, read_first=True))

    def enough(self, day: date) -> None:
        """Take the best plan so far of a day that is being planned."""
        with self._lock:
            if self._at_work == day:
                self._enough.set()

    def instance(self, day: date) -> Instance:
        """Return a day as booked, without planning it; reads the appointment book."""
        return self._makers.instance(self._reading, day)

    def keep(self, day: date, course: Course | None, events: Sequence[Event] = ()) -> None:
        """Keep the course of a day, or go back to the plan of the files (None).

        It is in the book before any page shows it. Raises Mendable where the day has no plan, or the book refuses it.
        """
        state = self._days.get(day)
        if state is None or state.first is None:
            raise Mendable(said("this day has no plan"), where=str(day), mend=said("Open the day's page first."))
        self._makers.keep(self._reading, day, state.first, course, events)
        with self._lock:
            old = self._days[day]
            kept = None if course is None else Kept(course)
            self._days[day] = replace(old, plan=_shown(state.first, kept), kept=kept, planned_at=self._clock(), version=old.version + 1)

    def close(self, wait_s: float = 1.0) -> bool:
        """Stop the worker; return whether it had stopped in time."""
        self._closing = True
        self._jobs.put(None)
        self._worker.join(wait_s)
        return not self._worker.is_alive()

    def _queue(self, job: _Job) -> DayState:
        state = replace(self._days.get(job.day, DayState(job.day)), stage="waiting for its turn")
        self._days[job.day] = state
        self._stale.discard(job.day)
        while len(self._days) > DAYS_KEPT:
            self._days.pop(next(iter(self._days)))
        self._jobs.put(job)
        return state

    def _work(self) -> None:
        while True:
            try:
                job = self._jobs.get(timeout=LOOK_EVERY_S)
            except Empty:
                try:
                    self._look()
                except Exception as error:  # the worker outlives whatever a look may meet
                    self._trouble = (bug(error, said("looking at the files")),)
                continue
            if job is None:
                return
            self._do(job)

    def _look(self) -> None:
        """Read again if a file changed, or if what was away may be back."""
        mark = self._makers.mark()
        if mark == self._seen and not self._away:
            return
        self._seen, self._away = mark, False
        day = self._last_asked
        if self._read() and day:
            with self._lock:
                if not self._days.get(day, DayState(day)).stage:
                    self._queue(_Job(day))

    def _read(self) -> bool:
        try:
            reading = self._makers.read()
        except Mendable as error:
            self._trouble, self._away = error.findings, isinstance(error, AwayError)
            return False
        except Exception as error:  # the page must stay up and say so
            self._trouble = (bug(error, said("reading the files")),)
            return False
        self._reading, self._trouble, self._seen = reading, (), reading.mark
        with self._lock:
            self._stale.update(self._days)
        return True

    def _do(self, job: _Job) -> None:
        if job.read_first:
            self._stage(job.day, said("reading the files"))
            if not self._read():
                self._settle(job.day, None, self._trouble)
                return
        self._enough.clear()
        self._at_work = job.day
        self._stage(job.day, said("working out the day"))
        try:
            plan = self._makers.plan(self._reading, job.day, lambda said: self._stage(job.day, said), self._hurried)
            kept = self._makers.kept(job.day, plan)
            shown = _shown(plan, kept)
        except Mendable as error:
            self._away = self._away or isinstance(error, AwayError)
            self._settle(job.day, None, error.findings)
        except Exception as error:  # one bad day must not stop the worker
            self._settle(job.day, None, (bug(error, "planning"),))
        else:
            self._settle(job.day, shown, (), first=plan, kept=kept)

    def _hurried(self) -> bool:
        return self._closing or self._enough.is_set()

    def _stage(self, day: date, stage: str) -> None:
        with self._lock:
            self._days[day] = replace(self._days.get(day, DayState(day)), stage=stage)

    def _settle(
        self, day: date, plan: DayPlan | None, trouble: tuple[Finding, ...], *, first: DayPlan | None = None, kept: Kept | None = None
    ) -> None:
        with self._lock:
            self._at_work = None
            old = self._days.get(day, DayState(day))
            new = replace(old, stage="", trouble=trouble, version=old.version + 1)
            if plan:
                new = replace(new, plan=plan, first=first, first_version=new.version, kept=kept, planned_at=self._clock())
            self._days[day] = new
            self._stale.discard(day)


def _shown(first: DayPlan, kept: Kept | None) -> DayPlan:
    return first if kept is None else timetable(first, kept.course)


def bug(error: BaseException, doing: str) -> Finding:
    """Log a fault of the program under an id and return what a page may say of it.

    The error's own text stays out of the log: it can quote a calendar entry, and with it a name.
    """
    key = uuid4().hex[:8]
    frames = [f for f in reversed(extract_tb(error.__traceback__)) if "site-packages" not in f.filename][:6]
    places = " < ".join(f"{f.filename.rpartition('fettlebook/')[2]}:{f.lineno} {f.name}" for f in frames)
    log.error("fault %s while %s: %s at %s", key, doing, type(error).__name__, places)
    return Finding(said("a fault in the program, number {key}", key=key), doing, said("Report the number; the log has the place under it."))
