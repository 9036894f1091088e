"""Which of two limits is tighter. The direction is data of the pack, never a guess from the sign alone.

Sources
-------
[U] 1 L = 1000 mL, 1 h = 3600 s: units. read
[P] hydrogen peroxide in air: 1 ppm = 1.39 mg/m3, M 34.01 g/mol over 24.45 L/mol at 25 degC and 1 atm. secondary
"""

from dataclasses import dataclass
from fractions import Fraction
from typing import Final, Literal

from fettlebook.rules.model import Stricter
from fettlebook.said import joined, said, said_number

# unit -> (kind of quantity, factor to the kind's first unit, exact: by rounding no value may pass for another)
UNITS: Final[dict[str, tuple[str, Fraction]]] = {
    "CFU/mL": ("count", Fraction(1)),  # [U]
    "CFU/100 mL": ("count", Fraction(1, 100)),  # [U]
    "CFU/L": ("count", Fraction(1, 1000)),  # [U]
    "s": ("time", Fraction(1)),  # [U]
    "min": ("time", Fraction(60)),  # [U]
    "h": ("time", Fraction(3600)),  # [U]
    "d": ("time", Fraction(86_400)),  # [U]
    "ppm": ("peroxide in air", Fraction(1)),  # [P]
    "mg/m3": ("peroxide in air", Fraction(100, 139)),  # [P]
}
Verdict = Literal["tighter", "looser", "same", "unlike"]


@dataclass(frozen=True, slots=True)
class Bound:
    """The part of a limit that decides how tight it is."""

    compare: str
    value: tuple[float, ...]
    unit: str
    stricter: Stricter


def in_kind(value: float, unit: str) -> tuple[str, float]:
    """Return the kind of quantity and the value in that kind's first unit; a unit not listed is a kind of its own."""
    kind, factor = UNITS.get(unit, (unit, Fraction(1)))
    return kind, value * float(factor)


def _exactly(value: float, unit: str) -> Fraction:
    """Return a finite value as it is written, not as a computer rounds it, in its kind's first unit."""
    return Fraction(repr(float(value))) * UNITS.get(unit, (unit, Fraction(1)))[1]


def seconds(value: float, unit: str) -> float | None:
    """Return a time in seconds [s]; None where the unit is no time."""
    kind, scaled = in_kind(value, unit)
    return scaled if kind == "time" else None


def safe_end(bound: Bound) -> float | None:
    """Return the number that is held by default: of a range the tighter end; None where nothing binds."""
    low_or_high = _ends(bound)
    return low_or_high[1] if low_or_high else None


def loosest_end(bound: Bound) -> float | None:
    """Return the loosest number that the bound still allows: of a range the other end; None where nothing binds."""
    low_or_high = _ends(bound)
    return low_or_high[0] if low_or_high else None


def _ends(bound: Bound) -> tuple[float, float] | None:
    """Loosest and tightest number."""
    if not bound.value or bound.stricter not in ("lower", "higher"):
        return None
    if bound.compare != "range":
        return bound.value[0], bound.value[0]
    low, high = min(bound.value), max(bound.value)
    return (low, high) if bound.stricter == "higher" else (high, low)


def against(new: Bound, old: Bound) -> Verdict:
    """Return how tight `new` is against `old`, both held at their safe ends.

    Of several numbers the first is compared (for air 8 h before 15 min) unless both have as many: then one looser number
    makes the whole looser. `unlike`: other unit, other direction, or nothing that binds.
    """
    if new.stricter != old.stricter or not new.value or not old.value or old.stricter == "none":
        return "unlike"
    if in_kind(0, new.unit)[0] != in_kind(0, old.unit)[0]:
        return "unlike"
    if old.stricter == "inside":
        return _inside(new, old)
    if len(new.value) == len(old.value) and "range" not in (new.compare, old.compare):
        pairs = list(zip(new.value, old.value, strict=True))
    else:
        pairs = [(safe_end(new) or 0.0, safe_end(old) or 0.0)]
    sign = -1 if old.stricter == "lower" else 1
    gaps = [sign * (_exactly(a, new.unit) - _exactly(b, old.unit)) for a, b in pairs]
    if any(gap < 0 for gap in gaps):
        return "looser"
    if any(gap > 0 for gap in gaps):
        return "tighter"
    return _at_the_edge(new, old)


def _inside(new: Bound, old: Bound) -> Verdict:
    low, high = min(old.value), max(old.value)
    if min(new.value) < low or max(new.value) > high:
        return "looser"
    return "same" if (min(new.value), max(new.value)) == (low, high) else "tighter"


def _at_the_edge(new: Bound, old: Bound) -> Verdict:
    """Same number: does a result that equals it still pass? "under 500" is tighter than "500 or less"."""
    refused_at_edge = ("<", ">=") if old.stricter == "lower" else (">",)  # as action value ">= 100" acts at 100, as "<" does
    rank = (new.compare in refused_at_edge) - (old.compare in refused_at_edge)
    return "tighter" if rank > 0 else "looser" if rank < 0 else "same"


def in_words(bound: Bound) -> str:
    """Return the limit as it is printed: `at most 500 CFU/mL`, `20 to 30 s`."""
    numbers = [said_number(value, ".10g") for value in bound.value]
    if not numbers:
        return {
            "sterile": said("sterile water"),
            "label": said("by the label"),
            "event": said("by event"),
            "local": said("by local rules"),
        }.get(bound.compare, said("no number"))
    words = {"<": said("under"), "<=": said("at most"), ">": said("over"), ">=": said("at least"), "=": ""}
    if bound.compare in ("range", "window"):
        return said("{numbers} to {numbers2} {unit}", numbers=numbers[0], numbers2=numbers[-1], unit=bound.unit)
    told = joined(" / ", numbers) + (f" {bound.unit}" if bound.unit else "")
    return joined(" ", (words[bound.compare], told)) if words.get(bound.compare) else told
