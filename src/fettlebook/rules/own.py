"""The practice's own layer: it may tighten anything, loosen only with a reason that is then shown, and never below a law.

What its group shares is a layer of the same kind under it: the practice's own value is held against the group's as against any other.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Final

from fettlebook.practice.model import MeasuredStep, OwnRule
from fettlebook.practice.place import Fault
from fettlebook.practice.wording import nearest, seen
from fettlebook.rules.model import Duty, Origin, Overridden, Step
from fettlebook.rules.rows import FORCE_RANK, Row
from fettlebook.rules.strictness import Bound, against, in_words, loosest_end, seconds

OWN: Final = "own"
GROUP: Final = "group"
LONGEST_S: Final = 172_800  # 2 days; a longer running time is a typing slip


def own_rows(own: Sequence[OwnRule], rows: Mapping[str, Row], on: date | None) -> tuple[dict[str, Row], list[Fault]]:
    """Return the rows with the practice's own values laid on top, and what was refused."""
    laid, faults = dict(rows), []
    for number, rule in _shared_first(own):
        if rule.id in rows and in_force(rule, on):
            answer = _laid_row(number, rule, laid[rule.id])
            if isinstance(answer, Fault):
                faults.append(answer)
            else:
                laid[rule.id] = answer
    return laid, faults


def own_steps(
    own: Sequence[OwnRule], duties: Sequence[Duty], rows: Mapping[str, Row], on: date | None
) -> tuple[tuple[Duty, ...], list[Fault]]:
    """Return the duties with the practice's own floors laid on top, and what was refused."""
    new: dict[str, Step] = {}
    faults: list[Fault] = []
    steps = {step.id: step for duty in duties for step in duty.steps}
    for number, rule in _shared_first(own):
        if rule.id in steps and in_force(rule, on):
            answer = _laid_step(number, rule, new.get(rule.id, steps[rule.id]), rows)
            if isinstance(answer, Fault):
                faults.append(answer)
            else:
                new[rule.id] = answer
    return tuple(replace(duty, steps=tuple(new.get(step.id, step) for step in duty.steps)) for duty in duties), faults


def stray(own: Sequence[OwnRule], duties: Sequence[Duty], rows: Mapping[str, Row], elsewhere: Mapping[str, str]) -> list[Fault]:
    """Return the own rules that nothing in force answers to, with the nearest id.

    Parameters
    ----------
    elsewhere
        Ids that packs know but that aren't in force here, each with why.
    """
    steps = [step.id for duty in duties for step in duty.steps]
    known = [*steps, *rows]
    faults: list[Fault] = []
    for number, rule in enumerate(own):
        path = ("own_rules", number, "id")
        if rule.id in known:
            continue
        if duty := next((duty for duty in duties if duty.id == rule.id), None):
            names = ", ".join(step.id for step in duty.steps)
            faults.append(Fault(path, f"{seen(rule.id)} is a duty, not a step", f"Name one of its steps: {names}."))
        elif rule.id in elsewhere:
            faults.append(Fault(path, f"{seen(rule.id)} is not in force here: {elsewhere[rule.id]}", "Take this own rule out."))
        else:
            near = nearest(rule.id, known)
            hint = f'Did you mean "{near}"? ' if near else ""
            faults.append(Fault(path, f"no step or limit in force is called {seen(rule.id)}", f"{hint}`fettlebook rules` lists the ids."))
    return faults


def stray_measures(measured: Sequence[MeasuredStep], duties: Sequence[Duty], elsewhere: Mapping[str, str]) -> list[Fault]:
    """Return the measured minutes that no step takes up: a slip here would leave the usual figure in the plan in silence."""
    steps = {step.id: step for duty in duties for step in duty.steps}
    faults = []
    for number, entry in enumerate(measured):
        path = ("measured", number, "step")
        step = steps.get(entry.step)
        if step is not None and step.length == "computed":
            mend = f'Take it out. To ask for more than the rule does, write [[own_rules]] id = "{step.id}", value = seconds.'
            faults.append(Fault(path, f"{seen(entry.step)} is computed, not measured", mend))
        elif step is None and entry.step not in elsewhere:
            near = nearest(entry.step, [name for name, step in steps.items() if step.length == "measured"])
            hint = f'Did you mean "{near}"? ' if near else ""
            faults.append(Fault(path, f"no step is called {seen(entry.step)}", f"{hint}`fettlebook rules` lists the ids."))
    return faults


def _shared_first(own: Sequence[OwnRule]) -> list[tuple[int, OwnRule]]:
    """Return the rules with their places, those that the group shares before the practice's own."""
    return sorted(enumerate(own), key=lambda placed: not placed[1].shared)


def in_force(rule: OwnRule, on: date | None) -> bool:
    """Return whether an own rule holds on a day: from the day of the decision on."""
    return on is None or rule.decided_on is None or rule.decided_on <= on


