"""Cards for the wall of each chair: a duty's steps in order, how long each runs, who set it, what to mind. And one table of all.

A card holds for the practice file and the rules that it was made from; it says from which day, and when to print anew.
"""

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

from fettlebook import __version__
from fettlebook.exchange.paper.qr import CardCode, code_svg
from fettlebook.exchange.paper.typeset import Voice, typeset
from fettlebook.practice.model import Practice
from fettlebook.rules.model import Duty, Rulebook, Subject
from fettlebook.said import joined, listed, said, said_date, term
from fettlebook.times.model import RunningTime
from fettlebook.times.words import clock

TEMPLATE: Final = Path(__file__).parent / "cards.typ"
STEPS_A_CARD: Final = 8
CAUTION: Final = said(
    "Decision support for trained staff. Instructions for use, labels and local rules come first. The program releases nothing by itself."
)
PAGE, PAGES = "<n>", "<of>"  # the typesetter puts the numbers in
PAGE_OF: Final = said("{page} of {pages}", page=PAGE, pages=PAGES)
INVENTED: Final = said("invented data: do not work by this")
PRINT_ANEW: Final = said("Print anew when a flow, a hose, a product or a rule changes.")
SET_BY: Final = {
    "rule": term("rule"),
    "label": term("label"),
    "line": term("line"),
    "fixed": said("rule, fixed"),
    "measured": said("your stop-watch"),
    "usual": said("usual figure"),
}
NOT_KNOWN: Final = said("not known")
WORDS: Final = {
    "running_times": said("Running times"),
    "all_chairs": said("Running times of all chairs"),
    "chair": said("Chair"),
    "out_of_service": said("out of service"),
    "off": said("Out of service."),
    "legend": said(
        "Minutes:seconds for all groups of outlets of a chair. rule: shortest time that the rules allow. label: what the product's "
        "label asks. line: what this chair's line needs, in 95 of 100 cases."
    ),
    "code": said("Code of this card"),
    "step_code": said("Code of a step"),
    "step": said("Step"),
    "time": said("Time"),
    "scan": said("Scan"),
    "unchecked": said("unchecked"),
    "mind": said("Mind."),
}


def chair_cards(
    practice: Practice, rulebook: Rulebook, times: Sequence[RunningTime], *, on: date, made_at: datetime, voice: Voice | None = None
) -> bytes:
    """Return a PDF with a table of all chairs and then a card for each chair and duty, two to an A4 sheet.

    Parameters
    ----------
    practice
        Names, and whether it is invented.
    rulebook
        What the times were made from: order of steps, and what can be done meanwhile.
    times
        The running times to put on cards; chairs and duties without any get no card.
    on
        The day of the rules.
    made_at
        The moment that the cards bear, aware.
    voice
        The language that they are printed in; None: English.
    """
    return typeset(TEMPLATE, cards_content(practice, rulebook, times, on=on, made_at=made_at), voice)


def cards_content(practice: Practice, rulebook: Rulebook, times: Sequence[RunningTime], *, on: date, made_at: datetime) -> dict[str, Any]:
    """Return what stands on the cards, as plain data."""
    made = made_at.astimezone(ZoneInfo(practice.practice.time_zone))
    rooms = {room.id: room.name for room in practice.rooms}
    places = {chair.id: rooms.get(chair.room, chair.room) for chair in practice.chairs}
    duties = [duty for duty in rulebook.duties if duty.subject is Subject.CHAIR]
    cards: list[dict[str, Any]] = []
    for chair in practice.chairs:
        for duty in duties:
            mine = [t for t in times if t.chair == chair.id and t.duty_id == duty.id]
            cards += _cards(duty, mine, places[chair.id]) if mine else []
    return {
        "practice": practice.practice.name,
        "invented": practice.practice.invented,
        "words": WORDS | {"invented": INVENTED, "print_anew": PRINT_ANEW},
        "caution": CAUTION,
        "made": made_parts(made),
        "from": said(
            "Rules of {day}: {layers}. fettlebook {version}", day=said_date(on), layers=", ".join(rulebook.layers), version=__version__
        ),
        "printed": printed(made),
        "table": _table(practice, times),
        "cards": cards,
    }  # fmt: skip


