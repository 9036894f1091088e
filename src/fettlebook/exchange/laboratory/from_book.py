"""The counts of a book judged together: its results and treatments given to the same model as a laboratory's table."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from fettlebook.errors import Finding
from fettlebook.exchange.laboratory.judged import Asked, ChairToday, Judged, judge_rows
from fettlebook.exchange.laboratory.sheet import Sheet, SheetRow
from fettlebook.rules.model import Limit
from fettlebook.said import said
from fettlebook.science.trends import PRIORS, Priors
from fettlebook.standing.look import Look
from fettlebook.standing.water import PER_ML
from fettlebook.standing.water_history import WATER_COUNT, ChairWater, WaterResult, chair_water

ROLES: Final = ("limit", "action", "alert", "aim")
HOW: Final = "Enter the treatment as it was done: its steps, in the book."
NO_VOLUME: Final = said("the book has no plated volume of this result, so how sure it is can't be said")


@dataclass(frozen=True, slots=True)
class LimitToday:
    """A limit in force with the chance that a chair's level is above it today, and the day on which that reaches the risk."""

    limit: Limit
    cfu_ml: float
    p_above: float
    p_next_above: float
    passes_on: date | None


@dataclass(frozen=True, slots=True)
class BookWater:
    """What a book says of its chairs' water: each chair's history, and the fit of all of them together."""

    judged: Judged
    chairs: tuple[ChairWater, ...]
    limits: tuple[Limit, ...]

    def chair(self, name: str) -> ChairWater:
        """Return a chair's history."""
        return next(one for one in self.chairs if one.chair == name)

    def today(self, name: str) -> ChairToday:
        """Return where a chair stands by the fit."""
        return next(one for one in self.judged.chairs if one.chair == name)

    def each_limit(self, name: str) -> tuple[LimitToday, ...]:
        """Return the chance of a chair to be above each limit in force."""
        chair, today = self.judged.trend.of(name), self.today(name)
        days = float(today.days or 0)
        found = []
        for limit in self.limits:
            cfu_ml = limit_cfu_ml(limit)
            p = chair.p_above(cfu_ml, days)
            until = chair.days_until(cfu_ml, days, self.judged.risk) if today.days is not None else 0 if p >= self.judged.risk else None
            passes = self.judged.today + timedelta(days=until) if until is not None else None
            found.append(LimitToday(limit, cfu_ml, p, chair.p_next_above(cfu_ml, days), passes))
        return tuple(found)


def limit_cfu_ml(limit: Limit) -> float:
    """Return a limit's number [CFU/mL]: of a range the upper end, as the verdict takes it."""
    return max(limit.value) * PER_ML[limit.unit]


def limits_in_force(look: Look, quantity: str = WATER_COUNT) -> tuple[Limit, ...]:
    """Return the strictest limit of each role that a count can be held against."""
    found = (look.basis.rulebook.strictest(quantity, role) for role in ROLES)
    return tuple(limit for limit in found if limit is not None and limit.value and limit.unit in PER_ML)


def judge_book(
    look: Look,
    *,
    limit: float | None = None,
    risk: float = 0.10,
    volume_ml: float | None = None,
    chairs: Sequence[str] = (),
    priors: Priors = PRIORS,
) -> BookWater:
    """Return what the book says of the water of its chairs at a look's moment.

    Parameters
    ----------
    limit
        What the answer is about [CFU/mL]; None: the first limit in force (limit, action, alert, aim), or 500 where the rules name none.
    volume_ml
        Undiluted sample on the plates of results whose volume the book doesn't have; None: they are left out.
    chairs
        Which chairs; empty: all of the practice file.
    """
    basis = look.basis
    histories = tuple(chair_water(look, chair) for chair in basis.practice.chairs if not chairs or chair.id in chairs)
    limits = limits_in_force(look)
    level = limit if limit is not None else limit_cfu_ml(limits[0]) if limits else 500.0
    method = _method(histories)
    rows, findings = [], []
    for history in histories:
        for result in history.results:
            row = _row(look, history, result, volume_ml, method)
            if isinstance(row, Finding):
                findings.append(row)
            else:
                rows.append(row)
    known = {history.chair: [basis.day_of(one.done_ms) for one in history.whole] for history in histories}
    sheet = Sheet(tuple(rows), tuple(findings), (f"results by {method}",) if method else ())
    judged = judge_rows(sheet, known, Asked("book", basis.day_of(look.at), level, risk, HOW), priors)
    return BookWater(judged, histories, limits)


def _method(histories: Iterable[ChairWater]) -> str | None:
    """Return the method of the newest result that names one: only counts of one method are comparable (Standard Methods 9215 A.1)."""
    named = [(r.taken_ms, r.method) for history in histories for r in history.results if r.method is not None]
    return max(named)[1] if named else None


def _row(look: Look, history: ChairWater, result: WaterResult, volume_ml: float | None, method: str | None) -> SheetRow | Finding:
    where = f"book, {history.chair}, sample {result.sample}"
    if result.doubts:
        return Finding(f"{result.doubts[0]}", where, "It proves nothing and is left out of the trend: take another sample.", "warning")
    if result.method is not None and result.method != method:
        return Finding(f"by another method ({result.method})", where, "Only counts of one method are compared: left out.", "warning")
    sample = result.as_sample(0.0, volume_ml)
    if sample is None:
        return Finding(NO_VOLUME, where, said("Ask the laboratory for it, or say it with --volume-ml."), "warning")
    text = f"{ {'below': '< ', 'above': '> '}.get(result.mark or '', '') }{result.per_ml:g} CFU/mL".strip()
    return SheetRow(
        0, history.chair, look.basis.day_of(result.taken_ms), sample.kind, sample.colonies, sample.volume_ml,
        history.days_since_intensive(result.taken_ms), False, text, result.sample,
    )  # fmt: skip
