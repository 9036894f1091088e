"""Numbers as people read them: seconds as m:ss, shares as per cent, volumes; and the sentences that more than one step says."""

import math
from typing import Final

from fettlebook.practice.model import Segment, SegmentShape, StirredVolume
from fettlebook.said import said, term
from fettlebook.science.circuits import Method
from fettlebook.science.paths import PathPart

EXACT: Final = said(
    "what this chair's line needs by the solved wash-out of laminar flow, long enough in 95 of 100 cases although "
    "bore, length and flow are not known exactly. Where parts join, old water may mix or stay in its layers: both are "
    "reckoned, the longer counts."
)
SAFE_BOUND: Final = said(
    "safe bound: 0.63 divided by the root of the share that may be left. Long enough for any straight line, whatever "
    "is in the water, and for bore, length and flow in 95 of 100 cases; often longer than needed."
)
METHOD: Final[dict[Method, str]] = {"exact": EXACT, "safe bound": SAFE_BOUND}
READING: Final[dict[str, str]] = {
    "mixed": said("joints that mix"),
    "coherent": said("one coherent tube"),
    "bound": said("safe bound"),
}
CARRIED: Final[dict[str, str]] = {
    "cells": said(", slowest: cells"),
    "between": said(", slowest: larger molecules"),
    "solute": said(", slowest: small molecules"),
    "anything": "",
}
LEFT_OUT: Final = said(
    "Not in this time: valves, quick connects and filters of unknown inside, what a coil gains, bubbles, hoses that "
    "nobody opens, what hose walls or growth on them hold. Flushing moves water, it does not remove biofilm. A strip "
    "reading at the last outlet outranks any computed time."
)


def whole_s(seconds: float) -> int:
    """Round up to whole seconds; a whole number that arithmetic left a hair too long stays as it is."""
    return math.ceil(seconds - 1e-6)


def clock(seconds: float) -> str:
    """Return seconds, rounded up, as m:ss, or h:mm:ss from an hour on."""
    minutes, s = divmod(whole_s(seconds), 60)
    hours, m = divmod(minutes, 60)
    return f"{hours}:{m:02}:{s:02}" if hours else f"{m}:{s:02}"


def share(fraction: float) -> str:
    """Return a share as per cent, or as one part in so many where per cent would be mostly zeros."""
    return (
        said("{fraction:.3g} %", fraction=fraction * 100)
        if fraction >= 0.001 or fraction <= 0
        else said("1 part in {fraction:,.0f}", fraction=1 / fraction)
    )


def millilitres(volume_ml: float) -> str:
    """Return a volume with a sensible number of digits."""
    return said("{volume_ml:,.0f} mL", volume_ml=volume_ml) if volume_ml >= 100 else said("{volume_ml:.1f} mL", volume_ml=volume_ml)


def part_line(part: PathPart, size: str) -> str:
    """Say what one part of the line holds, how long one volume change takes, and how the water flows in it."""
    how = (
        ""
        if part.reynolds is None
        else said(" (Reynolds {reynolds:.0f}, {regime})", reynolds=part.reynolds, regime=term(part.regime or ""))
    )
    return said(
        "{id} {size} holds {volume_ml}; at {flow_ml_min:g} mL/min one volume change takes {residence_s:.1f} s{how}.",
        id=part.id,
        size=size,
        volume_ml=millilitres(part.volume_ml),
        flow_ml_min=part.flow_ml_min,
        residence_s=part.residence_s,
        how=how,
    )


def part_size(part: Segment | StirredVolume) -> str:
    """Say the measure of a part."""
    if isinstance(part, StirredVolume):
        return said("(mixing volume)")
    return said(
        "{length_m:g} m x {bore_mm:.1f} mm{COILED}",
        length_m=part.length_m,
        bore_mm=part.bore_mm,
        COILED=said(", coiled,") if part.shape is SegmentShape.COILED else "",
    )


def measure_words(what: str, outlet: str) -> str:
    """Say which input to measure first, and how."""
    return {
        "flow": said("the flow of {outlet}, with cup and clock (`fettlebook flow`)", outlet=outlet),
        "bore": said("the bore of the lines: ask the maker, or weigh the water that a cut piece holds"),
        "length": said("the length of the lines, with a tape"),
    }[what]
