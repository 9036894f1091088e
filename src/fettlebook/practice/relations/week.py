"""A week as minutes, so that shifts over midnight and over Sunday are compared like all others."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import time
from typing import Final

from fettlebook.practice.model import Day

DAYS: Final[tuple[Day, ...]] = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_DAY_S: Final = 86_400
_WEEK_S: Final = 7 * _DAY_S


@dataclass(frozen=True, slots=True)
class Stretch:
    """From one moment of the week to another [s since Monday 0:00]; `end` may lie beyond Sunday."""

    start: int
    end: int


def seconds(at: time) -> int:
    """Return a time of day as seconds since midnight [s]."""
    return at.hour * 3600 + at.minute * 60 + at.second


def clock(at: time) -> str:
    """Return a time as it stands on a clock: 08:30, with seconds only where there are any."""
    return at.strftime("%H:%M:%S" if at.second else "%H:%M")


def stretches(days: Iterable[Day], start: time, end: time, *, over_midnight: bool = False) -> list[Stretch]:
    """Return one stretch of the week per day."""
    base = [DAYS.index(day) * _DAY_S for day in days]
    return [Stretch(day + seconds(start), day + seconds(end) + (_DAY_S if over_midnight else 0)) for day in base]


def first_overlap(known: Sequence[Stretch], new: Sequence[Stretch]) -> Day | None:
    """Return the day of the first stretch in `new` that overlaps one in `known` or an earlier one in `new`."""
    before = list(known)
    for stretch in new:
        for other in before:
            for turn in (-_WEEK_S, 0, _WEEK_S):  # Sunday night runs into Monday
                if stretch.start < other.end + turn and other.start + turn < stretch.end:
                    return DAYS[max(stretch.start, other.start + turn) % _WEEK_S // _DAY_S]
        before.append(stretch)
    return None
