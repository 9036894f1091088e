"""The sampling diary as a calendar (RFC 5545): one entry a day for each sample that is to be taken, by the day by which it is owed.

An entry keeps its UID while the same chair's next sample is meant, so a calendar that reads it again shows it moved and not twice.
"""

import hashlib
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from icalendar import Calendar, Event

from fettlebook.exchange.laboratory.sampling_diary import DueSample
from fettlebook.practice.model import Practice
from fettlebook.rules.words import origin_in_words

CAUTION = (
    "Neutraliser in the bottle by the disinfectant in use, kept cold, to the laboratory in time: see the sampling sheet. "
    "The laboratory's word and local rules come first."
)


def sampling_calendar(practice: Practice, due: Iterable[DueSample], *, today: date, made_at: datetime) -> bytes:
    """Return the calendar.

    Parameters
    ----------
    due
        Samples to take; what was owed before `today` stands today and says since when.
    made_at
        The moment that the calendar bears, aware.
    """
    calendar = Calendar()
    calendar.add("prodid", "-//fettlebook//sampling diary//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", f"Water samples, {practice.practice.name}{', invented' if practice.practice.invented else ''}")
    for one in due:
        calendar.add_component(_event(practice, one, today, made_at))
    made: bytes = calendar.to_ical()
    return made


def _event(practice: Practice, one: DueSample, today: date, made_at: datetime) -> Event:
    event = Event()
    digest = hashlib.sha256(f"{practice.practice.id}/{one.chair}".encode()).hexdigest()[:32]
    day = max(one.due, today)
    late = f" (owed since {one.due})" if one.due < today else ""
    told = [f"{one.why}."]
    if one.from_day is not None and one.from_day > today:
        told.append(f"Not before {one.from_day}.")
    if one.origin is not None:
        told.append(f"Rule: {origin_in_words(one.origin)}.")
    event.add("uid", f"{digest}@samples.fettlebook.invalid")
    event.add("dtstamp", made_at.astimezone(ZoneInfo("UTC")))
    event.add("summary", f"Water sample: {one.chair}, {one.outlet}{late}")
    event.add("location", one.chair)
    event.add("description", "\n".join((*told, CAUTION)))
    event.add("dtstart", day)
    event.add("dtend", day + timedelta(days=1))
    event.add("transp", "TRANSPARENT")
    return event
