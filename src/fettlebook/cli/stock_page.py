"""What `fettlebook stock` prints: left, use, when it runs out with an interval, the last day to order."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from datetime import date
from typing import Any, Final
from zoneinfo import ZoneInfo

from fettlebook.cli.standing_page import WIDTH
from fettlebook.standing.asking import name_of, said_at
from fettlebook.standing.basis import stamp
from fettlebook.standing.stock import StockSays

LATE: Final = "later than can be told"
LAST: Final = (
    "The interval holds in 90 of 100 cases if use goes on as before; a holiday, a new chair or a treatment plan changes it. "
    "The day printed on the package and the life once opened come first: fettlebook standing says whether a product may be used."
)


def stock_page(found: Sequence[StockSays], zone: ZoneInfo, today: date, lead_days: int) -> Iterator[str]:
    """Yield the lines of all products, those to be ordered first."""
    to_order = sum(one.to_order(today) for one in found)
    yield f"{len(found)} products, {to_order} to be ordered now (an order takes {lead_days} days)"
    for one in sorted(found, key=lambda one: (one.order_by or date.max, one.product)):
        yield ""
        yield from _product(one, zone, today)
    yield ""
    yield from textwrap.wrap(LAST, WIDTH)


def _product(one: StockSays, zone: ZoneInfo, today: date) -> Iterator[str]:
    mark = "order now" if one.to_order(today) else f"order by {one.order_by}" if one.order_by is not None else "can't be told"
    yield f"{one.product}: {mark}"
    if one.counted_ms is not None:
        litres = f", {one.left_l:.2f} L in all" if one.left_l is not None else ""
        yield f"  left       {one.packages_left} closed packages{litres} (counted {stamp(one.counted_ms, zone)})"
    weekly = f", {one.used_l_a_week:.2f} L a week mixed" if one.used_l_a_week is not None else ""
    yield f"  use        {one.opened} packages opened in {one.opened_in_days:.0f} days{weekly}"
    if one.runs_out is not None and one.lasts is not None:
        early, middle, late = one.runs_out
        yield f"  runs out   {middle}, between {early} and {late or LATE} (by {one.by})"
    for vessel in one.vessels:
        untold = f", {vessel.untold} without an amount" if vessel.untold else ""
        drawn = f"{vessel.product_l:.2f} L product, {vessel.water_l:.1f} L water"
        yield f"  filled     {name_of(vessel.subject)}: {vessel.fills} times, {drawn}{untold}"
    if one.why:
        yield from textwrap.wrap(one.why, WIDTH, initial_indent="  ", subsequent_indent="    ")


def stock_data(one: StockSays, zone: ZoneInfo, today: date) -> dict[str, Any]:
    """Return a product's stock for JSON; days from the moment asked about."""
    dates = one.runs_out
    return {
        "product": one.product,
        "name": one.name,
        "counted": said_at(one.counted_ms, zone),
        "packages_left": one.packages_left,
        "left_l": one.left_l,
        "opened": one.opened,
        "opened_in_days": round(one.opened_in_days, 2),
        "used_l_a_week": one.used_l_a_week,
        "by": one.by,
        "lasts_days": None
        if one.lasts is None
        else {"early": one.lasts.earliest_days, "middle": one.lasts.middle_days, "late": one.lasts.latest_days},
        "runs_out": None
        if dates is None
        else {"early": str(dates[0]), "middle": str(dates[1]), "late": None if dates[2] is None else str(dates[2])},
        "order_by": None if one.order_by is None else str(one.order_by),
        "order_now": one.to_order(today),
        "why": one.why,
        "filled": [
            {"subject": v.subject, "fills": v.fills, "product_l": v.product_l, "water_l": v.water_l, "without_amount": v.untold}
            for v in one.vessels
        ],
        "evidence": list(one.evidence),
    }
