"""A chair's water over time as a drawing: results with their intervals, limits, treatments, and where the level goes untreated.

Log scale. What a result is shows in its shape, never in colour alone: a disc is a count, a triangle points where a bound leaves room,
a ring proves nothing. The same stands in the table beside it.
"""

import math
from collections.abc import Iterator
from typing import Final

from fettlebook.exchange.laboratory.from_book import BookWater, limit_cfu_ml
from fettlebook.exchange.time_axis import INK, SOFT, TimeAxis, in_markup, text
from fettlebook.said import joined, said, said_number, term
from fettlebook.science.counts import poisson_interval
from fettlebook.standing.basis import DAY_MS
from fettlebook.standing.look import Look
from fettlebook.standing.water_history import ChairWater, WaterResult

WIDTH, HEIGHT = 960, 420
LEFT, RIGHT, TOP, BOTTOM = 70, 24, 40, 46
AHEAD_DAYS: Final = 60
LEAST_DAYS: Final = 90
STEPS: Final = 60
FLOOR: Final = 0.1  # CFU/mL; below it nothing is drawn
BAND, LIMIT = "#bcd7d2", "#8a2f1d"


def water_chart(look: Look, water: BookWater, chair: str) -> str:
    """Return the drawing of one chair as SVG, with title and description for who can't see it."""
    history = water.chair(chair)
    return joined("", _Drawing(look, water, history).svg())


