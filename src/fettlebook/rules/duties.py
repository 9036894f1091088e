"""From rows and duty forms to duties in force: which steps, in which order, with which floor, asked for by whom."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

from fettlebook.practice.model import Practice
from fettlebook.rules.model import Duty, Origin, Overridden, Step
from fettlebook.rules.pack import DutyRow, Handpieces, Medium, Outlets, Pack, StepRow, Where
from fettlebook.rules.rows import FORCE_RANK, Row, practice_origin
from fettlebook.rules.strictness import in_words, safe_end, seconds
from fettlebook.said import term

# What asks for more stands later: a layer can widen a step, never narrow it.
OUTLETS: Final[Sequence[Outlets]] = ("none", "used", "all")
MEDIA: Final[Sequence[Medium]] = ("none", "air or water", "air", "water", "water and air")
HANDPIECES: Final[Sequence[Handpieces]] = ("either", "on", "off")


def duties_of(packs: Sequence[Pack], rows: Mapping[str, Row], practice: Practice) -> tuple[Duty, ...]:
    """Return the duties in force for a practice, in the order of the layers and their files."""
    return tuple(duty for pack in packs for form in pack.duty if (duty := _duty(pack.pack.id, form, packs, rows, practice)) is not None)


def _duty(layer: str, form: DutyRow, packs: Sequence[Pack], rows: Mapping[str, Row], practice: Practice) -> Duty | None:
    asked_by = rows.get(form.rule) if form.rule else None
    origin = asked_by.origin if asked_by else practice_origin(layer, form.id)
    steps = tuple(_step(step_layer, step, origin, rows, practice) for step_layer, step in _running_order(layer, form, packs, practice))
    if not steps:
        return None  # all its steps belong to a treatment that this practice doesn't use
    idle = rows.get(form.idle_from) if form.idle_from else None
    return Duty(
        id=form.id,
        name=term(form.name),
        subject=form.subject,
        when=form.when,
        steps=steps,
        origin=origin,
        after_idle_h=sorted(idle.bound.value)[form.idle_index] if idle else None,
        covers=form.covers,
    )


def _running_order(layer: str, form: DutyRow, packs: Sequence[Pack], practice: Practice) -> list[tuple[str, StepRow]]:
    order: list[tuple[str, StepRow]] = [(layer, step) for step in form.steps if _holds(step.where, practice)]
    for pack in packs:
        for added in pack.added_step:
            if added.duty == form.id and _holds(added.where, practice):
                ids = [step.id for _, step in order]
                behind = added.after if added.after in ids else added.or_after
                place = ids.index(behind) + 1 if behind in ids else len(order)
                order.insert(place, (pack.pack.id, added))
    return order


def _holds(where: Where, practice: Practice) -> bool:
    intensive = practice.in_use.line_intensive is not None
    continuous = practice.in_use.line_continuous is not None or any(chair.supply.product for chair in practice.chairs)
    return {"always": True, "line intensive": intensive, "no line intensive": not intensive, "line continuous": continuous}[where]


def _step(layer: str, form: StepRow, duty_origin: Origin, rows: Mapping[str, Row], practice: Practice) -> Step:
    asking = [row for row in rows.values() if form.id in row.row.steps and _concerns(row, practice)]
    floors = [row for row in asking if form.computes is not None and _floor_s(row) is not None]
    asked_by = _strongest(asking) or _step_origin(layer, form.id, duty_origin)
    step = Step(
        id=form.id,
        name=term(form.name),
        attended=form.attended,
        length=form.length,
        seconds=form.seconds,
        computes=form.computes,
        outlets=max((form.outlets, *(row.row.outlets for row in asking if row.row.outlets)), key=OUTLETS.index),
        handpieces=max((form.handpieces, *(row.row.handpieces for row in asking if row.row.handpieces)), key=HANDPIECES.index),
        medium=max((form.medium, *(row.row.medium for row in asking if row.row.medium)), key=MEDIA.index),
        evidence=form.evidence,
        caution=term(form.caution) if form.caution else "",
        origin=asked_by if form.seconds is None else practice_origin(layer, form.id),
        only=form.only,
        beside=form.beside,
        product=form.product,
        asked_by=asked_by,
        rules=tuple(row.id for row in asking),
    )
    return _with_floor(step, floors) if floors else step


def _with_floor(step: Step, floors: Sequence[Row]) -> Step:
    """Set the strictest floor, with what it overrides beside it."""
    top = max(floors, key=lambda row: (_floor_s(row) or 0.0, FORCE_RANK[row.origin.force]))
    replaced = tuple(Overridden(in_words(row.bound), row.origin) for row in floors if row is not top)
    low_high = (min(top.bound.value), max(top.bound.value))
    ranged = top.bound.compare == "range"
    told = f"the source names {in_words(top.bound)}: the upper end is the floor"
    note = "; ".join(part for part in (told if ranged else "", top.origin.note) if part)
    ends = tuple(seconds(value, top.bound.unit) or 0.0 for value in low_high)
    return replace(
        step,
        seconds=_floor_s(top),
        origin=replace(top.origin, note=note),
        overrides=top.overrides + replaced,
        floor_range_s=(ends[0], ends[1]) if ranged else None,
    )


def _floor_s(row: Row) -> float | None:
    """Shortest time that a row asks for [s]; None where its number is no such thing."""
    end = safe_end(row.bound)
    return seconds(end, row.bound.unit) if end is not None and row.bound.stricter == "higher" else None


def _concerns(row: Row, practice: Practice) -> bool:
    """Return whether a row that holds for one active substance concerns the line disinfectant in use."""
    if not row.row.product_active:
        return True
    in_use = [product for product in practice.products if product.id == practice.in_use.line_intensive]
    return any(row.row.product_active in product.active.lower() for product in in_use)


def _strongest(asking: Sequence[Row]) -> Origin | None:
    if not asking:
        return None
    return max(enumerate(asking), key=lambda numbered: (FORCE_RANK[numbered[1].origin.force], numbered[0]))[1].origin


def _step_origin(layer: str, step_id: str, duty_origin: Origin) -> Origin:
    return duty_origin if duty_origin.force != "practice" else practice_origin(layer, step_id)
