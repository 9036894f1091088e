"""What the book says of the steps of a duty since some moment: done, too short, broken off, still running, or nothing at all."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from fettlebook.practice.model import Chair
from fettlebook.rules.model import Computed, Duty, Step
from fettlebook.said import joined, listed, said
from fettlebook.standing.attempts import Attempt, attempts
from fettlebook.standing.basis import MOVES_WATER
from fettlebook.standing.evidence import CONTINUOUS, amount_says, dose_says, strip_moment, strip_says
from fettlebook.standing.lengths import length_of
from fettlebook.standing.look import Look
from fettlebook.standing.lots import product_evidence, product_fault
from fettlebook.standing.model import Verdict, worst
from fettlebook.times.model import RunningTime
from fettlebook.times.words import clock

IN_ORDER: Final = (Computed.FILL, Computed.CONTACT, Computed.RINSE)  # each begins when the one before is over


@dataclass(frozen=True, slots=True)
class AtChair:
    """Where, and from when on, steps count.

    `outlets` are those that a step at used outlets must have run. `only` names one outlet: then only the steps count that move its
    water or leave disinfectant in it, and only for it.
    """

    look: Look
    chair: Chair
    since: int
    outlets: frozenset[str]
    only: str | None = None


@dataclass(frozen=True, slots=True)
class StepSays:
    """What the book says of one step since some moment."""

    step: Step
    verdict: Verdict
    why: str
    evidence: tuple[str, ...] = ()
    began: int | None = None
    done: int | None = None


@dataclass(frozen=True, slots=True)
class DutySays:
    """What the book says of a duty since some moment."""

    duty: Duty
    steps: tuple[StepSays, ...]

    @property
    def verdict(self) -> Verdict:
        """The worst of its steps."""
        return worst(step.verdict for step in self.steps) if self.steps else Verdict.FIT

    @property
    def evidence(self) -> tuple[str, ...]:
        """The entries it rests on, each once."""
        return tuple(dict.fromkeys(entry for step in self.steps for entry in step.evidence))

    @property
    def open(self) -> tuple[StepSays, ...]:
        """The steps that aren't proven done, in order."""
        return tuple(step for step in self.steps if step.verdict is not Verdict.FIT)

    @property
    def done(self) -> int | None:
        """When the last of its steps was done; None unless all are."""
        ends = [step.done for step in self.steps]
        return None if self.open or not ends else max(end for end in ends if end is not None)


def duty_says(at: AtChair, duty: Duty) -> DutySays:
    """Return what the book says of a chair's duty."""
    steps = duty.steps_on(at.chair)
    if at.only is not None:
        steps = tuple(step for step in steps if step.computes in (*MOVES_WATER, Computed.CONTACT))
    said = _held_to_order([step_says(at, duty, step) for step in steps])
    return DutySays(duty, tuple(_covered(at, one) for one in said))


def step_says(at: AtChair, duty: Duty, step: Step) -> StepSays:
    """Return what the book says of one step by itself, whatever its place in the duty."""
    tries = attempts(at.look, f"chair:{at.chair.id}", step.id, at.since)
    if not tries:
        return StepSays(step, Verdict.UNPROVEN, said("not in the book"))
    if step.computes in MOVES_WATER:
        return _at_outlets(at, duty, step, tries)
    return _judged(at, duty, step, tries[-1])


def attempt_says(at: AtChair, duty: Duty, step: Step, attempt: Attempt) -> StepSays:
    """Return what the book says of one attempt at a step, by itself: other outlets and other attempts are not asked."""
    return _judged(at, duty, step, attempt)


def is_short(at: AtChair, duty: Duty, step: Step, attempt: Attempt) -> bool:
    """Tell whether an attempt that ended ran shorter than it must, by the shorter of its clocks."""
    time = at.look.basis.times.get((at.chair.id, duty.id, step.id))
    if step.length != "computed" or attempt.done is None or time is None:
        return False
    needed_s, length = (
        _needed_s(time, attempt.done.says.outlets) if time.seconds is not None else None,
        length_of(attempt.begun, attempt.done),
    )
    return needed_s is not None and length is not None and length.ms < needed_s * 1000


def _at_outlets(at: AtChair, duty: Duty, step: Step, tries: Sequence[Attempt]) -> StepSays:
    """Judge by the newest attempt at each outlet: outlets are run in groups, and may be entered so."""
    every = {outlet.id for outlet in at.chair.outlets}
    needed = {at.only} if at.only is not None else every if step.outlets == "all" else set(at.outlets) or every
    found: list[StepSays] = []
    for attempt in reversed(tries):
        ran = attempt.newest.says.outlets
        if ran is None:
            found.append(replace(_judged(at, duty, step, attempt), verdict=Verdict.UNPROVEN, why="its entry names no outlets"))
        elif needed & set(ran):
            found.append(_judged(at, duty, step, attempt))
            needed = needed - set(ran)
        if not needed:
            break
    if needed:
        bad = next((one for one in found if one.verdict is not Verdict.FIT), None)
        why = bad.why if bad else said("not in the book for {needed}", needed=listed(tuple(sorted(needed))))
        found.append(StepSays(step, Verdict.UNPROVEN, why))
    unfit = next((one for one in found if one.verdict is not Verdict.FIT), found[0])
    entries = tuple(dict.fromkeys(entry for one in found for entry in one.evidence))
    began, done = [one.began for one in found if one.began is not None], [one.done for one in found if one.done is not None]
    return StepSays(step, worst(one.verdict for one in found), unfit.why, entries, min(began, default=None), max(done, default=None))


