"""The rows in force, each with its layer and its value of the moment: what the practice's own layer may change."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

from fettlebook.rules.model import Force, Limit, Origin, Overridden, Requirement
from fettlebook.rules.pack import Pack, RequirementRow
from fettlebook.rules.strictness import Bound, against, in_words

# Law before guidance before standard: whose name stands beside a value that several ask for.
FORCE_RANK: Final[dict[Force, int]] = {"own": 6, "law": 5, "guidance": 4, "standard": 3, "body": 2, "paper": 1, "practice": 0}
COMMON_PRACTICE: Final = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a layer, as it stands after the practice's own layer."""

    row: RequirementRow
    origin: Origin
    own: Bound | None = None
    overrides: tuple[Overridden, ...] = ()

    @property
    def id(self) -> str:
        """The row's id."""
        return self.row.id

    @property
    def asked(self) -> Bound:
        """What the source itself asks for, whatever the practice's own layer made of it."""
        return Bound(self.row.compare or "", self.row.values, self.row.unit, self.row.stricter or "none")

    @property
    def bound(self) -> Bound:
        """What holds here."""
        return self.own or self.asked


def rows_in_force(packs: Sequence[Pack], on: date | None) -> dict[str, Row]:
    """Return the rows of all layers that hold on a day, by id, lowest layer first."""
    rows: dict[str, Row] = {}
    for pack in packs:
        for row in pack.requirement:
            if row.in_force(on):
                origin = Origin(pack.pack.id, row.id, row.source, row.sure, row.force, row.note)
                rows[row.id] = Row(row, origin)
    return rows


def practice_origin(layer: str, rule_id: str) -> Origin:
    """Return the origin of what nobody but common practice asks for."""
    return Origin(layer, rule_id, COMMON_PRACTICE, "practice", "practice")


def limits_of(rows: Iterable[Row]) -> tuple[Limit, ...]:
    """Return every row with a role or a number as a limit; of one quantity and role the strictest first, the others yield to it."""
    rows = [row for row in rows if row.row.role is not None or row.bound.value]
    groups: dict[tuple[str, str], list[Row]] = {}
    for row in rows:
        key = (row.row.quantity, row.row.role or "") if row.row.quantity and row.row.role != "context" else ("", row.id)
        groups.setdefault(key, []).append(row)
    return tuple(limit for group in groups.values() for limit in _side_by_side(group))


def requirements_of(rows: Iterable[Row]) -> tuple[Requirement, ...]:
    """Return every row in words."""
    return tuple(
        Requirement(
            row.id,
            row.row.group,
            row.row.topic,
            row.row.trigger,
            row.row.compare or "",
            row.row.jurisdiction,
            row.origin,
            row.row.reading,
            row.row.response_step,
            row.row.valid_from,
            row.row.valid_to,
            row.row.quantity,
        )
        for row in rows
    )


def _side_by_side(group: list[Row]) -> list[Limit]:
    top = group[0]
    for row in group[1:]:
        verdict = against(row.bound, top.bound)
        # Equal numbers: the one with more force names the limit, the later layer if both have the same.
        if verdict == "tighter" or (verdict == "same" and FORCE_RANK[row.origin.force] >= FORCE_RANK[top.origin.force]):
            top = row
    others = [row for row in group if row is not top]
    behind = [row for row in others if against(row.bound, top.bound) != "unlike"]
    first = _limit(top)
    shown = tuple(Overridden(in_words(row.bound), row.origin) for row in behind)
    return [
        replace(first, overrides=first.overrides + shown),
        *(replace(_limit(row), yields_to=top.id if row in behind else "") for row in others),
    ]


def _limit(row: Row) -> Limit:
    return Limit(
        id=row.id,
        name=row.row.topic,
        compare=row.bound.compare,
        value=row.bound.value,
        unit=row.bound.unit,
        role=row.row.role or "",
        trigger=row.row.trigger,
        origin=row.origin,
        overrides=row.overrides,
        quantity=row.row.quantity,
        within_s=row.row.within_s,
        stricter=row.bound.stricter,
    )
