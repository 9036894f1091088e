"""How laboratories write a count: '<1', '>5.7x10^3', 'TNTC', 'n.d.', '1,2e3', '1 200', '~40'.

Whether a comma is a decimal or a thousands sign is decided once for a file, from cells that can't be read the other way; where
nothing decides, the cell is named as unreadable. Nothing is ever read as zero that doesn't say so.
"""

import math
import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Literal

from fettlebook.science.trends.model import Kind

Decimal_ = Literal["comma", "point"]
LONGEST: Final = 60
MOST: Final = 1e12

_NONE_SEEN: Final = frozenset({"nil", "none", "none detected", "not detected", "n.n.", "nn", "keine", "nicht nachweisbar", "0 (none)"})
_TOO_MANY: Final = frozenset({"tntc", "too numerous to count", "uncountable", "confluent", "overgrown", "zu viele", "nicht auszählbar"})
_TWO_WAYS: Final = frozenset({"n.d.", "nd", "n.d", "n/d", "n/a", "na", "-", "--", "."})
_LESS: Final = re.compile(r"^(?:<=|≤|=<|<|less than|under|unter|weniger als)\s*")
_MORE: Final = re.compile(r"^(?:>=|≥|=>|>|more than|over|über|mehr als)\s*")
_ABOUT: Final = re.compile(r"^(?:~|≈|ca\.?|circa|about|approx\.?|est\.?|e(?=\s*\d))\s*|\s*\(?(?:est\.?|estimated|geschätzt|e)\)?$")
_POWER: Final = re.compile(r"^(?P<digits>[\d.,' ]+?)\s*(?:[x×*·]\s*10\s*\^?\s*|e\s*\+?)(?P<power>\d{1,2})$")
_BARE_POWER: Final = re.compile(r"^10\s*\^\s*(?P<power>\d{1,2})$")
_SUPERS: Final = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹", "0123456789")


@dataclass(frozen=True, slots=True)
class Reading:
    """What a cell says, in the cell's own unit.

    `kind` count, below or above; `value` the number, or None where it says 'too many' without one. `strict`: '<' as against '<='.
    `estimated`: the laboratory marked it as such (spreaders, outside its countable range).
    """

    kind: Kind
    value: float | None
    strict: bool = False
    estimated: bool = False


def decimal_of(cells: Iterable[str]) -> Decimal_ | None:
    """Return which sign the cells of a file use for decimals, from those that can mean only one; None: none decides, or two disagree."""
    found = {way for cell in cells for number in re.findall(r"\d[\d.,']*\d", _plain(cell)) if (way := _only_way(number))}
    return found.pop() if len(found) == 1 else None


def _only_way(number: str) -> Decimal_ | None:
    """Return the decimal sign that the number must have: one that groups no three digits, or the last of two kinds."""
    comma, point = number.rfind(","), number.rfind(".")
    if comma >= 0 and point >= 0:
        return "comma" if comma > point else "point"
    for sign, at, way in ((",", comma, "comma"), (".", point, "point")):
        if at >= 0 and number.count(sign) == 1 and not re.fullmatch(rf"[1-9]\d{{0,2}}{re.escape(sign)}\d{{3}}", number):
            return way  # type: ignore[return-value]  # a literal of the two
        if at >= 0 and number.count(sign) > 1:
            return "point" if sign == "," else "comma"  # thousands, so the other one is the decimal
    return None


def read_count(text: str, decimal: Decimal_ | None, nd_is: Literal["none seen"] | None = None) -> Reading | str:
    """Return what a cell says, or in words why it can't be read.

    Parameters
    ----------
    text
        The cell.
    decimal
        The file's decimal sign; None: not known, and a number that needs it is refused.
    nd_is
        What this laboratory means by 'n.d.': 'none seen'; None: it may as well be 'not done'.
    """
    if len(text) > LONGEST:
        return f"a text of {len(text)} characters"
    cell = _plain(text)
    if not cell:
        return "nothing"
    if cell in _TWO_WAYS:
        if nd_is == "none seen" and cell not in {"-", "--", "."}:
            return Reading("count", 0.0)
        return f"'{text.strip()}', which may be 'none detected' or 'not done'"
    if cell in _NONE_SEEN:
        return Reading("count", 0.0)
    if cell in _TOO_MANY:
        return Reading("above", None)
    too_many_at = re.fullmatch(r"tntc\s*\(?\s*[>≥]?=?\s*([\d.,' ]+)\)?", cell)
    if too_many_at:
        value = _number(too_many_at.group(1), decimal)
        return value if isinstance(value, str) else Reading("above", value)
    kind: Kind = "count"
    strict = False
    for pattern, bound in ((_LESS, "below"), (_MORE, "above")):
        sign = pattern.match(cell)
        if sign:
            kind = bound  # type: ignore[assignment]  # a literal of the two
            strict = "=" not in sign.group() and not set("≤≥") & set(sign.group())
            cell = cell[sign.end() :]
            break
    bare = _ABOUT.sub("", cell).strip()
    value = _number(bare, decimal)
    return value if isinstance(value, str) else Reading(kind, value, strict, estimated=bare != cell)


def _plain(text: str) -> str:
    """Return the cell in one form: spaces made plain, superscripts as powers, lower case."""
    raised = re.sub(r"10([⁰¹²³⁴⁵⁶⁷⁸⁹]+)", lambda m: f"10^{m.group(1).translate(_SUPERS)}", text)
    return " ".join(unicodedata.normalize("NFKC", raised).split()).casefold()


def _number(text: str, decimal: Decimal_ | None) -> float | str:
    bare = _BARE_POWER.match(text)
    power = _POWER.match(text)
    digits, exponent = ("1", int(bare["power"])) if bare else (power["digits"], int(power["power"])) if power else (text, 0)
    value = _digits(digits.strip(), decimal)
    if isinstance(value, str):
        return value
    scaled = value * 10.0**exponent
    return scaled if math.isfinite(scaled) and scaled <= MOST else f"{text!r}, more than can be"


def _digits(text: str, decimal: Decimal_ | None) -> float | str:
    if not re.fullmatch(r"\d[\d.,' ]*", text) or re.search(r"[.,' ]{2}", text) or text[-1] in ".,'":
        return f"{text!r}, which is no number"
    if " " in text or "'" in text:
        if not re.fullmatch(r"\d{1,3}(?:[ ']\d{3})+(?:[.,]\d+)?", text):
            return f"{text!r}, which is no number"
        text = text.replace(" ", "").replace("'", "")
    if "," not in text and "." not in text:
        return float(text)
    way = decimal or _only_way(text)
    if way is None:
        return f"{text!r}, whose {'comma' if ',' in text else 'point'} may be a decimal or a thousands sign"
    sign, other = (",", ".") if way == "comma" else (".", ",")
    whole, _, part = text.partition(sign)
    if other in part or sign in part or (other in whole and not re.fullmatch(rf"\d{{1,3}}(?:{re.escape(other)}\d{{3}})+", whole)):
        return f"{text!r}, which doesn't fit the decimal {way} of the other cells"
    return float(f"{whole.replace(other, '')}.{part or '0'}")
