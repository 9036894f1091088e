"""A new plan beside the one that holds: figures before and after, and every change as a line, whom it concerns first."""

from dataclasses import dataclass
from typing import Final

from fettlebook.plan.basis import Basis
from fettlebook.plan.day import DayPlan
from fettlebook.plan.rolling import WINDOW_MIN
from fettlebook.said import said
from fettlebook.web.drafts import Proposal
from fettlebook.web.wording import VERDICT_WORD, clock

TITLES: Final = (("visit", said("Visits: whom to tell")), ("load", said("Loads that move")), ("chair", said("Chairs: who does what when")))


@dataclass(frozen=True, slots=True)
class Row:
    """One figure before and after."""

    what: str
    before: str
    after: str
    worse: bool = False


@dataclass(frozen=True, slots=True)
class Line:
    """One change and when it matters."""

    at: str
    what: str


@dataclass(frozen=True, slots=True)
class Listed:
    """The changes of one kind: those of the next hours, and the later ones."""

    kind: str
    title: str
    soon: tuple[Line, ...]
    later: tuple[Line, ...]


def compare(before: DayPlan, after: DayPlan, basis: Basis) -> tuple[Row, ...]:
    """Return the figures of two timetables of one day side by side."""
    zone = basis.maps.clock.zone

    def end(plan: DayPlan) -> str:
        return clock(plan.end_of_day, zone) if plan.end_of_day else ""

    counts = [(_left_out(p), _late(p), sum(v.minutes_late for v in p.visits)) for p in (before, after)]
    return (
        Row(said("the day"), VERDICT_WORD[before.verdict], VERDICT_WORD[after.verdict]),
        *(
            Row(what, str(a), str(b), b > a)
            for what, a, b in zip((said("visits not served"), said("visits late"), said("minutes late in all")), *counts, strict=True)
        ),
        Row(said("last chair closed"), end(before), end(after)),
    )


def _left_out(plan: DayPlan) -> int:
    return sum(v.start is None for v in plan.visits)


def _late(plan: DayPlan) -> int:
    return sum(v.minutes_late > 0 for v in plan.visits)


def promises(proposal: Proposal) -> tuple[int, int, int]:
    """Return how many promised starts of visits to come are kept, are later, and can't be kept at all."""
    old = {v.id: v.start for v in proposal.draft.course.plan.visits if v.start >= proposal.draft.at}
    new = {v.id: v.start for v in proposal.found.plan.visits}
    later = sum(v in new and new[v] > start for v, start in old.items())
    gone = sum(v not in new for v in old)
    return len(old) - later - gone, later, gone


def lists_of(proposal: Proposal, basis: Basis) -> tuple[Listed, ...]:
    """Return the changes by kind; a visit that is not served is always among the next."""
    until = proposal.draft.at + WINDOW_MIN
    out = []
    for kind, title in TITLES:
        own = [c for c in proposal.found.changes if c.kind == kind]
        soon = [c for c in own if c.at <= until or "not served" in c.what]
        later = [c for c in own if c not in soon]
        lines = [tuple(Line(basis.words.minute(c.at), c.what) for c in some) for some in (soon, later)]
        out.append(Listed(kind, title, *lines))
    return tuple(out)
