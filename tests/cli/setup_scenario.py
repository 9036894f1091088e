"""An invented practice as somebody would answer for it: three chairs, one of them measured, labels at hand, a first calendar file."""

from datetime import UTC, datetime
from typing import Final

NOW: Final = datetime(2026, 11, 24, 14, 0, tzinfo=UTC)
S_A_QUESTION: Final = 10.0  # to read it and to know the answer; our own rule
S_A_KEY: Final = 0.5  # 24 words a minute, a slow typist; our own rule
S_A_LINE: Final = 2.0  # to read a line of a sheet on which the usual stands; our own rule
S_BESIDE_A_CUP: Final = 15.0  # to read and empty a cup, beside the time that it is held; our own rule
MOST_S: Final = 30 * 60  # with the flows of one chair measured

# what is typed, by the question's id; what is not here takes what is offered
TYPED: Final = {
    "practice.name": "Mill Lane Dental (invented)",
    "practice.country": "6",
    "practice.coldest": "12",
    "practice.rooms": "Mill Lane 1, Mill Lane 2, Hygiene",
    "practice.holidays": "2026-12-25, 2026-12-28",
    "products.labels": "1,3",
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
    "chair 1.usual": "1",
    "chair 1.bottle": "1500",
    "chair 1.alike": "1",
    "chair 3.usual": "2",
    "chair 3.outlets": "scaler, syringe",
    "flows.where": "1",
    "chair 1.flow.turbine": "51 50 52",
    "chair 1.flow.motor": "60 58 59",
    "chair 1.flow.scaler": "36 35 36",
    "chair 1.flow.syringe": "55 54 55",
    "washer 1.places": "10",
    "washer 1.minutes 1": "48",
    "sterilizer 1.places": "6",
    "sterilizer 1.minutes 1": "42",
    "sterilizer 1.type 1": "B",
    "sterilizer 1.degrees 1": "134",
    "sets.owned": "examination 14, scaling 6, filling 7, surgical 2",
    "sets.large": "surgical 2",
    "people.names": "Ana, Ben, Chloe",
    "people.usual": "1",
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


def cups() -> list[int]:
    """Return the seconds that each cup of the scenario is held."""
    flows = {name: typed for name, typed in TYPED.items() if ".flow." in name}
    return [30 if name.endswith("syringe") else 60 for name, typed in flows.items() for _ in typed.split()]


def measuring_s() -> float:
    """Return the seconds that the scenario's cups take."""
    return sum(held + S_BESIDE_A_CUP for held in cups())


def counted(screens: str, seconds: float) -> str:
    """Return what was counted as the page about setting up tells it."""
    total = (seconds + measuring_s()) / 60
    return f"{screens}: {seconds / 60:.0f} minutes, and {total:.1f} minutes with the {len(cups())} cups."
