"""Which column is what: by its heading, or as a person says. Columns of set values, walls and doors are never taken for the chamber."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from fettlebook.errors import Finding, Mendable
from fettlebook.exchange.logs_table import Table
from fettlebook.science.cycles.quantities import Reference

_ASIDE: Final = (
    "set",
    "target",
    "setpoint",
    "jacket",
    "wall",
    "door",
    "generator",
    "boiler",
    "ambient",
    "room",
    "number",
    "no",
    "phase",
    "step",
)
_ROLES: Final[tuple[tuple[str, frozenset[str]], ...]] = (
    ("time", frozenset({"time", "elapsed", "timestamp", "clock", "seconds", "datetime"})),
    ("date", frozenset({"date", "day"})),
    ("pressure", frozenset({"pressure", "press", "p"})),
    ("dose", frozenset({"dose", "dosing", "dosed"})),
    ("drain", frozenset({"drain"})),
    ("load", frozenset({"load", "probe", "goods", "pack"})),
    ("chamber", frozenset({"chamber", "temperature", "temp", "water"})),
)
_UNITS: Final[Mapping[str, str]] = {
    "c": "C", "degc": "C", "celsius": "C", "f": "F", "degf": "F", "fahrenheit": "F", "k": "K", "kelvin": "K",
    "kpa": "kPa", "bar": "bar", "mbar": "mbar", "hpa": "hPa", "pa": "Pa", "mpa": "MPa", "psi": "psi", "mmhg": "mmHg",
    "s": "s", "sec": "s", "min": "min", "h": "h", "ml": "mL",
}  # fmt: skip
_FITS: Final = {"pressure": {"kPa", "bar", "mbar", "hPa", "Pa", "MPa", "psi", "mmHg"}, "time": {"s", "min", "h"}, "dose": {"mL"}}
_DEGREES: Final = {"c", "degc", "celsius", "f", "degf", "fahrenheit", "kelvin"}
_GAUGE: Final = {"g", "gauge", "gage", "rel", "relative", "barg", "psig", "kpag", "mbarg"}
_ABSOLUTE: Final = {"a", "abs", "absolute", "bara", "psia", "kpaa", "mbara"}


@dataclass(frozen=True, slots=True)
class Column:
    """A column that was taken: its place, its own name, and what its heading says of its unit."""

    index: int
    name: str
    unit: str = ""
    reference: Reference | None = None


def told_columns(table: Table, told: Mapping[str, str], file: str) -> dict[str, Column]:
    """Return the columns that a person named, by role.

    Raises
    ------
    Mendable
        The log has no such column.
    """
    found: dict[str, Column] = {}
    plain = [head.casefold().strip() for head in table.heads]
    for role, name in told.items():
        wanted = name.casefold().strip()
        if wanted in plain:
            index = plain.index(wanted)
        elif name.isdigit() and 1 <= int(name) <= len(plain):
            index = int(name) - 1
        elif not plain:
            continue  # an empty file has its own finding
        else:
            have = ", ".join(table.heads)
            raise Mendable(
                f'there is no column "{name}" for {role}', where=f"{file}, --column", mend=f"There are: {have}; or give its number."
            )
        found[role] = _column(table, index, role)
    return found


def headed_columns(
    table: Table, *, taken: set[int], roles: frozenset[str], file: str
) -> tuple[dict[str, Column], tuple[str, ...], list[Finding]]:
    """Return the columns that their headings tell, the headings left aside, and the findings where two claim one role."""
    found: dict[str, Column] = {}
    aside: list[str] = []
    odd: list[Finding] = []
    for index, head in enumerate(table.heads):
        if index in taken:
            continue
        words = _words(head)
        role = _role(words)
        if not role or role in roles or any(w in _ASIDE for w in words):
            aside.append(head)
        elif role in found:
            what = f'"{found[role].name}" and "{head}" both look like the {role}'
            odd.append(Finding(what, file, f"Say which one it is: --column {role}=NAME; name the other something else, or leave it out."))
        else:
            found[role] = _column(table, index, role)
    if not (roles | set(found)) & {"chamber", "drain", "load"}:
        only = [h for h in aside if _DEGREES & set(_words(h)) and not set(_words(h)) & set(_ASIDE)]
        if len(only) == 1:  # the only thermometer, whatever its name
            aside.remove(only[0])
            found["chamber"] = _column(table, table.heads.index(only[0]), "chamber")
    return found, tuple(aside), odd


def _role(words: list[str]) -> str:
    for role, names in _ROLES:
        if names & set(words):
            return role
    return "time" if "t" in words and not _DEGREES & set(words) else ""


def _column(table: Table, index: int, role: str) -> Column:
    words = _words(table.heads[index]) + (_words(table.below[index]) if index < len(table.below) else [])
    fits = _FITS.get(role, {"C", "F", "K"})
    unit = ""
    reference: Reference | None = None
    for word in words:
        plain = word if word in _UNITS else word[:-1] if word in _GAUGE | _ABSOLUTE and word[:-1] in _UNITS else ""
        if plain and _UNITS[plain] in fits:
            unit = _UNITS[plain]
        if role == "pressure" and word in _GAUGE | _ABSOLUTE:
            reference = "gauge" if word in _GAUGE else "absolute"
    return Column(index, table.heads[index], unit, reference)


def _words(head: str) -> list[str]:
    whole = re.sub(r"[khm]Pa|mmHg", lambda unit: unit[0].lower(), head, flags=re.IGNORECASE)  # its capital begins no new word
    spread = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", whole.replace("°", " deg").replace("º", " deg"))
    joined = re.sub(r"\bdeg\s*([cfCF])\b", r"deg\1", spread)
    return [w for w in re.split(r"[^a-z0-9]+", joined.casefold()) if w]
