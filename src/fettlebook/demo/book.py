"""The invented appointment book of Quayside Dental Rooms as iCalendar, with what real exports bring: names, series, exceptions.

It is made here and nowhere kept, so that there is one source. The same bytes come out each time.
"""

from datetime import UTC, date, datetime, time, timedelta
from typing import Final

from icalendar import Calendar, Event, Timezone, TimezoneDaylight, TimezoneStandard, vCalAddress, vRecur

from fettlebook.demo.days import Booking, bookings
from fettlebook.demo.people import invented_name

ZONE: Final = "Europe/London"
_WRITTEN: Final = datetime(2025, 12, 15, 9, 0, tzinfo=UTC)
_HOLIDAYS: Final = (date(2026, 12, 25), date(2026, 12, 28))  # as in practice.toml
_WEEKDAYS: Final = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")

# What happened to single visits: (room, first start of the series, day). All in one week, so that one look shows all.
CANCELLED: Final = ("Treatment room 1", time(11, 0), date(2026, 11, 26))
LEFT_OUT: Final = ("Hygiene room", time(9, 25), date(2026, 11, 30))
MOVED: Final = ("Surgery room", time(13, 30), date(2026, 11, 27))
MOVED_TO: Final = time(15, 0)


def book_ics() -> bytes:
    """Return the invented appointment book, RFC 5545, CRLF and folded lines."""
    calendar = Calendar()
    calendar.add("prodid", "-//fettlebook//invented demo book//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", "Quayside Dental Rooms (invented)")
    calendar.add_component(_zone())
    for booking in bookings():
        calendar.add_component(_series(booking))
        for override in _overrides(booking):
            calendar.add_component(override)
    calendar.add_component(_meeting())
    return bytes(calendar.to_ical())


def _zone() -> Timezone:
    """Return the zone as RFC 5545 writes it, by hand: the library's own would change with the installed zone data."""
    zone = Timezone()
    zone.add("tzid", ZONE)
    for part, start, month, before, after, name in (
        (TimezoneDaylight(), datetime.fromisoformat("1996-03-31T01:00"), 3, 0, 1, "BST"),
        (TimezoneStandard(), datetime.fromisoformat("1996-10-27T02:00"), 10, 1, 0, "GMT"),
    ):
        part.add("dtstart", start)
        part.add("rrule", vRecur({"FREQ": "YEARLY", "BYMONTH": month, "BYDAY": "-1SU"}))
        part.add("tzoffsetfrom", timedelta(hours=before))
        part.add("tzoffsetto", timedelta(hours=after))
        part.add("tzname", name)
        zone.add_component(part)
    return zone


def _series(booking: Booking) -> Event:
    event = _event(booking)
    _times(event, booking.start, booking.end)
    event.add("rrule", vRecur({"FREQ": "WEEKLY", "BYDAY": _WEEKDAYS[booking.start.weekday()]}))
    left_out = [day for day in _HOLIDAYS if day.weekday() == booking.start.weekday()]
    if _is(booking, LEFT_OUT):
        left_out.append(LEFT_OUT[2])
    for day in sorted(left_out):
        event.add("exdate", datetime.combine(day, booking.start.time()), parameters={"TZID": ZONE})
    return event


def _overrides(booking: Booking) -> list[Event]:
    found = []
    for exception, start in ((CANCELLED, None), (MOVED, MOVED_TO)):
        if _is(booking, exception):
            event, day = _event(booking), exception[2]
            event.add("recurrence-id", datetime.combine(day, booking.start.time()), parameters={"TZID": ZONE})
            new = datetime.combine(day, start or booking.start.time())
            _times(event, new, new + (booking.end - booking.start))
            event.add("sequence", 1)
            event.add("status", "CANCELLED" if start is None else "CONFIRMED")
            found.append(event)
    return found


def _is(booking: Booking, exception: tuple[str, time, date]) -> bool:
    room, start, day = exception
    return booking.room == room and booking.start.time() == start and booking.start.weekday() == day.weekday()


def _event(booking: Booking) -> Event:
    event, name = Event(), invented_name(booking.number)
    event.add("uid", f"visit-{booking.number:03}@quayside.invalid")
    event.add("dtstamp", _WRITTEN)
    event.add("summary", f"{name} - {booking.category or 'Examination'}")
    event.add("location", booking.room)
    if booking.category:
        event.add("categories", [booking.category])
    if booking.number % 3 == 0:
        attendee = vCalAddress(f"mailto:{name.lower().replace(' ', '.')}@quayside.invalid")
        attendee.params["CN"] = name
        event.add("attendee", attendee)
    if booking.number % 4 == 0:
        event.add("description", f"{name} asked to be called the day before; prefers the morning. Invented, like all in this book.")
    return event


def _meeting() -> Event:
    event = Event()
    event.add("uid", "meeting-1@quayside.invalid")
    event.add("dtstamp", _WRITTEN)
    event.add("summary", f"Team meeting, minutes by {invented_name(0)}")
    event.add("location", "Instrument room")
    event.add("categories", ["Meeting"])
    _times(event, datetime.fromisoformat("2026-01-07T12:45"), datetime.fromisoformat("2026-01-07T13:15"))
    event.add("rrule", vRecur({"FREQ": "WEEKLY", "BYDAY": "WE"}))
    return event


def _times(event: Event, start: datetime, end: datetime) -> None:
    event.add("dtstart", start, parameters={"TZID": ZONE})
    event.add("dtend", end, parameters={"TZID": ZONE})
