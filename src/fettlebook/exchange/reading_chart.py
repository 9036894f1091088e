"""Readings over time as a drawing: single readings with centre and limits, a slow drift, and what is asked for.

What a reading is shows in its shape, never in colour alone: a disc lies inside, a square fails what is asked or lies beyond the limits,
a ring proves nothing. The same stands in the table beside it.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from fettlebook.exchange.time_axis import INK, SOFT, TimeAxis, in_markup, text
from fettlebook.said import joined, said, said_number
from fettlebook.science.charts import Chart
from fettlebook.standing.basis import DAY_MS
from fettlebook.standing.look import Look

WIDTH, HEIGHT = 960, 300
LEFT, RIGHT, TOP, BOTTOM = 80, 24, 30, 46
LEAST_DAYS: Final = 21
BAND, ASKED, BAD = "#dfe9e6", "#8a2f1d", "#7a1f1f"
Mark = Literal["inside", "outside", "doubtful"]


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading at a moment [ms]; `said` is shown where a pointer rests on it."""

    at_ms: int
    value: float
    mark: Mark
    said: str


@dataclass(frozen=True, slots=True)
class Asked:
    """A value that is asked for, drawn as a line with its words."""

    value: float
    words: str


@dataclass(frozen=True, slots=True)
class Drawn:
    """What is drawn: name and unit for its title; centre, limits and slow drift of the same readings, where there are enough."""

    name: str
    unit: str
    readings: Sequence[Reading]
    chart: Chart | None = None
    asked: Sequence[Asked] = ()
    log: bool = False  # on a log scale; only where every value is above zero


def reading_chart(look: Look, drawn: Drawn) -> str:
    """Return the drawing as SVG; an empty text where there is no reading."""
    return joined("", _Drawing(look, drawn).svg()) if drawn.readings else ""


class _Drawing:
    def __init__(self, look: Look, drawn: Drawn) -> None:
        self.drawn, self.readings, self.chart, self.log = drawn, drawn.readings, drawn.chart, drawn.log
        first = min(self.readings[0].at_ms, look.at - LEAST_DAYS * DAY_MS) - DAY_MS
        self.axis = TimeAxis(look, first, look.at + DAY_MS, LEFT, WIDTH - RIGHT, TOP, HEIGHT - BOTTOM, HEIGHT)
        values = [one.value for one in self.readings] + [line.value for line in drawn.asked]
        if self.chart is not None:
            values += [self.chart.high] + ([] if self.log else [self.chart.low])
        low, high = min(values), max(values)
        if self.log:
            self.low, self.high = low / 1.5, high * 1.5
        else:
            room = (high - low) * 0.15 or max(abs(high), 1.0) * 0.1
            self.low, self.high = (0.0 if min(v.value for v in self.readings) >= 0.0 and low < 2 * room else low - room), high + room

    def svg(self) -> Iterator[str]:
        title = joined(", ", (self.drawn.name, self.drawn.unit))
        last = self.readings[-1]
        told = said(
            "{many} readings, the last {value:.4g} {unit}. The table has every value.",
            many=len(self.readings), value=last.value, unit=self.drawn.unit,
        )  # fmt: skip
        words = in_markup(joined(": ", (title, told)))
        yield f'<svg class="water-chart" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" font-family="inherit" aria-label="'
        yield from (words, '"><title>', words, "</title>")
        yield text(8, 18, title, "start")
        yield from self._scale()
        yield from self.axis.svg()
        if self.chart is not None:
            yield from self._limits(self.chart)
        for line in self.drawn.asked:
            y = self.y(line.value)
            yield (
                f'<line x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{y:.1f}" y2="{y:.1f}" stroke="{ASKED}" stroke-width="1.5"'
                ' stroke-dasharray="8 4"/>'
            )
        path = " ".join(f"{self.axis.x(one.at_ms):.1f},{self.y(one.value):.1f}" for one in self.readings)
        yield f'<polyline points="{path}" fill="none" stroke="{INK}" stroke-width="0.8" stroke-opacity="0.5"/>'
        for one in self.readings:
            yield self._reading(one)
        for line in self.drawn.asked:
            yield text(WIDTH - RIGHT - 4, self.y(line.value) - 9, line.words, "end", ASKED)
        yield "</svg>"

    def y(self, value: float) -> float:
        if self.log:
            share = math.log(max(value, self.low) / self.low) / math.log(self.high / self.low)
        else:
            share = (value - self.low) / (self.high - self.low)
        return HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * min(1.0, max(0.0, share))

    def _scale(self) -> Iterator[str]:
        for value in self._round():
            y = self.y(value)
            yield f'<line x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{y:.1f}" y2="{y:.1f}" stroke="#ddd"/>'
            yield text(LEFT - 8, y + 5, said_number(value, ",.6g"), "end")

    def _round(self) -> Iterator[float]:
        """Yield round values across the scale: 1, 2, 5 of each power on a log scale, else steps of such a number."""
        power: float
        if self.log:
            for power in range(math.floor(math.log10(self.low)), math.ceil(math.log10(self.high)) + 1):
                yield from (v for v in (10.0**power, 2 * 10.0**power, 5 * 10.0**power) if self.low <= v <= self.high)
            return
        raw = (self.high - self.low) / 5
        power = 10.0 ** math.floor(math.log10(raw))
        step = next(m * power for m in (1.0, 2.0, 5.0, 10.0) if raw <= m * power * (1 + 1e-9))
        value = math.ceil(self.low / step) * step
        while value <= self.high:
            yield round(value, 9)
            value += step

    def _limits(self, chart: Chart) -> Iterator[str]:
        low, high = self.y(max(chart.low, self.low)), self.y(chart.high)
        size = f'width="{WIDTH - RIGHT - LEFT}" height="{max(0.0, low - high):.1f}"'
        yield f'<rect x="{LEFT}" y="{high:.1f}" {size} fill="{BAND}" fill-opacity="0.7"/>'
        y = self.y(chart.centre)
        yield f'<line x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{y:.1f}" y2="{y:.1f}" stroke="{SOFT}"/>'
        told = said_number(chart.centre, ",.0f" if chart.centre >= 1000 else ".3g")
        yield text(WIDTH - RIGHT - 4, y + 17, said("centre {told}", told=told), "end", SOFT)
        smooth = " ".join(
            f"{self.axis.x(one.at_ms):.1f},{self.y(value):.1f}" for one, value in zip(self.readings, chart.smoothed, strict=True)
        )
        yield f'<polyline points="{smooth}" fill="none" stroke="{SOFT}" stroke-width="2" stroke-dasharray="1 3"/>'

    def _reading(self, one: Reading) -> str:
        x, y = self.axis.x(one.at_ms), self.y(one.value)
        shape = f'<rect x="{x - 5:.1f}" y="{y - 5:.1f}" width="10" height="10" fill="{BAD}"/>'
        if one.mark != "outside":
            fill = "white" if one.mark == "doubtful" else INK
            shape = f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4.5" fill="{fill}" stroke="{INK}" stroke-width="1.5"/>'
        return joined("", ("<g><title>", in_markup(one.said), f"</title>{shape}</g>"))
