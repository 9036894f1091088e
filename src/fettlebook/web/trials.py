"""A trial of the page 'What if': its fields, the first answer, the better one from the background, and the figures beside.

What is tried is planned by the same functions as the day itself. Nothing is written anywhere: the address of the page
holds all of it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import time
from typing import Any, Final
from urllib.parse import urlencode

from fettlebook.errors import Mendable
from fettlebook.plan.basis import Basis
from fettlebook.plan.day import DayPlan
from fettlebook.plan.explain import line, minutes_late, verdict_of
from fettlebook.plan.instance import Instance
from fettlebook.plan.solve import Solved, solve
from fettlebook.plan.what_if import (
    MOST_HANDS_MIN,
    MOST_MACHINES,
    MOST_MOVED_MIN,
    MOST_SETS,
    MOST_TURNOVER_MIN,
    Trial,
    tried,
)
from fettlebook.said import said
from fettlebook.web.proposals import Row
from fettlebook.web.wording import VERDICT_WORD, clock

SEARCH_S: Final = 5.0
SEED: Final = 1
SET: Final = "set."
Fields = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Slider:
    """One slider: its field, words, and where it stands."""

    name: str
    label: str
    unit: str
    low: int
    high: int
    step: int
    value: int
    note: str = ""


@dataclass(frozen=True, slots=True)
class Moved:
    """A visit that is late differently than before; minutes late, None: not served."""

    visit: str
    before: int | None
    after: int | None


@dataclass(frozen=True, slots=True)
class Answer:
    """A trial's plan beside the plan of the day."""

    day: Instance
    solved: Solved
    shape: Any  # the verdict
    line: str
    rows: tuple[Row, ...]
    moved: tuple[Moved, ...]


def trial_of(fields: Fields, basis: Basis) -> Trial:
    """Return what an address tries; raises `Mendable` for a value outside its slider."""
    clock_of = basis.maps.clock
    at = fields.get("hands_from", "")
    try:
        begin = clock_of.wall(time.fromisoformat(at)) if at else _first_hands(basis)
    except ValueError:
        raise Mendable(said("{it!r} is no time", it=at[:40]), where="one more person, from", mend=said("Write it as 10:30.")) from None
    return Trial(
        sets={t.id: _number(fields, f"{SET}{t.id}", -MOST_SETS, MOST_SETS) for t in basis.day.set_types},
        hands_min=_number(fields, "hands", 0, MOST_HANDS_MIN),
        hands_from=begin,
        washers=_number(fields, "washers", -MOST_MACHINES, MOST_MACHINES),
        sterilizers=_number(fields, "sterilizers", -MOST_MACHINES, MOST_MACHINES),
        turnover_min=_number(fields, "turnover", -MOST_TURNOVER_MIN, MOST_TURNOVER_MIN),
        moved=fields.get("visit", ""),
        moved_min=_number(fields, "moved", -MOST_MOVED_MIN, MOST_MOVED_MIN),
        moved_to=fields.get("chair", ""),
    )


