"""What a step asks of whoever does it: readings with their bounds, the product with its lot, what to wear, the caution of its label.

The bounds are those by which the verdict judges the same reading later: whoever stands at the chair sees them before, not after. A
reading outside them can still be entered, because it is what was seen.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from fettlebook.book.kinds import unit_of_reading
from fettlebook.practice.model import Chair, Product
from fettlebook.rules.model import Computed, Duty, Step
from fettlebook.standing.evidence import AFTER_RINSE, AT_LEAST, CONTINUOUS, is_dosed, strip_moment, strip_says
from fettlebook.standing.look import Look
from fettlebook.standing.lots import good_until
from fettlebook.times.dosing import Level, dosed_level

STRIP: Final = "strip_mg_l"
STRIP_AT_LEAST: Final = f"strip{AT_LEAST}"
# Evidence as the rulebook names it -> the reading of the entry. What is not here is no number, or is measured by the timer.
READINGS: Final = {"strip reading": STRIP, "amount": "filled_ml", "temperature": "measured_mc", "pressure": "measured_kpa"}
_USES: Final = {
    Computed.FILL: "line intensive",
    Computed.CONTACT: "line intensive",
    Computed.RINSE: "line intensive",
    Computed.SUCTION_CONTACT: "suction",
    Computed.SURFACE_WET: "surfaces",
}


@dataclass(frozen=True, slots=True)
class AskedReading:
    """A number to read: `low` and `high` are what is in order, in `unit`; None: not bounded. `decimals`: how many the entry keeps."""

    name: str  # as the entry holds it: strip_mg_l
    quantity: str  # as the rulebook calls it: strip reading
    unit: str
    decimals: int
    low: float | None = None
    high: float | None = None
    required: bool = False
    at_least: str = ""  # name of the reading where the strip's scale ends; empty: such a thing makes no sense here


@dataclass(frozen=True, slots=True)
class Handling:
    """A product in hand: the lot that is open, until when it is good [ms], what to wear, what to mind."""

    product: str
    name: str
    wear: tuple[str, ...]
    hazards: tuple[str, ...]
    caution: str
    lot: str | None = None
    good_until_ms: int | None = None
    asks_lot: bool = False


def readings_of(look: Look, duty: Duty, step: Step, chair: Chair | None) -> Iterator[AskedReading]:
    """Yield the readings that a step's evidence names, each with the bounds that its verdict will hold it to."""
    for evidence in step.evidence:
        name = READINGS.get(evidence)
        if name is None or (name == STRIP and not _has_strip(look, duty, step, chair)):
            continue
        unit, decimals = unit_of_reading(name) or ("", 0)
        if name != STRIP:
            yield AskedReading(name, evidence, unit, decimals)
            continue
        low, high, at_least = _strip_bounds(look, duty, step, chair)
        yield AskedReading(
            name,
            evidence,
            unit,
            decimals,
            low,
            high,
            required=low is not None or high is not None,
            at_least=STRIP_AT_LEAST if at_least else "",
        )


def _has_strip(look: Look, duty: Duty, step: Step, chair: Chair | None) -> bool:
    """Tell whether there is anything to dip a strip for: a bottle filled with plain water has no dose."""
    return strip_moment(duty, step) is not None or chair is None or is_dosed(look, chair)


def _strip_bounds(look: Look, duty: Duty, step: Step, chair: Chair | None) -> tuple[float | None, float | None, bool]:
    """Return the least and the most that a strip may show, and whether "more than the strip can show" may be an answer."""
    if (moment := strip_moment(duty, step)) is not None:
        asked = strip_says(look, moment, None)[2]
        return (None, asked, False) if moment == AFTER_RINSE else (asked, None, True)
    if step.product == CONTINUOUS and chair is not None:
        level = dosed_level(look.basis.practice, chair, 0.0)
        return (level.asked_mg_l if isinstance(level, Level) else None), None, True
    return None, None, True


def handling_of(look: Look, duty: Duty, step: Step) -> Handling | None:
    """Return the product that a step has to do with; None where there is none, or the practice has chosen none."""
    use = step.product or (_USES.get(step.computes) if step.computes is not None else None) or ""
    if not use and strip_moment(duty, step) is not None:
        use = "line intensive"
    chosen: str | None = getattr(look.basis.practice.in_use, use.replace(" ", "_"), None) if use else None
    product = next((p for p in look.basis.practice.products if p.id == chosen), None)
    if product is None:
        return None
    lot, until = _open_lot(look, product)
    asks = "product lot" in step.evidence and bool(step.product)
    return Handling(product.id, product.name, product.wear, product.hazards, product.caution, lot, until, asks)


def _open_lot(look: Look, product: Product) -> tuple[str | None, int | None]:
    opened = look.latest(f"product:{product.id}", "opened")
    if opened is None:
        return None, None
    first = look.first(opened.says.subject, "opened", since=0) or opened  # a lot that was entered twice gets no second life
    return opened.says.lot, good_until(look, first)
