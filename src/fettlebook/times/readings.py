"""What a person types as a reading, as numbers: 52mL/60s, 50/60, 52,5 mL / 1:00, 51.2g/60s."""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from fettlebook.errors import Finding, Mendable
from fettlebook.science.flow import Reading, volume_ml
from fettlebook.science.mixing import Stated
from fettlebook.science.strips import Strip, StripReading, faults_of_readings, faults_of_strip

_NUMBER: Final = r"[+-]?\d+(?:[.,]\d+)?"
_CUP: Final = re.compile(
    rf"\s*(?P<much>{_NUMBER})\s*(?P<unit>ml|cc|l|g)?\s*/\s*(?:(?P<minutes>\d+):)?(?P<time>{_NUMBER})\s*(?P<span>s|sec|seconds|min)?\s*",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class CupText:
    """One cup as typed: mL, or grams where it was weighed, and seconds."""

    much: float
    weighed: bool
    seconds: float


def number(text: str) -> float:
    """Return a number with decimal point or comma."""
    return float(text.replace(",", "."))


def read_cup(text: str, where: str) -> CupText | Finding:
    """Return what a cup's reading says, or what is wrong with it."""
    found = _CUP.fullmatch(text)
    if found is None:
        return Finding(f'"{text[:40]}" is no reading', where, "Write mL/seconds: 52mL/60s, 50/60 or 52/1:00; weighed water as 51.2g/60s.")
    much, unit = number(found["much"]), (found["unit"] or "ml").lower()
    seconds = number(found["time"]) + 60.0 * int(found["minutes"] or 0)
    if (found["span"] or "s").lower() == "min":
        if found["minutes"]:
            return Finding(f'"{text[:40]}" has minutes twice', where, "Write 1:30 or 90s.")
        seconds *= 60.0
    return CupText(much * 1000.0 if unit == "l" else much, unit == "g", seconds)


def cups(texts: Sequence[str], water_c: float) -> list[Reading]:
    """Return cups as typed; weighed water is reckoned to mL at `water_c`.

    Raises
    ------
    Mendable
        A text is no reading; every one is named as `reading 1`, `reading 2` and so on.
    """
    read = [read_cup(text, f"reading {n}") for n, text in enumerate(texts, start=1)]
    if wrong := [cup for cup in read if isinstance(cup, Finding)]:
        raise Mendable.of(wrong)
    return [Reading(volume_ml(c.much, water_c) if c.weighed else c.much, c.seconds) for c in read if not isinstance(c, Finding)]


def strip_of(text: str, read_error_pct: float) -> Strip:
    """Return a strip from its colours as typed: 0,1,3,10,30,100.

    Raises
    ------
    Mendable
        The text is no list of colours, or no strip has them.
    """
    words = [w for w in re.split(r"[,;\s]+", text.strip()) if w]
    if not all(re.fullmatch(r"\d{1,6}(\.\d{1,6})?", w) for w in words):
        mend = "Write the colours in mg/L with commas between, decimals with a point: 0,0.5,2,5,10."
        raise Mendable(f'"{text[:40]}" is no list of colours', where="--strip", mend=mend)
    strip = Strip(tuple(float(w) for w in words if float(w) != 0.0), read_error_pct / 100.0)
    if faults := faults_of_strip(strip):
        raise Mendable.of(faults)
    return strip


def dips(texts: Sequence[str], strip: Strip) -> list[StripReading]:
    """Return strip readings as typed.

    Raises
    ------
    Mendable
        A text is no reading, or this strip can't show it; every one is named.
    """
    read = [read_strip(text, f"reading {n}", strip.colours_mg_l) for n, text in enumerate(texts, start=1)]
    if wrong := [r for r in read if isinstance(r, Finding)]:
        raise Mendable.of(wrong)
    dipped = [StripReading(*r) for r in read if not isinstance(r, Finding)]
    if faults := faults_of_readings(dipped, strip):
        raise Mendable.of(faults)
    return dipped


def stated(text: str) -> Stated:
    """Return a strength as a label states it: 2 % w/v, 35 % w/w, 300 mg/L.

    Raises
    ------
    Mendable
        Number or unit are missing; % alone says nothing.
    """
    found = re.fullmatch(r"\s*(\d{1,9}(?:[.,]\d{1,9})?)\s*(%\s*w/v|%\s*w/w|mg/l)\s*", text, re.IGNORECASE)
    if found is None:
        mend = 'Write number and unit as the label does: "2 % w/v", "35 % w/w" or "300 mg/L". % alone says nothing.'
        raise Mendable(f'"{text[:40]}" is no strength', where="--strength", mend=mend)
    unit = found[2].casefold().replace(" ", "")
    return Stated(number(found[1]), {"%w/v": "% w/v", "%w/w": "% w/w", "mg/l": "mg/L"}[unit])


_STRIP: Final = re.compile(
    rf"\s*(?:(?P<minutes>\d+):)?(?P<time>{_NUMBER})\s*(?P<span>s|sec|seconds|min)?\s*/\s*"
    rf"(?P<sign>[<>])?\s*(?P<low>{_NUMBER})(?:\s*-\s*(?P<high>{_NUMBER}))?\s*(?:mg/l)?\s*",
    re.IGNORECASE,
)


def read_strip(text: str, where: str, colours_mg_l: tuple[float, ...]) -> tuple[float, float, float] | Finding:
    """Return seconds, lowest and highest strength that a strip's reading stands for, or what is wrong with it.

    A colour by itself gives twice the same; below the lowest colour is 0; above the highest ends nowhere.
    """
    found = _STRIP.fullmatch(text)
    if found is None:
        return Finding(
            f'"{text[:40]}" is no strip reading', where, "Write seconds/colour: 60s/30, 1:30/3-10 between two colours, 120/0, 20/>100."
        )
    seconds = number(found["time"]) + 60.0 * int(found["minutes"] or 0)
    if (found["span"] or "s").lower() == "min":
        seconds *= 60.0
    low = number(found["low"])
    if found["sign"] == "<":
        return (seconds, 0.0, 0.0) if colours_mg_l and low == colours_mg_l[0] else (seconds, -1.0, low)
    if found["sign"] == ">":
        return seconds, low, math.inf
    return seconds, low, number(found["high"]) if found["high"] else low
