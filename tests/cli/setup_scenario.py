"""An invented practice as somebody would answer for it: three chairs, one of them measured, labels at hand, a first calendar file."""

import re
from datetime import UTC, datetime
from typing import Final

NOW: Final = datetime(2026, 11, 24, 14, 0, tzinfo=UTC)
S_A_QUESTION: Final = 10.0  # to read it and to know the answer; our own rule
S_A_KEY: Final = 0.5  # 24 words a minute, a slow typist; our own rule
S_A_CUP: Final = 75.0  # a minute under the outlet, and to read and empty it; our own rule
MOST_S: Final = 30 * 60

# what is typed, by the question's id; what is not here takes what is offered
TYPED: Final = {
    "practice.name": "Mill Lane Dental (invented)",
    "practice.country": "6",
    "practice.coldest": "12",
    "practice.rooms": "Mill Lane 1, Mill Lane 2, Hygiene",
    "practice.holidays": "2026-12-25, 2026-12-28",
    "product.line intensive": "Line care 3 (invented)",
    "product.line intensive.active": "hydrogen peroxide",
    "product.line intensive.strength": "3 % w/v",
    "product.line intensive.contact": "10 min",
    "product.line intensive.degrees": "10-30",
    "product.line intensive.rinse": "2 min",
    "product.line intensive.left": "10",
    "product.line intensive.opened": "90",
    "product.line intensive.caution": "Irritates eyes",
    "product.surfaces": "Wipes (invented)",
    "product.surfaces.active": "alcohol",
    "product.surfaces.strength": "ready",
    "product.surfaces.contact": "2 min",
    "product.surfaces.degrees": "5-35",
    "chair 1.supply": "1",
    "chair 1.bottle": "1500",
    "chair 1.flow.turbine": "51/60 50/60 52/60",
    "chair 1.flow.motor": "60/60 58/60 59/60",
    "chair 1.flow.scaler": "36/60 35/60 36/60",
    "chair 1.flow.syringe": "110/60 108/60 111/60",
    "chair 3.like": "no",
    "chair 3.supply": "1",
    "chair 3.outlets": "scaler, syringe",
    "washer 1.places": "10",
    "washer 1.minutes 1": "48",
    "sterilizer 1.places": "6",
    "sterilizer 1.minutes 1": "42",
    "sterilizer 1.type 1": "B",
    "sterilizer 1.degrees 1": "134",
    "sets.owned": "examination 14, scaling 6, filling 7, surgical 2",
    "sets.large": "surgical 2",
    "people.names": "Ana, Ben, Chloe",
    "person.Ana.skills": "1,2,3",
    "person.Ana.shifts": "mon-fri 7:30-16:30 break 12:30-13",
    "person.Ben.shifts": "mon-fri 8-18:15 break 13-13:30",
    "book.category.Staff meeting": "no visit",
}


def calendar() -> bytes:
    """Return an invented calendar file: two days, three rooms, one meeting."""
    rows = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//invented//EN"]
    for n, (day, hour, room, category) in enumerate(
        [(25, 9, "Mill Lane 1", "Examination"), (25, 10, "Mill Lane 1", "Filling"), (25, 9, "Mill Lane 2", "Filling"),
         (25, 11, "Hygiene", "Scaling"), (26, 9, "Mill Lane 1", "Examination"), (26, 12, "Mill Lane 2", "Staff meeting")]
    ):  # fmt: skip
        rows += ["BEGIN:VEVENT", f"UID:{n}@invented", "DTSTAMP:20261101T080000Z", f"DTSTART:202611{day}T{hour:02}0000Z"]
        rows += [f"DTEND:202611{day}T{hour:02}4000Z", f"LOCATION:{room}", f"CATEGORIES:{category}", "SUMMARY:Nobody Invented", "END:VEVENT"]
    return ("\r\n".join([*rows, "END:VCALENDAR"]) + "\r\n").encode()


def cups() -> int:
    """Return how many cups the scenario fills."""
    return sum(len(re.findall(r"\d+/60", typed)) for typed in TYPED.values())
