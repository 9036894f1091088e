"""Today's visits, chair by chair: which began and ended by the book, and with which sets each may be done now."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from fettlebook.book.kinds import to_ms
from fettlebook.plan.day import DayPlan, PlannedVisit
from fettlebook.standing.model import Verdict
from fettlebook.standing.standings import View

SHOWN: Final = 60  # units of one type that are offered
_ORDER: Final = {Verdict.FIT: 0, Verdict.UNPROVEN: 1, Verdict.UNFIT: 2}


@dataclass(frozen=True, slots=True)
class Offered:
    """One set or handpiece that may lie on the tray, with its verdict and until when that holds [ms]."""

    unit: str
    verdict: Verdict
    until_ms: int | None


@dataclass(frozen=True, slots=True)
class Needed:
    """So many of a type that a visit uses; `offered` the fit ones first, of those the one that ends first in front."""

    type_id: str
    name: str
    count: int
    offered: tuple[Offered, ...]


@dataclass(frozen=True, slots=True)
class VisitNow:
    """A visit of today. `began_ms` and `ended_ms` are by the book; `units` those that were laid out."""

    ref: str
    chair: str
    kind_id: str
    kind: str
    surgical: bool
    booked_ms: int
    starts_ms: int | None
    began_ms: int | None
    ended_ms: int | None
    units: tuple[str, ...]
    outlets: tuple[str, ...]


def visits_now(view: View, plan: DayPlan) -> tuple[VisitNow, ...]:
    """Return the visits of a day's plan, those that run first, then those to come, then those that are over."""
    found = [_visit(view, one) for one in plan.visits]
    return tuple(sorted(found, key=lambda v: ((v.began_ms is None) + 2 * (v.ended_ms is not None), v.starts_ms or v.booked_ms, v.chair)))


def _visit(view: View, planned: PlannedVisit) -> VisitNow:
    practice = view.look.basis.practice
    kind = next((one for one in practice.visit_kinds if one.id == planned.visit_kind), None)
    chair = next((one for one in practice.chairs if one.id == planned.chair), None)
    began = ended = None
    units: tuple[str, ...] = ()
    for fact in view.look.back(f"visit:{planned.ref}", "visit"):
        if fact.says.ended:
            ended = ended or fact.happened
        else:
            began = began or fact.happened
        units = units or tuple(name.removeprefix("unit:") for name in fact.says.units)
    return VisitNow(
        planned.ref,
        planned.chair,
        planned.visit_kind,
        kind.name if kind else planned.visit_kind,
        bool(kind and kind.surgical),
        to_ms(planned.booked),
        to_ms(planned.start) if planned.start is not None else None,
        began if began is not None else ended,
        ended,
        units,
        tuple(outlet.id for outlet in chair.outlets) if chair else (),
    )


def needed(view: View, kind_id: str) -> tuple[Needed, ...]:
    """Return what a visit of a kind uses, with the units of each type that there are."""
    practice = view.look.basis.practice
    kind = next((one for one in practice.visit_kinds if one.id == kind_id), None)
    types = {one.id: one for one in practice.sets}
    uses = kind.uses.items() if kind else ()
    return tuple(Needed(name, types[name].name, count, offered(view, name)) for name, count in uses if name in types)


def offered(view: View, type_id: str) -> tuple[Offered, ...]:
    """Return the units of a type: the fit ones first, of those the one whose time is over first in front."""
    return tuple(
        sorted(_units(view, type_id), key=lambda one: (_ORDER[one.verdict], one.until_ms or 1 << 62, len(one.unit), one.unit))[:SHOWN]
    )


def _units(view: View, type_id: str) -> Iterator[Offered]:
    owned = next((one.owned for one in view.look.basis.practice.sets if one.id == type_id), 0)
    for number in range(1, owned + 1):
        standing = view.standing(f"unit:{type_id}#{number}")
        yield Offered(f"{type_id}#{number}", standing.verdict, standing.valid_until_ms)
