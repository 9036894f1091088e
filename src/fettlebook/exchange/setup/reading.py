"""What a person types as an answer, as values: names, numbers, hours, hoses, labels. Every refusal says how to write it."""

import re
import unicodedata
from collections.abc import Callable, Iterable
from datetime import date, time
from typing import Final, TypeVar

from fettlebook.errors import Mendable
from fettlebook.practice.model import StrengthUnit
from fettlebook.said import said
from fettlebook.times.readings import number

T = TypeVar("T")
DAYS: Final = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
MOST: Final = 60  # things in one list
_NUMBER: Final = r"\d{1,6}(?:[.,]\d{1,6})?"
_CLOCK: Final = r"(\d{1,2})(?:[:.](\d{2}))?"
_SPAN: Final = re.compile(rf"{_CLOCK}\s*-\s*{_CLOCK}")


def refuse(what: str, mend: str) -> Mendable:
    """Return the error for an answer that can't be taken."""
    return Mendable(what, where="answer", mend=mend)


def text(typed: str) -> str:
    """Return a name as it is shown, 80 signs at most."""
    if len(typed) > 80:
        raise refuse(said("{n} signs are too many for a name", n=len(typed)), said("Write at most 80."))
    return typed


def names(typed: str) -> tuple[str, ...]:
    """Return names with commas between, none twice."""
    found = tuple(text(name) for name in (part.strip() for part in typed.split(",")) if name)
    twice = next((name for n, name in enumerate(found) if name.casefold() in {f.casefold() for f in found[:n]}), None)
    if twice is not None:
        raise refuse(said('"{name}" stands twice', name=twice), said("Give each a name of its own."))
    if not found or len(found) > MOST:
        raise refuse(said("{n} names were found", n=len(found)), said("Write 1 to 60 names with commas between."))
    return found


def id_of(name: str, taken: Iterable[str], otherwise: str) -> str:
    """Return a short id for a name: the letters A to Z of it, and a number where another has it already."""
    plain = unicodedata.normalize("NFKD", name.replace("ß", "ss")).encode("ascii", "ignore").decode().lower()
    plain = re.sub(r"[^a-z0-9 ._-]+", " ", plain)
    plain = " ".join(plain.split()).lstrip(" ._-")[:50].strip() or otherwise
    known, found, count = set(taken), plain, 1
    while found in known:
        count += 1
        found = f"{plain} {count}"
    return found


def value(low: float, high: float, unit: str) -> Callable[[str], float]:
    """Return what reads a number from `low` to `high`, with decimal point or comma; its unit may stand behind it."""

    def read(typed: str) -> float:
        found = re.fullmatch(rf"({_NUMBER})\s*(?:{re.escape(unit)})?", typed, re.IGNORECASE)
        if found is None:
            raise refuse(said('"{typed}" is no number', typed=typed[:40]), said("Write digits, such as {low:g}.", low=max(low, 1.0)))
        much = number(found[1])
        if not low <= much <= high:
            what = said("{much:g} {unit} can't be", much=much, unit=unit)
            raise refuse(what, said("Give {low:g} to {high:g}. Was the unit {unit}?", low=low, high=high, unit=unit))
        return much

    return read


def count(low: int, high: int) -> Callable[[str], int]:
    """Return what reads a whole number from `low` to `high`."""

    def read(typed: str) -> int:
        if not re.fullmatch(r"\d{1,4}", typed) or not low <= int(typed) <= high:
            raise refuse(
                said('"{typed}" can\'t be taken', typed=typed[:40]), said("Give a whole number, {low} to {high}.", low=low, high=high)
            )
        return int(typed)

    return read


def optional(read: Callable[[str], T]) -> Callable[[str], T | None]:
    """Return what reads the same, and None from an empty answer."""
    return lambda typed: read(typed) if typed else None


def yes(typed: str) -> bool:
    """Return yes or no from the choice."""
    return typed == "yes"


def listed(typed: str) -> tuple[str, ...]:
    """Return several choices."""
    return tuple(part.strip() for part in typed.split(",") if part.strip() and part.strip() != "none")


def days(typed: str) -> tuple[str, ...]:
    """Return weekdays: mon-fri, or sat, or mon+wed+fri."""
    found: list[str] = []
    for word in re.split(r"[+\s]+", typed.strip().casefold()):
        first, _, last = word.partition("-")
        ends = [next((n for n, d in enumerate(DAYS) if len(end) >= 2 and d.startswith(end[:3])), None) for end in (first, last or first)]
        if ends[0] is None or ends[1] is None or ends[0] > ends[1]:
            raise refuse(said('"{word}" are no weekdays', word=word[:40]), said("Write them as mon-fri, sat or mon+wed+fri."))
        found += DAYS[ends[0] : ends[1] + 1]
    return tuple(day for day in DAYS if day in found)


def span(typed: str) -> tuple[time, time]:
    """Return begin and end: 8-17, 8:30-17:30."""
    found = _SPAN.fullmatch(typed.strip())
    try:
        if found is None:
            raise ValueError
        begin, end = time(int(found[1]), int(found[2] or 0)), time(int(found[3]), int(found[4] or 0))
    except ValueError:
        raise refuse(said('"{typed}" are no times', typed=typed[:40]), said("Write begin and end as 8:30-17:30.")) from None
    if end <= begin:
        raise refuse(said("{typed} ends before it begins", typed=typed[:40]), said("Write begin and end of one day, as 8:30-17:30."))
    return begin, end


