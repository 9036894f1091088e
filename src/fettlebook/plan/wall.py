"""What a board on the wall says of a moment: what may be used, what is done next and by whom, and whether each chair is fit in time.

Comes in: the view of the book at a moment, and that day's timetable as it holds. Goes out: a row for each chair, machine and set type.
Pure. It proves nothing that the standing doesn't: a forecast says only what happens if the steps that are left run as long as they should.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from fettlebook.plan.day import DayPlan
from fettlebook.plan.forecast import Forecast, NextVisit, forecast, next_visit, run_through
from fettlebook.plan.work import work_of
from fettlebook.plan.work_model import Work
from fettlebook.standing.model import Standing, Verdict, worst
from fettlebook.standing.standings import View


@dataclass(frozen=True, slots=True)
class NextDuty:
    """What is done next: attended and other minutes together [s], 0 where they can't be said; from when, by whom (None: nobody yet)."""

    name: str
    seconds: int
    begins_ms: int
    person: str | None
    running: bool
    ends_ms: int | None  # where it runs


@dataclass(frozen=True, slots=True)
class WallRow:
    """A chair or machine. `why` is the first reason, empty where it is fit; `until_ms` is when a fit verdict ends by itself."""

    subject: str
    place: str
    verdict: Verdict
    what: str
    why: str
    more: int
    until_ms: int | None
    next: NextDuty | None
    visit: NextVisit | None = None
    forecast: Forecast | None = None


@dataclass(frozen=True, slots=True)
class WallSets:
    """The sets of one type, by verdict; `verdict` is the best among them: whether one can be taken now."""

    id: str
    name: str
    verdict: Verdict
    fit: int
    unproven: int
    unfit: int
    why: str
    next: NextDuty | None
    first: str  # the subject of the first one


@dataclass(frozen=True, slots=True)
class Wall:
    """All of it; `changes_ms` is the first moment at which some verdict ends by itself."""

    at_ms: int
    chairs: tuple[WallRow, ...]
    machines: tuple[WallRow, ...]
    sets: tuple[WallSets, ...]
    changes_ms: int | None
    planned: bool  # whether there is a timetable; without one nothing is told of what comes next


def wall_of(view: View, plan: DayPlan | None) -> Wall:
    """Return the board of the view's moment.

    Parameters
    ----------
    view
        The book at the moment asked about.
    plan
        The timetable of that moment's day, as it holds now; None: there is none yet, and no next visit is told.
    """
    practice, at = view.look.basis.practice, view.look.at
    works = work_of(view, plan) if plan is not None else ()
    ends = run_through(works, at)
    chairs = []
    for chair in practice.chairs:
        row = _row(view, f"chair:{chair.id}", chair.id, works)
        coming = next_visit(view.look, plan, chair.id, works) if plan is not None else None
        says = forecast(view, chair.id, coming, works, ends) if coming is not None else None
        chairs.append(_with(row, coming, says))
    machines = tuple(_row(view, f"machine:{machine.id}", machine.id, works) for machine in practice.machines)
    sets = tuple(_sets(view, one.id, one.name, one.owned, works) for one in practice.sets if one.owned)
    found = (view.standing(s) for s in view.subjects())
    until = min((s.valid_until_ms for s in found if s.valid_until_ms is not None and s.valid_until_ms > at), default=None)
    return Wall(at, tuple(chairs), machines, sets, until, plan is not None)


def _row(view: View, subject: str, place: str, works: Sequence[Work]) -> WallRow:
    standing = view.standing(subject)
    what, why = _reason(standing)
    doing = _next((work for work in works if work.subject == subject), view.look.at)
    return WallRow(
        subject, place, standing.verdict, what, why, max(0, len(standing.failing) - 1), standing.valid_until_ms, doing
    )  # fmt: skip


def _with(row: WallRow, visit: NextVisit | None, says: Forecast | None) -> WallRow:
    return WallRow(
        row.subject, row.place, row.verdict, row.what, row.why, row.more, row.until_ms, row.next, visit, says
    )  # fmt: skip


def _reason(standing: Standing) -> tuple[str, str]:
    first = standing.failing[0] if standing.failing else None
    if first is None:
        return "", ""
    return ("", first.failed) if first.failed else (first.what, first.why)


def _next(works: Iterable[Work], at: int) -> NextDuty | None:
    """Return the first duty with a step still to do: what runs before what waits; its steps that follow are counted with it."""
    to_do = [work for work in works if work.to_do]
    first = next((w for w in to_do if w.said.state == "running"), None) or next(iter(to_do), None)
    if first is None:
        return None
    same = [w for w in to_do if (w.duty, w.run, w.visit) == (first.duty, first.run, first.visit) and w.kind == first.kind]
    same = same if first.kind == "step" else [first]
    seconds = 0 if any(w.length_s is None for w in same) else sum(w.length_s or 0 for w in same)
    running = first.said.state == "running"
    ends = first.said.started_ms + 1000 * first.length_s if running and first.said.started_ms is not None and first.length_s else None
    who = first.said.by if running else first.person
    return NextDuty(first.duty_name if first.kind == "step" else first.name, seconds, max(at, first.begins_ms), who, running, ends)


def _sets(view: View, kind: str, name: str, owned: int, works: Sequence[Work]) -> WallSets:
    units = [f"unit:{kind}#{number}" for number in range(1, owned + 1)]
    standings = [view.standing(unit) for unit in units]
    verdicts = [one.verdict for one in standings]
    best = next((v for v in (Verdict.FIT, Verdict.UNPROVEN, Verdict.UNFIT) if v in verdicts), worst(verdicts))
    reason = next((one.failing[0].why for one in standings if one.verdict is best and one.failing), "")
    rides = _next((w for w in works if w.kind == "instruments" and any(u.partition("#")[0] == kind for u in w.units)), view.look.at)
    fit, unproven, unfit = (verdicts.count(v) for v in (Verdict.FIT, Verdict.UNPROVEN, Verdict.UNFIT))
    return WallSets(kind, name, best, fit, unproven, unfit, reason, rides, units[0])
