"""Mixing a product by measure and jug: how much product, how much water, and between what the true strength then lies.

Only what the label allows: its strength, or its mL in a litre, nothing weaker, nothing stronger. What can't be reckoned
(% w/w without the density) or may not be used (past its date) is refused with the reason.

Sources
-------
[D] V1 = V2 c2/c1 in mg/L; made up to the mark, since volumes of product and water need not add up. textbook, memory
[J] A measure or jug may be out by about one of its own lines. practice
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Final

from fettlebook.errors import Finding, Mendable
from fettlebook.science.strengths import dilution, strength_mg_l

READY: Final = "ready to use"
SAME: Final = 1e-6  # a strength that is typed as the label's counts as the label's
AGREE: Final = 0.02  # a label's mL in a litre and its strength may differ by rounding
BATCH_ML: Final = (10.0, 200_000.0)


@dataclass(frozen=True, slots=True)
class Stated:
    """A strength as a label or data sheet states it; density of that very solution, needed for % w/w [kg/L]."""

    value: float
    unit: str
    density_kg_l: float | None = None

    def mg_l(self, whose: str) -> float:
        """Return it in mg/L; `whose` names it where it can't be reckoned."""
        try:
            return strength_mg_l(self.value, self.unit, self.density_kg_l)
        except Mendable as error:
            raise Mendable(f"{self}: {error.what}", where=whose, mend=error.mend) from None

    def __str__(self) -> str:
        return f"{self.value:g} {self.unit}"


@dataclass(frozen=True, slots=True)
class JugMix:
    """What to measure out [mL], and the least and most that the mix may have of the strength asked for, as shares of it."""

    batch_ml: float
    product_ml: float
    water_ml: float
    weakest_share: float
    strongest_share: float

    @property
    def undiluted(self) -> bool:
        """Whether nothing is to be added to the product."""
        return self.water_ml == 0.0


@dataclass(frozen=True, slots=True)
class UseBy:
    """Until when a mix may be used, and what ends it."""

    at: datetime
    because: str


def label_strength(label: Sequence[Stated | None], asked: Stated | None = None) -> int:
    """Return which of the label's strengths is meant: the place in `label`.

    Parameters
    ----------
    label
        The strengths that the label gives for this use; None stands for ready to use.
    asked
        The strength that somebody wants; left out, the label's only one.

    Raises
    ------
    Mendable
        The label gives none, several and none was asked for, or another one than was asked for: that would be off label.
    """
    have = ", ".join(READY if s is None else str(s) for s in label)
    if not label:
        mend = "Choose a product whose label names this use."
        raise Mendable("off label: the label does not allow this use", where="use", mend=mend)
    if asked is None:
        if len(label) > 1:
            raise Mendable(f"the label has {len(label)} strengths for this use", where="strength", mend=f"Choose one of: {have}.")
        return 0
    for number, strength in enumerate(label):
        if strength is not None and _same(strength, asked):
            return number
    raise Mendable(
        f"off label: {asked} is not a strength that the label gives for this use",
        where="strength",
        mend=f"Use the label's: {have}. A weaker mix may not work in the label's contact time, a stronger one may harm.",
    )


def product_share(wanted: Stated | None, supplied: Stated | None, *, label_ml_per_l: float | None = None) -> float:
    """Return which share of the finished solution is product as it comes.

    Parameters
    ----------
    wanted
        The label's strength; None: ready to use.
    supplied
        Strength of the product as it comes, or None where it is not known.
    label_ml_per_l
        mL of product in 1 L of solution, where the label says so; then it decides, and strengths only check it.

    Raises
    ------
    Mendable
        It is ready to use, its strength is not known, it is weaker than wanted, or the two ways disagree.
    """
    if wanted is None:
        mend = "Use it as it comes. Adding water would be off label."
        raise Mendable("off label: the label says ready to use", where="strength", mend=mend)
    share = None if supplied is None else dilution(supplied.mg_l("product as it comes"), wanted.mg_l("label's strength"), 1.0).product_ml
    if label_ml_per_l is not None:
        named = label_ml_per_l / 1000.0
        if share is not None and abs(named / share - 1.0) > AGREE:
            raise Mendable(
                f"the label's {label_ml_per_l:g} mL in 1 L and its {wanted} from {supplied} disagree: that would be {share * 1000:.3g} mL",
                where="product_ml_per_l, strength, concentrate",
                mend="Read all three again from the label; nothing is mixed until they agree.",
            )
        return named
    if share is None:
        raise Mendable(
            "how strong the product comes is not known, so nothing can be measured out",
            where="concentrate",
            mend='Add concentrate = { strength = ..., strength_unit = "..." } from the label, or its product_ml_per_l.',
        )
    return share


