"""What was kept of a day that went otherwise: into the book as entries, and out of it again after a restart.

The new plan goes in whole, with references instead of people's words. What of the happening has a kind of its own (a
machine or a chair out of service, a load that failed) is noted as such too, so that standing knows it.
"""

import json
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from pydantic import ValidationError

from fettlebook.book.kinds import CycleRecorded, Data, DayReplanned, Happened, NotLoaded, OutOfService, digest_of
from fettlebook.book.stores.base import Store
from fettlebook.plan.basis import named_day, named_plan
from fettlebook.plan.day import DayPlan
from fettlebook.plan.events import ChairOut, Event, FailedCycle, MachineOut
from fettlebook.plan.follow import Course, Told, problems
from fettlebook.plan.instance import Instance, Plan, to_json
from fettlebook.practice.model import Practice

LINE_MOST: Final = 500  # what an entry takes
BACK: Final = "the plan of the files holds again"


@dataclass(frozen=True, slots=True)
class Kept:
    """A course that was kept; `newer`: the files say something else of this day than when it was kept."""

    course: Course
    newer: bool = False


def of_digest(first: DayPlan) -> str:
    """Return the digest of the day as it was planned from the files; empty where that is not known.

    Duties are left out of it: they change with the book, not with the files.
    """
    return digest_of(to_json(first.basis.day.model_copy(update={"duties": ()})).encode()) if first.basis else ""


def read_kept(store: Store, day: date, first: DayPlan) -> Kept | None:
    """Return what was last kept of a day; None where nothing was, or it was put aside, or it can't be used any more."""
    basis = first.basis
    last: DayReplanned | None = None
    for received in store.read(kinds=[DayReplanned.KIND], subjects=[f"day:{day}"]):
        if isinstance(received.entry.data, DayReplanned):
            last = received.entry.data
    if basis is None or last is None or last.instance is None or last.plan is None:
        return None
    visits, people = {ref: name for name, ref in basis.refs.items()}, {key: name for name, key in basis.ids.items()}
    try:
        instance = named_day(Instance.model_validate_json(last.instance), visits, people)
        plan = named_plan(Plan.model_validate_json(last.plan), visits, people)
    except ValidationError:  # made by another version of the program
        return None
    course = Course(
        instance,
        plan,
        {wait.machine: wait.until_minute for wait in last.not_loaded or ()},
        frozenset(last.shut or ()),
        tuple(Told(said.minute, _called(said.what, people)) for said in last.happened),
        last.line,
        tuple(_called(note, people) for note in last.assumed or ()),
    )
    newer = last.of_digest != of_digest(first)
    return None if problems(course) else Kept(course, newer)


def entry_of(day: date, first: DayPlan, course: Course | None) -> DayReplanned:
    """Return the entry that keeps a course; None: the plan of the files holds again."""
    basis = first.basis
    if course is None or basis is None:
        return DayReplanned(day=day.isoformat(), of_digest=of_digest(first), line=BACK, happened=())
    refs, ids = dict(basis.refs), dict(basis.ids)
    return DayReplanned(
        day=day.isoformat(),
        of_digest=of_digest(first),
        line=course.line[:LINE_MOST] or "nothing has happened yet",
        happened=tuple(Happened(what=_called(said.what, ids)[:LINE_MOST], minute=said.at) for said in course.told),
        assumed=tuple(_called(note, ids)[:LINE_MOST] for note in course.notes) or None,
        instance=_short(to_json(named_day(course.day, refs, ids))),
        plan=_short(to_json(named_plan(course.plan, refs, ids))),
        not_loaded=tuple(NotLoaded(machine=m, until_minute=until) for m, until in course.blocked.items()) or None,
        shut=tuple(sorted(course.shut)) or None,
    )


def entries_of(events: Sequence[Event], practice: Practice, minute: Callable[[int], str]) -> list[Data]:
    """Return the entries of those events that have a kind of their own."""
    cycles = {m.id: m.day_cycle for m in practice.machines}

    def until(at: int | None) -> str:
        return "said on the day's page" if at is None else f"said on the day's page; expected back at {minute(at)}"

    out: list[Data] = []
    for event in events:
        if isinstance(event, MachineOut):
            out.append(OutOfService(machine=event.machine, reason=until(event.until)))
        elif isinstance(event, ChairOut):
            out.append(OutOfService(chair=event.chair, reason=until(event.until)))
        elif isinstance(event, FailedCycle):
            out.append(CycleRecorded(machine=event.machine, cycle=cycles[event.machine], said="failed"))
    return out


def _called(text: str, names: Mapping[str, str]) -> str:
    """Return a text with people called otherwise: by their ids in the record, by their names on pages."""
    for name, other in names.items():
        text = re.sub(rf"(?<!\w){re.escape(name)}(?!\w)", other.replace("\\", r"\\"), text)
    return text


def _short(text: str) -> str:
    return json.dumps(json.loads(text), ensure_ascii=False, separators=(",", ":"))
