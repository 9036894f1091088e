"""The invented week of Quayside Dental Rooms: who is booked where, on each weekday, from 2026 on.

One line per room: first start, then visits and the gaps between them, as E20 +15 F45: an examination of 20 minutes, a gap of 15, a
filling of 45. Each visit repeats weekly. The days are demanding on purpose (gaps hardly longer than a turnover, two sets for
two or three root canals), but a practice with these people and machines can work them.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Final

ROOMS: Final = ("Treatment room 1", "Treatment room 2", "Hygiene room", "Surgery room")

# "" : an examination often has no category; the practice file's default_visit_kind then holds
CATEGORIES: Final[Mapping[str, str]] = {"E": "", "H": "Hygiene", "F": "Filling", "R": "Root canal", "S": "Surgical"}

# first day of each weekday in 2026 -> one line per room, in the order of ROOMS
WEEK: Final[Mapping[date, tuple[str, str, str, str]]] = {
    date(2026, 1, 5): (
        "08:30 E20 +15 F45 +10 E20 +15 F45 +15 E20 +15 F45 +75 E30 +15 F60 +30 E25",
        "08:45 R60 +15 E20 +10 F45 +15 E20 +15 F40 +75 R75 +15 E20 +15 F45",
        "08:40 H35 +10 H40 +15 H35 +15 H40 +15 H40 +75 H40 +15 H35 +15 H40",
        "09:00 S60 +30 E20 +45 E25 +100 S60 +30 E30",
    ),
    date(2026, 1, 6): (
        "08:30 F45 +15 E20 +15 E20 +10 F45 +15 E20 +15 E30 +70 F45 +15 E20 +40 F45",
        "08:45 E20 +15 F45 +15 E20 +15 R75 +15 E15 +75 F40 +10 E20 +15 F45",
        "08:40 H40 +15 H35 +10 H40 +15 H35 +15 H40 +70 H35 +15 H40",
        "09:10 E20 +15 S75 +30 E20 +85 E30 +15 S60",
    ),
    date(2026, 1, 7): (
        "08:30 E20 +15 R75 +15 E20 +15 F45 +15 E30 +75 F45 +15 E20 +10 F60",
        "08:40 F45 +10 E20 +15 E20 +15 F45 +15 E25 +80 R60 +15 E20 +15 E30",
        "08:35 H35 +15 H40 +15 H35 +10 H40 +15 H35 +75 H40 +15 H30 +15 H40",
        "09:00 S45 +30 E20 +45 F60 +90 R75 +15 E20",
    ),
    date(2026, 1, 1): (
        "08:30 F45 +15 E20 +10 F45 +15 E20 +15 E20 +15 F40 +75 E20 +15 E30 +30 F60",
        "08:45 E20 +10 E20 +15 R75 +15 F45 +15 E20 +75 F45 +15 E20 +15 E30",
        "08:40 H40 +15 H35 +15 H30 +15 H40 +10 H35 +75 H35 +15 H40",
        "09:00 S75 +30 E20 +45 E30 +60 R60 +15 S45",
    ),
    date(2026, 1, 2): (
        "08:30 E20 +15 F45 +15 E20 +15 F45 +15 E20 +75 F45 +15 E20",
        "08:50 E20 +15 F45 +15 E20 +15 R60 +15 E15 +75 F40 +15 E20",
        "08:40 H35 +15 H40 +15 H40 +15 H35 +80 H40 +15 H35",
        "09:15 S45 +30 E20 +15 E20 +30 E30 +65 E30 +15 E20",
    ),
}


@dataclass(frozen=True, slots=True)
class Booking:
    """One visit of the week, at its first occurrence; times are the practice's local time."""

    number: int  # counts through the week
    room: str
    category: str
    start: datetime
    end: datetime


def bookings() -> Iterator[Booking]:
    """Yield every weekly booking, weekday by weekday and room by room."""
    number = 0
    for day, rooms in sorted(WEEK.items()):
        for room, line in zip(ROOMS, rooms, strict=True):
            first, *tokens = line.split()
            now = datetime.combine(day, time.fromisoformat(first))
            for token in tokens:
                letter, minutes = re.fullmatch(r"([EHFRS+])(\d+)", token).groups()  # type: ignore[union-attr] # our own table
                end = now + timedelta(minutes=int(minutes))
                if letter != "+":
                    number += 1
                    yield Booking(number, room, CATEGORIES[letter], now, end)
                now = end
