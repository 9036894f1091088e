"""One quantity of a machine over its past cycles (SVG): each run a mark by its verdict, the usual range, the mean."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from fettlebook.exchange.time_axis import in_markup
from fettlebook.said import Said, joined, said, said_number, term

WIDTH, HEIGHT = 480, 210
LEFT, TOP, RIGHT, BOTTOM = 58, 46, 12, 30
MARKS: Final = {"fit": "●", "unfit": "■", "unproven": "▲"}


@dataclass(frozen=True, slots=True)
class Point:
    """One run: its place in the row of runs, its value, its verdict, and when it was, in words."""

    value: float
    verdict: str
    when: str


def control_chart(points: Sequence[Point], name: str, unit: str, usual: tuple[float, float, float] | None) -> Said:
    """Return the drawing, sayable in another language; `usual` is (low, mean, high), None where too few runs make no range."""
    values = [p.value for p in points] + ([usual[0], usual[2]] if usual else [])
    low, high = min(values), max(values)
    room = (high - low) * 0.12 or max(abs(high), 1.0) * 0.05
    low, high = low - room, high + room

    def y(value: float) -> float:
        return TOP + (HEIGHT - TOP - BOTTOM) * (high - value) / (high - low)

    def x(place: int) -> float:
        return LEFT + 10 + (WIDTH - LEFT - RIGHT - 20) * place / max(1, len(points) - 1)

    def words(place: str, told: str) -> Said:
        return joined("", (f"<text {place}>", in_markup(told), "</text>"))

    def scale(value: float) -> Said:
        return words(f'x="{LEFT - 6}" y="{y(value) + 4:.1f}" text-anchor="end" font-size="11"', said_number(value, ".4g"))

    out: list[str] = []
    edge = WIDTH - RIGHT
    if usual:
        bottom, mean, top = usual
        out.append(f'<rect x="{LEFT}" y="{y(top):.1f}" width="{edge - LEFT}" height="{y(bottom) - y(top):.1f}" fill="#e4ece4"/>')
        for value, dash in ((bottom, "5 3"), (mean, ""), (top, "5 3")):
            dashed = f' stroke-dasharray="{dash}"' if dash else ""
            out.append(f'<line x1="{LEFT}" x2="{edge}" y1="{y(value):.1f}" y2="{y(value):.1f}" stroke="#555" stroke-width="0.8"{dashed}/>')
            out.append(scale(value))
    else:
        for value in (min(p.value for p in points), max(p.value for p in points)):
            out.append(scale(value))
    path = "".join(f"{'M' if n == 0 else 'L'}{x(n):.1f} {y(p.value):.1f}" for n, p in enumerate(points))
    out.append(f'<path d="{path}" fill="none" stroke="#1f4e79" stroke-width="1"/>')
    for n, p in enumerate(points):
        fill = {"fit": "#1f4e79", "unfit": "#7a1f1f"}.get(p.verdict, "#8a5a00")
        told = said("{when}: {value:.4g} {unit}, {verdict}", when=p.when, value=p.value, unit=unit, verdict=term(p.verdict))
        mark = MARKS.get(p.verdict, "▲")
        place = f'x="{x(n):.1f}" y="{y(p.value) + 4:.1f}" text-anchor="middle" font-size="11" fill="{fill}"'
        out.append(joined("", ("<g><title>", in_markup(told), f"</title><text {place}>{mark}</text></g>")))
    last, named = points[-1], joined(", ", (term(name), unit))
    span = said("usually {low:.4g} to {high:.4g}", low=usual[0], high=usual[2]) if usual else said("too few good runs for a usual range")
    stands = joined("; ", (said("last {value:.4g}", value=last.value), span))
    return joined(
        "\n",
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}" role="img"'
            ' font-family="sans-serif" font-size="12">',
            joined("", ("<title>", in_markup(joined(": ", (named, stands))), "</title>")),
            f'<rect width="{WIDTH}" height="{HEIGHT}" fill="white"/>',
            words(f'x="{LEFT}" y="18" font-weight="bold"', named),
            words(f'x="{LEFT}" y="34" fill="#333"', stands),
            f'<rect x="{LEFT}" y="{TOP}" width="{edge - LEFT}" height="{HEIGHT - TOP - BOTTOM}" fill="none" stroke="#999"/>',
            *out,
            words(f'x="{LEFT}" y="{HEIGHT - 10}" font-size="11"', points[0].when),
            words(f'x="{edge}" y="{HEIGHT - 10}" font-size="11" text-anchor="end"', last.when),
            "</svg>",
            "",
        ],
    )