def _judged(at: AtChair, duty: Duty, step: Step, attempt: Attempt) -> StepSays:
    verdict, why = _judge(at, duty, step, attempt)
    began = attempt.begun.happened if attempt.begun else None
    if began is None and attempt.done is not None:
        length = length_of(None, attempt.done)
        began = attempt.done.happened - (length.ms if length else 0)
    timed = step.length == "computed" and not step.attended
    entries = attempt.rests_on(timed=timed)
    if verdict is Verdict.FIT and attempt.done is not None:
        entries = (*entries, *product_evidence(at.look, step, attempt.done))
    return StepSays(step, verdict, why, entries, began, attempt.done.happened if attempt.done else None)


def _judge(at: AtChair, duty: Duty, step: Step, attempt: Attempt) -> tuple[Verdict, str]:
    look = at.look
    if attempt.done is None:
        return Verdict.UNPROVEN, said("begun {newest}, its end is not in the book", newest=look.when(attempt.newest.happened))
    if attempt.broken_off:
        return Verdict.UNFIT, said("broken off {done}", done=look.when(attempt.done.happened))
    if (fault := product_fault(look, step, attempt.done)) is not None:
        return fault
    if step.length == "computed":
        return _long_enough(at, duty, step, attempt)
    if (moment := strip_moment(duty, step)) is not None:
        return strip_says(look, moment, attempt.done)[:2]
    if "strip reading" in step.evidence and step.product == CONTINUOUS:
        return dose_says(look, at.chair, attempt)
    return Verdict.FIT, said("done {done}", done=look.when(attempt.done.happened))


def _long_enough(at: AtChair, duty: Duty, step: Step, attempt: Attempt) -> tuple[Verdict, str]:
    assert attempt.done is not None
    time = at.look.basis.times.get((at.chair.id, duty.id, step.id))
    needed_s = None if time is None or time.seconds is None else _needed_s(time, attempt.done.says.outlets)
    if needed_s is None:
        return Verdict.UNPROVEN, said("how long it must run can't be said: see fettlebook times")
    length = length_of(attempt.begun, attempt.done)
    if length is None and step.attended:
        return Verdict.FIT, said("done {done}", done=at.look.when(attempt.done.happened))  # who stood by says so
    if length is None:
        return Verdict.UNPROVEN, said("its start is not in the book, so its length is not proven")
    assert time is not None
    if (short := amount_says(at.chair, time, attempt)) is not None:
        return Verdict.UNFIT, short
    if length.ms < needed_s * 1000:
        verdict = Verdict.UNPROVEN if length.doubt else Verdict.UNFIT
        return verdict, said("ran {ms}, must run {needed_s}", ms=clock(length.ms // 1000), needed_s=clock(needed_s)) + (
            joined("", ("; ", length.doubt)) if length.doubt else ""
        )
    if length.doubt:
        return Verdict.UNPROVEN, said("{doubt}, so its length is not proven", doubt=length.doubt)
    return Verdict.FIT, said("ran {ms}, must run {needed_s}", ms=clock(length.ms // 1000), needed_s=clock(needed_s))


def _needed_s(time: RunningTime, outlets: tuple[str, ...] | None) -> int:
    """Return how long the groups of outlets in one entry must run, one after the other; the whole time where groups don't apply."""
    assert time.seconds is not None
    if outlets is None or not time.groups:
        return time.seconds
    return min(time.seconds, sum(group.seconds for group in time.groups if set(group.outlets) & set(outlets)) or time.seconds)


def _held_to_order(said: list[StepSays]) -> list[StepSays]:
    """Doubt a contact that began before the fill was over, and a rinse that began before the contact was."""
    held: list[StepSays] = []
    before: StepSays | None = None
    for one in said:
        if one.step.computes in IN_ORDER:
            if before is not None and before.done is not None and one.began is not None and one.began < before.done and _fit(one):
                one = replace(one, verdict=Verdict.UNPROVEN, why=f"begun before '{before.step.name}' was over")  # noqa: PLW2901
            before = one
        held.append(one)
    return held


def _fit(one: StepSays) -> bool:
    return one.verdict is Verdict.FIT


def _covered(at: AtChair, one: StepSays) -> StepSays:
    """Take a step as done where a longer duty that stands for it was done whole."""
    if _fit(one):
        return one
    for duty in at.look.basis.covered_by.get(one.step.id, ()):
        says = duty_says(at, duty)
        if says.verdict is Verdict.FIT and says.evidence:
            return replace(one, verdict=Verdict.FIT, why=f"done with '{duty.name}'", evidence=says.evidence, done=says.done)
    return one
