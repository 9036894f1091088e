"""One person's duties as a calendar (RFC 5545): what the day's plan gives them, and what falls due of what nobody was given yet.

Steps that follow each other at one place are one entry: a turnover is one thing to do, not seven. An entry keeps its UID when it is planned
anew, so a calendar that subscribes shows it moved and not twice. Visits are not in it: the appointment book has them.
"""

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from icalendar import Calendar, Event

from fettlebook.book.kinds import from_ms
from fettlebook.plan.day import DayPlan, Task
from fettlebook.practice.model import Practice
from fettlebook.standing.asking import minutes, name_of
from fettlebook.standing.model import Owed

GAP: Final = timedelta(minutes=2)  # steps this close together are done in one go
WORDS: Final = {
    "opening": "open", "turnover": "turnover", "closing": "close", "load": "load", "unload": "unload", "pack": "pack", "test": "test",
    "duty": "duty",
}  # fmt: skip
CAUTION: Final = (
    "Instructions for use, labels and local rules come first. As planned when this calendar was made; the page has it as it is now."
)


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of the calendar: a stretch of work, or (without an end) a moment by which something is owed."""

    key: str  # what stays when it is moved
    what: str
    where: str
    start: datetime | date
    end: datetime | None
    told: tuple[str, ...]


def duty_diary(practice: Practice, plans: Sequence[DayPlan], owed: Iterable[Owed], *, person: str | None, made_at: datetime) -> bytes:
    """Return the calendar of one person, or of the practice.

    Parameters
    ----------
    practice
        Names, rooms, zone.
    plans
        Days as planned; only what is given to `person` is taken (None: to anybody).
    owed
        Duties that are due, whoever does them.
    person
        The person's id in the practice file; None: all.
    made_at
        The moment that the calendar bears, aware.
    """
    zone = ZoneInfo(practice.practice.time_zone)
    calendar = Calendar()
    calendar.add("prodid", "-//fettlebook//duties//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    name = next((one.name for one in practice.people if one.id == person), practice.practice.name)
    calendar.add("x-wr-calname", f"Duties, {name}{', invented' if practice.practice.invented else ''}")
    entries = [*(entry for plan in plans for entry in stretches(plan, person)), *(_owed(one, zone) for one in owed)]
    for entry in entries:
        calendar.add_component(_event(entry, practice, made_at, zone))
    calendar.add_missing_timezones()
    made: bytes = calendar.to_ical()
    return made


def stretches(plan: DayPlan, person: str | None) -> Iterator[Entry]:
    """Yield a day's work of a person, in order, steps in one go at one place as one entry."""
    mine = sorted(
        (t for t in plan.tasks if t.kind in WORDS and t.attended and t.person is not None and person in (None, t.person)),
        key=lambda t: (t.person or "", t.start.timestamp()),
    )
    count: dict[tuple[str, ...], int] = {}
    together: list[Task] = []
    for task in (*mine, None):
        if together and (task is None or _place(task) != _place(together[-1]) or task.start - together[-1].end > GAP):
            first = together[0]
            place = (*_place(first), first.visit or "")
            count[place] = count.get(place, 0) + 1
            yield Entry(
                key="/".join((str(plan.day), *place, str(count[place]))),
                what=f"{first.place}: {WORDS[first.kind]}",
                where=first.place,
                start=first.start,
                end=max(t.end for t in together),
                told=tuple(dict.fromkeys(t.what for t in together)),
            )
            together = []
        if task is not None:
            together.append(task)


def _place(task: Task) -> tuple[str, str, str]:
    return task.person or "", task.place, task.kind


def _owed(owed: Owed, zone: ZoneInfo) -> Entry:
    due = from_ms(owed.due_ms, str(zone)) if owed.due_ms is not None else None
    told = [f"Takes {minutes(owed.attended_s, owed.unattended_s)}"] if owed.attended_s or owed.unattended_s else []
    if due is not None:
        told.append(f"Owed by {due:%Y-%m-%d %H:%M}")
    return Entry(
        key=f"owed/{owed.subject}/{owed.duty_id}",
        what=f"{name_of(owed.subject)}: {owed.name}{' (overdue)' if owed.overdue else ''}",
        where=name_of(owed.subject),
        start=due if due is not None else date.min,
        end=None,
        told=tuple(told),
    )


def _event(entry: Entry, practice: Practice, made_at: datetime, zone: ZoneInfo) -> Event:
    event = Event()
    digest = hashlib.sha256(f"{practice.practice.id}/{entry.key}".encode()).hexdigest()[:32]
    event.add("uid", f"{digest}@duties.fettlebook.invalid")
    event.add("dtstamp", made_at)
    event.add("summary", entry.what)
    event.add("location", entry.where)
    event.add("description", "\n".join((*entry.told, CAUTION)))
    event.add("transp", "TRANSPARENT")
    if isinstance(entry.start, datetime):
        event.add("dtstart", entry.start.astimezone(zone))
        if entry.end is not None:
            event.add("dtend", entry.end.astimezone(zone))
    else:  # owed today at no set hour
        event.add("dtstart", made_at.astimezone(zone).date())
    return event
