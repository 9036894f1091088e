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
            raise Mendable(f"{-sets[t.id]} of {t.id} fewer, {t.owned} owned", where="sets", mend="Take away at most what there is.")
        types.append(t.model_copy(update={"owned": owned}))
    if unknown := set(sets) - {t.id for t in day.set_types}:
        raise Mendable(f"no set type {min(unknown)!r}", where="sets", mend="Name a set of the practice.")
    return day.model_copy(update={"set_types": tuple(types)})


def _machines(day: Instance, kind: str, n: int) -> Instance:
    own = day.washers if kind == "washer" else day.sterilizers
    if n > 0 and not own:
        raise Mendable(f"there is no {kind} to be like", where=kind, mend="Put one into the practice file.")
    if n >= 0:
        return more_of(day, kind, kind, n) if n else day
    if -n > len(own):
        raise Mendable(f"{-n} {kind}s fewer, {len(own)} there", where=kind, mend="Take away at most what there is.")
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
        raise Mendable(f"no visit {trial.moved!r}", where="a visit moved", mend="Name a visit of the day.")
    chair = trial.moved_to or visit.chair
    if chair not in {c.id for c in day.chairs}:
        raise Mendable(f"no chair {chair!r}", where="a visit moved", mend="Name a chair that is used on this day.")
    booked = max(0, visit.booked + trial.moved_min)
    latest = None if visit.latest is None else max(visit.latest, booked)
    new = visit.model_copy(update={"booked": booked, "chair": chair, "latest": latest, "may_move": ()})
    visits = tuple(new if v is visit else v for v in day.visits)
    if over := _overlap(new, visits):
        raise Mendable(f"{chair} is booked then: {over}", where="a visit moved", mend="Try another hour or another chair.")
    return day.model_copy(update={"visits": visits})


def _overlap(visit: Visit, visits: tuple[Visit, ...]) -> str:
    """Return the visit booked on the same chair at the same time; one that touches is none."""
    for v in visits:
        if v is not visit and v.chair == visit.chair and v.booked < visit.booked + visit.minutes and visit.booked < v.booked + v.minutes:
            return v.id
    return ""


def trial_words(trial: Trial, set_name: Callable[[str], str], minute: Callable[[int], str]) -> tuple[str, ...]:
    """Return what is tried, a part each."""
    out = [f"{_count(n)} {set_name(t)}" for t, n in trial.sets.items() if n]
    if trial.hands_min:
        out.append(f"one more person from {minute(trial.hands_from)} to {minute(trial.hands_from + trial.hands_min)}")
    for n, kind in ((trial.washers, "washer"), (trial.sterilizers, "sterilizer")):
        if n:
            out.append(f"{_count(n)} {kind}{'' if abs(n) == 1 else 's'}")
    if trial.turnover_min:
        out.append(f"each turnover {abs(trial.turnover_min)} min {'longer' if trial.turnover_min > 0 else 'shorter'}")
    if trial.moved and (trial.moved_min or trial.moved_to):
        when = f" {abs(trial.moved_min)} min {'later' if trial.moved_min > 0 else 'earlier'}" if trial.moved_min else ""
        where = f" to {trial.moved_to}" if trial.moved_to else ""
        out.append(f"the visit {trial.moved} moved{where}{when}")
    return tuple(out)


def _count(n: int) -> str:
    return f"{n} more" if n > 0 else f"{-n} fewer"
