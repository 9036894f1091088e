"""Which running times change when the practice file does: a new flow, another hose, another product."""

from collections.abc import Sequence
from dataclasses import dataclass

from fettlebook.times.model import RunningTime, SetBy


@dataclass(frozen=True, slots=True)
class Change:
    """One step whose time is another one now; None where it can't be said."""

    chair: str
    duty_name: str
    step_id: str
    name: str
    before_s: int | None
    after_s: int | None
    set_by: SetBy | None  # what sets it now


def changed_times(before: Sequence[RunningTime], after: Sequence[RunningTime]) -> tuple[Change, ...]:
    """Return the steps whose seconds differ, in the order of `after`; steps that only one of the two has are left out."""
    old = {(t.chair, t.duty_id, t.step_id): t for t in before}
    return tuple(
        Change(t.chair, t.duty_name, t.step_id, t.name, was.seconds, t.seconds, t.set_by)
        for t in after
        if (was := old.get((t.chair, t.duty_id, t.step_id))) is not None and was.seconds != t.seconds
    )
