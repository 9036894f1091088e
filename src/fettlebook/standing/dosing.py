"""Water that a product is dosed into all day: a fault of the dosing holds until it is repaired and the dose was looked at."""

from collections.abc import Iterator

from fettlebook.said import said
from fettlebook.standing.basis import BOOK
from fettlebook.standing.evidence import CONTINUOUS, is_dosed
from fettlebook.standing.model import Condition, Owed, Verdict
from fettlebook.standing.owed import owed_duty
from fettlebook.standing.steps import AtChair, step_says


def dosing_conditions(at: AtChair) -> Iterator[Condition]:
    """Yield whether the dosing of a chair is in order since the last fault that was reported of it; nothing where none was."""
    look, subject = at.look, f"chair:{at.chair.id}"
    if not is_dosed(look, at.chair):
        return
    fault = next((f for f in look.back(subject, "service") if f.says.dosing), None)
    if fault is None:
        return
    what, told = said("dosing in order"), said("{words} ({when})", words=fault.says.words, when=look.when(fault.happened))
    repair = next((f for f in look.back(subject, "service", since=fault.happened) if f.says.sort in ("repair", "returned")), None)
    if repair is None:
        mend = Owed(subject, "repair", said("Have the dosing repaired, enter it, then look at the dose"), BOOK)
        yield Condition(what, Verdict.UNPROVEN, told, BOOK, (fault.entry,), fault.happened, mend=(mend,))
        return
    checks = [(duty, step) for duty, step in look.basis.steps.values() if step.product == CONTINUOUS]
    for duty, step in checks:
        says = step_says(AtChair(look, at.chair, repair.happened, at.outlets, None), duty, step)
        if says.verdict is Verdict.FIT:
            yield Condition(what, Verdict.FIT, said("{why}, after: {told}", why=says.why, told=told), duty.origin, says.evidence, says.done)
            return
    yield Condition(
        what,
        Verdict.UNPROVEN,
        said("{told}; mended {repair}, the dose was not looked at since", told=told, repair=look.when(repair.happened)),
        checks[0][0].origin if checks else BOOK,
        (repair.entry, fault.entry),
        fault.happened,
        mend=tuple(owed_duty(look, subject, duty, (step,), since=repair.happened) for duty, step in checks)
        or (Owed(subject, "dose", said("Look at the dose with a strip at the farthest outlet"), BOOK),),
    )
