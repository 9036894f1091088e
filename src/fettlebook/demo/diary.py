"""Who is booked when, for a practice that is lived: visits of a day by chair."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from fettlebook.book.kinds import to_ms
from fettlebook.demo.days import bookings
from fettlebook.exchange.calendar_day import DayReader
from fettlebook.exchange.calendar_open import OpenedBook
from fettlebook.practice.model import Practice


@dataclass(frozen=True, slots=True)
class Booked:
    """One visit: when it is booked [ms], how long [min], of which kind; `ref` where the appointment book gave one."""

    start: int
    minutes: int
    kind: str
    ref: str | None = None


Diary = Callable[[date], Mapping[str, Sequence[Booked]]]


def week_diary(practice: Practice) -> Diary:
    """Return the invented week of the appointment book as a diary: chair -> visits, by weekday."""
    zone = ZoneInfo(practice.practice.time_zone)
    rules = practice.calendar.rules
    chair_of = {rule.equals: rule.chair for rule in rules if rule.property == "location" and rule.chair}
    kind_of = {rule.equals: rule.visit_kind for rule in rules if rule.property == "categories" and rule.visit_kind}
    default = practice.calendar.default_visit_kind or practice.visit_kinds[0].id
    found: dict[int, dict[str, list[tuple[datetime, int, str]]]] = {}
    for booking in bookings():
        chair = chair_of.get(booking.room)
        if chair is not None:
            minutes = round((booking.end - booking.start).total_seconds() / 60)
            of_day = found.setdefault(booking.start.weekday(), {}).setdefault(chair, [])
            of_day.append((booking.start, minutes, kind_of.get(booking.category, default)))

    def visits(day: date) -> Mapping[str, Sequence[Booked]]:
        return {
            chair: [
                Booked(to_ms(datetime.combine(day, start.time(), tzinfo=zone)), minutes, kind) for start, minutes, kind in sorted(booked)
            ]
            for chair, booked in found.get(day.weekday(), {}).items()
        }

    return visits


def calendar_diary(practice: Practice, calendar: bytes, key: bytes) -> Diary:
    """Return an appointment book as a diary, with the references that the pages know its visits by.

    Raises
    ------
    Mendable
        The file is no calendar, or the key (32 bytes, `fettlebook.exchange.key`) has a wrong size.
    """
    opened = OpenedBook(calendar, "book.ics", practice, key)

    def visits(day: date) -> Mapping[str, Sequence[Booked]]:
        reader = DayReader(opened, day)
        for instance in opened.between(day, day):
            reader.take(instance)
        found: dict[str, list[Booked]] = {}
        for visit in sorted(reader.done().visits, key=lambda one: one.start):
            minutes = round((visit.end - visit.start).total_seconds() / 60)
            found.setdefault(visit.chair, []).append(Booked(to_ms(visit.start), minutes, visit.visit_kind, visit.ref))
        return found

    return visits
