"""Opening hours, holidays and the time zone."""

import zoneinfo
from collections.abc import Iterator

from fettlebook.practice.parts import Parts
from fettlebook.practice.place import Fault
from fettlebook.practice.relations.week import Stretch, clock, first_overlap, stretches
from fettlebook.practice.wording import nearest, seen


def check_hours(parts: Parts) -> Iterator[Fault]:
    """Yield what is wrong with the practice's own hours."""
    if parts.head is not None:
        yield from _time_zone(parts.head.time_zone)
    week: list[Stretch] = []
    for number, opening in parts.opening:
        if opening.to <= opening.from_:
            yield Fault(
                ("opening", number, "to"),
                f"it closes at {clock(opening.to)}, but opens at {clock(opening.from_)}",
                "Correct the times; a practice that is open over midnight gives two stretches.",
            )
            continue
        new = stretches(opening.days, opening.from_, opening.to)
        if overlap := first_overlap(week, new):
            yield Fault(("opening", number), f"it overlaps another stretch on {overlap}", "Join the two, or correct their times.")
        week += new
    seen_dates = set()
    for number, holiday in parts.holidays:
        if holiday.date in seen_dates:
            yield Fault(
                ("holidays", number, "date"),
                f"{holiday.date.isoformat()} stands twice",
                "Take one out, or correct its date.",
                "warning",
            )
        seen_dates.add(holiday.date)


def _time_zone(name: str) -> Iterator[Fault]:
    try:
        zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        known = zoneinfo.available_timezones()
        by_city = {zone.rpartition("/")[2]: zone for zone in sorted(known)}
        city = nearest(name.rpartition("/")[2], by_city)
        meant = nearest(name, known) or (by_city[city] if city else None)
        yield Fault(
            ("practice", "time_zone"),
            f"{seen(name)} is not a known time zone",
            f'Is it "{meant}"?' if meant else 'Give continent and city, for example "Europe/London".',
        )
