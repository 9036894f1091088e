"""What a person types as a reading, as numbers: 52mL/60s, 50/60, 52,5 mL / 1:00, 51.2g/60s."""

import math
import re
from dataclasses import dataclass
from typing import Final

from fettlebook.errors import Finding

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