class _Drawing:
    def __init__(self, look: Look, water: BookWater, history: ChairWater) -> None:
        self.look, self.water, self.history = look, water, history
        self.trend, self.today = water.judged.trend.of(history.chair), water.today(history.chair)
        moments = [r.taken_ms for r in history.results] + [t.done_ms for t in history.treatments]
        self.first = min([*moments, look.at - LEAST_DAYS * DAY_MS]) - 5 * DAY_MS
        self.last = look.at + AHEAD_DAYS * DAY_MS
        self.axis = TimeAxis(look, self.first, self.last, LEFT, WIDTH - RIGHT, TOP, HEIGHT - BOTTOM, HEIGHT)
        highs = [limit_cfu_ml(m) for m in water.limits] + [_ends(r)[1] for r in history.results if r.per_ml is not None]
        self.top = max(3.0, math.ceil(math.log10(max([*highs, 100.0])) + 0.2))
        self.bottom = math.log10(FLOOR)

    def svg(self) -> Iterator[str]:
        told = said(
            "{chair}: {results} results, {treatments} intensive treatments. The table below has every value.",
            chair=self.history.chair, results=len(self.history.results), treatments=len(self.history.treatments),
        )  # fmt: skip
        title = said("Water of {chair}, CFU/mL on a log scale", chair=self.history.chair)
        yield f'<svg class="water-chart" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-labelledby="chart-t chart-d" font-family="inherit">'
        yield from ('<title id="chart-t">', in_markup(title), '</title><desc id="chart-d">', in_markup(told), "</desc>")
        yield from self._grid()
        if self.today.proven and self.water.judged.trusted:
            yield from self._band()
        yield from self._limits()
        yield from self._treatments()
        for result in self.history.results:
            yield from self._result(result)
        yield "</svg>"

    def y(self, cfu_ml: float) -> float:
        level = min(self.top, max(self.bottom, math.log10(max(cfu_ml, 1e-9))))
        return TOP + (HEIGHT - TOP - BOTTOM) * (self.top - level) / (self.top - self.bottom)

    def _grid(self) -> Iterator[str]:
        for power in range(int(self.bottom), int(self.top) + 1):
            y = self.y(10.0**power)
            yield f'<line x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{y:.1f}" y2="{y:.1f}" stroke="#ddd"/>'
            yield text(LEFT - 8, y + 5, said_number(10.0**power, ",g") if power < 6 else f"1e{power}", "end")
        yield text(8, 16, "CFU/mL", "start")
        yield from self.axis.svg()

    def _band(self) -> Iterator[str]:
        """Draw where the level lies nine times in ten, from each treatment to the next; beyond now it is what comes untreated."""
        marks = [one.done_ms for one in self.history.whole]
        spans = list(zip(marks, [*marks[1:], self.last], strict=True)) if marks else [(float(self.first), float(self.look.at))]
        for begin, end in spans:
            if end <= self.first:
                continue
            low: list[str] = []
            middle: list[str] = []
            high: list[str] = []
            steps = max(2, round(STEPS * (end - begin) / (self.last - self.first)) + 2)
            for step in range(steps + 1):
                at = begin + (end - begin) * step / steps
                days = (at - begin) / DAY_MS if marks else 0.0
                q = 10.0 ** self.trend.quantiles(days, (0.05, 0.5, 0.95))
                for points, value in zip((low, middle, high), q, strict=True):
                    points.append(f"{self.axis.x(at):.1f},{self.y(float(value)):.1f}")
            yield f'<polygon points="{" ".join([*low, *reversed(high)])}" fill="{BAND}" fill-opacity="0.6"/>'
            yield f'<polyline points="{" ".join(middle)}" fill="none" stroke="{SOFT}" stroke-width="1.5"/>'

    def _limits(self) -> Iterator[str]:
        for limit in self.water.limits:
            y = self.y(limit_cfu_ml(limit))
            dash = 'stroke-width="1.5" stroke-dasharray="8 4"'
            yield f'<line x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{y:.1f}" y2="{y:.1f}" stroke="{LIMIT}" {dash}/>'
            yield text(WIDTH - RIGHT - 4, y - 5, joined(" ", (term(limit.role), f"{limit_cfu_ml(limit):g}")), "end", LIMIT)

    def _treatments(self) -> Iterator[str]:
        for one in self.history.treatments:
            x, dash = self.axis.x(one.done_ms), "" if one.whole else ' stroke-dasharray="3 4"'
            yield f'<line x1="{x:.1f}" x2="{x:.1f}" y1="{TOP - 8}" y2="{HEIGHT - BOTTOM}" stroke="{INK}" stroke-width="1"{dash}/>'
            yield f'<path d="M{x - 6:.1f} {TOP - 16}h12l-6 8z" fill="{INK if one.whole else "white"}" stroke="{INK}"/>'

    def _result(self, result: WaterResult) -> Iterator[str]:
        if result.per_ml is None:
            return
        x, y = self.axis.x(result.taken_ms), self.y(result.per_ml)
        low, high = _ends(result)
        if result.seen is not None and not result.mark:
            yield f'<line x1="{x:.1f}" x2="{x:.1f}" y1="{self.y(low):.1f}" y2="{self.y(high):.1f}" stroke="{INK}" stroke-width="1.5"/>'
        fill = "white" if result.doubts else INK
        if result.mark == "above":
            yield f'<path d="M{x - 6:.1f} {y + 5:.1f}h12l-6 -11z" fill="{fill}" stroke="{INK}" stroke-width="1.5"/>'
        elif result.mark == "below":
            yield f'<path d="M{x - 6:.1f} {y - 5:.1f}h12l-6 11z" fill="{fill}" stroke="{INK}" stroke-width="1.5"/>'
        else:
            yield f'<circle cx="{x:.1f}" cy="{y:.1f}" r="5" fill="{fill}" stroke="{INK}" stroke-width="1.5"/>'


def _ends(result: WaterResult) -> tuple[float, float]:
    """Return the exact 95 % interval of a count [CFU/mL]; the number itself where it is a bound or its volume is not known."""
    if result.seen is None or result.seen.kind != "count":
        value = result.per_ml or 0.0
        return value, value
    low, high = poisson_interval(result.seen.colonies)
    return low / result.seen.volume_ml, high / result.seen.volume_ml


def interval_of(result: WaterResult) -> tuple[float, float] | None:
    """Return the exact 95 % interval of a result [CFU/mL]; None where it is a bound, or the book has no colonies."""
    return _ends(result) if result.seen is not None and result.seen.kind == "count" else None
