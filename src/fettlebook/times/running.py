"""Running times of a whole practice: each chair, each duty, each step in force."""

from collections.abc import Sequence
from itertools import islice

from fettlebook.practice.model import Practice
from fettlebook.rules.model import Computed, Origin, Rulebook, Subject
from fettlebook.said import said
from fettlebook.science.circuits import Method
from fettlebook.times import treatment
from fettlebook.times.frame import Frame
from fettlebook.times.label import Gap
from fettlebook.times.model import Candidate, RunningTime
from fettlebook.times.purge import with_amounts
from fettlebook.times.sure import Lines, NotYet

_COMPUTES = {
    Computed.FLUSH: treatment.flush_time,
    Computed.FILL: treatment.fill_time,
    Computed.CONTACT: treatment.contact_time,
    Computed.RINSE: treatment.rinse_time,
    Computed.SUCTION_CONTACT: treatment.suction_contact_time,
    Computed.SURFACE_WET: treatment.surface_wet_time,
}


def running_times(practice: Practice, rulebook: Rulebook, *, method: Method = "exact") -> tuple[RunningTime, ...]:
    """Return how long each step of each chair's duties runs, with what set it and why.

    Parameters
    ----------
    practice
        The checked practice file.
    rulebook
        What is in force for it.
    method
        How the line's own need is found: "exact" (the wash-out function) or "safe bound" (long enough for any straight
        line, whatever dissolves in the water). Both are lengthened until they hold in 95 of 100 cases.

    Returns
    -------
    tuple of RunningTime
        In file order of chairs and rulebook order of duties and steps; chairs out of service are marked, not left out.
        A step whose length can't be said has `seconds` None and says in `missing` why, and how to mend it.
    """
    aims, lines = treatment.aims_of(practice, rulebook), Lines()
    owed = [(c, d.steps_on(c), d) for c in practice.chairs for d in rulebook.duties if d.subject is Subject.CHAIR]
    frames = [Frame(practice, rulebook, chair, duty, step, method, aims, lines) for chair, steps, duty in owed for step in steps]
    times = iter(_all_times(frames, lines))
    return tuple(timed for chair, steps, _ in owed for timed in with_amounts(chair, steps, list(islice(times, len(steps)))))


def _all_times(frames: Sequence[Frame], lines: Lines) -> list[RunningTime]:
    """Return the time of every step: those whose line is not known yet wait until all such lines are reckoned together."""
    found: dict[int, RunningTime] = {}
    waiting = list(range(len(frames)))
    while waiting:
        later = []
        for i in waiting:
            try:
                found[i] = _step_time(frames[i])
            except NotYet:
                later.append(i)
        lines.reckon()
        waiting = later
    return [found[i] for i in range(len(frames))]


def _step_time(frame: Frame) -> RunningTime:
    step = frame.step
    if step.length == "computed":
        if step.computes is None:
            return frame.missing(
                Gap(said("the rulebook does not say what this step is computed from"), said("Correct the step in the rulebook."))
            )
        return _COMPUTES[step.computes](frame)
    if step.length == "measured":
        return _measured(frame)
    if not step.seconds:
        return frame.missing(
            Gap(said("the rulebook gives this step no seconds"), said("Correct the step in the rulebook, or set your own value."))
        )
    why = said("length fixed by the rulebook")
    return frame.single((Candidate("fixed", step.seconds, why, step.origin),), (frame.asks("Fixed", step.seconds, step.origin),))


def _measured(frame: Frame) -> RunningTime:
    step = frame.step
    minutes = [m.minutes for m in frame.practice.measured if m.step == step.id]
    if minutes:
        seconds = max(minutes) * 60  # entered twice: the longer one is safe
        origin = Origin("practice file", step.id, "measured in this practice", "practice", "own")
        told = said("Measured in this practice: {minutes:g} min.", minutes=max(minutes))
        return frame.single((Candidate("measured", seconds, said("measured in this practice"), origin),), (told,))
    if not step.seconds:
        return frame.missing(
            Gap(
                said("nobody has measured this step here, and the rulebook gives no usual figure"),
                said('Time it, and add [[measured]] step = "{id}".', id=step.id),
            )
        )
    why = said("usual figure of the rulebook, not measured here")
    usual = (
        frame.asks("Usual, not measured here", step.seconds, step.origin),
        said('To use your own: time it, and add [[measured]] step = "{id}", minutes = ...', id=step.id),
    )
    return frame.single((Candidate("usual", step.seconds, why, step.origin),), usual, notes=(said("usual, not measured here"),))
