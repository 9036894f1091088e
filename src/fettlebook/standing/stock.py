"""What is left of each product, how fast it goes by the book's entries, until when it lasts, and by when to order.

Counted stock and deliveries less what was opened or mixed since; the past use carries on. Where mixed amounts are known it goes by litres,
else by packages. Without a count there is a rate and no date: nobody guesses what stands in the cupboard.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import floor

from fettlebook.practice.model import Product
from fettlebook.said import said
from fettlebook.science.stocks import DAYS_A_WEEK, FEWEST_OPENED, FEWEST_WEEKS, Lasts, amount_lasts, packages_last
from fettlebook.standing.basis import DAY_MS
from fettlebook.standing.facts import Stock
from fettlebook.standing.look import Look
from fettlebook.standing.streams import Fact

UL_PER_L = 1_000_000
LEAD_DAYS = 7  # from an order until it stands in the cupboard; our own choice, each face may ask otherwise
USE_DAYS = 182  # how far back use is looked at
LEVEL = 0.9  # so that the early end is missed in 5 of 100 cases


@dataclass(frozen=True, slots=True)
class Vessel:
    """Use at one bottle or tank: how often it was filled in the days looked at, with how much product and water [L]."""

    subject: str
    fills: int
    product_l: float
    water_l: float
    untold: int  # fills whose amount of product nobody entered


@dataclass(frozen=True, slots=True)
class StockSays:
    """Stock of one product. `by` is "amount" or "packages"; None where no end can be told, and `why` says why.

    `order_by` is the last day on which an order with the lead time comes before the early end.
    """

    product: str
    name: str
    counted_ms: int | None
    packages_left: int | None
    left_l: float | None
    opened: int
    opened_in_days: float
    used_l_a_week: float | None
    by: str | None
    lasts: Lasts | None
    runs_out: tuple[date, date, date | None] | None  # early, middle, late
    order_by: date | None
    why: str
    vessels: tuple[Vessel, ...]
    evidence: tuple[str, ...]  # the count it rests on

    def to_order(self, today: date) -> bool:
        """Tell whether the day of ordering has come."""
        return self.order_by is not None and self.order_by <= today


def stock_of(look: Look, product: Product, lead_days: int, days: int) -> StockSays:
    """Return what the book says of a product's stock.

    Parameters
    ----------
    look
        The moments asked about.
    product
        A product of the practice file.
    lead_days
        Days from an order until it stands in the cupboard.
    days
        How far back use is looked at [days].
    """
    subject, since = f"product:{product.id}", look.at - days * DAY_MS
    facts = list(look.forward(subject, "stock", since=since))
    opened = [fact for fact in facts if fact.says.sort == "opened"]
    mixed = [fact for fact in facts if fact.says.sort == "mixed"]
    weeks = _weeks(mixed, look.at)
    count = next((fact for fact in look.back(subject, "stock") if fact.says.sort == "counted"), None)
    after = (
        [f for f in look.forward(subject, "stock", since=count.happened) if (f.happened, f.seq) > count[:2]] if count is not None else []
    )
    packages, left_ul = _left(count, after)
    in_days = (look.at - opened[0].happened) / DAY_MS if opened else 0.0
    by, lasts, why = _lasts(packages, left_ul, weeks, (max(0, len(opened) - 1), in_days))
    today = look.basis.day_of(look.at)
    runs_out = None if lasts is None else _dates(today, lasts)
    return StockSays(
        product.id, product.name, count.happened if count else None, packages, None if left_ul is None else left_ul / UL_PER_L,
        len(opened), in_days, sum(weeks) / len(weeks) / UL_PER_L if weeks else None, by, lasts, runs_out,
        None if runs_out is None else runs_out[0] - timedelta(days=lead_days), why, _vessels(mixed), (count.entry,) if count else (),
    )  # fmt: skip


def _left(count: Fact | None, after: Sequence[Fact]) -> tuple[int | None, int | None]:
    """Return closed packages, and all that is left [uL], since the last count; None where it can't be said."""
    if count is None:
        return None, None
    says: Stock = count.says
    packages, left = says.packages, None if says.package_ul is None else says.packages * says.package_ul + (says.open_ul or 0)
    for fact in after:
        one: Stock = fact.says
        packages += one.packages if one.sort == "received" else -1 if one.sort == "opened" else 0
        if left is not None and one.sort == "received":
            left += one.packages * (one.package_ul or says.package_ul or 0)
        elif left is not None and one.sort == "mixed":
            left = None if one.used_ul is None else left - one.used_ul
    return packages, left


def _weeks(mixed: Sequence[Fact], at: int) -> list[int]:
    """Return what was mixed in each whole week back from the moment asked about, newest first [uL]; empty where an amount is missing."""
    if not mixed or any(fact.says.used_ul is None for fact in mixed):
        return []
    week_ms = round(DAYS_A_WEEK * DAY_MS)
    totals = [0] * ((at - mixed[0].happened) // week_ms)
    for fact in mixed:
        number = (at - fact.happened) // week_ms
        if number < len(totals):
            totals[number] += fact.says.used_ul
    return totals


def _lasts(
    packages: int | None, left_ul: int | None, weeks: Sequence[int], opened: tuple[int, float]
) -> tuple[str | None, Lasts | None, str]:
    if packages is None:
        return None, None, said("never counted: enter stock.counted")
    if packages < 0 or (left_ul is not None and left_ul < 0):
        return None, None, said("more was used since than was counted and delivered: count again")
    if left_ul is not None and len(weeks) >= FEWEST_WEEKS and sum(weeks) > 0:
        return "amount", amount_lasts(weeks, left_ul, LEVEL), ""
    times, in_days = opened
    if times >= FEWEST_OPENED and in_days > 0:
        return "packages", packages_last(times, in_days, packages, LEVEL), ""
    return (
        None,
        None,
        said(
            "use too seldom in the book: {FEWEST_WEEKS} whole weeks of mixed amounts are needed, or {FEWEST_OPENED} openings",
            FEWEST_WEEKS=FEWEST_WEEKS,
            FEWEST_OPENED=FEWEST_OPENED + 1,
        ),
    )


def _dates(today: date, lasts: Lasts) -> tuple[date, date, date | None]:
    early, middle = (today + timedelta(days=floor(days)) for days in (lasts.earliest_days, lasts.middle_days))
    return early, middle, None if lasts.latest_days is None else today + timedelta(days=floor(lasts.latest_days))


def _vessels(mixed: Sequence[Fact]) -> tuple[Vessel, ...]:
    found: dict[str, list[Stock]] = defaultdict(list)
    for fact in mixed:
        found[fact.says.subject or "product:not said where"].append(fact.says)
    return tuple(
        Vessel(
            subject,
            len(said),
            sum(one.used_ul or 0 for one in said) / UL_PER_L,
            sum(one.water_ml or 0 for one in said) / 1000,
            sum(one.used_ul is None for one in said),
        )
        for subject, said in sorted(found.items())
    )
