"""What strip readings say of a line, in sentences for every face: the range, what to do, and what goes into the practice file."""

import math
from collections.abc import Iterable, Sequence
from datetime import date
from math import inf

from fettlebook.errors import Mendable
from fettlebook.practice.model import Strips
from fettlebook.said import joined, listed, said
from fettlebook.science.calibration import Calibration
from fettlebook.science.strips import Strip, StripReading
from fettlebook.times.strips import LineUnderTest
from fettlebook.times.words import clock, whole_s

OFF = 0.15  # from here on the flow in the file is worth measuring; our own choice
STILL_DECIDES = said("A strip at every outlet after each rinse still decides: over the limit, rinse on, and no patient before it is clear.")


def in_order(line: LineUnderTest, found: Calibration) -> bool:
    """Whether the readings fit, are enough and end clear, and every rinse of this outlet runs long enough."""
    return found.borne_out and not too_short(line, found)


def too_short(line: LineUnderTest, found: Calibration) -> list[tuple[str, int]]:
    """Return the rinses that run shorter than the strips ask for, with their seconds."""
    return [(t.step_id, s) for t, s in line.rinses if s is not None and s < whole_s(found.hold_s)]


def strips_of(line: LineUnderTest, found: Calibration, day: date) -> Strips:
    """Return what the practice file shall say of these strips.

    Raises
    ------
    Mendable
        The readings do not bear a time out: they misfit, are too few, set no upper end, or no strip was clear.
    """
    if not found.borne_out:
        why = said("the readings do not fit this line") if found.enough and not found.fits else said("the readings do not bear a time out")
        raise Mendable(
            said("nothing was written, since {why}: {reasons}", why=why, reasons=joined("; ", found.reasons)),
            where=f"{line.chair}, {line.outlet}, readings",
            mend=said("Rinse until every strip is clear, find out why, and dip again."),
        )
    mixing_ml = found.mixing * line.curve.nominal_s * line.flow_ml_min / 60.0
    return Strips(
        dipped_on=day,
        slower=round(found.stretch, 3),
        slower_from=math.floor(found.slower_from * 1000.0) / 1000.0,
        slower_to=math.ceil(found.slower_to * 1000.0) / 1000.0,
        mixing_ml=math.ceil(mixing_ml * 100.0) / 100.0,
    )


def told_words(found: Calibration) -> Iterable[str]:
    """Say when the line is down to the limit, and how that stands to what was computed."""
    if found.fits and found.high_s is not None:
        low = "" if found.low_s is None else said("from {low_s} ", low_s=clock(found.low_s))
        yield said(
            "Down to the limit: {low}to {high_s} (95 %), likeliest {limit_s}.",
            low=low,
            high_s=clock(found.high_s),
            limit_s=clock(found.limit_s),
        )
    elif found.fits:
        yield said("Down to the limit: likeliest {limit_s}, with no upper end.", limit_s=clock(found.limit_s))
    else:
        yield said("Down to the limit: can't be said, since the readings do not fit this line.")
    yield said("Computed from the practice file: {computed_s}.", computed_s=clock(found.computed_s))
    if found.fits:
        # stretch and mixing make up for each other and say little apart; the time to the limit is what the strips do fix
        ratio = found.limit_s / found.computed_s
        yield said("That is {ratio:.2f} times as long as computed.", ratio=ratio)
        if abs(ratio - 1.0) > OFF:
            yield said("Is the flow what the file says? Measure it with cup and clock. Fittings and valves lengthen it too.")


def to_do_words(line: LineUnderTest, found: Calibration) -> Iterable[str]:
    """Say how long to rinse and why, which rinses are too short, and which are long enough."""
    still_over = not found.borne_out and found.hold_s == found.over_s
    yield said(
        "Rinse this group for {still_over} {hold_s}:",
        still_over=said("longer than") if still_over else said("at least"),
        hold_s=clock(found.hold_s),
    )
    yield from (f"  {reason}." for reason in found.reasons)
    short = too_short(line, found)
    named = listed(tuple(said("{step} runs {now_s}", step=step, now_s=clock(now_s)) for step, now_s in short)) if short else ""
    if short and not found.borne_out:
        yield said(
            "TOO SHORT: {named}. From these strips no time can be said. Rinse until every strip is clear, and find out why.", named=named
        )
    elif short:
        yield said("TOO SHORT: {named}. Written into the practice file, the strips lengthen it at this outlet.", named=named)
    enough = [(t.step_id, s) for t, s in line.rinses if s is not None and (t.step_id, s) not in short]
    if enough:
        told = listed(tuple(f"{step} ({clock(s)})" for step, s in enough))
        yield (
            said("Long enough as it is: {told}. Strips never shorten it.", told=told)
            if found.borne_out
            else said("It stays at: {told}.", told=told)
        )
    unknown = tuple(t.step_id for t, s in line.rinses if s is None)
    if unknown:
        yield said("Running time not known: {unknown}. See fettlebook times.", unknown=listed(unknown))


def reading_rows(dipped: Sequence[StripReading], strip: Strip, found: Calibration) -> list[tuple[str, str, str]]:
    """Return time, what the strip showed, and what the fitted line would show, in order of time."""
    pairs = sorted(zip(dipped, found.expected_mg_l, strict=True), key=lambda pair: pair[0].seconds)
    return [(clock(r.seconds), _seen(r, strip), _mg_l(expected)) for r, expected in pairs]


def _seen(reading: StripReading, strip: Strip) -> str:
    if reading.low_mg_l == reading.high_mg_l:
        return f"{reading.low_mg_l:g}" if reading.low_mg_l else said("under {colours_mg_l:g}", colours_mg_l=strip.colours_mg_l[0])
    if reading.high_mg_l == inf:
        return said("over {low_mg_l:g}", low_mg_l=reading.low_mg_l)
    return said("{low_mg_l:g} to {high_mg_l:g}", low_mg_l=reading.low_mg_l, high_mg_l=reading.high_mg_l)


def _mg_l(value: float) -> str:
    return f"{value:,.0f}" if value >= 10 else f"{value:.2g}" if value >= 0.01 else said("under 0.01")
