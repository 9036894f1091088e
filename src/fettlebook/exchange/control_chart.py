"""One quantity of a machine over its past cycles (SVG): each run a mark by its verdict, the usual range, the mean."""

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Final

WIDTH, HEIGHT = 480, 210
LEFT, TOP, RIGHT, BOTTOM = 58, 46, 12, 30
MARKS: Final = {"fit": "●", "unfit": "■", "unproven": "▲"}


@dataclass(frozen=True, slots=True)
class Point:
    """One run: its place in the row of runs, its value, its verdict, and when it was, in words."""

    value: float
    verdict: str
    when: str


def control_chart(points: Sequence[Point], name: str, unit: str, usual: tuple[float, float, float] | None) -> str:
    """Return the drawing; `usual` is (low, mean, high), None where too few runs make no range."""
    values = [p.value for p in points] + ([usual[0], usual[2]] if usual else [])
    low, high = min(values), max(values)
    room = (high - low) * 0.12 or max(abs(high), 1.0) * 0.05
    low, high = low - room, high + room

    def y(value: float) -> float:
        return TOP + (HEIGHT - TOP - BOTTOM) * (high - value) / (high - low)

    def x(place: int) -> float:
        return LEFT + 10 + (WIDTH - LEFT - RIGHT - 20) * place / max(1, len(points) - 1)

    out: list[str] = []
    edge = WIDTH - RIGHT
    if usual:
        bottom, mean, top = usual
        out.append(f'<rect x="{LEFT}" y="{y(top):.1f}" width="{edge - LEFT}" height="{y(bottom) - y(top):.1f}" fill="#e4ece4"/>')
        for value, dash in ((bottom, "5 3"), (mean, ""), (top, "5 3")):
            dashed = f' stroke-dasharray="{dash}"' if dash else ""
            out.append(f'<line x1="{LEFT}" x2="{edge}" y1="{y(value):.1f}" y2="{y(value):.1f}" stroke="#555" stroke-width="0.8"{dashed}/>')
            out.append(f'<text x="{LEFT - 6}" y="{y(value) + 4:.1f}" text-anchor="end" font-size="11">{value:.4g}</text>')
    else:
        for value in (min(p.value for p in points), max(p.value for p in points)):
            out.append(f'<text x="{LEFT - 6}" y="{y(value) + 4:.1f}" text-anchor="end" font-size="11">{value:.4g}</text>')
    path = "".join(f"{'M' if n == 0 else 'L'}{x(n):.1f} {y(p.value):.1f}" for n, p in enumerate(points))
    out.append(f'<path d="{path}" fill="none" stroke="#1f4e79" stroke-width="1"/>')
    for n, p in enumerate(points):
        fill = {"fit": "#1f4e79", "unfit": "#7a1f1f"}.get(p.verdict, "#8a5a00")
        said = escape(f"{p.when}: {p.value:.4g} {unit}, {p.verdict}")
        mark = MARKS.get(p.verdict, "▲")
        place = f'x="{x(n):.1f}" y="{y(p.value) + 4:.1f}" text-anchor="middle" font-size="11" fill="{fill}"'
        out.append(f"<g><title>{said}</title><text {place}>{mark}</text></g>")
    range_words = f"usually {usual[0]:.4g} to {usual[2]:.4g}" if usual else "too few good runs for a usual range"
    last = points[-1]
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}" role="img"'
            ' font-family="sans-serif" font-size="12">',
            f"<title>{escape(name)}: last {last.value:.4g} {escape(unit)}, {range_words}</title>",
            f'<rect width="{WIDTH}" height="{HEIGHT}" fill="white"/>',
            f'<text x="{LEFT}" y="18" font-weight="bold">{escape(name)}, {escape(unit)}</text>',
            f'<text x="{LEFT}" y="34" fill="#333">last {last.value:.4g}; {range_words}</text>',
            f'<rect x="{LEFT}" y="{TOP}" width="{edge - LEFT}" height="{HEIGHT - TOP - BOTTOM}" fill="none" stroke="#999"/>',
            *out,
            f'<text x="{LEFT}" y="{HEIGHT - 10}" font-size="11">{escape(points[0].when)}</text>',
            f'<text x="{edge}" y="{HEIGHT - 10}" font-size="11" text-anchor="end">{escape(last.when)}</text>',
            "</svg>",
            "",
        ]
    )
