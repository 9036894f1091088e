"""The practice itself: name, rulebooks, zone, coldest water, rooms, hours."""

from typing import Final
from zoneinfo import ZoneInfo

from fettlebook.errors import Mendable
from fettlebook.exchange.setup import reading, typical
from fettlebook.exchange.setup.asking import TYPICAL, Choice, Walk
from fettlebook.exchange.setup.draft import Draft
from fettlebook.rules.shelf import bundled_pack, pack_names
from fettlebook.said import said

ZONES: Final = {
    "uk": "Europe/London", "de": "Europe/Berlin", "pl": "Europe/Warsaw", "us": "America/New_York", "us-ca": "America/Los_Angeles",
    "us-ga": "America/New_York", "us-wa": "America/Los_Angeles", "ca": "America/Toronto", "au": "Australia/Sydney",
}  # fmt: skip
NOT_A_COUNTRY: Final = ("general", "en-standards")


def ask_practice(walk: Walk, draft: Draft) -> None:
    """Ask what holds for the whole practice, its rooms and its hours."""
    walk.part = said("The practice")
    name = walk.ask(
        "practice.name",
        said("What is the practice called?"),
        said("As it shall stand on pages and printed cards."),
        reading.text,
        example="Harbour Street Dental",
    )
    packs = [Choice(pack, bundled_pack(pack).pack.name) for pack in pack_names() if pack not in NOT_A_COUNTRY]
    country = walk.ask(
        "practice.country",
        said("Under which rules do you work?"),
        said("A rulebook says which duties and limits hold, each with its source. Where yours is not listed, the general one holds alone."),
        str,
        choices=(*packs, Choice("general", said("none of these: the general rulebook"))),
    )
    coldest = walk.ask(
        "practice.coldest",
        said("How cold does the water get that reaches the chairs, in °C?"),
        said("Run the cold tap in winter for a minute and measure. Cold water needs longest, so take the coldest of the year."),
        lambda typed: None if typed == TYPICAL else reading.value(1, 45, "°C")(typed),
        offered=TYPICAL,
        offered_words=said("typical: {value} °C, not measured", value=typical.COLDEST_C),
    )
    if coldest is None:
        draft.comments["practice.water_temperature_c"] = "typical, not measured: run the cold tap in winter and measure"
    draft.head = {
        "id": reading.id_of(name, (), "practice"),
        "name": name,
        "time_zone": "",
        "rulebooks": ["general"] if country == "general" else ["general", country],
        "water_temperature_c": float(typical.COLDEST_C) if coldest is None else coldest,
    }
    _rooms(walk, draft)
    _usual(walk, draft, ZONES.get(country, walk.zone))
    closed = walk.ask(
        "practice.holidays",
        said("On which days is it closed although it is a weekday?"),
        said("Days with commas between: 2026-12-25, 2026-12-28. More can be written into the file later."),
        lambda typed: reading.dates(typed) if typed else (),
        enter_words=said("none yet"),
    )
    draft.holidays = [{"date": day} for day in closed]


def _rooms(walk: Walk, draft: Draft) -> None:
    rooms = walk.ask(
        "practice.rooms",
        said("Which treatment rooms are there?"),
        said("Names with commas between, as the appointment book calls them if you can. One after the other, as the chairs are counted."),
        reading.names,
        example="Room 1, Room 2, Hygiene",
    )
    for room in rooms:
        draft.rooms.append({"id": reading.id_of(room, [r["id"] for r in draft.rooms], "room"), "name": room})


def _usual(walk: Walk, draft: Draft, zone: str) -> None:
    """Show what most practices have, and ask for what is otherwise at this one."""
    clean, opening, chairs = said("Instrument room"), "mon-fri 8:30-17:30", len(draft.rooms)
    lines = (
        Choice("zone", said("time zone"), zone),
        Choice("clean", said("room for washing and sterilizing"), clean),
        Choice("opening", said("opening hours"), opening),
        Choice("chairs", said("chairs, one in each treatment room"), str(chairs)),
    )
    other = walk.otherwise("practice.usual", said("Is this so at your practice?"), lines)
    if "zone" in other:
        zone = walk.ask(
            "practice.zone",
            said("In which time zone?"),
            said("Continent and city, such as Europe/London. Clocks that change in spring and autumn are then reckoned with."),
            _zone,
            offered=zone,
        )
    room = str(clean)
    if "clean" in other:
        room = walk.ask(
            "practice.clean",
            said("What is the room called in which instruments are washed and sterilized?"),
            said("The room where washer and sterilizer stand."),
            reading.text,
            offered=clean,
        )
    hours = reading.hours(opening)
    if "opening" in other:
        hours = walk.ask(
            "practice.opening",
            said("When is the practice open?"),
            said("Days and times. A lunch closing gives two stretches: mon-fri 8:30-12:30, mon-fri 13:30-17:30, sat 9-12."),
            reading.hours,
            offered=opening,
        )
    if "chairs" in other:
        chairs = walk.ask(
            "practice.chairs",
            said("How many chairs are there?"),
            said("Each dental unit counts. They are called chair 1, chair 2 and so on, in the order of the rooms."),
            reading.count(1, 40),
            offered=str(chairs),
        )
    draft.head["time_zone"], draft.chair_count = zone, chairs
    draft.rooms.append({"id": reading.id_of(room, [r["id"] for r in draft.rooms], "room"), "name": room})
    draft.opening = [{"days": list(days), "from": begin, "to": end} for days, begin, end in hours]


def _zone(typed: str) -> str:
    try:
        return str(ZoneInfo(typed))
    except (KeyError, ValueError, OSError):
        raise Mendable(
            said('"{typed}" is not a known time zone', typed=typed[:40]),
            where="answer",
            mend=said("Write continent and city: Europe/London, America/Chicago."),
        ) from None
