"""From the tasks of a timetable to steps of the day: each with an id that stays the same when the day is planned again.

A task of a chair is a step of the rulebook already; what is owed at the end of a session is one bar of the plan and is taken apart here.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Final

from fettlebook.book.kinds import PRACTICE, to_ms
from fettlebook.plan.day import DayPlan, Task
from fettlebook.plan.work_model import Work
from fettlebook.practice.model import Chair
from fettlebook.rules.model import Computed, Duty, Step, When
from fettlebook.standing.look import Look
from fettlebook.standing.step_asks import handling_of, readings_of

OF_A_CHAIR: Final = ("opening", "turnover", "closing")
OF_INSTRUMENTS: Final = ("load", "unload", "pack")
SAME_GROUP_MS: Final = 60_000  # bars of one duty follow each other without a pause


@dataclass(frozen=True, slots=True)
class Group:
    """The steps of one duty on one chair, in order: an opening, the turnover after one visit, the end of one session, a closing."""

    place: str
    kind: str  # opening, turnover, closing, session
    run: str
    visit: str | None
    begins_ms: int
    steps: tuple[Work, ...]


def groups_of(look: Look, plan: DayPlan) -> list[Group]:
    """Return the groups of steps of all chairs, in the order in which they begin."""
    out: list[Group] = []
    tasks = [t for t in plan.tasks if t.kind in OF_A_CHAIR and t.step_id in look.basis.steps and t.place in look.basis.chairs]
    tasks.sort(key=lambda t: (t.place, t.kind, t.visit or "", t.start))
    for (place, kind, visit), bars in groupby(tasks, key=lambda t: (t.place, t.kind, t.visit)):
        rows = [(t, t.step_id or "") for t in bars]
        out.append(_group(look, (place, kind), visit or kind, visit, rows))
    out += _sessions(look, plan)
    return sorted((_with_since(plan, group) for group in out), key=lambda g: (g.begins_ms, g.place))


def _with_since(plan: DayPlan, group: Group) -> Group:
    starts = [to_ms(v.start) for v in plan.visits if v.chair == group.place and v.start is not None]
    since = max((start for start in starts if start < group.begins_ms), default=0)
    return replace(group, steps=tuple(replace(step, since_ms=since) for step in group.steps))


def _sessions(look: Look, plan: DayPlan) -> Iterator[Group]:
    bars = sorted((t for t in plan.tasks if t.kind == "duty" and t.place in look.basis.chairs), key=lambda t: (t.place, t.start))
    for place, own in groupby(bars, key=lambda t: t.place):
        duties = look.basis.chair_duties[place, When.END_OF_SESSION]
        runs: list[list[Task]] = []
        for bar in own:
            if runs and to_ms(bar.start) - to_ms(runs[-1][-1].end) < SAME_GROUP_MS:
                runs[-1].append(bar)
            else:
                runs.append([bar])
        number = 0
        for run in runs:
            rows = [(bar, step.id) for bar in run for _, steps in duties for step in steps if _is_part(step.name, bar.what)]
            if rows:
                number += 1
                yield _group(look, (place, "session"), f"session {number}", None, rows)


def _is_part(name: str, bar: str) -> bool:
    parts = bar.split("; ")
    return name in parts or (len(bar) >= 199 and name.startswith(parts[-1]))


def _group(look: Look, where: tuple[str, str], run: str, visit: str | None, rows: Sequence[tuple[Task, str]]) -> Group:
    place, kind = where
    chair = look.basis.chairs[place]
    people = [t.person for t, _ in rows if t.person is not None]
    mine = people[0] if people else None
    steps: list[Work] = []
    alone: list[tuple[str, Step]] = []  # steps before this one that run by themselves
    for task, step_id in rows:
        duty, step = look.basis.steps[step_id]
        mine = task.person or mine
        key = f"{place}/{step_id}/{run}"
        after = tuple(name for name, before in alone if step_id not in before.beside)
        made = step_of_chair(look, chair, duty, step, begins_ms=to_ms(task.start))
        steps.append(replace(made, id=key, person=mine, visit=visit, run=run, after=after))
        if not step.attended:
            alone.append((key, step))
    return Group(place, kind, run, visit, to_ms(rows[0][0].start), tuple(steps))


def step_of_chair(look: Look, chair: Chair, duty: Duty, step: Step, *, begins_ms: int) -> Work:
    """Return a step of the rulebook at a chair, with its running time and all that it asks."""
    time = look.basis.times.get((chair.id, duty.id, step.id))
    fill = next((s for s in duty.steps_on(chair) if s.computes is Computed.FILL), None)
    filled = look.basis.times.get((chair.id, duty.id, fill.id)) if fill is not None and "amount" in step.evidence else None
    handling = handling_of(look, duty, step)
    return Work(
        id=f"{chair.id}/{step.id}",
        kind="step",
        subject=f"chair:{chair.id}",
        place=chair.id,
        duty=duty.id,
        duty_name=duty.name,
        step=step.id,
        name=step.name,
        attended=step.attended,
        begins_ms=begins_ms,
        length_s=time.seconds if time is not None else None,
        holds=not step.attended and step.length == "computed",
        outlets=tuple(o.id for o in chair.outlets) if step.outlets != "none" else (),
        suction=tuple(s.id for s in chair.suction) if step.only == "suction" else (),
        groups=tuple((g.outlets, g.seconds) for g in time.groups) if time is not None and len(time.groups) > 1 else (),
        readings=tuple(readings_of(look, duty, step, chair)),
        handling=handling,
        cautions=tuple(c for c in (step.caution, handling.caution if handling is not None else "") if c),
        amount_ml=round(filled.product_ml) if filled is not None and filled.product_ml else None,
        rule=step,
    )


def step_elsewhere(look: Look, subject: str, duty: Duty, step: Step, *, begins_ms: int) -> Work:
    """Return a step of the rulebook at a machine or for the whole practice."""
    handling = handling_of(look, duty, step)
    return Work(
        id=f"{subject.partition(':')[2]}/{step.id}",
        kind="step",
        subject=subject,
        place="" if subject == PRACTICE else subject.partition(":")[2],
        duty=duty.id,
        duty_name=duty.name,
        step=step.id,
        name=step.name,
        attended=step.attended,
        begins_ms=begins_ms,
        length_s=round(step.seconds) if step.seconds else None,
        readings=tuple(readings_of(look, duty, step, None)),
        handling=handling,
        cautions=tuple(c for c in (step.caution, handling.caution if handling is not None else "") if c),
        rule=step,
    )


def instruments_of(look: Look, plan: DayPlan) -> Iterator[Work]:
    """Yield what people do with instruments and machines by the plan: loads, unloadings, packs (one after the other as one), tests."""
    seen: dict[str, int] = {}
    bars = [t for t in plan.tasks if t.kind in OF_INSTRUMENTS and t.person is not None]
    for task in _packs_joined(sorted(bars, key=lambda t: (t.start, t.place))):
        key = f"{task.kind} {task.units[0].replace('#', '.')}" if task.kind == "pack" else f"{task.kind} {task.place}"
        seen[key] = seen.get(key, 0) + 1
        run = f"{task.kind} {seen[key]}" if task.kind != "pack" else f"{key} {seen[key]}"
        machine = task.place if task.place in look.basis.machines else None
        yield Work(
            id=f"{key}/{seen[key]}",
            kind="instruments",
            subject=f"machine:{machine}" if machine else PRACTICE,
            place=task.place,
            duty="instruments",
            duty_name="",
            step=f"instruments.{task.kind}",
            name=task.kind,
            attended=True,
            begins_ms=to_ms(task.start),
            person=task.person,
            length_s=round((task.end - task.start).total_seconds()),
            run=run,
            units=task.units,
        )
    for task in plan.tasks:
        if task.kind == "test" and task.person is not None and task.place in look.basis.machines:
            test = next((t for t in look.basis.machines[task.place].tests if t.name == task.what), None)
            if test is not None:
                yield Work(
                    id=f"{task.place}/test/{test.id}",
                    kind="test",
                    subject=f"machine:{task.place}",
                    place=task.place,
                    duty=test.id,
                    duty_name="",
                    step=test.id,
                    name=task.what,
                    attended=True,
                    begins_ms=to_ms(task.start),
                    person=task.person,
                    length_s=round((task.end - task.start).total_seconds()),
                )


def _packs_joined(bars: Iterable[Task]) -> Iterator[Task]:
    """Take packs that one person does without a pause as one."""
    open_packs: dict[str, Task] = {}
    for bar in bars:
        before = open_packs.get(bar.person or "")
        if bar.kind == "pack" and before is not None and before.end == bar.start:
            open_packs[bar.person or ""] = replace(before, end=bar.end, units=(*before.units, *bar.units))
            continue
        if before is not None:
            yield open_packs.pop(bar.person or "")
        if bar.kind == "pack":
            open_packs[bar.person or ""] = bar
        else:
            yield bar
    yield from open_packs.values()
