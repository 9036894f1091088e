"""The steps of a day for everybody at work: the plan that holds, what the standing says is owed beside it, what the book says was done.

Comes in: the timetable of the day and the view of the book at a moment. Goes out: every step with its state, in the order of the plan.
Pure: which of them are whose, and which comes first, a face reads off.
"""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Final

from fettlebook.book.kinds import to_ms
from fettlebook.plan.day import DayPlan
from fettlebook.plan.work_model import NOTHING_SAID, Work
from fettlebook.plan.work_parts import Group, groups_of, instruments_of, step_elsewhere, step_of_chair
from fettlebook.plan.work_said import result_of, said_of
from fettlebook.rules.model import Step, When
from fettlebook.said import said
from fettlebook.standing.due import due_duties
from fettlebook.standing.look import Look
from fettlebook.standing.model import Owed
from fettlebook.standing.standings import View
from fettlebook.standing.upkeep import open_stops

GONE_BY_MS: Final = 60 * 60_000  # so long after its planned end, work on instruments that is not in the book counts as done or moved


def work_of(view: View, plan: DayPlan) -> tuple[Work, ...]:
    """Return the steps of the day that a timetable plans, and those owed beside it, each with what the book says of it.

    Parameters
    ----------
    view
        The book at the moment asked about.
    plan
        The timetable of that moment's day, as it holds now.
    """
    look = view.look
    since = look.basis.day_start(look.at)
    groups, owed = groups_of(look, plan), tuple(due_duties(view))
    groups = [_with_what_stood_still(look, group, owed) for group in groups]
    steps = [step for group in groups for step in group.steps]
    planned = {(w.subject, w.step) for w in steps}
    beside = [_by_plan(plan, w) for o in owed for w in _owed(look, o) if (w.subject, w.step) not in planned]
    instruments = list(instruments_of(look, plan))
    known: dict[str, Work] = {}
    for work in _said(look, since, (*steps, *instruments, *beside)):
        known[work.id] = work
    passed = _passed(look, plan, groups, known)
    out = [replace(w, passed=w.id in passed or _gone_by(look, w)) for w in known.values()]
    return tuple(sorted((_if_out(look, w) for w in out), key=lambda w: w.begins_ms))


def _said(look: Look, since: int, works: Iterable[Work]) -> Iterator[Work]:
    same: dict[tuple[str, str], list[Work]] = {}
    for work in works:
        if work.kind == "test":
            yield replace(work, said=result_of(look, since, work) or NOTHING_SAID)
        else:
            same.setdefault((work.subject, work.step), []).append(work)
    for own in same.values():
        found = said_of(look, since, sorted(own, key=lambda w: w.begins_ms))
        yield from (replace(work, said=found.get(work.id, NOTHING_SAID)) for work in own)


def _with_what_stood_still(look: Look, group: Group, owed: Iterable[Owed]) -> Group:
    """Put what a chair owes after standing still before its opening, and leave out of it what that covers."""
    own = [o for o in owed if o.subject == f"chair:{group.place}"] if group.kind == "opening" else []
    found = [(o, d) for o in own for d, _ in look.basis.chair_duties[group.place, When.AFTER_STANDING_STILL] if d.id == o.duty_id]
    if not found or not group.steps:
        return group
    there = {w.step for w in group.steps}  # a plan that was made with what is owed has them already
    first, covers = group.steps[0], {step for o, _ in found for step in o.covers}
    before: list[Work] = []
    for o, duty in found:
        steps = (s for s in duty.steps_on(look.basis.chairs[group.place]) if s.id not in there)
        for step in (s for s in steps if s.id in o.steps or _today(look, o.subject, s)):
            made = step_of_chair(look, look.basis.chairs[group.place], duty, step, begins_ms=group.begins_ms)
            alone = tuple(w.id for w in before if not w.attended and w.rule is not None and step.id not in w.rule.beside)
            before.append(replace(made, id=f"{made.id}/opening", person=first.person, run="opening", after=alone, due_ms=o.due_ms))
    waits = tuple(w.id for w in before if not w.attended)
    rest = [replace(w, after=(*waits, *w.after)) for w in group.steps if w.step not in covers]
    return replace(group, steps=(*before, *rest))