def made_parts(made: datetime) -> dict[str, int]:
    """Return a moment as the typesetter takes it for the document's date."""
    return {"year": made.year, "month": made.month, "day": made.day, "hour": made.hour, "minute": made.minute}


def printed(made: datetime) -> str:
    """Return when a paper was printed."""
    return said("Printed {moment}.", moment=said_date(made))


def _cards(duty: Duty, times: Sequence[RunningTime], room: str) -> Iterable[dict[str, Any]]:
    numbers = {t.step_id: n for n, t in enumerate(times, 1)}
    beside = {step.id: [numbers[b] for b in step.beside if b in numbers] for step in duty.steps}
    own = {step.id: step.caution for step in duty.steps}
    count = -(-len(times) // STEPS_A_CARD)
    each = -(-len(times) // count)
    chair = times[0].chair
    for part in range(count):
        here = times[part * each : (part + 1) * each]
        rest = dict.fromkeys(c for t in here for c in t.cautions if c != own.get(t.step_id))
        yield {
            "chair": chair,
            "room": room,
            "duty": term(duty.name),
            "part": said("{part} of {count}", part=part + 1, count=count) if count > 1 else "",
            "off": any(t.out_of_service for t in here),
            "totals": _totals(times),
            "code": code_svg(CardCode(chair, duty.id)),
            "steps": [_step(t, numbers[t.step_id], beside.get(t.step_id, []), own.get(t.step_id, "")) for t in here],
            "mind": [term(caution) for caution in rest],
        }


def _totals(times: Sequence[RunningTime]) -> str:
    hands = clock(sum(t.seconds or 0 for t in times if t.attended))
    alone = clock(sum(t.seconds or 0 for t in times if not t.attended))
    if any(t.seconds is None for t in times):
        return said("Hands at least {hands}, runs alone at least {alone}", hands=hands, alone=alone)
    return said("Hands {hands}, runs alone {alone}", hands=hands, alone=alone)


def _step(time: RunningTime, number: int, beside: list[int], caution: str) -> dict[str, Any]:
    groups = [joined(" ", (listed(g.outlets), clock(g.seconds))) for g in time.groups] if len(time.groups) > 1 else []
    notes = [n for n in time.notes if not n.startswith("usual,")]
    meanwhile = [said("meanwhile step {numbers}", numbers=listed(tuple(map(str, beside))))] if beside else []
    unknown = [said("Time not known: never take it as done. {missing}", missing=time.missing)] if time.seconds is None else []
    return {
        "number": number,
        "name": term(time.name),
        "time": "?" if time.seconds is None else clock(time.seconds),
        "set_by": SET_BY[time.set_by] if time.set_by else NOT_KNOWN,
        "alone": not time.attended,
        "unchecked": time.unchecked,
        "notes": [*unknown, *groups, *notes, *meanwhile],
        "caution": term(caution) if caution else "",
        "code": "" if time.attended else code_svg(CardCode(time.chair, time.duty_id, time.step_id)),
    }


def _table(practice: Practice, times: Sequence[RunningTime]) -> dict[str, Any]:
    """Return the steps that run alone, one column each, and their time on each chair."""
    columns = {(t.duty_id, t.step_id): (t.duty_name, t.name) for t in times if not t.attended}
    found = {(t.chair, t.duty_id, t.step_id): t for t in times}
    rows = []
    for chair in practice.chairs:
        cells = [_cell(found.get((chair.id, *column))) for column in columns]
        if any(cells):
            rows.append({"chair": chair.id, "off": chair.out_of_service, "cells": cells})
    return {"columns": [{"duty": term(duty), "step": term(step)} for duty, step in columns.values()], "rows": rows}


def _cell(time: RunningTime | None) -> dict[str, str]:
    if time is None:
        return {}
    return {"time": "?" if time.seconds is None else clock(time.seconds), "set_by": SET_BY[time.set_by] if time.set_by else NOT_KNOWN}
