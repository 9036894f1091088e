"""What strip readings say of a line, as a person reads it."""

import textwrap
from collections.abc import Iterable, Sequence
from datetime import date
from math import inf
from typing import Any

from fettlebook.practice.model import Practice
from fettlebook.science.calibration import Calibration
from fettlebook.science.strips import Strip, StripReading
from fettlebook.times.strips import LineUnderTest
from fettlebook.times.words import clock, listed, whole_s

WIDTH = 80
OFF = 0.15  # from here on the flow in the file is worth measuring; our own choice


def in_order(line: LineUnderTest, found: Calibration) -> bool:
    """Whether the readings fit, are enough and end clear, and every rinse of this outlet runs long enough."""
    return found.borne_out and not _too_short(line, found)


def page(practice: Practice, line: LineUnderTest, strip: Strip, dipped: Sequence[StripReading], found: Calibration, *, day: date) -> str:
    """Return the answer as text of 80 columns."""
    head = practice.practice
    colours = ", ".join(f"{c:g}" for c in strip.colours_mg_l)
    rows = [
        f"{head.name}{' (invented)' if head.invented else ''}, {line.chair}, {line.outlet}; open together: {listed(line.together)}",
        f"From {line.strength_mg_l:,.0f} mg/L down to {line.limit_mg_l:g} mg/L; strip with {colours}",
        "",
        f"  {'after':>6}  {'strip, mg/L':<14}fitted line, mg/L",
    ]
    rows += [
        f"  {clock(r.seconds):>6}  {_seen(r, strip):<14}{_mg_l(expected)}"
        for r, expected in sorted(zip(dipped, found.expected_mg_l, strict=True), key=lambda pair: pair[0].seconds)
    ]
    rows += ["", *_wrapped(_told(line, found)), "", *_wrapped(_to_do(line, found, day))]
    return "\n".join((*_wrapped(rows[:2]), *rows[2:]))


def _told(line: LineUnderTest, found: Calibration) -> Iterable[str]:
    if found.fits and found.high_s is not None:
        low = "" if found.low_s is None else f"from {clock(found.low_s)} "
        yield f"Down to the limit: {low}to {clock(found.high_s)} (95 %), likeliest {clock(found.limit_s)}."
    elif found.fits:
        yield f"Down to the limit: likeliest {clock(found.limit_s)}, with no upper end."
    else:
        yield "Down to the limit: can't be said, since the readings do not fit this line."
    yield f"Computed from the practice file: {clock(found.computed_s)}."
    if found.fits:
        # stretch and mixing make up for each other and say little apart; the time to the limit is what the strips do fix
        ratio = found.limit_s / found.computed_s
        yield f"That is {ratio:.2f} times as long as computed."
        if abs(ratio - 1.0) > OFF:
            yield "Is the flow what the file says? Measure it: fettlebook flow. Fittings and valves lengthen it too."


def _to_do(line: LineUnderTest, found: Calibration, day: date) -> Iterable[str]:
    still_over = not found.borne_out and found.hold_s == found.over_s
    yield f"Rinse this group for {'longer than' if still_over else 'at least'} {clock(found.hold_s)}:"
    yield from (f"  {reason}." for reason in found.reasons)
    short = _too_short(line, found)
    if short and not found.borne_out:
        yield (
            f"TOO SHORT: {listed(tuple(f'{step} runs {clock(now_s)}' for step, now_s in short))}. From these strips no time can be said. "
            "Rinse until every strip is clear, and find out why."
        )
    elif short:
        yield "TOO SHORT. For the practice file (it lengthens the step at every chair):"
        for step, now_s in short:
            yield f"  [[own_rules]]  # {step} runs {clock(now_s)}"
            yield f'  id = "{step}"'
            yield f"  value = {whole_s(found.hold_s)}"
            yield f'  reason = "strips at {line.chair}, {line.outlet}"'
            yield f"  decided_on = {day}"
    enough = [(t.step_id, s) for t, s in line.rinses if s is not None and (t.step_id, s) not in short]
    if enough:
        told = listed(tuple(f"{step} ({clock(s)})" for step, s in enough))
        yield f"Long enough as it is: {told}. Strips never shorten it." if found.borne_out else f"It stays at: {told}."
    unknown = tuple(t.step_id for t, s in line.rinses if s is None)
    if unknown:
        yield f"Running time not known: {listed(unknown)}. See fettlebook times."
    yield "A strip at every outlet after each rinse still decides: over the limit, rinse on, and no patient before it is clear."


def _too_short(line: LineUnderTest, found: Calibration) -> list[tuple[str, int]]:
    return [(t.step_id, s) for t, s in line.rinses if s is not None and s < whole_s(found.hold_s)]


def _seen(reading: StripReading, strip: Strip) -> str:
    if reading.low_mg_l == reading.high_mg_l:
        return f"{reading.low_mg_l:g}" if reading.low_mg_l else f"under {strip.colours_mg_l[0]:g}"
    if reading.high_mg_l == inf:
        return f"over {reading.low_mg_l:g}"
    return f"{reading.low_mg_l:g} to {reading.high_mg_l:g}"


def _mg_l(value: float) -> str:
    return f"{value:,.0f}" if value >= 10 else f"{value:.2g}" if value >= 0.01 else "under 0.01"


def _wrapped(rows: Iterable[str]) -> list[str]:
    wrapped: list[str] = []
    for row in rows:
        indent = " " * (len(row) - len(row.lstrip()))
        wrapped += textwrap.wrap(row, WIDTH, subsequent_indent=indent + "  ", break_on_hyphens=False) or [""]
    return wrapped


def as_data(practice: Practice, line: LineUnderTest, dipped: Sequence[StripReading], found: Calibration, day: date) -> dict[str, Any]:
    """Return the answer as JSON data."""
    return {
        "form": 1,
        "practice": {"id": practice.practice.id, "invented": practice.practice.invented},
        "on": str(day),
        "chair": line.chair,
        "outlet": line.outlet,
        "together": list(line.together),
        "strength_mg_l": line.strength_mg_l,
        "limit_mg_l": line.limit_mg_l,
        "readings": [
            {
                "seconds": r.seconds,
                "low_mg_l": r.low_mg_l,
                "high_mg_l": None if r.high_mg_l == inf else r.high_mg_l,
                "fitted_mg_l": expected,
            }
            for r, expected in zip(dipped, found.expected_mg_l, strict=True)
        ],
        "fits": found.fits,
        "fit_p": found.fit_p,
        "enough": found.enough,
        "borne_out": found.borne_out,
        "over_s": found.over_s,
        "stretch": found.stretch,
        "mixing": found.mixing,
        "limit_s": found.limit_s,
        "low_s": found.low_s,
        "high_s": found.high_s,
        "computed_s": found.computed_s,
        "floor_s": line.floor_s,
        "keep_to_s": found.hold_s,
        "reasons": list(found.reasons),
        "rinses": [{"step": t.step_id, "seconds": s, "long_enough": s is not None and s >= whole_s(found.hold_s)} for t, s in line.rinses],
    }
