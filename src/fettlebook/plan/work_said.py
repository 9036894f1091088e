"""What the book says of the steps of a day: which attempt belongs to which of several turnovers, and how it ended."""

from collections.abc import Iterable, Sequence
from typing import Final

from fettlebook.plan.work_model import SaidOf, Work
from fettlebook.said import listed, said
from fettlebook.standing.attempts import Attempt, attempts
from fettlebook.standing.basis import MOVES_WATER
from fettlebook.standing.look import Look
from fettlebook.standing.model import Verdict
from fettlebook.standing.steps import AtChair, attempt_says, duty_says, is_short
from fettlebook.standing.streams import Fact

EARLY_MS: Final = 5 * 60_000  # so long before its planned begin an entry that names no visit still belongs to a step


def said_of(look: Look, since: int, works: Sequence[Work]) -> dict[str, SaidOf]:
    """Return what the book says since a moment of steps that are the same step at the same subject, by id.

    Parameters
    ----------
    works
        The times that one step is planned at one subject, in order.
    """
    subject, step = works[0].subject, works[0].step
    found: dict[str, list[Attempt]] = {}
    for attempt in attempts(look, subject, step, since):
        if (whose := _whose(works, attempt)) is not None:
            found.setdefault(whose.id, []).append(attempt)
    found_of = {work.id: _said(look, since, work, found[work.id]) for work in works if work.id in found}
    for fact in look.forward(subject, "skipped", since=since):
        if fact.says.duty == works[0].duty and fact.says.step in (None, step):
            work = _by_time(works, fact.happened)
            if work is not None and work.id not in found_of:
                found_of[work.id] = SaidOf(
                    "problem", ended_ms=fact.happened, by=fact.says.by, why=said("left out: {reason}", reason=fact.says.reason)
                )
    for work in works:
        if work.id not in found_of and (done := _covered(look, since, work)) is not None:
            found_of[work.id] = done
    return found_of


def _covered(look: Look, since: int, work: Work) -> SaidOf | None:
    """Return that a step is done where a longer duty that stands for it was done whole since then."""
    chair = look.basis.chairs.get(work.place) if work.subject.startswith("chair:") else None
    if chair is None:
        return None
    at = AtChair(look, chair, since, frozenset(work.outlets))
    for duty in look.basis.covered_by.get(work.step, ()):
        says = duty_says(at, duty)
        if says.verdict is Verdict.FIT and says.evidence:
            return SaidOf("done", ended_ms=says.done, why=said("done with '{duty}'", duty=duty.name))
    return None


def result_of(look: Look, since: int, work: Work) -> SaidOf | None:
    """Return what the book says of a machine's test today; None: nothing."""
    fact = look.latest(work.subject, f"test:{work.step}", since=since)
    if fact is None:
        return None
    good = fact.says.outcome == "passed"
    return SaidOf(
        "done" if good else "problem",
        ended_ms=fact.happened,
        why="" if good else said("the test says: {outcome}", outcome=fact.says.outcome),
    )


def _whose(works: Sequence[Work], attempt: Attempt) -> Work | None:
    """Return the planned step that an attempt belongs to: by its visit, by its run, else by its time; None: to none of them."""
    says = attempt.newest.says
    for work in works:
        if (says.visit is not None and says.visit == work.visit) or (says.run is not None and says.run == work.run):
            return work
    first: Fact = attempt.begun or attempt.newest
    return _by_time(works, first.happened)


def _by_time(works: Sequence[Work], happened: int) -> Work | None:
    can_be = [work for work in works if work.since_ms <= happened]
    return next((work for work in reversed(can_be) if work.begins_ms <= happened + EARLY_MS), next(iter(can_be), None))


def _said(look: Look, since: int, work: Work, tries: Sequence[Attempt]) -> SaidOf:
    last = tries[-1]
    begun = last.begun.happened if last.begun is not None else None
    by = last.newest.says.by
    if last.done is None:
        return SaidOf("running", started_ms=begun, by=by)
    ended = last.done.happened
    if last.broken_off:
        return SaidOf("problem", begun, ended, by, said("broken off: begin again"))
    if not work.subject.startswith("chair:") or work.place not in look.basis.chairs or work.rule is None:
        return SaidOf("done", begun, ended, by)
    return _judged(look, since, work, tries, SaidOf("done", begun, ended, by))


def _judged(look: Look, since: int, work: Work, tries: Sequence[Attempt], done: SaidOf) -> SaidOf:
    assert work.rule is not None
    at = AtChair(look, look.basis.chairs[work.place], since, frozenset(work.outlets))
    duty, _ = look.basis.steps[work.step]
    says = attempt_says(at, duty, work.rule, tries[-1])
    why = says.why if says.verdict is not Verdict.FIT else ""
    if says.verdict is Verdict.UNFIT or is_short(at, duty, work.rule, tries[-1]):
        return SaidOf("problem", done.started_ms, done.ended_ms, done.by, why)
    if work.rule.computes in MOVES_WATER and (left := _not_run(work, tries)):
        return SaidOf("problem", done.started_ms, done.ended_ms, done.by, said("not in the book for {outlets}", outlets=listed(left)))
    return SaidOf("done", done.started_ms, done.ended_ms, done.by, why)


def _not_run(work: Work, tries: Iterable[Attempt]) -> tuple[str, ...]:
    """Return the outlets of a step that has to run all of them and that no attempt names; none where only used ones count."""
    if work.rule is None or work.rule.outlets != "all":
        return ()
    ran = {outlet for attempt in tries if not attempt.broken_off for outlet in attempt.newest.says.outlets or ()}
    return tuple(outlet for outlet in work.outlets if outlet not in ran)