def hours(typed: str) -> tuple[tuple[tuple[str, ...], time, time], ...]:
    """Return stretches of a week: mon-fri 8:30-12:30, mon-fri 13:30-17:30, sat 9-12; days that are left out are those before."""
    found: list[tuple[tuple[str, ...], time, time]] = []
    for part in re.split(r"[,;]", typed):
        which, _, clock = part.strip().rpartition(" ")
        if not which and not found:
            raise refuse(said('"{part}" names no days', part=part.strip()[:40]), said("Write days and times: mon-fri 8:30-17:30."))
        on = days(which) if which else found[-1][0]
        begin, end = span(clock)
        if any(set(on) & set(d) and begin < e and b < end for d, b, e in found):
            raise refuse(said('"{part}" overlaps what stands before it', part=part.strip()[:40]), said("Correct days or times."))
        found.append((on, begin, end))
    return tuple(found)


Shift = tuple[tuple[str, ...], time, time, tuple[tuple[time, time], ...]]


def shift(typed: str) -> tuple[Shift, ...]:
    """Return shifts: mon-fri 8-17 break 12:30-13, sat 9-12."""
    found: list[Shift] = []
    for part in re.split(r"[,;]", typed):
        work, *breaks = re.split(r"\s+(?:break|with)\s+", part.strip(), flags=re.IGNORECASE)
        ((on, begin, end),) = hours(work)
        rests = tuple(span(rest) for rest in breaks)
        if any(b < begin or e > end for b, e in rests):
            raise refuse(said("the break lies outside the shift"), said("Correct the break or the shift."))
        if any(set(on) & set(d) and begin < e and b < end for d, b, e, _ in found):
            raise refuse(said('"{part}" overlaps what stands before it', part=part.strip()[:40]), said("Correct days or times."))
        found.append((on, begin, end, rests))
    return tuple(found)


def dates(typed: str) -> tuple[date, ...]:
    """Return days with commas between: 2026-12-25, 2026-12-28."""
    found = []
    for part in re.split(r"[,;\s]+", typed.strip()):
        try:
            found.append(date.fromisoformat(part))
        except ValueError:
            raise refuse(said('"{part}" is no day', part=part[:40]), said("Write year, month, day: 2026-12-25.")) from None
    return tuple(dict.fromkeys(found))


def hose(typed: str) -> tuple[float, float]:
    """Return bore [mm] and length [m]: 1.6 x 2.0, with mm and m or without."""
    found = re.fullmatch(rf"({_NUMBER})\s*(?:mm)?\s*[x*/ ]\s*({_NUMBER})\s*(?:m)?", typed, re.IGNORECASE)
    if found is None:
        raise refuse(said('"{typed}" is no bore and length', typed=typed[:40]), said("Write mm x metres: 1.6 x 2.0. 1/16 inch is 1.6 mm."))
    return value(0.5, 30, "mm")(found[1]), value(0.05, 30, "m")(found[2])


def counted(typed: str) -> tuple[tuple[str, int], ...]:
    """Return names with numbers behind them: examination 14, filling 7."""
    found: dict[str, int] = {}
    for part in names(typed):
        much = re.fullmatch(r"(.+?)[\s:=]+(\d{1,3})", part)
        if much is None or not 1 <= int(much[2]) <= 500:
            raise refuse(
                said('"{part}" has no number behind it', part=part[:40]), said("Write name and number: examination 14, filling 7.")
            )
        found[much[1].strip()] = int(much[2])
    return tuple(found.items())


def seconds(typed: str) -> int:
    """Return a label's time [s]: 10 min, 600 s, 1 h; the unit must stand there."""
    found = re.fullmatch(rf"({_NUMBER})\s*(s|sec|seconds|min|minutes|h|hours)", typed, re.IGNORECASE)
    if found is None:
        raise refuse(
            said('"{typed}" is no time with a unit', typed=typed[:40]), said("Write number and unit as the label does: 10 min or 600 s.")
        )
    much = number(found[1]) * {"s": 1, "m": 60, "h": 3600}[found[2][0].casefold()]
    if not 1 <= much <= 172_800 or much % 1:
        raise refuse(said("{much:g} s can't be a label's time", much=much), said("Copy it from the label, up to 48 h."))
    return int(much)


def degrees(typed: str) -> tuple[float, float]:
    """Return a label's lowest and highest temperature [degC]: 10-30."""
    found = re.fullmatch(rf"({_NUMBER})\s*(?:-|to|\.\.)\s*({_NUMBER})\s*(?:°?\s*C)?", typed, re.IGNORECASE)
    if found is None or not 0 <= number(found[1]) <= number(found[2]) <= 100:
        raise refuse(said('"{typed}" are no two temperatures', typed=typed[:40]), said("Write lowest and highest in °C: 10-30."))
    return number(found[1]), number(found[2])


def strength(typed: str) -> tuple[float | None, StrengthUnit]:
    """Return a label's strength with its unit: 3 % w/v, 300 mg/L, or ready."""
    if typed.casefold() in ("ready", "ready to use"):
        return None, StrengthUnit.READY
    found = re.fullmatch(rf"({_NUMBER})\s*(%\s*w/v|%\s*w/w|mg/l)", typed, re.IGNORECASE)
    if found is None:
        mend = said('Write number and unit as the label does: 3 % w/v, 35 % w/w or 300 mg/L; or "ready". % alone says nothing.')
        raise refuse(said('"{typed}" is no strength', typed=typed[:40]), mend)
    unit = {"%w/v": StrengthUnit.PCT_WV, "%w/w": StrengthUnit.PCT_WW, "mg/l": StrengthUnit.MG_L}[found[2].casefold().replace(" ", "")]
    much = number(found[1])
    if not 0 < much <= (1_000_000 if unit is StrengthUnit.MG_L else 100):
        raise refuse(said("{much:g} {unit} can't be", much=much, unit=str(unit)), said("Copy it from the label."))
    return much, unit
