"""What `fettlebook treatments` prints: planned and reached times, product, strips, and why a treatment isn't fit."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final
from zoneinfo import ZoneInfo

from fettlebook.cli.standing_page import LAST, WIDTH, rule_words, sign
from fettlebook.rules.model import Origin
from fettlebook.standing.asking import said_at
from fettlebook.standing.basis import stamp
from fettlebook.standing.model import Verdict
from fettlebook.standing.treatment_parts import Part, StripRead
from fettlebook.standing.treatments import TimedStep, Treatment
from fettlebook.times.words import clock

NOT_SAID: Final = "?"


def treatments_page(found: Mapping[str, Sequence[Treatment]], days: int, zone: ZoneInfo) -> Iterator[str]:
    """Yield the lines of all chairs: first how many are fit, then each treatment, the newest first."""
    every = [one for of_chair in found.values() for one in of_chair]
    fit = sum(one.verdict is Verdict.FIT for one in every)
    many = "1 treatment" if len(every) == 1 else f"{len(every)} treatments"
    yield f"{many} in {days} days, {fit} of them fit" if every else f"No treatment in the book in {days} days."
    for name, of_chair in found.items():
        if not of_chair and every:
            yield f"{sign(Verdict.UNPROVEN)}  {name}: no treatment in the book in {days} days"
    for of_chair in found.values():
        for one in reversed(of_chair):
            yield ""
            yield from _treatment(one, zone)
    yield ""
    yield from _wrap(LAST, "")


def _treatment(one: Treatment, zone: ZoneInfo) -> Iterator[str]:
    yield f"{sign(one.verdict)}  {one.chair}, {stamp(one.began_ms, zone)}"
    yield from _wrap(one.duty.name, "  ")
    yield f"  {'':<10}{'planned':>9}{'ran':>9}{'clocks':>17}"
    for step in one.steps:
        clocks = f"{_time(step.wall_s)} / {_time(step.forward_s)}"
        sort = step.step.computes.value if step.step.computes else step.step.id
        yield f"  {sort:<10}{_time(step.planned_s):>9}{_time(step.achieved_s):>9}{clocks:>17}  {step.held.value}"
    for strip in one.strips:
        yield f"  strip {strip.moment}: {_strip(strip)}"
    age = f", {one.product.age_days:.1f} days old" if one.product.age_days is not None else ""
    yield from _wrap(f"product {one.product.product or NOT_SAID}, lot {one.product.lot or NOT_SAID}{age}", "  ")
    for part in one.reasons:
        yield from _wrap(f"{sign(part.verdict)}: {part.what}: {part.why}", "  ")
        yield from _wrap(f"rule {rule_words(part.origin)}", "      ")


def _time(seconds: int | None) -> str:
    return NOT_SAID if seconds is None else clock(seconds)


def _strip(strip: StripRead) -> str:
    if strip.lowest_mg_l is None:
        return "no reading"
    span = f"{strip.lowest_mg_l}" if strip.lowest_mg_l == strip.highest_mg_l else f"{strip.lowest_mg_l} to {strip.highest_mg_l}"
    asked = f", asked {'at least' if strip.moment == 'feed' else 'at most'} {strip.asked_mg_l:g}" if strip.asked_mg_l is not None else ""
    return f"{span} mg/L{asked}"


def _wrap(text: str, lead: str) -> Iterator[str]:
    yield from textwrap.wrap(text, WIDTH, initial_indent=lead, subsequent_indent=lead + "  ")


def treatment_data(one: Treatment, zone: ZoneInfo) -> dict[str, Any]:
    """Return a treatment for JSON."""
    product = one.product
    return {
        "chair": one.chair,
        "duty": one.duty.id,
        "began": said_at(one.began_ms, zone),
        "ended": said_at(one.ended_ms, zone),
        "verdict": one.verdict.value,
        "steps": [_step_data(step) for step in one.steps],
        "strips": [
            {"moment": s.moment, "lowest_mg_l": s.lowest_mg_l, "highest_mg_l": s.highest_mg_l, "asked_mg_l": s.asked_mg_l}
            | {"verdict": s.part.verdict.value}
            for s in one.strips
        ],
        "product": {
            "product": product.product,
            "lot": product.lot,
            "solution": product.solution,
            "opened_or_mixed": said_at(product.from_ms, zone),
            "age_days": None if product.age_days is None else round(product.age_days, 3),
            "good_until": said_at(product.good_until_ms, zone),
            "verdict": product.part.verdict.value,
        },
        "reasons": [_part_data(part) for part in one.reasons],
    }


def _step_data(step: TimedStep) -> dict[str, Any]:
    return {
        "step": step.step.id,
        "computes": step.step.computes.value if step.step.computes else None,
        "planned_s": step.planned_s,
        "achieved_s": step.achieved_s,
        "wall_s": step.wall_s,
        "forward_s": step.forward_s,
        "tries": step.tries,
        "held": step.held.value,
        "verdict": step.verdict.value,
        "why": step.why,
        "planned_by": _origin_data(step.origin),
        "evidence": list(step.evidence),
    }


def _part_data(part: Part) -> dict[str, Any]:
    return {
        "what": part.what,
        "verdict": part.verdict.value,
        "why": part.why,
        "rule": _origin_data(part.origin),
        "evidence": list(part.evidence),
    }


def _origin_data(origin: Origin) -> dict[str, str]:
    return {"id": origin.rule_id, "source": origin.source, "sure": origin.sure}
