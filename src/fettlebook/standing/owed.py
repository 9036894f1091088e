"""Duties as conditions: what is missing of a duty, and what it costs in minutes to do it."""

from collections.abc import Iterable, Sequence

from fettlebook.rules.model import Duty, Step
from fettlebook.said import joined, said
from fettlebook.standing.basis import Basis
from fettlebook.standing.look import Look
from fettlebook.standing.model import Condition, Owed, Verdict
from fettlebook.standing.steps import IN_ORDER, DutySays, StepSays


def minutes_of(basis: Basis, chair: str | None, duty: Duty, steps: Iterable[Step]) -> tuple[int, int, tuple[str, ...]]:
    """Return attended and unattended seconds of some steps of a duty, and the steps whose length can't be said."""
    attended = unattended = 0
    missing: list[str] = []
    for step in steps:
        time = basis.times.get((chair, duty.id, step.id)) if chair is not None else None
        seconds = time.seconds if time is not None else None if chair is not None else round(step.seconds or 0) or None
        if seconds is None:
            missing.append(step.id)
        elif step.attended:
            attended += seconds
        else:
            unattended += seconds
    return attended, unattended, tuple(missing)


def owed_duty(
    look: Look, subject: str, duty: Duty, steps: Sequence[Step], *, since: int | None = None, due: int | None = None, overdue: bool = False
) -> Owed:
    """Return the part of a duty that is owed, with its minutes."""
    chair = subject.removeprefix("chair:") if subject.startswith("chair:") else None
    attended, unattended, missing = minutes_of(look.basis, chair, duty, steps)
    return Owed(
        subject=subject,
        duty_id=duty.id,
        name=duty.name,
        origin=duty.origin,
        attended_s=attended,
        unattended_s=unattended,
        steps=tuple(step.id for step in steps),
        covers=duty.covers,
        missing_time=missing,
        since_ms=since,
        due_ms=due,
        overdue=overdue,
    )


def steps_to_do(says: DutySays) -> tuple[Step, ...]:
    """Return the steps that must be done, in order.

    Where a fill, contact or rinse was tried and didn't hold, what lies in the lines isn't known any more: all is done again from the
    emptying before the fill to the last rinse.
    """
    open_steps = {one.step.id for one in says.open}
    steps = [one.step for one in says.steps]
    chain = [number for number, one in enumerate(says.steps) if one.step.computes in IN_ORDER]
    if any(one.step.computes in IN_ORDER and _failed(one) for one in says.open) and len(chain) > 1:
        open_steps |= {step.id for step in steps[max(0, chain[0] - 1) : chain[-1] + 1]}
    return tuple(step for step in steps if step.id in open_steps)


def _failed(one: StepSays) -> bool:
    return bool(one.evidence) and one.done is not None


def duty_condition(look: Look, subject: str, says: DutySays, *, what: str, since: int, expires: int | None, due: int | None) -> Condition:
    """Return the condition that a duty was done since some moment."""
    duty = says.duty
    if says.verdict is Verdict.FIT:
        done = says.done or since
        return Condition(
            what, Verdict.FIT, said("done {done}", done=look.when(done)), duty.origin, says.evidence, done, expires, duty_id=duty.id
        )
    worst_first = sorted(says.open, key=lambda one: one.verdict is not Verdict.UNFIT)
    told: list[str] = [said("'{name}': {why}", name=one.step.name, why=one.why) for one in worst_first if one.evidence]
    absent = [one.step for one in says.open if not one.evidence]
    if absent:
        named = (
            said("'{name}'", name=absent[0].name)
            if len(absent) == 1
            else said("{absent} of {steps} steps", absent=len(absent), steps=len(says.steps))
        )
        told.append(
            said("{named} not in the book since {since}", named=named, since=look.when(since))
            if since
            else said("{named} not in the book", named=named)
        )
    told.extend(_left_out(look, subject, duty, since))
    steps = steps_to_do(says)
    origin = worst_first[0].step.asked_by or duty.origin
    overdue = due is not None and look.over(due + 1)
    mend = owed_duty(look, subject, duty, steps, since=since, due=due, overdue=overdue)
    why = joined("; ", told)
    failed = said("{name}: {why}", name=duty.name, why=why)  # without the "done today" that it should be
    return Condition(what, says.verdict, why, origin, says.evidence, since or None, mend=(mend,), duty_id=duty.id, failed=failed)


def weekly_due(look: Look, subject: str, says: DutySays) -> int | None:
    """Return when the oldest open step of a weekly duty was due; None where it was never done."""
    last = [look.latest(subject, f"done:{one.step.id}") for one in says.open]
    ends = [look.basis.days_after(fact.happened, 8) for fact in last if fact is not None]
    return min(ends, default=None)


def _left_out(look: Look, subject: str, duty: Duty, since: int) -> list[str]:
    skipped = next((f for f in look.back(subject, "skipped", since=since) if f.says.duty == duty.id), None)
    return [said("left out knowingly by {by}: {reason}", by=skipped.says.by, reason=skipped.says.reason)] if skipped else []
