"""Emptying before a fill: what the lines hold, and how much mixed solution the fill that follows will take."""

import math
from collections.abc import Sequence
from dataclasses import replace

from fettlebook.practice.model import Chair
from fettlebook.rules.model import Computed, Step
from fettlebook.said import said
from fettlebook.times.model import RunningTime
from fettlebook.times.words import millilitres


def with_amounts(chair: Chair, steps: Sequence[Step], times: Sequence[RunningTime]) -> tuple[RunningTime, ...]:
    """Return the times of one duty, the emptying steps with what runs out and what is to be put in.

    Parameters
    ----------
    chair
        The chair.
    steps
        The duty's steps on this chair.
    times
        Their times, in the same order.

    Notes
    -----
    A step empties where it blows through every outlet and a fill comes after it in the duty.
    """
    told = list(times)
    for number, step in enumerate(steps):
        fill = next((t for s, t in zip(steps[number:], told[number:], strict=True) if s.computes is Computed.FILL), None)
        if step.computes is None and step.medium == "air" and step.outlets == "all" and fill is not None:
            told[number] = _with_amount(chair, told[number], fill)
    return tuple(told)


def line_ml(chair: Chair) -> float:
    """Return what the chair's lines hold; mm2 times m is mL."""
    return sum(math.pi / 4 * s.bore_mm**2 * s.length_m for s in chair.segments) + sum(s.volume_ml for s in chair.stirred)


def _with_amount(chair: Chair, time: RunningTime, fill: RunningTime) -> RunningTime:
    holds = line_ml(chair)
    if fill.seconds is None:
        amount = said("how much to put in is unknown, since the fill has no time")
        told = said("How much mixed solution the fill takes can't be said, since its time is unknown.")
    else:
        at_least_ml = math.ceil(fill.product_ml / 10) * 10
        amount = said("put in at least {at_least_ml} of mixed solution", at_least_ml=millilitres(at_least_ml))
        told = said(
            "The fill runs {product_ml} through the outlets, so put in at least {at_least_ml} of mixed solution, and "
            "on top what stays in the bottle or tank.",
            product_ml=millilitres(fill.product_ml),
            at_least_ml=millilitres(at_least_ml),
        )
    return replace(
        time,
        notes=(*time.notes, amount),
        derivation=(
            *time.derivation,
            said("The lines hold {volume}, which goes down the drain when they are emptied.", volume=millilitres(holds)),
            told,
        ),
        waste_ml=time.waste_ml + holds,
    )
