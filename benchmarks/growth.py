"""Draws how something grows as one SVG: points on two logarithmic axes, a line for each series, the exponent fitted to each."""

import math
from collections.abc import Mapping, Sequence
from html import escape

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 640, 420, 70, 190, 40, 50
MARKS = ("circle", "square", "triangle", "diamond", "cross")
SHADES = ("#1b4f72", "#9a3412", "#3f6212", "#6b21a8", "#374151")


def exponent(points: Sequence[tuple[float, float]]) -> float:
    """Return b of y = a x^b by least squares of the logarithms; nan below two different x."""
    logs = [(math.log(x), math.log(y)) for x, y in points if x > 0 and y > 0]
    if len({x for x, _ in logs}) < 2:
        return math.nan
    mean_x, mean_y = (sum(p[i] for p in logs) / len(logs) for i in (0, 1))
    return sum((x - mean_x) * (y - mean_y) for x, y in logs) / sum((x - mean_x) ** 2 for x, _ in logs)


def growth_svg(title: str, x_name: str, y_name: str, series: Mapping[str, Sequence[tuple[float, float]]]) -> str:
    """Return the drawing; points with a coordinate that is not above zero are left out."""
    shown = {name: [(x, y) for x, y in points if x > 0 and y > 0] for name, points in series.items()}
    every = [p for points in shown.values() for p in points]
    if not every:
        raise ValueError("no point above zero to draw")
    (x_low, x_high), (y_low, y_high) = (_room([p[i] for p in every]) for i in (0, 1))

    def at(x: float, y: float) -> tuple[float, float]:
        right, up = (math.log(x / x_low) / math.log(x_high / x_low), math.log(y / y_low) / math.log(y_high / y_low))
        return LEFT + right * (WIDTH - LEFT - RIGHT), HEIGHT - BOTTOM - up * (HEIGHT - TOP - BOTTOM)

    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" font-family="sans-serif" font-size="12">',
        f"<title>{escape(title)}</title>",
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#ffffff"/>',
        f'<text x="{LEFT}" y="20" font-size="14">{escape(title)}</text>',
    ]
    for value in _ticks(x_low, x_high):
        x, _ = at(value, y_low)
        out.append(f'<line x1="{x:.1f}" y1="{TOP}" x2="{x:.1f}" y2="{HEIGHT - BOTTOM}" stroke="#d1d5db"/>')
        out.append(f'<text x="{x:.1f}" y="{HEIGHT - BOTTOM + 16}" text-anchor="middle">{value:g}</text>')
    for value in _ticks(y_low, y_high):
        _, y = at(x_low, value)
        out.append(f'<line x1="{LEFT}" y1="{y:.1f}" x2="{WIDTH - RIGHT}" y2="{y:.1f}" stroke="#d1d5db"/>')
        out.append(f'<text x="{LEFT - 6}" y="{y + 4:.1f}" text-anchor="end">{value:g}</text>')
    out.append(f'<text x="{(LEFT + WIDTH - RIGHT) / 2}" y="{HEIGHT - 10}" text-anchor="middle">{escape(x_name)}</text>')
    middle = (TOP + HEIGHT - BOTTOM) / 2
    out.append(f'<text x="16" y="{middle}" text-anchor="middle" transform="rotate(-90 16 {middle})">{escape(y_name)}</text>')
    for k, (name, points) in enumerate(shown.items()):
        mark, shade = MARKS[k % len(MARKS)], SHADES[k % len(SHADES)]
        placed = [at(x, y) for x, y in sorted(points)]
        out.append(
            f'<polyline points="{" ".join(f"{x:.1f},{y:.1f}" for x, y in placed)}" fill="none" stroke="{shade}" stroke-width="1.5"/>'
        )
        out += [_mark(mark, x, y, shade) for x, y in placed]
        y = TOP + 14 + 34 * k
        out.append(_mark(mark, WIDTH - RIGHT + 16, y - 4, shade))
        out.append(f'<text x="{WIDTH - RIGHT + 28}" y="{y}">{escape(name)}</text>')
        out.append(f'<text x="{WIDTH - RIGHT + 28}" y="{y + 14}" fill="#4b5563">exponent {exponent(points):.2f}</text>')
    return "\n".join([*out, "</svg>"]) + "\n"


def _room(values: Sequence[float]) -> tuple[float, float]:
    low, high = min(values), max(values)
    return low / 1.3, high * 1.3


def _ticks(low: float, high: float) -> list[float]:
    """Return 1, 2, 5 of each decade inside a range."""
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    found = [m * 10.0**d for d in decades for m in (1, 2, 5)]
    return [t for t in found if low <= t <= high]


def _mark(kind: str, x: float, y: float, shade: str) -> str:
    if kind == "circle":
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="{shade}"/>'
    if kind == "cross":
        strokes = f"M{x - 4:.1f} {y - 4:.1f}L{x + 4:.1f} {y + 4:.1f}M{x + 4:.1f} {y - 4:.1f}L{x - 4:.1f} {y + 4:.1f}"
        return f'<path d="{strokes}" stroke="{shade}" stroke-width="2"/>'
    corners = {
        "square": [(-4, -4), (4, -4), (4, 4), (-4, 4)],
        "triangle": [(0, -5), (5, 4), (-5, 4)],
        "diamond": [(0, -5), (5, 0), (0, 5), (-5, 0)],
    }
    return f'<polygon points="{" ".join(f"{x + a:.1f},{y + b:.1f}" for a, b in corners[kind])}" fill="{shade}"/>'
