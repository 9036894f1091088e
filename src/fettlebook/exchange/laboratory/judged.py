"""A table of results judged: where each chair's water stands today, when it will pass the limit, and which results ask for a look."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final, Literal

import numpy as np

from fettlebook.errors import Finding, Mendable
from fettlebook.exchange.laboratory.sheet import Sheet, SheetRow
from fettlebook.said import said
from fettlebook.science.trends import (
    LEAST_POINTS,
    PRIORS,
    ChairTrend,
    OddResult,
    Priors,
    Sample,
    Trend,
    TurnOfLevel,
    fit_practice,
    odd_results,
    turns_of_level,
)

SHARES: Final = (0.025, 0.05, 0.25, 0.5, 0.75, 0.95, 0.975)
FEW: Final = 3  # with fewer samples a chair leans on the practice's other chairs and on the priors


@dataclass(frozen=True, slots=True)
class ChairToday:
    """A chair's water today. `passes_on`: the day when the chance of being over reaches the risk; today if it is there already.

    `days` since the last intensive treatment, None where no treatment is known: then nothing is said of days to come.
    """

    chair: str
    samples: int
    last: SheetRow | None
    days: int | None
    log10_quantiles: tuple[float, ...]
    p_above_limit: float
    p_next_above_limit: float
    passes_on: date | None
    value_of_one_sample: float

    @property
    def proven(self) -> bool:
        """Whether there is any sample of it: without one, the practice's spread proves nothing."""
        return self.samples > 0

    def cfu_per_ml(self, share: float) -> float:
        """Return a quantile of the level in CFU/mL."""
        return float(10.0 ** self.log10_quantiles[SHARES.index(share)])


@dataclass(frozen=True, slots=True)
class Judged:
    """The whole table's answer. `trusted` False: too few effective points, and no chair's figures are to be used."""

    today: date
    limit_cfu_ml: float
    risk: float
    chairs: tuple[ChairToday, ...]
    odd: tuple[tuple[SheetRow, OddResult], ...]
    turns: tuple[tuple[SheetRow, TurnOfLevel], ...]
    effective_points: float
    priors: Priors
    findings: tuple[Finding, ...]
    read_as: tuple[str, ...]
    trend: Trend
    used: tuple[tuple[SheetRow, Sample], ...]  # what the fit rests on, by day

    @property
    def trusted(self) -> bool:
        """Whether the weights are spread over enough points."""
        return self.effective_points >= LEAST_POINTS

    def verdict(self, chair: ChairToday) -> Literal["fit", "unfit", "unproven"]:
        """Return what the counts alone say of a chair: `unfit` also if its last result was over the limit, whatever the chance."""
        if not chair.proven:
            return "unproven"
        if chair.last is not None and chair.last.kind != "below" and chair.last.colonies > self.limit_cfu_ml * chair.last.volume_ml:
            return "unfit"
        if not self.trusted:
            return "unproven"
        return "unfit" if chair.p_above_limit >= self.risk else "fit"