def _first_hands(basis: Basis) -> int:
    """Return a sensible hour for one more person: half an hour before the first visit that is late, else noon."""
    late = [v.booked for v in basis.day.visits if minutes_late(basis.day, basis.plan).get(v.id, 0) > 0]
    noon = basis.maps.clock.wall(time(12))
    return max(basis.day.day_start, (min(late) - 30) // 15 * 15) if late else noon


def _number(fields: Fields, name: str, low: int, high: int) -> int:
    text = fields.get(name, "") or "0"
    try:
        value = int(text)
    except ValueError:
        raise Mendable(said("{text!r} is no whole number", text=text[:40]), where=name, mend=said("Move the slider.")) from None
    if not low <= value <= high:
        raise Mendable(said("{it} is outside {low} to {high}", it=value, low=low, high=high), where=name, mend=said("Move the slider."))
    return value


def query_of(trial: Trial, basis: Basis) -> str:
    """Return the address of a trial, without what is not tried; the same trial gives the same address."""
    tried: dict[str, str | int] = {f"{SET}{t}": n for t, n in trial.sets.items() if n}
    tried |= {"washers": trial.washers, "sterilizers": trial.sterilizers, "turnover": trial.turnover_min, "hands": trial.hands_min}
    if trial.hands_min:
        tried["hands_from"] = basis.maps.clock.moment(trial.hands_from).strftime("%H:%M")
    if trial.moved:
        tried |= {"visit": trial.moved, "moved": trial.moved_min, "chair": trial.moved_to}
    return urlencode({name: value for name, value in tried.items() if value})


def sliders(trial: Trial, basis: Basis) -> tuple[tuple[str, tuple[Slider, ...]], ...]:
    """Return the sliders in groups, as they stand."""
    day = basis.day
    sets = tuple(
        Slider(
            f"{SET}{t.id}",
            basis.words.set_name(t.id),
            "",
            max(-t.owned, -3),
            4,
            1,
            trial.sets.get(t.id, 0),
            said("{owned} owned", owned=t.owned),
        )
        for t in day.set_types
    )
    fewer = {"washers": len(day.washers), "sterilizers": len(day.sterilizers)}
    machines = tuple(
        Slider(name, name.capitalize(), "", -min(1, there), 2 if there else 0, 1, getattr(trial, name), said("{there} there", there=there))
        for name, there in fewer.items()
    )
    return (
        ("Sets", sets),
        ("Machines", machines),
        ("Hands", (Slider("hands", said("One more person"), "min", 0, MOST_HANDS_MIN, 30, trial.hands_min),)),
        (
            "Turnovers",
            (Slider("turnover", said("Each turnover"), "min", -5, 10, 1, trial.turnover_min, said("only to see what a minute is worth")),),
        ),
    )


def first_answer(basis: Basis, trial: Trial) -> tuple[Instance, Solved]:
    """Return the day as it would be and the list scheduler's plan of it."""
    day = tried(basis.day, trial)
    return day, solve(day, limit_s=0.0, seed=SEED)


def answer_of(first: DayPlan, basis: Basis, day: Instance, solved: Solved) -> Answer:
    """Return a trial's plan beside the plan of the day."""
    verdict = verdict_of(solved, booked=len(first.visits))
    said = line(day, solved, basis.words, booked=len(first.visits), shortages=(), unknown_steps=basis.maps.unknown_steps)
    before, after = _late(basis.day, basis), minutes_late(day, solved.plan)
    moved = [
        Moved(v.id, before.get(v.id), after.get(v.id))
        for v in sorted(day.visits, key=lambda v: (v.booked, v.chair))
        if before.get(v.id) != after.get(v.id)
    ]
    return Answer(day, solved, verdict, said, _rows(first, basis, day, solved), tuple(moved))


def _late(day: Instance, basis: Basis) -> dict[str, int]:
    return minutes_late(day, basis.plan)


def _rows(first: DayPlan, basis: Basis, day: Instance, solved: Solved) -> tuple[Row, ...]:
    zone = basis.maps.clock.zone
    late = minutes_late(day, solved.plan)
    unserved = len(first.visits) - len(solved.plan.visits)
    weighted, bound = solved.weighted_minutes_late, min(solved.bound, solved.weighted_minutes_late)
    was, was_bound = first.weighted_minutes_late, min(first.bound_minutes_late, first.weighted_minutes_late)
    pairs = (
        (said("visits not served"), sum(v.start is None for v in first.visits), unserved),
        (said("visits late"), sum(v.minutes_late > 0 for v in first.visits), sum(m > 0 for m in late.values())),
        (said("minutes late in all"), sum(v.minutes_late for v in first.visits), sum(late.values())),
        (said("weighted minutes late"), was, weighted),
        (said("of these no plan can better"), was_bound, bound),
        (said("above that bound"), was - was_bound, weighted - bound),
    )
    end = clock(first.end_of_day, zone) if first.end_of_day else ""
    return (
        Row(said("the day"), VERDICT_WORD[first.verdict], VERDICT_WORD[verdict_of(solved, booked=len(first.visits))]),
        *(Row(what, str(a), str(b), b > a) for what, a, b in pairs),
        Row(said("last chair closed"), end, basis.words.minute(solved.figures.end_of_day)),
    )


def better_of(one: Solved, other: Solved | None) -> Solved:
    """Return the better of two plans of one day, with the better of their bounds."""
    if other is None:
        return one
    best = min((one, other), key=lambda s: s.figures.rank)
    return best if best.plan.left_out else replace(best, bound=max(one.bound, other.bound))


def rows_csv(rows: Sequence[Row]) -> str:
    """Return the figures as CSV with a header line."""
    lines = ["what,plan of the day,what if", *(f"{r.what},{r.before},{r.after}" for r in rows)]
    return "\r\n".join([*lines, ""])
