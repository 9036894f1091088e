"""When each product runs out as a drawing: early, middle and late end on an axis of weeks, and the last day to order."""

from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from typing import Final

from fettlebook.exchange.time_axis import INK, SOFT, day_words, in_markup, text
from fettlebook.said import joined, said, said_date
from fettlebook.standing.stock import StockSays

WIDTH: Final = 960
LEFT, RIGHT, TOP, ROW, BOTTOM = 250, 30, 34, 34, 34
MOST_DAYS: Final = 370
LEAST_DAYS: Final = 28
MARKS: Final = 6
BAR: Final = "#bcd7d2"


def stock_chart(found: Sequence[StockSays], today: date) -> str:
    """Return the drawing as SVG; an empty text where no end can be told."""
    told = [one for one in found if one.runs_out is not None]
    return joined("", _svg(told, today)) if told else ""


def _svg(found: Sequence[StockSays], today: date) -> Iterator[str]:
    height = TOP + ROW * len(found) + BOTTOM
    ends = [day for one in found if one.runs_out for day in one.runs_out if day is not None]
    span = min(MOST_DAYS, max(LEAST_DAYS, *((day - today).days + 7 for day in ends)))
    name = in_markup(said("When {many} products run out. The table has every day.", many=len(found)))
    yield f'<svg class="water-chart" viewBox="0 0 {WIDTH} {height}" role="img" font-family="inherit" aria-label="'
    yield from (name, '"><title>', name, "</title>")
    yield text(8, 18, said("Runs out: from the early end to the late one, the middle as a line"), "start")

    def x(day: date) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * min(1.0, max(0.0, (day - today).days / span))

    for number in range(MARKS + 1):
        day = today + timedelta(days=round(span * number / MARKS))
        yield f'<line x1="{x(day):.1f}" x2="{x(day):.1f}" y1="{TOP - 6}" y2="{height - BOTTOM}" stroke="#ddd"/>'
        yield text(x(day), height - 12, said("today") if number == 0 else day_words(day), "end" if number == MARKS else "middle")
    for number, one in enumerate(found):
        assert one.runs_out is not None
        y, (early, middle, late) = TOP + ROW * number + ROW / 2, one.runs_out
        end = x(late) if late is not None else WIDTH - RIGHT
        until = said_date(late) if late is not None else said("later than can be told")
        words = said("{name}: {early} to {late}", name=one.name, early=said_date(early), late=until)
        yield from ("<g><title>", in_markup(words), "</title>")
        yield f'<rect x="{x(early):.1f}" y="{y - 8:.1f}" width="{max(2.0, end - x(early)):.1f}" height="16" fill="{BAR}" stroke="{SOFT}"/>'
        yield f'<line x1="{x(middle):.1f}" x2="{x(middle):.1f}" y1="{y - 11:.1f}" y2="{y + 11:.1f}" stroke="{INK}" stroke-width="2"/>'
        if one.order_by is not None:
            at = x(one.order_by)
            yield f'<path d="M{at:.1f} {y - 9:.1f}l7 9l-7 9l-7 -9z" fill="{INK}"/>'
        yield "</g>"
        yield text(LEFT - 12, y + 5, one.product, "end")
    yield "</svg>"
