"""What if there were one more set, somebody for half an hour, another machine, or a visit at another hour: the day so changed.

Comes in: an instance and what is tried. Goes out: the instance as it would be, and the trial in words. Only for trying:
nothing of the practice is changed, and a turnover is never shortened by it; what one takes is set by rule, label and line.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Final

from fettlebook.errors import Mendable
from fettlebook.plan.capacity import more_of
from fettlebook.plan.instance import Instance, Person, Visit
from fettlebook.said import said, term

HELPER: Final = "one more person"
MOST_SETS: Final = 6
MOST_HANDS_MIN: Final = 240
MOST_MACHINES: Final = 3
MOST_TURNOVER_MIN: Final = 10
MOST_MOVED_MIN: Final = 180


@dataclass(frozen=True, slots=True)
class Trial:
    """What is tried, each part as a difference; `sets`: type -> pieces, `moved_min`: later, below zero earlier."""

    sets: Mapping[str, int] = field(default_factory=dict)
    hands_min: int = 0
    hands_from: int = 0  # minute of the day
    washers: int = 0
    sterilizers: int = 0
    turnover_min: int = 0
    moved: str = ""  # a visit
    moved_min: int = 0
    moved_to: str = ""  # a chair; empty: its own

    @property
    def nothing(self) -> bool:
        """Whether it tries nothing."""
        moved = self.moved and (self.moved_min or self.moved_to)
        return not (any(self.sets.values()) or self.hands_min or self.washers or self.sterilizers or self.turnover_min or moved)


def tried(day: Instance, trial: Trial) -> Instance:
    """Return the day as it would be.

    Raises
    ------
    Mendable
        It names what the day doesn't have, or takes away more than there is.
    """
    day = _sets(day, trial.sets)
    day = _machines(day, "washer", trial.washers)
    day = _machines(day, "sterilizer", trial.sterilizers)
    if trial.turnover_min:
        day = _turnovers(day, trial.turnover_min)
    if trial.hands_min:
        end = trial.hands_from + trial.hands_min
        helper = Person(id=HELPER, from_=trial.hands_from, to=end)
        day = day.model_copy(update={"people": (*day.people, helper), "day_end": max(day.day_end, end)})
    return _moved(day, trial) if trial.moved else day


def _sets(day: Instance, sets: Mapping[str, int]) -> Instance:
    types = []
    for t in day.set_types:
        owned = t.owned + sets.get(t.id, 0)
        if owned < 0:
            raise Mendable(
                said("{id} of {id2} fewer, {owned} owned", id=-sets[t.id], id2=t.id, owned=t.owned),
                where="sets",
                mend=said("Take away at most what there is."),
            )
        types.append(t.model_copy(update={"owned": owned}))
    if unknown := set(sets) - {t.id for t in day.set_types}:
        raise Mendable(said("no set type {unknown!r}", unknown=min(unknown)), where="sets", mend=said("Name a set of the practice."))
    return day.model_copy(update={"set_types": tuple(types)})


def _machines(day: Instance, kind: str, n: int) -> Instance:
    own = day.washers if kind == "washer" else day.sterilizers
    if n > 0 and not own:
        raise Mendable(said("there is no {kind} to be like", kind=kind), where=kind, mend=said("Put one into the practice file."))
    if n >= 0:
        return more_of(day, kind, kind, n) if n else day
    if -n > len(own):
        raise Mendable(
            said("{n} {kind}s fewer, {own} there", n=-n, kind=kind, own=len(own)), where=kind, mend=said("Take away at most what there is.")
        )
    return day.model_copy(update={f"{kind}s": own[:n]})


def _turnovers(day: Instance, more: int) -> Instance:
    """Return the day with each turnover longer or shorter, in its longest step, which keeps at least a minute."""
    chairs = []
    for c in day.chairs:
        k = max(range(len(c.turnover)), key=lambda i: c.turnover[i].minutes)
        steps = tuple(s.model_copy(update={"minutes": max(1, s.minutes + more)}) if i == k else s for i, s in enumerate(c.turnover))
        chairs.append(c.model_copy(update={"turnover": steps}))
    return day.model_copy(update={"chairs": tuple(chairs)})


def _moved(day: Instance, trial: Trial) -> Instance:
    visit = next((v for v in day.visits if v.id == trial.moved), None)
    if visit is None:
        raise Mendable(said("no visit {moved!r}", moved=trial.moved), where="a visit moved", mend=said("Name a visit of the day."))
    chair = trial.moved_to or visit.chair
    if chair not in {c.id for c in day.chairs}:
        raise Mendable(said("no chair {chair!r}", chair=chair), where="a visit moved", mend=said("Name a chair that is used on this day."))
    booked = max(0, visit.booked + trial.moved_min)
    latest = None if visit.latest is None else max(visit.latest, booked)
    new = visit.model_copy(update={"booked": booked, "chair": chair, "latest": latest, "may_move": ()})
    visits = tuple(new if v is visit else v for v in day.visits)
    if over := _overlap(new, visits):
        raise Mendable(
            said("{chair} is booked then: {over}", chair=chair, over=over),
            where="a visit moved",
            mend=said("Try another hour or another chair."),
        )
    return day.model_copy(update={"visits": visits})


def _overlap(visit: Visit, visits: tuple[Visit, ...]) -> str:
    """Return the visit booked on the same chair at the same time; one that touches is none."""
    for v in visits:
        if v is not visit and v.chair == visit.chair and v.booked < visit.booked + visit.minutes and visit.booked < v.booked + v.minutes:
            return v.id
    return ""


def trial_words(trial: Trial, set_name: Callable[[str], str], minute: Callable[[int], str]) -> tuple[str, ...]:
    """Return what is tried, a part each."""
    out = [said("{count} {what}", count=_count(n), what=set_name(t)) for t, n in trial.sets.items() if n]
    if trial.hands_min:
        out.append(
            said(
                "one more person from {hands_from} to {hands_min}",
                hands_from=minute(trial.hands_from),
                hands_min=minute(trial.hands_from + trial.hands_min),
            )
        )
    for n, kind in ((trial.washers, "washer"), (trial.sterilizers, "sterilizer")):
        if n:
            out.append(said("{count} {what}", count=_count(n), what=term(kind if abs(n) == 1 else f"{kind}s")))
    if trial.turnover_min:
        out.append(
            said(
                "each turnover {turnover_min} min {turnover_min2}",
                turnover_min=abs(trial.turnover_min),
                turnover_min2=said("longer") if trial.turnover_min > 0 else said("shorter"),
            )
        )
    if trial.moved and (trial.moved_min or trial.moved_to):
        when = (
            said(
                " {moved_min} min {moved_min2}",
                moved_min=abs(trial.moved_min),
                moved_min2=said("later") if trial.moved_min > 0 else said("earlier"),
            )
            if trial.moved_min
            else ""
        )
        where = said(" to {moved_to}", moved_to=trial.moved_to) if trial.moved_to else ""
        out.append(said("the visit {moved} moved{where}{it}", moved=trial.moved, where=where, it=when))
    return tuple(out)


def _count(n: int) -> str:
    return said("{n} more", n=n) if n > 0 else said("{n} fewer", n=-n)
