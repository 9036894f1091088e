"""Criteria of cycles as TOML: those that come with fettlebook, a file of one's own, and what rulebook and practice file change in them."""

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from fettlebook.errors import Finding, Mendable
from fettlebook.practice.model import Id
from fettlebook.rules.model import Rulebook, Sure
from fettlebook.rules.strictness import seconds
from fettlebook.science.cycles.criteria import Criteria, Kind, Limit
from fettlebook.science.cycles.meaning import MEANING

NEVER_SHORTER = ("hold_s", "a0_s")  # the times and doses of authorities; a practice may only lengthen them
BUNDLED = "criteria that come with fettlebook"
Number = Annotated[float, Field(ge=0, le=100_000)]
Text = Annotated[str, Field(min_length=1, max_length=300)]


class _Form(BaseModel):
    model_config = ConfigDict(strict=True, extra="forbid", frozen=True, allow_inf_nan=False)


class LimitRow(_Form):
    """One limit; with `rule`, the value that the rulebook has for it comes first where that rule is in force."""

    id: str
    value: Annotated[Number | tuple[Number, Number], Field(union_mode="left_to_right")]
    source: Text
    sure: Literal["read", "secondary", "memory", "practice", "computed"]
    note: Annotated[str, Field(max_length=300)] = ""
    rule: str = ""
    rule_index: int = 0


class CriteriaRow(_Form):
    """Criteria of one kind of cycle; `based_on` takes over another's limits, `without` leaves some of them out."""

    id: Id
    name: Text
    kind: Kind
    cycle_type: Literal["B", "N", "S", ""] = ""
    based_on: str = ""
    without: tuple[str, ...] = ()
    limit: tuple[LimitRow, ...] = ()


class CriteriaFile(_Form):
    """A criteria file."""

    schema_: Annotated[Literal[1], Field(alias="schema")]
    criteria: Annotated[tuple[CriteriaRow, ...], Field(min_length=1)]


def read_criteria(text: bytes, file: str) -> tuple[CriteriaRow, ...]:
    """Return the criteria of a TOML text, each with the limits it takes over from others in the file or from the bundled ones.

    Raises
    ------
    Mendable
        Everything that is wrong with the file, each with its place.
    """
    try:
        data = tomllib.loads(text.decode("utf-8"))
    except UnicodeDecodeError as error:
        raise Mendable(f"byte {error.start + 1} is not UTF-8", where=file, mend="Save the file as UTF-8 text.") from None
    except tomllib.TOMLDecodeError as error:
        raise Mendable(f"not readable as TOML: {error}", where=file, mend="Mend the line named here.") from None
    try:
        read = CriteriaFile.model_validate(_tuples(data))
    except ValidationError as error:
        raise Mendable.of([_finding(fault, file) for fault in error.errors(include_url=False)]) from None
    here = {row.id: row for row in read.criteria}
    others = {} if file == BUNDLED else {row.id: row for row in bundled_criteria()}
    rows = tuple(_whole(row, here, others, file, ()) for row in read.criteria)
    for row in rows:
        criteria_of(row)  # refuses a limit that there is not, or one that is missing
    return rows


@cache
def bundled_criteria() -> tuple[CriteriaRow, ...]:
    """Return the criteria that come with fettlebook."""
    return read_criteria(files("fettlebook.rules").joinpath("criteria", "bundled.toml").read_bytes(), BUNDLED)


def find_criteria(name: str, rows: Sequence[CriteriaRow] | None = None, *, where: str = "--criteria") -> CriteriaRow:
    """Return the criteria of a name among `rows`, or among the bundled ones.

    Raises
    ------
    Mendable
        There are none of that name; the nearest one is suggested.
    """
    rows = bundled_criteria() if rows is None else rows
    for row in rows:
        if row.id == name:
            return row
    near = get_close_matches(name, [row.id for row in rows], n=1, cutoff=0.5)
    hint = f'Did you mean "{near[0]}"? ' if near else ""
    raise Mendable(f'no criteria are called "{name}"', where=where, mend=f"{hint}There are: {', '.join(row.id for row in rows)}.")