def _owed(look: Look, owed: Owed) -> Iterator[Work]:
    """Yield the steps of a duty that is owed beside the plan: nobody's yet, from now on."""
    duty = next((d for d in look.basis.rulebook.duties if d.id == owed.duty_id), None)
    if duty is None or (duty.when is When.AFTER_STANDING_STILL and not owed.overdue and owed.due_ms is None):
        return
    begins = max(look.basis.day_start(look.at), min(owed.due_ms or look.at, look.at))
    chair = look.basis.chairs.get(owed.subject.removeprefix("chair:")) if owed.subject.startswith("chair:") else None
    alone: list[Work] = []
    for step in (s for s in duty.steps if s.id in owed.steps or _today(look, owed.subject, s)):
        made = (
            step_of_chair(look, chair, duty, step, begins_ms=begins)
            if chair is not None
            else step_elsewhere(look, owed.subject, duty, step, begins_ms=begins)
        )
        after = tuple(w.id for w in alone if w.rule is not None and step.id not in w.rule.beside)
        one = replace(made, after=after, owed=True, due_ms=owed.due_ms, overdue=owed.overdue)
        alone += [] if step.attended else [one]
        yield one


def _by_plan(plan: DayPlan, work: Work) -> Work:
    """Give what is owed to whom the plan gives it, where it found room for it."""
    names = (work.name, work.duty_name, f"{work.duty_name}: runs alone")
    bars = [t for t in plan.tasks if t.kind in ("duty", "test") and t.place == (work.place or "practice") and t.what in names]
    if not bars:
        return work
    person = next((t.person for t in bars if t.person is not None), None)
    return replace(work, person=person, owed=person is None, begins_ms=to_ms(bars[0].start))


def _today(look: Look, subject: str, step: Step) -> bool:
    """Tell whether a step was done or begun today: it is owed no longer, and shown as what it is while the rest of its duty is."""
    since = look.basis.day_start(look.at)
    return any(look.latest(subject, f"{sort}:{step.id}", since=since) is not None for sort in ("done", "begun"))


def _passed(look: Look, plan: DayPlan, groups: Iterable[Group], known: dict[str, Work]) -> set[str]:
    """Return the steps with nothing in the book whose place has gone on without them.

    A later group of the same chair is in the book, a later visit began there by the book, or the next visit would be over by the plan.
    """
    out: set[str] = set()
    of_chair: dict[str, list[Group]] = {}
    for group in groups:
        of_chair.setdefault(group.place, []).append(group)
    length = {v.ref: max((to_ms(t.end) for t in plan.tasks if t.visit == v.ref and t.kind == "visit"), default=0) for v in plan.visits}
    for place, own in of_chair.items():
        starts = sorted((to_ms(v.start), v.ref) for v in plan.visits if v.chair == place and v.start is not None)
        begun = [
            (f.happened, f.says.ref) for f in look.back(f"chair:{place}", "visit", since=look.basis.day_start(look.at)) if not f.says.ended
        ]
        for number, group in enumerate(own):
            later = any(known[w.id].said.state != "open" for g in own[number + 1 :] for w in g.steps)
            next_one = next(((at, ref) for at, ref in starts if at > group.begins_ms and ref != group.visit), None)
            went_on = any(ref == next_one[1] for _, ref in begun) if next_one else False
            over = next_one is not None and length.get(next_one[1], 0) <= look.at
            if later or went_on or over:
                out |= {w.id for w in group.steps if known[w.id].said.state == "open"}
    return out


def _gone_by(look: Look, work: Work) -> bool:
    if work.kind == "step" or work.said.state != "open":
        return False
    return work.begins_ms + 1000 * (work.length_s or 0) + GONE_BY_MS < look.at


def _if_out(look: Look, work: Work) -> Work:
    """Say of what is still open at a chair or machine that nobody may use that it is out of service."""
    if work.subject.partition(":")[0] not in ("chair", "machine") or work.said.state != "open":
        return work
    stop = next(iter(open_stops(look, work.subject, None)), None)
    if stop is None:
        return work
    return replace(
        work,
        said=replace(
            work.said,
            state="problem",
            ended_ms=stop.happened,
            by=stop.says.by,
            why=said("out of service: {reason}", reason=stop.says.words),
        ),
    )
