"""Numbers as people read them: seconds as m:ss, shares as per cent, volumes; and the sentences that more than one step says."""

import math
from typing import Final

from fettlebook.practice.model import Segment, SegmentShape, StirredVolume
from fettlebook.science.circuits import Method
from fettlebook.science.paths import PathPart

EXACT: Final = (
    "what this chair's line needs by the solved wash-out of laminar flow, long enough in 95 of 100 cases although bore, length and "
    "flow are not known exactly. Where parts join, old water may mix or stay in its layers: both are reckoned, the longer counts."
)
SAFE_BOUND: Final = (
    "safe bound: 0.63 divided by the root of the share that may be left. Long enough for any straight line, whatever is in the water, "
    "and for bore, length and flow in 95 of 100 cases; often longer than needed."
)
METHOD: Final[dict[Method, str]] = {"exact": EXACT, "safe bound": SAFE_BOUND}
READING: Final[dict[str, str]] = {
    "mixed": "joints that mix",
    "coherent": "one coherent tube",
    "bound": "safe bound",
}
CARRIED: Final[dict[str, str]] = {
    "cells": ", slowest: cells",
    "between": ", slowest: larger molecules",
    "solute": ", slowest: small molecules",
    "anything": "",
}
LEFT_OUT: Final = (
    "Not in this time: valves, quick connects and filters of unknown inside, what a coil gains, bubbles, hoses that nobody opens, what "
    "hose walls or growth on them hold. Flushing moves water, it does not remove biofilm. A strip reading at the last outlet outranks any "
    "computed time."
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
    return f"{fraction * 100:.3g} %" if fraction >= 0.001 or fraction <= 0 else f"1 part in {1 / fraction:,.0f}"


def millilitres(volume_ml: float) -> str:
    """Return a volume with a sensible number of digits."""
    return f"{volume_ml:,.0f} mL" if volume_ml >= 100 else f"{volume_ml:.1f} mL"


def listed(words: tuple[str, ...]) -> str:
    """Return "a", "a and b", "a, b and c"."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def part_line(part: PathPart, size: str) -> str:
    """Say what one part of the line holds, how long one volume change takes, and how the water flows in it."""
    how = "" if part.reynolds is None else f" (Reynolds {part.reynolds:.0f}, {part.regime})"
    return (
        f"{part.id} {size} holds {millilitres(part.volume_ml)}; at {part.flow_ml_min:g} mL/min "
        f"one volume change takes {part.residence_s:.1f} s{how}."
    )


def part_size(part: Segment | StirredVolume) -> str:
    """Say the measure of a part."""
    if isinstance(part, StirredVolume):
        return "(mixing volume)"
    return f"{part.length_m:g} m x {part.bore_mm:.1f} mm{', coiled,' if part.shape is SegmentShape.COILED else ''}"


def measure_words(what: str, outlet: str) -> str:
    """Say which input to measure first, and how."""
    return {
        "flow": f"the flow of {outlet}, with cup and clock (`fettlebook flow`)",
        "bore": "the bore of the lines: ask the maker, or weigh the water that a cut piece holds",
        "length": "the length of the lines, with a tape",
    }[what]
