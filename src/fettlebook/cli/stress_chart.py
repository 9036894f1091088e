"""A drawing of how days stand up: for each visit, over its booked time, the chance that it starts late (SVG)."""

from collections.abc import Callable
from html import escape

from fettlebook.plan.stress import Stress

WIDTH, PLOT_HEIGHT, LEFT, TOP, BOTTOM, GAP = 860, 200, 56, 46, 46, 24
# Fill and outline differ in lightness as well as in hue: readable in grey and on paper.
SHADES = ((5, "#c6d4e1"), (10, "#6f93b5"), (15, "#1f4e79"))


def chart(results: list[tuple[str, Stress]], shown: Callable[[int], str]) -> str:
    """Return one panel a day: a bar a visit in order of booked time, shaded by how late."""
    panel = TOP + PLOT_HEIGHT + BOTTOM + GAP
    height = panel * len(results) + 20
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" width="{WIDTH}" height="{height}" role="img"'
        ' font-family="sans-serif" font-size="12">',
        "<title>Chance that visits start late</title>",
        f'<rect width="{WIDTH}" height="{height}" fill="white"/>',
    ]
    for k, (name, s) in enumerate(results):
        parts += _panel(name, s, shown, k * panel)
    return "\n".join([*parts, "</svg>", ""])


def _panel(name: str, s: Stress, shown: Callable[[int], str], top: int) -> list[str]:
    zero = top + TOP + PLOT_HEIGHT
    room = WIDTH - LEFT - 20
    each = room / max(1, len(s.visits))
    title = f"{name}: {100 * s.on_time:.0f} % start at most 5 min late; {s.samples} days lived through"
    out = [f'<text x="{LEFT}" y="{top + 16}" font-size="14" font-weight="bold">{escape(title)}</text>']
    for i, (limit, shade) in enumerate(SHADES):
        x = LEFT + i * 170
        out.append(f'<rect x="{x}" y="{top + 24}" width="12" height="12" fill="{shade}" stroke="#333" stroke-width="0.5"/>')
        out.append(f'<text x="{x + 18}" y="{top + 34}">more than {limit} min late</text>')
    for share in (0, 25, 50, 75, 100):
        y: float = zero - PLOT_HEIGHT * share / 100
        out.append(f'<line x1="{LEFT}" x2="{LEFT + room}" y1="{y:.1f}" y2="{y:.1f}" stroke="#bbb" stroke-width="0.6"/>')
        out.append(f'<text x="{LEFT - 6}" y="{y + 4:.1f}" text-anchor="end">{share} %</text>')
    labels = max(1, -(-len(s.visits) // 14))
    for i, v in enumerate(s.visits):
        left = LEFT + i * each
        said = ", ".join(f"{100 * v.more_than[limit]:.0f} % more than {limit} min" for limit, _ in SHADES)
        out.append(f"<g><title>{escape(f'{shown(v.booked)} {v.visit}: {said}')}</title>")
        for limit, shade in SHADES:
            high = PLOT_HEIGHT * v.more_than[limit]
            if high > 0:
                out.append(
                    f'<rect x="{left + each * 0.1:.1f}" y="{zero - high:.1f}" width="{each * 0.8:.1f}" height="{high:.1f}" fill="{shade}"'
                    ' stroke="#333" stroke-width="0.5"/>'
                )
        out.append("</g>")
        if i % labels == 0:
            out.append(f'<text x="{left + each / 2:.1f}" y="{zero + 16}" text-anchor="middle">{escape(shown(v.booked))}</text>')
    out.append(f'<text x="{LEFT + room / 2:.0f}" y="{zero + 34}" text-anchor="middle">visits, by booked time</text>')
    return out