def mix_by_jug(batch_ml: float, share: float, *, measure_ml: float, jug_ml: float) -> JugMix:
    """Return what to measure out for a batch, and how far the true strength may be off.

    Parameters
    ----------
    batch_ml
        Finished solution, 10 to 200,000 [mL].
    share
        Share of product in it, above 0 and up to 1; from `product_share`.
    measure_ml
        How far the measure for the product may be out: the distance of its lines [mL]  [J].
    jug_ml
        How far the jug may be out: the distance of its lines [mL]  [J].

    Raises
    ------
    Mendable
        The batch is no jugful, or a measure is too coarse for what is to be measured; carries every finding.

    Notes
    -----
    Product = share times batch, filled up to the mark [D]. Weakest: too little product in too full a jug; strongest: the other way.
    """
    if not BATCH_ML[0] <= batch_ml <= BATCH_ML[1]:
        mend = f"Give {BATCH_ML[0]:g} mL to {BATCH_ML[1] / 1000:g} L."
        raise Mendable(f"{batch_ml:g} mL is no batch", where="litres", mend=mend)
    if not 0.0 < share <= 1.0:
        raise Mendable(f"a share of {share!r}", where="share", mend="Give a share above 0 and up to 1.")
    if share > 1.0 - SAME:
        return JugMix(batch_ml, batch_ml, 0.0, 1.0, 1.0)
    product_ml = share * batch_ml
    found = [
        Finding(f"a {what} with lines of {line:g} mL can't measure {of:.3g} mL", where, mend)
        for what, line, of, where, mend in (
            ("measure", measure_ml, product_ml, "measure", "Use a finer one, such as a syringe, or make a larger batch."),
            ("jug", jug_ml, batch_ml, "jug", "Use a jug with finer lines, or make a larger batch."),
        )
        if not 0.0 <= line <= of / 2.0
    ]
    if found:
        raise Mendable.of(found)
    return JugMix(
        batch_ml=batch_ml,
        product_ml=product_ml,
        water_ml=batch_ml - product_ml,
        weakest_share=(product_ml - measure_ml) / (batch_ml + jug_ml) / share,
        strongest_share=min(1.0, (product_ml + measure_ml) / (batch_ml - jug_ml)) / share,
    )


def finest_line_ml(product_ml: float, within_share: float) -> float:
    """Return the distance of lines with which a measure keeps the product within +-`within_share` of what is meant [mL]."""
    return product_ml * within_share


def refuse_expired(on: date, *, opened_on: date | None = None, open_days: int | None = None, expires_on: date | None = None) -> None:
    """Raise Mendable where a product is past its date on a day: that of the package, or its life once opened.

    Parameters
    ----------
    on
        The day.
    opened_on
        When the package was opened, if it was.
    open_days
        Life once opened, by the label [days].
    expires_on
        Last day printed on the package.
    """
    found: list[Finding] = []
    if expires_on is not None and on > expires_on:
        found.append(Finding(f"the package expired on {expires_on}", "expires", "Don't use it; open another one."))
    if opened_on is not None and opened_on > on:
        found.append(Finding(f"opened on {opened_on}, after {on}", "opened", "Correct the day."))
    elif opened_on is not None and open_days is not None and on > opened_on + timedelta(days=open_days):
        last = opened_on + timedelta(days=open_days)
        found.append(
            Finding(f"opened on {opened_on}, it keeps {open_days} days: until {last}", "opened", "Don't use it; open another one.")
        )
    if found:
        raise Mendable.of(found)


def use_by(
    mixed_at: datetime,
    *,
    mixed_hours: float | None,
    opened_on: date | None = None,
    open_days: int | None = None,
    expires_on: date | None = None,
) -> UseBy | None:
    """Return until when a mix may be used: the earliest end of its life, the opened package's and the package's date.

    Parameters
    ----------
    mixed_at
        When it was mixed, with its time zone. The life is counted in hours that pass, over a clock change too.
    mixed_hours
        Life of the mixed solution, by the label [h].
    opened_on, open_days, expires_on
        As for `refuse_expired`; a day counts to its end.

    Returns
    -------
    UseBy or None
        None where the label gives no life of the mixed solution: then nobody can say how long it keeps.

    Raises
    ------
    Mendable
        The moment has no time zone, or the life is no length.
    """
    if mixed_at.tzinfo is None:
        raise Mendable(f"{mixed_at} has no time zone", where="mixed_at", mend="Give the moment with its time zone.")
    if mixed_hours is None:
        return None
    if not (math.isfinite(mixed_hours) and mixed_hours > 0.0):
        raise Mendable(f"a life of {mixed_hours!r} h", where="mixed_hours", mend="Give the label's hours.")
    zone = mixed_at.tzinfo
    ends = [UseBy((mixed_at.astimezone(UTC) + timedelta(hours=mixed_hours)).astimezone(zone), f"{mixed_hours:g} h after mixing")]
    if opened_on is not None and open_days is not None:
        ends.append(UseBy(_end_of(opened_on + timedelta(days=open_days), mixed_at), f"the package keeps {open_days} days once opened"))
    if expires_on is not None:
        ends.append(UseBy(_end_of(expires_on, mixed_at), "the package's own date"))
    return min(ends, key=lambda end: end.at)


def _end_of(day: date, mixed_at: datetime) -> datetime:
    return datetime.combine(day, time(23, 59), mixed_at.tzinfo)


def _same(label: Stated, asked: Stated) -> bool:
    if label.unit == asked.unit:
        return math.isclose(label.value, asked.value, rel_tol=SAME)
    try:
        one, other = label.mg_l("label"), Stated(asked.value, asked.unit, asked.density_kg_l or label.density_kg_l).mg_l("asked")
    except Mendable:  # % w/w without density is never taken for % w/v
        return False
    return math.isclose(one, other, rel_tol=SAME)
