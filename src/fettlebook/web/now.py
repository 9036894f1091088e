"""What each person does at this moment and what comes next."""

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from fettlebook.plan.day import DayPlan, Task
from fettlebook.practice.model import Practice
from fettlebook.said import said
from fettlebook.web.wording import clock


@dataclass(frozen=True, slots=True)
class Hands:
    """One person now and next, in words; empty where nothing is planned."""

    name: str
    now: str
    until: str
    next: str
    next_at: str


def now_and_next(plan: DayPlan, practice: Practice, now: datetime) -> tuple[Hands, ...]:
    """Return each person who has work in the plan, in the order of the practice file."""
    zone, at = ZoneInfo(practice.practice.time_zone), now.timestamp()
    found = []
    for person in practice.people:
        tasks = sorted((task for task in plan.tasks if task.person == person.id), key=lambda task: task.start.timestamp())
        if not tasks:
            continue
        current = next((task for task in tasks if task.start.timestamp() <= at < task.end.timestamp()), None)
        coming = next((task for task in tasks if task.start.timestamp() > at), None)
        found.append(
            Hands(
                person.name,
                _say(current) if current else "",
                clock(current.end, zone) if current else "",
                _say(coming) if coming else "",
                clock(coming.start, zone) if coming else "",
            )
        )
    return tuple(found)


def _say(task: Task) -> str:
    return said("{what}: {why}", what=task.place, why=task.what)
