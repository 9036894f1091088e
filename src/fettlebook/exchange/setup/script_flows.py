"""The flow of an outlet, by cup and watch on the spot; or a typical one, marked so."""

import math
from collections.abc import Sequence
from datetime import date
from typing import Any, Final

from fettlebook.errors import Mendable
from fettlebook.exchange.setup import reading
from fettlebook.exchange.setup.asking import DAY_MARK, TYPICAL, YES_NO, Choice, Walk
from fettlebook.practice.model import OutletKind
from fettlebook.practice.relations.chairs import USUAL_FLOW_ML_MIN
from fettlebook.said import joined, said, term
from fettlebook.science.flow import Flow, measure_flow, way_to_measure
from fettlebook.times.readings import cups

WITHIN: Final = 0.07  # three cups of one minute reach it at the typical flows, three of half a minute at the larger ones
APART: Final = 1.1  # readings that differ by more than a tenth are looked at: docs/assistant/practice-file.md


def ask_where_measured(walk: Walk, chairs: Sequence[str]) -> frozenset[str]:
    """Return the chairs whose flows are measured on the spot; those of all others are typical for now."""
    return frozenset(
        walk.ask(
            "flows.where",
            said("At which chairs do you measure flows now?"),
            said(
                "With cup and watch at hand; one chair is a good beginning. The others are entered as typical, not measured, and their "
                "times are longer until then; at the end stands what is worth measuring first."
            ),
            reading.listed,
            enter_words=said("at none: typical ones, not measured"),
            choices=tuple(Choice(chair, term(chair)) for chair in chairs),
            many=True,
        )
    )


def seconds_a_cup(flow_ml_min: float) -> int:
    """Return how long a cup is held at about this flow [s]: a minute, or half of it where that is as good."""
    way = way_to_measure(WITHIN, flow_ml_min=flow_ml_min)
    return 60 if way is None else min(60, int(way.seconds))


def ask_flow(
    walk: Walk, key: str, *, chair: str, outlet: str, kind: str, usual_ml_min: float, others: Sequence[str], water_c: float
) -> dict[str, Any]:
    """Return the flow of an outlet as the practice file has it; one that nobody measured is typical."""
    typically: dict[str, Any] = {"flow_ml_min": usual_ml_min, "typical": True}
    together = said(", with {others} open as well", others=", ".join(others)) if others else ""
    cup_s = seconds_a_cup(usual_ml_min)
    asked = said("Flow of the {outlet} of {chair}: mL of each cup, held for {seconds} s", outlet=outlet, chair=chair, seconds=cup_s)
    measured = walk.ask(
        key,
        joined("", (asked, together)),
        said(
            "Gloves and eye protection. Flush it first, open it fully. Three cups, with blanks between, are best. "
            "Another time than this stands behind a stroke: 52/90. Left empty, it is measured another day; its times are longer until then."
        ),
        lambda typed: None if typed == TYPICAL else _measured(typed, kind, water_c),
        offered=TYPICAL,
        offered_words=said("not now; typical: {value:g} mL/min, not measured", value=usual_ml_min),
        example=" ".join(f"{usual_ml_min * cup_s / 60 + more:.0f}" for more in (0, 1, 0)),
        dated=True,
        cup_s=cup_s,
    )
    if measured is None:
        return typically
    found, day = measured
    flows = [one.flow_ml_min for one in found.readings]
    odd = found.odd if max(flows) > APART * min(flows) else ()
    if odd and not walk.ask(
        f"{key}.odd",
        said("These readings look odd: {what}. Keep them?", what=odd[0].what),
        said("{mend} With no, the typical flow stands until it is measured anew; one step back lets you type it again.", mend=odd[0].mend),
        lambda typed: typed == "yes",
        offered="no",
        choices=YES_NO,
    ):
        return typically
    within_pct = min(50.0, max(0.1, math.ceil(found.expanded_share * 1000.0 - 1e-9) / 10.0))
    return {"flow_ml_min": float(round(found.flow_ml_min, 1)), "measured_on": day, "flow_within_pct": within_pct}


def _measured(typed: str, kind: str, water_c: float) -> tuple[Flow, date]:
    """Return the flow from cups and its day; raises `Mendable` where it can't be read, or no such outlet has it."""
    typed, _, day = typed.partition(DAY_MARK)
    (on,) = reading.dates(day)[:1]
    found = measure_flow(cups(typed.split(), water_c))
    low, high = USUAL_FLOW_ML_MIN[OutletKind(kind)]
    if found.flow_ml_min > high or found.flow_ml_min < 1:
        raise Mendable(
            said(
                "{flow:.3g} mL/min can't be a {kind}; the usual is {low:g} to {high:g}",
                flow=found.flow_ml_min,
                kind=kind,
                low=low,
                high=high,
            ),
            where="answer",
            mend=said("Was it mistyped, or held for another time? Write the mL of each cup, or mL/seconds: 52/60."),
        )
    return found, on