def judge_sheet(
    sheet: Sheet,
    *,
    file: str,
    today: date,
    limit_cfu_ml: float,
    risk: float,
    treated: Mapping[str, Sequence[date]] | None = None,
    chairs: Sequence[str] = (),
    priors: Priors = PRIORS,
) -> Judged:
    """Return what a table of results says of today.

    Parameters
    ----------
    sheet, file
        The table as read, and its name for messages.
    today
        The day that is asked about.
    limit_cfu_ml, risk
        The limit, and the chance of being over it at which something must be done.
    treated
        Days of intensive treatments by chair, beside those that the table itself tells.
    chairs
        Chairs that must be answered for, sampled or not; those of the table come as well.
    """
    if not sheet.rows:
        raise Mendable(
            said("no result that can be used"),
            where=file,
            mend="Mend the lines that are named, or say how the table is written.",
            others=sheet.findings,
        )
    names = list(dict.fromkeys([*chairs, *(row.chair for row in sheet.rows)]))
    known = {name: _treatments(name, sheet.rows, (treated or {}).get(name, ()), today) for name in names}
    how = "Give the day with --treated CHAIR=DATE, or a column days_since_intensive."
    return judge_rows(sheet, known, Asked(file, today, limit_cfu_ml, risk, how), priors)


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked of results: from where they come, the day, the limit and the risk; and how to tell of a treatment that is missing."""

    file: str
    today: date
    limit_cfu_ml: float
    risk: float
    how_to_tell: str


def judge_rows(sheet: Sheet, known: Mapping[str, Sequence[date]], asked: Asked, priors: Priors = PRIORS) -> Judged:
    """Return what results say of a day; `known` has the days of intensive treatments of each chair that is answered for, in order."""
    rows, findings = [], list(sheet.findings)
    whole = any(known.values())
    for row in sorted(sheet.rows, key=lambda r: (r.sampled_on, r.line)):
        before = [day for day in known[row.chair] if day <= row.sampled_on]
        if row.days_since_intensive is None and not before and whole:
            what = "no intensive treatment before this sample is known"
            findings.append(Finding(what, f"{asked.file} {row.place}", f"It was left out. {asked.how_to_tell}"))
            continue
        rows.append((row, _sample(row, before)))
    if not whole:
        what = "no intensive treatment is known, so nothing is said of how counts rise after one, nor of days to come"
        findings.append(Finding(what, asked.file, asked.how_to_tell, "warning"))
    samples = [sample for _, sample in rows]
    trend = fit_practice(samples, list(known), priors)
    day = _Today(asked.today, asked.limit_cfu_ml, asked.risk)
    return Judged(
        asked.today,
        asked.limit_cfu_ml,
        asked.risk,
        tuple(day.of(trend.of(name), [r for r, _ in rows if r.chair == name], known[name]) for name in known),
        tuple((rows[_place(samples, odd.sample)][0], odd) for odd in (odd_results(trend, samples) if samples else ())),
        tuple((rows[turn.after][0], turn) for turn in turns_of_level(trend, samples)),
        trend.effective,
        priors,
        tuple(findings),
        sheet.read_as,
        trend,
        tuple(rows),
    )


def _treatments(chair: str, rows: Sequence[SheetRow], said: Sequence[date], today: date) -> list[date]:
    told = [
        r.sampled_on - timedelta(days=round(r.days_since_intensive))
        for r in rows
        if r.chair == chair and r.days_since_intensive is not None
    ]
    return sorted(day for day in {*told, *said} if day <= today)


def _sample(row: SheetRow, before: Sequence[date]) -> Sample:
    days = (
        row.days_since_intensive if row.days_since_intensive is not None else float((row.sampled_on - before[-1]).days) if before else 0.0
    )
    return Sample(row.chair, days, row.kind, row.colonies, row.volume_ml)


def _place(samples: Sequence[Sample], one: Sample) -> int:
    return next(i for i, sample in enumerate(samples) if sample is one)


@dataclass(frozen=True, slots=True)
class _Today:
    today: date
    limit: float
    risk: float

    def of(self, chair: ChairTrend, rows: Sequence[SheetRow], treated: Sequence[date]) -> ChairToday:
        days = (self.today - treated[-1]).days if treated else None
        at = float(days or 0)
        until = chair.days_until(self.limit, at, self.risk) if days is not None else None
        over = chair.p_above(self.limit, at)
        passes = self.today + timedelta(days=until) if until is not None else self.today if over >= self.risk else None
        return ChairToday(
            chair.chair,
            chair.samples,
            rows[-1] if rows else None,
            days,
            tuple(float(q) for q in np.asarray(chair.quantiles(at, SHARES))),
            over,
            chair.p_next_above(self.limit, at),
            passes,
            chair.value_of_a_sample(self.limit, at, self.risk),
        )
