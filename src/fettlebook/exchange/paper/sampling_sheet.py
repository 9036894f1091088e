"""A sheet for a round of water samples: what goes into the bottle, how it travels, and a label for each, to be cut."""

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

from fettlebook import __version__
from fettlebook.exchange.laboratory.sampling_diary import DueSample
from fettlebook.exchange.paper.cards import CAUTION, INVENTED, PAGE_OF, made_parts, printed
from fettlebook.practice.model import Practice, SupplyKind
from fettlebook.rules.model import Limit, Rulebook
from fettlebook.rules.neutraliser import neutraliser
from fettlebook.rules.words import origin_in_words
from fettlebook.said import said, said_date, term
from fettlebook.standing.sample_checks import ARRIVAL, HOLD

if TYPE_CHECKING:
    from fettlebook.exchange.paper.typeset import Voice

TEMPLATE: Final = Path(__file__).parent / "sampling_sheet.typ"
VOLUME: Final = "all.water.sample"
COMMON: Final = said("common practice")
WORDS: Final = {
    "title": said("Water samples"),
    "for_each": said("For each bottle"),
    "round": said("The round"),
    "chair": said("Chair"),
    "outlet": said("Outlet"),
    "due": said("Due"),
    "why": said("Why"),
    "taken": said("Taken"),
    "who": said("Who"),
    "left_at": said("Left practice at:"),
    "laboratory": said("Laboratory:"),
    "enter": said("Enter each sample in the book when it is taken: chair, outlet, neutralised or not."),
    "labels": said("Labels, to cut"),
    "unit_water": said("Dental unit water."),
    "dosed": said("Dental unit water, disinfectant in it."),
    "count": said("Heterotrophic count, CFU/mL with colonies and volume plated."),
    "date_time": said("Date, time:"),
    "by": said("Sampled by:"),
    "neutralised": said("Neutralised with:"),
    "pages": PAGE_OF,
}


def sampling_sheet(
    practice: Practice, rulebook: Rulebook, due: Sequence[DueSample], *, made_at: datetime, voice: "Voice | None" = None
) -> bytes:
    """Return a PDF with the round's samples in order, what to mind, and labels, in a language; None: English."""
    from fettlebook.exchange.paper.typeset import typeset  # noqa: PLC0415 - the typesetter takes long to load, and content is asked alone

    return typeset(TEMPLATE, sheet_content(practice, rulebook, due, made_at=made_at), voice)


def sheet_content(practice: Practice, rulebook: Rulebook, due: Sequence[DueSample], *, made_at: datetime) -> dict[str, Any]:
    """Return what stands on the sheet, as plain data."""
    made = made_at.astimezone(ZoneInfo(practice.practice.time_zone))
    chairs = {chair.id: chair for chair in practice.chairs}
    rooms = {room.id: room.name for room in practice.rooms}
    return {
        "practice": practice.practice.name,
        "invented": practice.practice.invented,
        "words": WORDS | {"invented": INVENTED},
        "made": made_parts(made),
        "printed": printed(made),
        "from": said("Rules: {layers}. fettlebook {version}", layers=", ".join(rulebook.layers), version=__version__),
        "caution": CAUTION,
        "mind": _mind(practice, rulebook),
        "samples": [
            {
                "number": number,
                "chair": one.chair,
                "outlet": one.outlet,
                "room": rooms.get(chairs[one.chair].room, chairs[one.chair].room),
                "due": said_date(one.due),
                "why": one.why,
                "dosed": chairs[one.chair].supply.kind is SupplyKind.DOSING or practice.in_use.line_continuous is not None,
                "name": f"{made:%Y-%m-%d} {number}",
            }
            for number, one in enumerate(due, 1)
        ],
    }


def _mind(practice: Practice, rulebook: Rulebook) -> list[dict[str, str]]:
    """Return what a sample needs, each with the rule that says so; where no rule in force says it, that."""
    volume, hold, arrival = (rulebook.limit(name) for name in (VOLUME, HOLD, ARRIVAL))
    least = said("at least {ml:g} mL in a sterile bottle; don't rinse it out, leave air above", ml=volume.value[0]) if volume else ""
    cold = said("{low:g} to {high:g} degC, dark, never frozen", low=min(arrival.value), high=max(arrival.value)) if arrival else ""
    within = said("culture begun within {hours:g} h of sampling", hours=max(hold.value)) if hold else ""
    return [
        _line(said("Volume"), volume, least),
        {"what": said("In the bottle"), **_bottle(practice, rulebook)},
        _line(said("On the way"), arrival, cold),
        _line(said("At the laboratory"), hold, within),
        {
            "what": said("How"),
            "how": said("The worst case: before the morning's flush, handpiece off. Gloves, wipe the outlet, don't touch rim or cap."),
            "rule": COMMON,
        },
        {
            "what": said("Field blank"),
            "how": said(
                "One bottle of sterile water, opened and filled at the chair in the same way. If it grows, the round proves nothing."
            ),
            "rule": COMMON,
        },
    ]


def _line(what: str, limit: Limit | None, how: str) -> dict[str, str]:
    if limit is None:
        return {"what": what, "how": said("The rules in force name nothing: ask the laboratory."), "rule": ""}
    return {"what": what, "how": how, "rule": origin_in_words(limit.origin)}


def _bottle(practice: Practice, rulebook: Rulebook) -> dict[str, str]:
    """Return the neutraliser against what stands in the water all day; where nothing does, against what a treatment may have left."""
    in_use = practice.in_use.line_continuous or practice.in_use.line_intensive
    product = next((p for p in practice.products if p.id == in_use), None)
    if product is None:
        return {"how": said("No product is chosen in the practice file: ask the laboratory what stops yours."), "rule": ""}
    row = neutraliser(product.active, rulebook)
    if row is None:
        told = said("Against {active} ({name}): ask the laboratory what stops it.", active=product.active, name=product.name)
        return {"how": told, "rule": ""}
    told = said("{name}. {topic}. {note}", name=product.name, topic=term(row.topic), note=term(row.origin.note))
    return {"how": told, "rule": origin_in_words(row.origin)}
