"""Test strips: what a colour says of a strength, and how likely each colour is.

A strip tells no number but a stretch between two colours, and an eye may take it for the next one.

Sources
-------
[E] A strip read by eye is out by about a quarter, on a log scale. practice
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from fettlebook.errors import Finding

Floats = NDArray[np.float64]
READ_ERROR: Final = 0.25  # [E] standard deviation of the log of what the eye takes it for
SECONDS: Final = (0.0, 7_200.0)
MOST_COLOURS: Final = 20
MOST_READINGS: Final = 60


@dataclass(frozen=True, slots=True)
class Strip:
    """A test strip: the strengths of its colours above zero, rising [mg/L], and how far an eye reads it wrong."""

    colours_mg_l: tuple[float, ...]
    read_error: float = READ_ERROR

    def block_edges(self) -> Floats:
        """Return where one colour passes into the next: at the lowest colour, then half-way on a log scale."""
        c = np.asarray(self.colours_mg_l)
        return np.concatenate([[0.0, c[0]], np.sqrt(c[:-1] * c[1:]), [np.inf]])

    def between_edges(self) -> Floats:
        """Return the colours themselves as borders, for a reading "between 3 and 10"."""
        return np.concatenate([[0.0], self.colours_mg_l, [np.inf]])


@dataclass(frozen=True, slots=True)
class StripReading:
    """A strip at a moment after the outlet was opened: a colour (`low` = `high`), "between" two, or none (0, 0)."""

    seconds: float
    low_mg_l: float
    high_mg_l: float


def intervals(readings: Sequence[StripReading], strip: Strip) -> tuple[list[Floats], list[int]]:
    """Return for each reading the borders of what could have been read [mg/L], and which interval was."""
    edges, chosen = [], []
    for reading in readings:
        if reading.low_mg_l == reading.high_mg_l:  # one colour, or none
            edges.append(strip.block_edges())
            chosen.append(0 if reading.low_mg_l == 0.0 else 1 + strip.colours_mg_l.index(reading.low_mg_l))
        else:
            borders = strip.between_edges()
            edges.append(borders)
            chosen.append(int(np.searchsorted(borders, reading.low_mg_l)))
    return edges, chosen


def log_chances(log_c: Floats, edges: Floats, error: float) -> Floats:
    """Return log of the chance that each interval is read at each log strength, shape (intervals, strengths) [E]."""
    with np.errstate(divide="ignore"):
        z = (np.log(edges)[:, None] - log_c) / error
    return np.asarray(np.log(np.maximum(np.diff(ndtr(z), axis=0), 1e-12)))


def faults_of_strip(strip: Strip) -> list[Finding]:
    """Return what is wrong with a strip's description."""
    found: list[Finding] = []
    colours = strip.colours_mg_l
    if len(colours) < 2 or any(not (math.isfinite(c) and c > 0) for c in colours) or list(colours) != sorted(set(colours)):
        seen = f"colours {', '.join(f'{c:g}' for c in colours) or 'none'}"
        found.append(Finding(seen, "strip", "Give at least two of its colours, above 0 in mg/L, rising: 1, 3, 10."))
    if len(colours) > MOST_COLOURS:
        found.append(Finding(f"{len(colours)} colours", "strip", f"Give those of one strip, {MOST_COLOURS} at most."))
    if not 0.02 <= strip.read_error <= 1.0:
        found.append(Finding(f"a reading error of {strip.read_error:g}", "strip", "Give a share from 0.02 to 1, for example 0.25."))
    return found


def faults_of_readings(readings: Sequence[StripReading], strip: Strip) -> list[Finding]:
    """Return every reading that this strip can't show or no watch can tell."""
    found: list[Finding] = []
    if not readings:
        found.append(Finding("there is no reading", "readings", "Dip a strip at several times after opening the outlet."))
    if len(readings) > MOST_READINGS:
        found.append(Finding(f"{len(readings)} readings", "readings", f"Give {MOST_READINGS} at most: one or a few rinses of one outlet."))
    borders = (0.0, *strip.colours_mg_l, math.inf)
    for number, reading in enumerate(readings, start=1):
        where = f"reading {number}"
        if not SECONDS[0] < reading.seconds <= SECONDS[1]:
            mend = "Give the seconds since the outlet was opened, above 0 and up to 7,200."
            found.append(Finding(f"a time of {reading.seconds:g} s", where, mend))
        low, high = reading.low_mg_l, reading.high_mg_l
        one = low == high and low in borders[:-1]
        two = low in borders and high in borders[1:] and borders.index(high) == borders.index(low) + 1
        if not (one or two):
            seen = f"{low:g} mg/L" if low == high else f"{low:g} to {high:g} mg/L"
            have = ", ".join(f"{c:g}" for c in borders[:-1])
            found.append(Finding(f"{seen} is not on this strip ({have})", where, "Give one of its colours, or two neighbours: 3-10."))
    return found
