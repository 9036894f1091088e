"""Which running times were asked for: `--chair` and `--duty`, the same for every command that has them."""

from collections.abc import Sequence

from fettlebook.errors import Mendable
from fettlebook.practice.model import Practice
from fettlebook.times.model import RunningTime


def chosen_times(
    found: Sequence[RunningTime], practice: Practice, chairs: tuple[str, ...], duty: str | None, *, whole_duties: bool = False
) -> tuple[RunningTime, ...]:
    """Return the times of the chairs and the duty or step asked for.

    Parameters
    ----------
    found
        All running times.
    practice
        For the chairs' ids.
    chairs
        Ids of chairs; none: all.
    duty
        A moment, a duty's id or name, or a step's id; None: all.
    whole_duties
        A step's id means its whole duty.

    Raises
    ------
    Mendable
        The rulebooks ask nothing of a chair, or no such chair or duty.
    """
    if not found:
        raise Mendable(
            "the rulebooks of this practice ask nothing of a chair",
            where=f"practice.rulebooks {list(practice.practice.rulebooks)}",
            mend='Add "general" to practice.rulebooks.',
        )
    have = [c.id for c in practice.chairs]
    for chair in chairs:
        if chair not in have:
            raise Mendable(f'the practice has no chair "{chair}"', where="--chair", mend=f"Choose one of: {', '.join(have)}.")
    kept = tuple(t for t in found if not chairs or t.chair in chairs)
    if duty is None:
        return kept
    wanted = tuple(t for t in kept if duty.casefold() in _names_of(t))
    if not wanted:
        named = dict.fromkeys(f'"{n}"' for t in kept for n in (str(t.when), t.duty_id))
        raise Mendable(f'no duty of these chairs is called "{duty}"', where="--duty", mend=f"Choose one of: {', '.join(named)}.")
    if whole_duties:
        duties = {(t.chair, t.duty_id) for t in wanted}
        return tuple(t for t in kept if (t.chair, t.duty_id) in duties)
    return wanted


def _names_of(time: RunningTime) -> set[str]:
    return {name.casefold() for name in (str(time.when), time.duty_name, time.duty_id, time.step_id)}
