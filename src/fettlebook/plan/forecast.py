"""Whether a chair will be fit in time for its next visit, if the steps that are left run as long as they should, by whom they are planned.

The chair's planned steps before the visit come first, then what the standing at the visit's moment would still miss. What only a
laboratory or a decision ends has no length, and the forecast says so instead of a time.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import ceil
from typing import Literal

from fettlebook.book.kinds import to_ms
from fettlebook.plan.day import DayPlan, PlannedVisit
from fettlebook.plan.work_model import Work
from fettlebook.said import said
from fettlebook.standing.look import Look
from fettlebook.standing.model import Owed, Verdict
from fettlebook.standing.standings import View

MINUTE_MS = 60_000


@dataclass(frozen=True, slots=True)
class NextVisit:
    """The next visit of a chair: booked, and when the plan that holds begins it (None: it has no place there) [ms since 1970 UTC]."""

    ref: str
    visit_kind: str
    booked_ms: int
    start_ms: int | None


@dataclass(frozen=True, slots=True)
class Forecast:
    """`in time`: fit by `fit_ms`; `late`: fit by then, so many minutes after the booked begin; `unsaid`: no time can be told, see `why`.

    `beside` names what the standing asks for beside the planned steps; its minutes are counted.
    """

    state: Literal["in time", "late", "unsaid"]
    fit_ms: int | None = None
    late_min: int = 0
    why: str = ""
    beside: tuple[str, ...] = ()


def next_visit(look: Look, plan: DayPlan, chair: str, works: Sequence[Work]) -> NextVisit | None:
    """Return the next visit on a chair: the first that has not begun, by the book or, where that is silent, by the plan."""
    begun = {fact.says.ref for fact in look.back(f"chair:{chair}", "visit", since=look.basis.day_start(look.at))}
    own = [visit for visit in plan.visits if visit.chair == chair and visit.ref not in begun]
    for visit in sorted(own, key=_moment):
        if _moment(visit) > look.at or _held_up(plan, visit, look.at, works):
            return NextVisit(visit.ref, visit.visit_kind, to_ms(visit.booked), to_ms(visit.start) if visit.start is not None else None)
    return None


def _held_up(plan: DayPlan, visit: PlannedVisit, at: int, works: Sequence[Work]) -> bool:
    """Tell whether a visit should have begun and can't have: steps before it are still to do, and it would not be over by the plan."""
    ends = [to_ms(t.end) for t in plan.tasks if t.kind == "visit" and t.visit == visit.ref]
    return bool(ends) and at < max(ends) and any(_before(works, visit.chair, _moment(visit)))


def _moment(visit: PlannedVisit) -> int:
    return to_ms(visit.start if visit.start is not None else visit.booked)


def _before(works: Iterable[Work], chair: str, moment: int) -> Iterator[Work]:
    subject = f"chair:{chair}"
    return (w for w in works if w.subject == subject and w.to_do and w.begins_ms < moment and not (w.owed and not w.overdue))


def run_through(works: Iterable[Work], at: int) -> Mapping[str, int | None]:
    """Return when each step that is still to do ends, if all run in the order of the plan, nobody at two at once [ms]; None: can't be said.

    A step begins when it is planned, or as soon after as its person, its place and what it waits for allow. One that runs ends when its
    length has passed since its start, now at the earliest. Work on instruments that was planned earlier and isn't in the book keeps
    nobody: it is often not noted at once, and a chair with a visit goes first.
    """
    person: dict[str, int] = defaultdict(int)
    place: dict[str, int] = defaultdict(int)
    ends: dict[str, int | None] = {}
    for work in sorted((w for w in works if w.to_do), key=lambda w: (w.said.state != "running", w.begins_ms)):
        if work.length_s is None:
            ends[work.id] = None
            continue
        length = 1000 * work.length_s
        if work.said.state == "running" and work.said.started_ms is not None:
            end: int | None = max(at, work.said.started_ms + length)
        else:
            waits = [ends[name] for name in work.after if name in ends]
            own = (person[work.person] if work.person is not None else 0, place[work.subject]) if work.attended else ()
            known = [moment for moment in waits if moment is not None]
            end = None if len(known) < len(waits) else max(at, work.begins_ms, *known, *own) + length
        ends[work.id] = end
        if work.kind != "step" and work.said.state != "running" and work.begins_ms < at:
            continue
        if work.attended and end is not None:
            place[work.subject] = end
            if work.person is not None:
                person[work.person] = end
    return ends


def forecast(view: View, chair: str, visit: NextVisit, works: Sequence[Work], ends: Mapping[str, int | None]) -> Forecast:
    """Return whether a chair will be fit for a visit.

    Parameters
    ----------
    view
        The book at this moment.
    ends
        What `run_through` says of `works`.
    """
    look, subject = view.look, f"chair:{chair}"
    starts = max(look.at, visit.booked_ms if visit.start_ms is None else visit.start_ms)
    then = view.later(starts).standing(subject)
    before = list(_before(works, chair, starts))
    planned = {w.duty for w in before}
    for standing in (view.standing(subject), then):
        if standing.way_to_fit.stuck:
            return Forecast("unsaid", why=standing.way_to_fit.stuck[0])
    beside = {o.duty_id: o for o in (*then.way_to_fit.duties, *view.standing(subject).way_to_fit.duties) if o.duty_id not in planned}
    known = {duty.id for duty in look.basis.rulebook.duties}
    open_end = next((o for o in beside.values() if _no_length(o, known)), None)
    if open_end is not None:
        return Forecast("unsaid", why=open_end.name)
    moments = [ends.get(work.id) for work in before]
    if any(moment is None for moment in moments):
        name = next(w.name for w, moment in zip(before, moments, strict=True) if moment is None)
        return Forecast("unsaid", why=said("the length of '{name}' can't be said", name=name))
    if not before and not beside and then.verdict is not Verdict.FIT:
        return Forecast("unsaid", why=then.failing[0].why)
    left_ms = 1000 * sum(o.attended_s + o.unattended_s for o in beside.values())
    fit = -(-(max((m for m in moments if m is not None), default=look.at) + left_ms) // MINUTE_MS) * MINUTE_MS  # whole minutes, up
    late = ceil((fit - visit.booked_ms) / MINUTE_MS)
    names = tuple(o.name for o in beside.values())
    return Forecast("late", fit, late, beside=names) if late > 0 else Forecast("in time", fit, beside=names)


def _no_length(owed: Owed, known: set[str]) -> bool:
    """Tell whether what is owed takes no time that could be told: it waits for a result, a decision, an entry, or is not measured."""
    return owed.wait_h > 0 or bool(owed.missing_time) or owed.duty_id not in known
