"""A sheet for a round of water samples: what goes into the bottle, how it travels, and a label for each, to be cut."""

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

from fettlebook import __version__
from fettlebook.exchange.laboratory.sampling_diary import DueSample
from fettlebook.exchange.paper.cards import CAUTION
from fettlebook.practice.model import Practice, SupplyKind
from fettlebook.rules.model import Limit, Rulebook
from fettlebook.rules.neutraliser import neutraliser
from fettlebook.rules.words import origin_in_words
from fettlebook.standing.sample_checks import ARRIVAL, HOLD

TEMPLATE: Final = Path(__file__).parent / "sampling_sheet.typ"
VOLUME: Final = "all.water.sample"


def sampling_sheet(practice: Practice, rulebook: Rulebook, due: Sequence[DueSample], *, made_at: datetime) -> bytes:
    """Return a PDF with the round's samples in order, what to mind, and labels."""
    from fettlebook.exchange.paper.typeset import typeset  # noqa: PLC0415 - the typesetter takes long to load, and content is asked alone

    return typeset(TEMPLATE, sheet_content(practice, rulebook, due, made_at=made_at))


def sheet_content(practice: Practice, rulebook: Rulebook, due: Sequence[DueSample], *, made_at: datetime) -> dict[str, Any]:
    """Return what stands on the sheet, as plain data."""
    made = made_at.astimezone(ZoneInfo(practice.practice.time_zone))
    chairs = {chair.id: chair for chair in practice.chairs}
    rooms = {room.id: room.name for room in practice.rooms}
    return {
        "practice": practice.practice.name,
        "invented": practice.practice.invented,
        "made": {
            "year": made.year, "month": made.month, "day": made.day, "hour": made.hour, "minute": made.minute,
            "text": f"{made:%Y-%m-%d %H:%M}",
        },
        "from": f"Rules: {', '.join(rulebook.layers)}. fettlebook {__version__}",
        "caution": CAUTION,
        "mind": _mind(practice, rulebook),
        "samples": [
            {
                "number": number,
                "chair": one.chair,
                "outlet": one.outlet,
                "room": rooms.get(chairs[one.chair].room, chairs[one.chair].room),
                "due": f"{one.due}",
                "why": one.why,
                "dosed": chairs[one.chair].supply.kind is SupplyKind.DOSING or practice.in_use.line_continuous is not None,
                "name": f"{made:%Y-%m-%d} {number}",
            }
            for number, one in enumerate(due, 1)
        ],
    }  # fmt: skip


def _mind(practice: Practice, rulebook: Rulebook) -> list[dict[str, str]]:
    """Return what a sample needs, each with the rule that says so; where no rule in force says it, that."""
    volume, hold, arrival = (rulebook.limit(name) for name in (VOLUME, HOLD, ARRIVAL))
    found = [
        _line(
            "Volume", volume, f"at least {volume.value[0]:g} mL in a sterile bottle; don't rinse it out, leave air above" if volume else ""
        ),
        {"what": "In the bottle", **_bottle(practice, rulebook)},
        _line("On the way", arrival, f"{min(arrival.value):g} to {max(arrival.value):g} degC, dark, never frozen" if arrival else ""),
        _line("At the laboratory", hold, f"culture begun within {max(hold.value):g} h of sampling" if hold else ""),
        {
            "what": "How",
            "how": "The worst case: before the morning's flush, handpiece off. Gloves, wipe the outlet, don't touch rim or cap.",
            "rule": "common practice",
        },
        {
            "what": "Field blank",
            "how": "One bottle of sterile water, opened and filled at the chair in the same way. If it grows, the round proves nothing.",
            "rule": "common practice",
        },
    ]
    return found


def _line(what: str, limit: Limit | None, how: str) -> dict[str, str]:
    if limit is None:
        return {"what": what, "how": "The rules in force name nothing: ask the laboratory.", "rule": ""}
    return {"what": what, "how": how, "rule": origin_in_words(limit.origin)}


def _bottle(practice: Practice, rulebook: Rulebook) -> dict[str, str]:
    """Return the neutraliser against what stands in the water all day; where nothing does, against what a treatment may have left."""
    in_use = practice.in_use.line_continuous or practice.in_use.line_intensive
    product = next((p for p in practice.products if p.id == in_use), None)
    if product is None:
        return {"how": "No product is chosen in the practice file: ask the laboratory what stops yours.", "rule": ""}
    row = neutraliser(product.active, rulebook)
    if row is None:
        return {"how": f"Against {product.active} ({product.name}): ask the laboratory what stops it.", "rule": ""}
    return {"how": f"{product.name}. {row.topic}. {row.origin.note}", "rule": origin_in_words(row.origin)}
