"""The way to fit: the duties that mend what isn't fit, none twice, none that another one stands for."""

from collections.abc import Iterable
from dataclasses import replace
from typing import Final

from fettlebook.rules.model import Step, When
from fettlebook.said import said
from fettlebook.standing.basis import Basis
from fettlebook.standing.model import Condition, Owed, Verdict, WayToFit
from fettlebook.standing.owed import minutes_of

DONE_IN: Final = (
    When.END_OF_SESSION, When.END_OF_DAY, When.AFTER_STANDING_STILL, When.BEFORE_FIRST_VISIT, When.BEFORE_FIRST_LOAD, When.BETWEEN_VISITS,
    When.WEEKLY,
)  # fmt: skip


def way_to_fit(basis: Basis, conditions: Iterable[Condition]) -> WayToFit:
    """Return the shortest list of duties that the conditions name: one entry for a duty, without the steps that a longer one covers."""
    failing = [condition for condition in conditions if condition.verdict is not Verdict.FIT]
    found: dict[tuple[str, str], Owed] = {}
    for owed in (owed for condition in failing for owed in condition.mend):
        key = (owed.subject, owed.duty_id)
        found[key] = _joined(basis, found[key], owed) if key in found else owed
    covered = {(owed.subject, step) for owed in found.values() for step in owed.covers if _whole(basis, owed)}
    kept = [_without(basis, owed, covered) for owed in found.values()]
    # In the order in which they are done: yesterday's end before today's begin, treatment before the flush that ends it.
    when = {duty.id: DONE_IN.index(duty.when) for duty in basis.rulebook.duties}
    kept.sort(key=lambda owed: when.get(owed.duty_id, len(DONE_IN)) if owed is not None else 0)
    stuck = tuple(said("{what}: {why}", what=condition.what, why=condition.why) for condition in failing if not condition.mend)
    return WayToFit(tuple(owed for owed in kept if owed is not None), stuck)


def _joined(basis: Basis, one: Owed, two: Owed) -> Owed:
    """Return one duty that does what both ask for, at the later moment where they wait."""
    steps = one.steps if set(two.steps) <= set(one.steps) else tuple(dict.fromkeys((*one.steps, *two.steps)))
    joined = replace(
        one,
        wait_h=max(one.wait_h, two.wait_h),
        name=one.name if one.wait_h >= two.wait_h else two.name,
        overdue=one.overdue or two.overdue,
        due_ms=min((due for due in (one.due_ms, two.due_ms) if due is not None), default=None),
    )
    return joined if steps == one.steps else _timed(basis, joined, steps)


def _whole(basis: Basis, owed: Owed) -> bool:
    """Tell whether all steps of the duty are owed: only then does it stand for the steps it covers."""
    duty = next((d for d in basis.rulebook.duties if d.id == owed.duty_id), None)
    chair = basis.chairs.get(owed.subject.removeprefix("chair:"))
    return duty is not None and chair is not None and {step.id for step in duty.steps_on(chair)} <= set(owed.steps)


def _without(basis: Basis, owed: Owed, covered: set[tuple[str, str]]) -> Owed | None:
    left = tuple(step for step in owed.steps if (owed.subject, step) not in covered)
    if not owed.steps or left == owed.steps:
        return owed
    return _timed(basis, owed, left) if left else None


def _timed(basis: Basis, owed: Owed, steps: tuple[str, ...]) -> Owed:
    known = [basis.steps[step] for step in steps if step in basis.steps]
    order: list[Step] = [step for _, step in known]
    if not known:
        return replace(owed, steps=steps)
    chair = owed.subject.removeprefix("chair:") if owed.subject.startswith("chair:") else None
    attended, unattended, missing = minutes_of(basis, chair, known[0][0], order)
    return replace(owed, steps=steps, attended_s=attended, unattended_s=unattended, missing_time=missing)
