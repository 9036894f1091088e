"""An invented day by hand, so that the pages can be tested without the solver: what is shown here was never planned."""

import threading
import time
from collections.abc import Callable, Hashable, Sequence
from datetime import UTC, date, datetime, timedelta
from importlib.resources import files
from zoneinfo import ZoneInfo

from fettlebook.errors import Finding, Mendable
from fettlebook.plan.day import DayPlan, DayVerdict, PlannedVisit, Shortage, Task
from fettlebook.plan.events import Event
from fettlebook.plan.follow import Course
from fettlebook.plan.instance import Instance
from fettlebook.practice.load import read_practice
from fettlebook.practice.model import Practice
from fettlebook.rules.model import Duty, Limit, Origin, Overridden, Rulebook, Step, Subject, When
from fettlebook.times.model import Candidate, OutletTime, RunningTime
from fettlebook.web.desk import Reading
from fettlebook.web.kept_days import Kept

LONDON = ZoneInfo("Europe/London")
DAY = date(2026, 11, 25)
SEEN = Origin("general", "g.1", "A source <b>that was read</b>", "read", "guidance")
REMEMBERED = Origin("uk", "u.1", "A source from memory", "memory", "guidance")


def practice() -> Practice:
    text = (files("fettlebook.demo") / "practice.toml").read_bytes()
    found = read_practice(text, "practice.toml").practice
    assert found
    return found


def at(hour: int, minute: int = 0) -> datetime:
    return datetime(2026, 11, 25, hour, minute, tzinfo=LONDON)


def task(  # noqa: PLR0917 - a line of the table below
    kind: str, place: str, what: str, start: datetime, minutes: float, person: str | None = None, **more: object
) -> Task:
    end = start + timedelta(minutes=minutes)
    return Task(kind, place, person, what, start, end, attended=person is not None, **more)  # type: ignore[arg-type]


def plan() -> DayPlan:
    tasks: list[Task] = []
    visits: list[PlannedVisit] = []
    hands = ("ana", "ben", "chloe", "ben")
    for n, chair in enumerate(("chair 1", "chair 2", "chair 3", "chair 4")):
        hand = hands[n]
        start = at(7, 40 + 5 * n)
        tasks += [
            task("opening", chair, "Covers and look", start, 3, hand),
            task("opening", chair, "Flush all outlets", start + timedelta(minutes=3), 4, step_id="before.flush"),
            task("opening", chair, "Check and sign", start + timedelta(minutes=7), 2, hand),
        ]
        moment = at(8, 30)
        for v in range(9):
            length = (40, 30, 50, 20)[(v + n) % 4]
            if v == 5:
                moment += timedelta(minutes=25)
            late = 4 if (n, v) == (1, 2) else 0
            ref = f"{n}{v}c0ffee{n}{v}"
            begin = moment + timedelta(minutes=late)
            kind = ("exam", "filling", "hygiene", "root canal")[(v + n) % 4]
            visits.append(PlannedVisit(ref, chair, kind, moment, begin, late, ("exam 3", "filling 1")))
            tasks.append(task("visit", chair, "visit", begin, length, visit=ref, units=("exam 3",)))
            moment = begin + timedelta(minutes=length)
            tasks += [
                task("turnover", chair, "Clear", moment, 2, hand, step_id="between.clear"),
                task("turnover", chair, "Wipe surfaces", moment + timedelta(minutes=2), 2, hand),
                task("turnover", chair, "Wet time and flush", moment + timedelta(minutes=4), 3, step_id="between.flush"),
                task("turnover", chair, "Lay out", moment + timedelta(minutes=7), 2, hand),
            ]
            moment += timedelta(minutes=15 if v % 2 else 11)
        tasks += [
            task("closing", chair, "Connect", moment, 3, hand),
            task("closing", chair, "Fill, contact, rinse", moment + timedelta(minutes=3), 24, step_id="end.contact"),
            task("closing", chair, "Finish", moment + timedelta(minutes=27), 3, hand),
        ]
    for machine, length, first in (("washer 1", 48, 9), ("sterilizer 1", 42, 10), ("sterilizer 2", 45, 11)):
        tasks += [task("test", machine, "Daily test", at(8), 3, "ana"), task("test", machine, "Daily test runs", at(8, 3), 22)]
        for load in range(6):
            start = at(first) + timedelta(minutes=75 * load)
            tasks += [
                task("load", machine, "Load", start, 3, "dev"),
                task("cycle", machine, "Cycle", start + timedelta(minutes=3), length, units=("exam 1", "exam 2", "filling 2")),
                task("unload", machine, "Unload", start + timedelta(minutes=8 + length), 3, "dev"),
            ]
    for n in range(12):
        tasks.append(task("pack", "packing", f"Pack exam {n}", at(10) + timedelta(minutes=35 * n), 3, "dev", units=(f"exam {n}",)))
    return DayPlan(
        DAY,
        DayVerdict.LATE,
        "1 visit starts late, 4 min in all; every set is back in time",
        tuple(tasks),
        tuple(visits),
        (Shortage("Root canal set: 2 owned, 3 needed", "chair 4", "14:10", "Own 3 sets, or book the third root canal after 15:20."),),
        4,
        4,
        at(18, 10),
        {"ana": 212, "ben": 305, "chloe": 120, "dev": 160},
        "list scheduler, proven least late",
        (
            Finding("location 'Room 9' is mapped to no chair", "book.ics line 214", "Add a calendar rule for it."),
            Finding("flow of motor not measured", "practice.toml line 71, chair 2", "Measure it with a cup and a clock.", "warning"),
        ),
    )  # fmt: skip