def _laid_row(number: int, rule: OwnRule, row: Row) -> Row | Fault:
    path = ("own_rules", number, "value")
    old = row.bound
    if not old.value:
        return Fault(path, f"{rule.id} has no number, it asks for {in_words(old)}", "Take this own rule out.")
    if old.stricter == "none":
        return Fault(path, f"{rule.id} describes ({in_words(old)}), it sets no limit", "Take this own rule out.")
    value = rule.value if isinstance(rule.value, tuple) else (float(rule.value),)
    one_of_range = old.compare == "range" and old.stricter != "inside" and len(value) == 1
    if len(value) != len(old.value) and not one_of_range:
        return Fault(path, f"{seen(rule.value)} for {rule.id}, which has {len(old.value)} numbers ({in_words(old)})", _how_many(old))
    compare = {"higher": ">=", "lower": "<="}[old.stricter] if one_of_range else old.compare
    new = Bound(compare, value, old.unit, old.stricter)
    if fault := _refused(path, rule, new, [row]):
        return fault
    return replace(row, own=new, origin=_origin(rule), overrides=(*row.overrides, Overridden(in_words(old), row.origin)))


def _how_many(bound: Bound) -> str:
    if len(bound.value) > 2:
        return "It can't be set in a practice file: each number holds for a case of its own. Take this own rule out."
    return "Write value = [first, second]." if len(bound.value) == 2 else f"Write one number, in {bound.unit}."


def _laid_step(number: int, rule: OwnRule, step: Step, rows: Mapping[str, Row]) -> Step | Fault:
    path = ("own_rules", number, "value")
    if step.computes is None:
        mend = f'Give your own minutes as [[measured]] step = "{step.id}", minutes = ..., and take this own rule out.'
        return Fault(path, f"{step.id} has no floor: its length is {step.length}", mend)
    shortest = max(rule.value) if isinstance(rule.value, tuple) else float(rule.value)
    if not 0 < shortest <= LONGEST_S:
        return Fault(path, f"{seen(shortest)} s for {step.id} is outside 1 to {LONGEST_S}", "Give the shortest time in seconds.")
    bound = Bound(">=", (shortest,), "s", "higher")
    asking = (
        row
        for row in rows.values()
        if row.id in step.rules and row.bound.stricter == "higher" and row.bound.value and seconds(1, row.bound.unit) is not None
    )
    floors = sorted(asking, key=_firmest)  # the firmest is named where several ask for the same
    if fault := _refused(path, rule, bound, floors):
        return fault
    replaced = tuple(Overridden(in_words(row.bound), row.origin) for row in floors)
    if step.origin.layer == GROUP and step.seconds is not None:
        groups = Bound(">=", (step.seconds,), "s", "higher")
        if against(bound, groups) == "looser" and not rule.reason.strip():
            return _without_reason(path, rule, bound, groups, step.origin)
        replaced = (*step.overrides, Overridden(in_words(groups), step.origin))
    return replace(step, seconds=shortest, origin=_origin(rule), overrides=replaced, floor_range_s=None)


def _firmest(row: Row) -> tuple[float, int]:
    return -(seconds(max(row.bound.value), row.bound.unit) or 0.0), -FORCE_RANK[row.origin.force]


def _refused(path: tuple[str | int, ...], rule: OwnRule, new: Bound, floors: Sequence[Row]) -> Fault | None:
    """Return why a value can't stand: looser than a law, or looser than any other layer without a reason."""
    for row in floors:
        if row.row.force == "law" and against(new, _loosest(row.asked)) == "looser":
            what = f"{in_words(new)} for {rule.id} is looser than the law: {in_words(row.asked)} ({row.row.source})"
            return Fault(path, what, "A law can't be loosened here, with or without a reason. Give a value at least as strict.")
    for row in floors:
        if against(new, row.bound) == "looser" and not rule.reason.strip():
            return _without_reason(path, rule, new, row.bound, row.origin)
    return None


def _without_reason(path: tuple[str | int, ...], rule: OwnRule, new: Bound, old: Bound, origin: Origin) -> Fault:
    what = f"{in_words(new)} for {rule.id} is looser than {in_words(old)} ({origin.source}), and no reason is given"
    return Fault(path, what, 'Give a value at least as strict, or state why: reason = "..." beside it.')


def _loosest(bound: Bound) -> Bound:
    """Return the bound at the loosest number that its own words allow."""
    end = loosest_end(bound)
    return (
        bound
        if end is None or bound.compare != "range"
        else replace(bound, compare=">=" if bound.stricter == "higher" else "<=", value=(end,))
    )


def _origin(rule: OwnRule) -> Origin:
    who = f"decided by {rule.decided_by}" if rule.decided_by else "no name given"
    when = f" on {rule.decided_on.isoformat()}" if rule.decided_on else ""
    layer, where = (GROUP, "shared by the group") if rule.shared else (OWN, "practice file")
    return Origin(layer, rule.id, f"{where}, {who}{when}", "practice", "own", reason=rule.reason.strip())
