"""Sheets of codes to cut and put up: chairs, machines, sets, steps, badges. Each with its name in large letters beside the square."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal, get_args
from zoneinfo import ZoneInfo

from fettlebook import __version__
from fettlebook.exchange.paper.cards import INVENTED, made_parts, printed
from fettlebook.exchange.paper.qr import CardCode, ThingCode, code_svg
from fettlebook.practice.model import Practice
from fettlebook.rules.model import Rulebook, Subject
from fettlebook.said import joined, said, term

if TYPE_CHECKING:
    from fettlebook.exchange.paper.typeset import Voice

TEMPLATE: Final = Path(__file__).parent / "codes.typ"
Sheet = Literal["chairs", "machines", "sets", "steps", "badges"]
SHEETS: Final[tuple[Sheet, ...]] = get_args(Sheet)
_ABOUT: Final[dict[Sheet, str]] = {
    "chairs": said("Scanned on My work: the next step of this chair. Elsewhere: may it be used?"),
    "machines": said("Scanned on My work: the next step of this machine. Elsewhere: its page."),
    "sets": said("Scanned: packing opens with this set ticked. One card for each set there is."),
    "steps": said("Scanned on My work: starts the step, or says that it is done. What a reading needs is still asked."),
    "badges": said("New with every print, and nowhere else. The lead gives each to its person by scanning it once; keep it as a key."),
}
_TITLE: Final[dict[Sheet, str]] = {
    "chairs": said("Codes: chairs"),
    "machines": said("Codes: machines"),
    "sets": said("Codes: sets"),
    "steps": said("Codes: steps"),
    "badges": said("Codes: badges"),
}


def code_sheets(
    practice: Practice,
    rulebook: Rulebook,
    sheets: Sequence[Sheet],
    *,
    made_at: datetime,
    badges: Mapping[str, str] | None = None,
    voice: "Voice | None" = None,
) -> bytes:
    """Return a PDF, A4, with a part for each kind of code.

    Parameters
    ----------
    practice, rulebook
        Whose chairs, machines, sets, people, and which steps.
    sheets
        Which kinds, in this order.
    made_at
        The moment that the sheets bear, aware.
    badges
        A new secret for each person's id, where badges are asked for.
    voice
        The language that they are printed in; None: English.
    """
    from fettlebook.exchange.paper.typeset import typeset  # noqa: PLC0415 - the typesetter takes long to load, and content is asked alone

    return typeset(TEMPLATE, sheets_content(practice, rulebook, sheets, made_at=made_at, badges=badges or {}), voice)


def sheets_content(
    practice: Practice, rulebook: Rulebook, sheets: Sequence[Sheet], *, made_at: datetime, badges: Mapping[str, str]
) -> dict[str, Any]:
    """Return what stands on the sheets, as plain data."""
    made = made_at.astimezone(ZoneInfo(practice.practice.time_zone))
    parts = []
    for sheet in sheets:
        cells = [{"name": name, "about": about, "code": code_svg(code)} for name, about, code in _cells(sheet, practice, rulebook, badges)]
        parts.append({"title": _TITLE[sheet], "about": _ABOUT[sheet], "cells": cells})
    return {
        "practice": practice.practice.name,
        "invented": practice.practice.invented,
        "words": {"codes": said("Codes"), "code_of": said("Code of"), "invented": INVENTED},
        "made": made_parts(made),
        "printed": printed(made),
        "from": f"fettlebook {__version__}",
        "parts": [part for part in parts if part["cells"]],
    }


Cell = tuple[str, str, CardCode | ThingCode]


def _cells(sheet: Sheet, practice: Practice, rulebook: Rulebook, badges: Mapping[str, str]) -> Iterator[Cell]:
    rooms = {room.id: room.name for room in practice.rooms}
    match sheet:
        case "chairs":
            for chair in practice.chairs:
                yield chair.id, rooms.get(chair.room, chair.room), ThingCode("chair", chair.id)
        case "machines":
            for machine in practice.machines:
                yield machine.id, term(str(machine.kind)), ThingCode("machine", machine.id)
        case "sets":
            for kind in practice.sets:
                for number in range(1, kind.owned + 1):
                    yield f"{kind.id} {number}", kind.name, ThingCode("set", f"{kind.id}#{number}")
        case "steps":
            duties = [duty for duty in rulebook.duties if duty.subject is Subject.CHAIR]
            for chair in practice.chairs:
                for duty in duties:
                    for number, step in enumerate(duty.steps_on(chair), 1):
                        yield (
                            joined("", (f"{chair.id}, ", term(duty.name), f" {number}")),
                            term(step.name),
                            CardCode(chair.id, duty.id, step.id),
                        )
        case "badges":
            for person in practice.people:
                if person.id in badges:
                    yield person.name, practice.practice.name, ThingCode("badge", badges[person.id])
