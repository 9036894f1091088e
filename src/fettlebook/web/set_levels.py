"""The levels of one type of set over the day, as a drawing, a table and rows for export.

Stages lie on each other as areas with a pattern of their own; the edge of what lies sterile is a thick line, and the
first moment at which too few do is a diamond with the word `short`. The table says the same.
"""

import csv
from collections.abc import Iterable
from dataclasses import dataclass
from io import StringIO
from typing import Any, Final

from fettlebook.plan.basis import Basis
from fettlebook.plan.set_stages import STAGES, Level, SetLevels, Stage, levels_of
from fettlebook.said import said
from fettlebook.web.tables import inert

WIDTH: Final = 760
HEIGHT: Final = 204
LEFT: Final = 44
RIGHT: Final = 30
TOP: Final = 40
BOTTOM: Final = 28
COLUMNS: Final = ("set", "from", *STAGES, "owned", "short")


@dataclass(frozen=True, slots=True)
class Tick:
    """A mark on an axis with its words."""

    at: float
    text: str


@dataclass(frozen=True, slots=True)
class Area:
    """One stage, lying on those below it."""

    stage: Stage
    look: int
    points: str


@dataclass(frozen=True, slots=True)
class Row:
    """One minute at which something changes."""

    clock: str
    counts: tuple[int, ...]
    short: bool


@dataclass(frozen=True, slots=True)
class Drawn:
    """One type of set as the page shows it."""

    kind: str
    name: str
    owned: int
    lowest: int
    lowest_at: str
    short_at: str
    short_words: str
    areas: tuple[Area, ...]
    edge: str
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    short_x: float | None
    now_x: float | None
    rows: tuple[Row, ...]
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    right: int = WIDTH - RIGHT
    top: int = TOP
    bottom: int = HEIGHT - BOTTOM


def draw_levels(basis: Basis, now: int | None) -> tuple[Drawn, ...]:
    """Return a drawing for each type of set, those that are short first.

    Parameters
    ----------
    basis
        The day and its plan.
    now
        The present minute of the day, where the day is today.
    """
    found = levels_of(basis.day, basis.plan)
    changes = [x.at for one in found for x in one.levels]
    first = min(changes, default=basis.day.day_start) // 60 * 60
    last = -(-max([first + 60, *changes]) // 60) * 60
    drawn = [_drawn(basis, one, first, last, now) for one in found]
    return tuple(sorted(drawn, key=lambda d: not d.short_at))


def _drawn(basis: Basis, one: SetLevels, first: int, last: int, now: int | None) -> Drawn:
    minute = basis.words.minute
    most = max(one.owned, 1)

    def x(at: int) -> float:
        return round(LEFT + (WIDTH - LEFT - RIGHT) * (at - first) / (last - first), 1)

    def y(count: int) -> float:
        return round(HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * count / most, 1)

    step = next(s for s in (1, 2, 5, 10, 20, 50, 100, 500, 1000) if most / s <= 6)
    hours = range(first, last + 1, 60 if last - first <= 720 else 120)
    lowest_at = next(level.at for level in one.levels if level.counts["sterile"] == one.lowest)
    short = one.short
    return Drawn(
        kind=one.kind,
        name=basis.words.set_name(one.kind),
        owned=one.owned,
        lowest=one.lowest,
        lowest_at=minute(lowest_at),
        short_at=minute(short.at) if short else "",
        short_words=_short_words(basis, one),
        areas=tuple(
            Area(stage, n, " ".join(f"{x(a)},{y(b)}" for a, b in _outline(one.levels, STAGES[: n + 1], STAGES[:n], last)))
            for n, stage in enumerate(STAGES)
        ),
        edge=" ".join(f"{x(a)},{y(b)}" for a, b in _top(one.levels, ("sterile",), last)),
        across=tuple(Tick(x(h), minute(h)) for h in hours),
        up=tuple(Tick(y(n), str(n)) for n in range(0, most + 1, step)),
        short_x=x(short.at) if short else None,
        now_x=x(now) if now is not None and first <= now <= last else None,
        rows=tuple(
            Row(minute(level.at), tuple(level.counts[s] for s in STAGES), bool(short and level is one.at(short.at))) for level in one.levels
        ),
    )


def _short_words(basis: Basis, one: SetLevels) -> str:
    if one.short is None:
        return ""
    s = one.short
    then = said("it is not served in this plan") if s.waits is None else said("it starts {waits} min late", waits=s.waits)
    return said(
        "short at {s}: the visit {visit} needs {needed}, {sterile} lie sterile; {then}",
        s=basis.words.minute(s.at),
        visit=s.visit,
        needed=s.needed,
        sterile=s.sterile,
        then=then,
    )


def _top(levels: tuple[Level, ...], stages: tuple[Stage, ...], last: int) -> list[tuple[int, int]]:
    """Return the corners of the upper edge of some stages lying on each other."""
    points: list[tuple[int, int]] = []
    for level in levels:
        count = sum(level.counts[s] for s in stages)
        if points:
            points.append((level.at, points[-1][1]))
        points.append((level.at, count))
    return [*points, (last, points[-1][1])]


def _outline(levels: tuple[Level, ...], upper: tuple[Stage, ...], lower: tuple[Stage, ...], last: int) -> Iterable[tuple[int, int]]:
    yield from _top(levels, upper, last)
    yield from reversed(_top(levels, lower, last))


def as_csv(drawn: Iterable[Drawn]) -> str:
    """Return every change of every type as CSV with a header line."""
    out = StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for one in drawn:
        for row in one.rows:
            writer.writerow([inert(one.name), row.clock, *row.counts, one.owned, "short" if row.short else ""])
    return out.getvalue()


def as_json(basis: Basis) -> dict[str, Any]:
    """Return the levels as plain values, moments in ISO 8601."""
    clock = basis.maps.clock
    return {
        "day": clock.day.isoformat(),
        "sets": [
            {
                "id": one.kind,
                "name": basis.words.set_name(one.kind),
                "owned": one.owned,
                "levels": [{"from": clock.moment(level.at).isoformat(), **level.counts} for level in one.levels],
                "short": None
                if one.short is None
                else {
                    "at": clock.moment(one.short.at).isoformat(),
                    "visit": basis.refs.get(one.short.visit, one.short.visit),
                    "needed": one.short.needed,
                    "sterile": one.short.sterile,
                    "minutes_late": one.short.waits,
                },
            }
            for one in levels_of(basis.day, basis.plan)
        ],
    }
