"""A panel of a drawing: axes with round numbers, curves thinned without losing a spike, levels and bands."""

import textwrap
from dataclasses import dataclass
from typing import Final

import numpy as np

from fettlebook.science.cycles.log import Real

BUCKETS: Final = 700  # a curve keeps lowest and highest reading of so many stretches: finer than the picture


@dataclass(frozen=True, slots=True)
class Panel:
    """A rectangle in which `x_range` [s] runs to the right and `y_range` upwards."""

    left: int
    top: int
    width: int
    height: int
    x_range: tuple[float, float]
    y_range: tuple[float, float]

    @property
    def bottom(self) -> int:
        """The y of the lower edge."""
        return self.top + self.height

    def x(self, time_s: float) -> float:
        """Return the x of a time, kept within the panel."""
        a, b = self.x_range
        return self.left + self.width * min(1.0, max(0.0, (time_s - a) / (b - a)))

    def y(self, value: float) -> float:
        """Return the y of a value, kept within the panel."""
        a, b = self.y_range
        return self.bottom - self.height * min(1.0, max(0.0, (value - a) / (b - a)))

    def band(self, low: float, high: float, fill: str) -> str:
        """Return a filled band between two values."""
        top, bottom = self.y(high), self.y(low)
        return f'<rect x="{self.left}" y="{top:.1f}" width="{self.width}" height="{max(0.0, bottom - top):.1f}" fill="{fill}"/>'

    def level(self, value: float, colour: str, dash: str, said: str) -> list[str]:
        """Return a level line with its words at the right end; nothing where it lies outside."""
        if not self.y_range[0] <= value <= self.y_range[1]:
            return []
        y, dashed = self.y(value), f' stroke-dasharray="{dash}"' if dash else ""
        end = self.left + self.width
        return [
            f'<line x1="{self.left}" x2="{end}" y1="{y:.1f}" y2="{y:.1f}" stroke="{colour}" stroke-width="0.8"{dashed}/>',
            f'<text x="{end - 4}" y="{y - 3:.1f}" text-anchor="end" font-size="11" paint-order="stroke" stroke="white" stroke-width="3">'
            f"{said}</text>"
            if said
            else "",
        ]

    def frame(self, unit: str) -> list[str]:
        """Return frame, grid and numbers of both axes; time in minutes, or in seconds where the panel spans less than 10 minutes."""
        out = [f'<rect x="{self.left}" y="{self.top}" width="{self.width}" height="{self.height}" fill="none" stroke="#888"/>']
        for value in _round_steps(*self.y_range, 6):
            y = self.y(value)
            out.append(f'<line x1="{self.left}" x2="{self.left + self.width}" y1="{y:.1f}" y2="{y:.1f}" stroke="#ddd" stroke-width="0.6"/>')
            out.append(f'<text x="{self.left - 6}" y="{y + 4:.1f}" text-anchor="end" font-size="11">{value:g}</text>')
        minutes = self.x_range[1] - self.x_range[0] > 600.0
        scale = 60.0 if minutes else 1.0
        for value in _round_steps(self.x_range[0] / scale, self.x_range[1] / scale, 10):
            x = self.x(value * scale)
            out.append(f'<line x1="{x:.1f}" x2="{x:.1f}" y1="{self.top}" y2="{self.bottom}" stroke="#ddd" stroke-width="0.6"/>')
            out.append(f'<text x="{x:.1f}" y="{self.bottom + 15}" text-anchor="middle" font-size="11">{value:g}</text>')
        end = self.left + self.width
        out.append(f'<text x="{end}" y="{self.bottom + 29}" text-anchor="end" font-size="11">{"minutes" if minutes else "seconds"}</text>')
        out.append(f'<text x="{self.left}" y="{self.bottom + 29}" font-size="11">{unit}</text>')
        return out

    def curve(self, time_s: Real, values: Real, colour: str, dash: str) -> str:
        """Return a curve of the readings in the panel; where one is missing, it is broken."""
        inside = (time_s >= self.x_range[0]) & (time_s <= self.x_range[1])
        t, v = _thinned(time_s[inside], values[inside], self.x_range)
        path: list[str] = []
        pen = "M"
        for at, value in zip(t.tolist(), v.tolist(), strict=True):
            if not np.isfinite(value):
                pen = "M"
                continue
            path.append(f"{pen}{self.x(at):.1f} {self.y(value):.1f}")
            pen = "L"
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        return f'<path d="{"".join(path)}" fill="none" stroke="{colour}" stroke-width="1.4"{dashed}/>'


def _thinned(t: Real, v: Real, span: tuple[float, float]) -> tuple[Real, Real]:
    """Return the readings, or the lowest and highest of each of so many stretches, in order of time."""
    if t.size <= 2 * BUCKETS:
        return t, v
    bucket = np.minimum(((t - span[0]) / (span[1] - span[0]) * BUCKETS).astype(np.intp), BUCKETS - 1)
    keep = {0, t.size - 1, *np.flatnonzero(~np.isfinite(v)).tolist()}
    for part in np.split(np.arange(t.size), np.flatnonzero(np.diff(bucket)) + 1):
        seen = part[np.isfinite(v[part])]
        if seen.size:
            keep |= {int(seen[np.argmin(v[seen])]), int(seen[np.argmax(v[seen])])}
    rows = np.array(sorted(keep))
    return t[rows], v[rows]


def _round_steps(low: float, high: float, about: int) -> list[float]:
    """Return round numbers from `low` to `high`, about so many."""
    raw = (high - low) / about
    power = 10.0 ** np.floor(np.log10(raw))
    step = float(power * next((m for m in (1.0, 2.0, 5.0, 10.0) if raw <= m * power), 10.0))
    first = np.ceil(low / step - 1e-9)
    return [round(float(k * step), 9) + 0.0 for k in np.arange(first, np.floor(high / step + 1e-9) + 1)]


def wrapped(text: str, width: int) -> list[str]:
    """Return lines of at most so many signs."""
    return textwrap.wrap(text, width, break_on_hyphens=False) or [""]