def criteria_of(
    row: CriteriaRow,
    rulebook: Rulebook | None = None,
    own: Mapping[str, float | tuple[float, float]] | None = None,
    own_source: str = "",
) -> Criteria:
    """Return criteria ready to judge by: the row's limits, over them what the rulebook has in force, over them the practice's own.

    Parameters
    ----------
    own
        Limits of the machine's own validation, by id, in the limit's unit.
    own_source
        Where they stand, such as "validation report of 2026-03-04".

    Raises
    ------
    Mendable
        An own limit is none that the judge knows, shortens a hold or an A0, or is looser than the one below without a source.
    """
    limits = {}
    for entry in row.limit:
        value = entry.value if isinstance(entry.value, tuple) else (entry.value,)
        limits[entry.id] = _ruled(Limit(entry.id, value, entry.source, entry.sure, entry.note), entry, rulebook)
    for key, number in (own or {}).items():
        value = number if isinstance(number, tuple) else (float(number),)
        if key in limits and _looser(key, value, limits[key].value) and (key in NEVER_SHORTER or not own_source):
            asked = " to ".join(f"{v:g}" for v in limits[key].value)
            mend = f"Give at least {asked}." if key in NEVER_SHORTER else "Say which report allows it: limits_from."
            raise Mendable(f"{' to '.join(f'{v:g}' for v in value)} is looser than {asked} ({limits[key].source})", where=key, mend=mend)
        limits[key] = Limit(key, value, own_source or "practice file, no source given", "practice")
    return Criteria(row.id, row.name, row.kind, limits, row.cycle_type)


def _ruled(limit: Limit, row: LimitRow, rulebook: Rulebook | None) -> Limit:
    found = rulebook.limit(row.rule) if rulebook and row.rule else None
    if found is None or row.rule_index >= len(found.value):
        return limit
    value = found.value[row.rule_index]
    if limit.unit == "s" and (in_s := seconds(value, found.unit)) is not None:
        value = in_s
    sure: Sure = found.origin.sure
    return replace(limit, value=(value,), source=found.origin.source, sure=sure, note=found.origin.reason or limit.note)


def _looser(key: str, new: tuple[float, ...], old: tuple[float, ...]) -> bool:
    how = MEANING[key][2]
    if how == "inside":
        return len(new) != len(old) or new[0] < old[0] or new[-1] > old[-1]
    return new[0] < old[0] if how == ">=" else how == "<=" and new[0] > old[0]


def _whole(
    row: CriteriaRow, here: Mapping[str, CriteriaRow], others: Mapping[str, CriteriaRow], file: str, seen: tuple[str, ...]
) -> CriteriaRow:
    if not row.based_on:
        return row
    where = f"{file}, criteria {row.id}, based_on"
    base = here.get(row.based_on) if row.based_on != row.id else None
    base = base or others.get(row.based_on)
    if base is None:
        raise Mendable(f'no criteria are called "{row.based_on}"', where=where, mend=f"There are: {', '.join({**others, **here})}.")
    if base.id in seen:
        raise Mendable(f"{' > '.join((*seen, base.id))} goes in a circle", where=where, mend="Base one of them on nothing.")
    whole = _whole(base, here, others, file, (*seen, row.id))
    own = {entry.id for entry in row.limit}
    if strange := [key for key in row.without if key not in MEANING]:
        raise Mendable(f'"{strange[0]}" is no limit', where=f"{file}, criteria {row.id}, without", mend=f"There are: {', '.join(MEANING)}.")
    kept = tuple(entry for entry in whole.limit if entry.id not in own and entry.id not in row.without)
    return row.model_copy(update={"limit": (*kept, *row.limit)})


def _finding(fault: Mapping[str, Any], file: str) -> Finding:
    place = ".".join(str(part) for part in fault["loc"] if part not in ("float", "tuple"))
    seen = fault.get("input")
    value = f"{seen!r}: " if isinstance(seen, str | int | float) else ""
    return Finding(f"{value}{fault['msg']}", f"{file}, {place or 'top'}", "Write it as docs/assistant/judging-a-cycle.md shows.")


def _tuples(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _tuples(inside) for key, inside in value.items()}
    if isinstance(value, list):
        return tuple(_tuples(inside) for inside in value)
    return value
