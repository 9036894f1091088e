"""How long visits truly take: a lognormal spread around the booked length, stated or fitted from visits of one's own.

Sources:
[1] The lognormal law's mean exp(mu + sigma^2 / 2) and coefficient of variation sqrt(exp(sigma^2) - 1): any textbook of
    statistics; checked in the tests against scipy.stats.lognorm. sure: memory
"""

import csv
import io
import math
from dataclasses import dataclass

from fettlebook.errors import Finding, Mendable
from fettlebook.plan.instance import Instance

FEWEST = 20  # visits from which a spread may be fitted
USUAL_CV = 0.25  # our assumption where the practice has measured nothing


@dataclass(frozen=True, slots=True)
class Overruns:
    """True length / booked length: lognormal with this mean and coefficient of variation. `visits`: fitted from so many."""

    cv: float = USUAL_CV
    mean: float = 1.0
    visits: int = 0

    def words(self) -> str:
        """Return what is assumed, in a line."""
        source = f"fitted from {self.visits} visits of your own" if self.visits else "assumed, not measured"
        mean = "as booked" if abs(self.mean - 1) < 0.005 else f"{self.mean:.2f} times the booked length"
        return f"visits take {mean} on average, coefficient of variation {self.cv:.2f} ({source})"


def draw_minutes(day: Instance, overruns: Overruns, samples: int, seed: int) -> list[dict[str, int]]:
    """Return for each sample the minutes that each visit truly takes, at least 1.

    Sample k is the same for every policy and however many samples follow, so that comparisons are paired.
    """
    import numpy as np  # noqa: PLC0415 - only who draws pays

    sigma = math.sqrt(math.log1p(overruns.cv**2))  # [1]
    mu = math.log(overruns.mean) - sigma**2 / 2  # [1]
    out = []
    for k in range(samples):
        factors = np.exp(mu + sigma * np.random.default_rng([seed, k]).standard_normal(len(day.visits)))
        out.append({v.id: max(1, round(v.minutes * float(f))) for v, f in zip(day.visits, factors, strict=True)})
    return out


def fit_overruns(text: str, where: str = "visits") -> Overruns:
    """Return the spread fitted from a table of booked and actual minutes, by the mean and variance of the logarithms.

    Parameters
    ----------
    text
        CSV with a head naming `booked` and `actual`; comma or semicolon; minutes, decimal point or comma.
    where
        Name of the file, for messages.

    Raises
    ------
    Mendable
        A column is missing, a row can't be read (each is named with its line), or there are fewer than 20 visits.
    """
    lines = text.lstrip("\ufeff").splitlines()
    head = lines[0] if lines else ""
    rows = csv.DictReader(io.StringIO("\n".join(lines)), delimiter=";" if ";" in head else ",", skipinitialspace=True)
    names = {n.strip().lower(): n for n in rows.fieldnames or ()}
    if missing := [n for n in ("booked", "actual") if n not in names]:
        raise Mendable(f"no column {missing[0]!r}", where=f"{where}, line 1", mend="Name the columns booked and actual, both in minutes.")
    logs: list[float] = []
    wrong: list[Finding] = []
    for row in rows:
        try:
            booked, actual = (float((row[names[n]] or "").strip().replace(",", ".")) for n in ("booked", "actual"))
        except ValueError:
            booked = actual = math.nan
        if not (0 < booked <= 1440 and 0 < actual <= 1440):
            seen = f"booked {row[names['booked']]!r}, actual {row[names['actual']]!r}"
            wrong.append(Finding(seen, f"{where}, line {rows.line_num}", "Write minutes above 0 and up to 1440, or take the row out."))
            continue
        logs.append(math.log(actual / booked))
    if wrong:
        raise Mendable.of(wrong)
    if len(logs) < FEWEST:
        raise Mendable(
            f"{len(logs)} visits", where=where, mend=f"Measure at least {FEWEST}, or state the spread with --cv instead of a table."
        )
    mu = sum(logs) / len(logs)
    variance = sum((x - mu) ** 2 for x in logs) / (len(logs) - 1)
    return Overruns(cv=math.sqrt(math.expm1(variance)), mean=math.exp(mu + variance / 2), visits=len(logs))  # [1]
