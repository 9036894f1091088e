"""Shares of clean spots as a drawing: a dot for each place and round, with its 95 % interval by Wilson; all rounds together drawn bold."""

from collections.abc import Iterator, Sequence
from typing import Final

from fettlebook.exchange.time_axis import INK, SOFT, in_markup, text
from fettlebook.said import joined, said, term
from fettlebook.standing.surfaces import Share

WIDTH: Final = 960
LEFT, RIGHT, TOP, ROW, BOTTOM = 300, 70, 34, 26, 30


def share_chart(shares: Sequence[Share]) -> str:
    """Return the drawing as SVG, the lowest share of each group of rounds where it stands; an empty text where nothing was checked."""
    told = [one for one in shares if one.of]
    return joined("", _svg(told)) if told else ""


def _svg(shares: Sequence[Share]) -> Iterator[str]:
    height = TOP + ROW * len(shares) + BOTTOM
    name = in_markup(said("Share of clean spots, {many} rows. The table has every value.", many=len(shares)))
    yield f'<svg class="water-chart" viewBox="0 0 {WIDTH} {height}" role="img" font-family="inherit" aria-label="'
    yield from (name, '"><title>', name, "</title>")
    yield text(8, 18, said("Share of spots found clean, with 95 % interval"), "start")
    for percent in range(0, 101, 20):
        x = _x(percent / 100)
        yield f'<line x1="{x:.1f}" x2="{x:.1f}" y1="{TOP - 6}" y2="{height - BOTTOM}" stroke="#ddd"/>'
        yield text(x, height - 10, f"{percent} %", "middle")
    for number, one in enumerate(shares):
        y = TOP + ROW * number + ROW / 2
        low, high, middle = _x(one.low or 0.0), _x(one.high if one.high is not None else 1.0), _x(one.clean / one.of)
        whole = one.round is None
        told = joined("", (one.place, " (", term(one.method), "), ", one.round or said("all rounds")))
        yield from ("<g><title>", in_markup(joined(": ", (told, said("{clean} of {of}", clean=one.clean, of=one.of)))), "</title>")
        yield f'<line x1="{low:.1f}" x2="{high:.1f}" y1="{y:.1f}" y2="{y:.1f}" stroke="{SOFT}" stroke-width="{3 if whole else 1.5}"/>'
        fill, size = (INK, 6) if whole else ("white", 4)
        yield f'<circle cx="{middle:.1f}" cy="{y:.1f}" r="{size}" fill="{fill}" stroke="{INK}" stroke-width="1.5"/></g>'
        yield text(LEFT - 12, y + 5, told, "end")
        yield text(WIDTH - 8, y + 5, f"{one.clean}/{one.of}", "end")
    yield "</svg>"


def _x(share: float) -> float:
    return LEFT + (WIDTH - LEFT - RIGHT) * share
