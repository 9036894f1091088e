"""One chair's wash-out as pictures: curves on a log scale with the aims, the running times, and a table that says the same.

The server draws everything; a small script moves a line along the picture. Lines differ by dashes and letters, not by
colour alone.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from fettlebook.said import joined, listed, said, term
from fettlebook.times.curves import Line, Picture, at_seconds, spoken
from fettlebook.times.words import clock

WIDTH: Final = 760.0
HEIGHT: Final = 348.0
LEFT: Final = 66.0
RIGHT: Final = 16.0
TOP: Final = 44.0
WORDS_WIDE: Final = 150.0
BOTTOM: Final = 40.0
LETTERS: Final = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
LOOKS: Final = 6  # how many kinds of line the style sheet has
SECONDS: Final = (10, 20, 30, 60, 120, 240)


@dataclass(frozen=True, slots=True)
class Tick:
    """A mark on an axis, or a line across the picture, with its words; `row` 1 stands above 0 where words would meet."""

    at: float
    text: str
    row: int = 0


@dataclass(frozen=True, slots=True)
class Drawn:
    """One outlet's curve on the picture, and its row in the table."""

    letter: str
    look: int
    outlet: str
    group: int
    path: str
    dot: Tick | None  # where it reaches the aim
    aim_s: str
    values: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Drawing:
    """A picture as a template needs it."""

    what: str
    title: str
    aim_words: str
    end_s: int
    start_s: int  # where the slider stands first
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    aim_y: float
    marks: tuple[Tick, ...]
    lines: tuple[Drawn, ...]
    seconds: tuple[str, ...]
    groups: int
    left: float = LEFT
    right: float = WIDTH - RIGHT
    top: float = TOP
    bottom: float = HEIGHT - BOTTOM
    width: float = WIDTH
    height: float = HEIGHT


def draw(picture: Picture) -> Drawing:
    """Return a picture's coordinates and table."""
    low = 10.0 ** math.floor(math.log10(picture.aim) - 1.0)  # a decade and more below the aim
    seconds = tuple(s for s in SECONDS if s < picture.end_s)
    line_s = max(m.seconds for m in picture.marks if m.name == "line")
    return Drawing(
        what=picture.what,
        title=picture.title,
        aim_words=picture.aim_words,
        end_s=picture.end_s,
        start_s=min(picture.end_s, math.ceil(line_s)),
        across=tuple(Tick(_x(picture, s), clock(s)) for s in _across(picture.end_s)),
        up=tuple(Tick(_y(low, v), said("{v:g} %", v=v * 100)) for v in _decades(low)),
        aim_y=_y(low, picture.aim),
        marks=_marks(picture),
        lines=tuple(_drawn(picture, line, n, low, seconds) for n, line in enumerate(picture.lines)),
        seconds=tuple(clock(s) for s in seconds),
        groups=len({line.group for line in picture.lines}),
    )


def as_data(pictures: Sequence[Picture]) -> dict[str, Any]:
    """Return what the script needs: the shares of each outlet, evenly spaced from 0 to the end."""
    return {
        "left": LEFT,
        "right": WIDTH - RIGHT,
        "pictures": {
            p.what: {
                "end_s": p.end_s,
                "aim": p.aim,
                "full_mg_l": p.full_mg_l,
                "missing": p.what == "fill",
                "lines": [{"outlet": line.outlet, "shares": line.shares} for line in p.lines],
            }
            for p in pictures
        },
    }


def _drawn(picture: Picture, line: Line, number: int, low: float, seconds: tuple[int, ...]) -> Drawn:
    last = len(line.shares) - 1
    points = [(picture.end_s * n / last, s) for n, s in enumerate(line.shares)]
    shown = [p for n, p in enumerate(points) if p[1] > low or points[max(0, n - 1)][1] > low]
    dot = Tick(_x(picture, line.aim_s), LETTERS[number % 26]) if line.aim_s < picture.end_s else None
    return Drawn(
        letter=LETTERS[number % 26],
        look=number % LOOKS,
        outlet=line.outlet,
        group=line.group,
        path=" ".join(f"{_x(picture, t):.1f},{_y(low, s):.1f}" for t, s in shown),
        dot=dot,
        aim_s=clock(line.aim_s),
        values=tuple(spoken(picture, at_seconds(picture, line, s)) for s in seconds),
    )


def _marks(picture: Picture) -> tuple[Tick, ...]:
    """Return the times that rule, label and line set, those that are equal under one name."""
    named: dict[int, list[str]] = {}
    for mark in picture.marks:
        named.setdefault(math.ceil(mark.seconds - 1e-6), []).append(mark.name)
    ticks: list[Tick] = []
    for s, names in sorted(named.items()):
        at = _x(picture, s)
        near = bool(ticks) and at - ticks[-1].at < WORDS_WIDE and ticks[-1].row == 0
        if s <= picture.end_s:
            ticks.append(Tick(at, joined(" ", (listed([term(name) for name in names]), clock(s))), int(near)))
    return tuple(ticks)


def _x(picture: Picture, seconds: float) -> float:
    return round(LEFT + (WIDTH - LEFT - RIGHT) * seconds / picture.end_s, 1)


def _y(low: float, value: float) -> float:
    depth = min(max(math.log10(value) / math.log10(low), 0.0), 1.0) if value > 0 else 1.0
    return round(TOP + (HEIGHT - TOP - BOTTOM) * depth, 1)


def _decades(low: float) -> list[float]:
    return [10.0**-n for n in range(round(-math.log10(low)) + 1)]


def _across(end_s: int) -> list[int]:
    step = next((s for s in (5, 10, 15, 30, 60, 120, 300, 600, 1800, 3600) if end_s / s <= 8), -(-end_s // 8))
    return list(range(0, end_s + 1, step))