def times() -> tuple[RunningTime, ...]:
    found = []
    for chair in ("chair 1", "chair 2", "chair 3", "chair 4"):
        outlets = (
            OutletTime("turbine", 1, 61.0, 0.001, 50.0, True),
            OutletTime("motor", 1, 75.5, 0.001, 60.0, chair != "chair 2"),
        )
        candidates = (
            Candidate("rule", 30.0, "the general pack's floor", SEEN),
            Candidate("label", 60.0, "the label's shortest", REMEMBERED),
            Candidate("line", 75.5, "what the slowest line needs"),
        )
        found += [
            RunningTime(
                chair, "before", When.BEFORE_FIRST_VISIT, "before.flush", "Flush all outlets", False, 76, "line", candidates, outlets,
                ("A safe bound holds for each segment.",), ("Gloves and eye protection.",), "", 640.0, 0.0,
                duty_name="Opening the chair", margin_s=16, runner_up="label",
                notes=("flow not measured: motor", "unchecked") if chair == "chair 2" else ("unchecked",),
            ),
            RunningTime(
                chair, "between", When.BETWEEN_VISITS, "between.clear", "Clear the table", True, 120, "usual",
                (Candidate("usual", 120.0, "a usual figure", REMEMBERED),), duty_name="Between visits",
            ),
            RunningTime(
                chair, "end", When.END_OF_DAY, "end.contact", "Contact time", False, None, None, (),
                missing="No product is chosen. Set in_use.line_intensive.", duty_name="Closing the chair",
            ),
        ]  # fmt: skip
    return tuple(found)


def rulebook() -> Rulebook:
    step = Step(
        "before.flush", "Flush all outlets", False, "computed", 30.0, None, "all", "off", "water", ("seconds",), "Eye protection.", SEEN,
        (Overridden("20 s", REMEMBERED),),
    )  # fmt: skip
    return Rulebook(
        ("general", "uk"),
        (Duty("before", "Opening the chair", Subject.CHAIR, When.BEFORE_FIRST_VISIT, (step,), SEEN),),
        (Limit("water", "Bacteria in water", "<=", (200.0,), "CFU/mL", "limit", "each sample", REMEMBERED),),
        ("The label asks for more than the rule.",),
    )


def reading(mark: str = "mark") -> Reading:
    booked = (date(2026, 11, 24), DAY, date(2026, 11, 26))
    return Reading(practice(), rulebook(), times(), booked, (), mark, datetime(2026, 11, 25, 7, tzinfo=UTC))


class Hands:
    """Makers whose files and plans are values that a test sets."""

    def __init__(self) -> None:
        self.now_mark: object = "mark"
        self.reading: Reading | Exception = reading()
        self.plans: dict[date, DayPlan | Exception] = {DAY: plan()}
        self.kept_days: dict[date, Kept | None] = {}
        self.noted: list[Event] = []
        self.refuses: Mendable | None = None
        self.until_enough = False  # plan until somebody says that it is enough
        self.may_plan = threading.Event()
        self.may_plan.set()

    def mark(self) -> Hashable:
        return self.now_mark

    def read(self) -> Reading:
        if isinstance(self.reading, Exception):
            raise self.reading
        return self.reading

    def instance(self, read: Reading, day: date) -> Instance:
        made = self.plans.get(day) or self.plans[DAY]  # every day is like the one
        assert isinstance(made, DayPlan)
        assert made.basis
        return made.basis.day

    def kept(self, day: date, first: DayPlan) -> Kept | None:
        return self.kept_days.get(day)

    def keep(self, read: Reading, day: date, first: DayPlan, course: Course | None, events: Sequence[Event]) -> None:
        if self.refuses is not None:
            raise self.refuses
        self.kept_days[day] = None if course is None else Kept(course)
        self.noted += events

    def plan(self, read: Reading, day: date, tell: Callable[[str], None], stop: Callable[[], bool]) -> DayPlan:
        while self.until_enough and not stop():
            time.sleep(0.01)
        assert self.may_plan.wait(20)
        made = self.plans.get(day) or empty(day)
        if isinstance(made, Exception):
            raise made
        return made


def empty(day: date) -> DayPlan:
    return DayPlan(day, DayVerdict.NOTHING_BOOKED, "Nothing is booked.", (), (), (), 0, 0, None, {}, "no search needed")
