"""Rarely used outlets: how long the water of each tap has stood, and which is owed a run by the rule; a chair's outlets beside them.

A tap is rarely used from the entry that says so (`outlet.run` with `rare`) until one says that it is used daily again. A reading of its
temperature runs its water too, and so does the weekly round, which runs all of them.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil
from typing import Final

from fettlebook.book.kinds import PRACTICE
from fettlebook.practice.model import Chair
from fettlebook.rules.model import Limit, Origin
from fettlebook.said import said
from fettlebook.standing.basis import BOOK
from fettlebook.standing.facts import TapRan
from fettlebook.standing.look import Look
from fettlebook.standing.model import Condition, Owed, Verdict
from fettlebook.standing.still import last_moved, moving_sorts

RUNNING: Final = "running of a rarely used outlet"
ROUND: Final = "weekly.rare_outlets"
WEEK_DAYS: Final = 7
USUAL_S: Final = 180  # of one run; common practice, no source: the rule names no length


@dataclass(frozen=True, slots=True)
class RareTap:
    """A rarely used tap. `due_ms`: from when on a run is owed; None where no rule in force says how often."""

    place: str
    ran_ms: int | None
    days: float | None  # since it last ran
    due_ms: int | None
    verdict: Verdict
    why: str
    origin: Origin
    evidence: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ChairOutlet:
    """An outlet of a chair, and the days since its water last moved; None where the book doesn't tell."""

    chair: str
    outlet: str
    moved_ms: int | None
    days: float | None


def rare_taps(look: Look) -> tuple[RareTap, ...]:
    """Return the taps that the book calls rarely used, those owed a run first."""
    rare: dict[str, bool] = {}
    ran: dict[str, tuple[int, str]] = {}
    for fact in look.forward(PRACTICE, "tap ran"):
        says: TapRan = fact.says
        rare[says.place] = rare.get(says.place, True) if says.rare is None else says.rare
        ran[says.place] = fact.happened, fact.entry
    for fact in look.forward(PRACTICE, "warm"):
        if rare.get(fact.says.place) and fact.happened > ran.get(fact.says.place, (0, ""))[0]:
            ran[fact.says.place] = fact.happened, fact.entry
    done = next((f for f in look.back(PRACTICE, f"done:{ROUND}") if f.says.outcome == "done"), None)
    limit = look.basis.limit_of(RUNNING)
    found = []
    for place, still_rare in rare.items():
        if still_rare:
            last = ran[place] if done is None else max(ran[place], (done.happened, done.entry))
            found.append(_tap(look, place, last, limit))
    return tuple(sorted(found, key=lambda one: (one.verdict is Verdict.FIT, one.due_ms or 0, one.place)))


def _tap(look: Look, place: str, last: tuple[int, str], limit: Limit | None) -> RareTap:
    ran, entry = last
    days = look.age_days(ran)
    if limit is None:
        why = said("ran {ran}; no rulebook in force says how often", ran=look.when(ran))
        return RareTap(place, ran, days, None, Verdict.UNPROVEN, why, BOOK, (entry,))
    apart = days_apart(limit)
    due = look.basis.days_after(ran, apart + 1)
    asked = said("asked for: every {apart} days at the latest", apart=apart)
    if look.over(due):
        return RareTap(
            place,
            ran,
            days,
            due,
            Verdict.UNPROVEN,
            said("last ran {ran}; {asked}", ran=look.when(ran), asked=asked),
            limit.origin,
            (entry,),
        )
    return RareTap(place, ran, days, due, Verdict.FIT, said("ran {ran}; {asked}", ran=look.when(ran), asked=asked), limit.origin, (entry,))


def days_apart(limit: Limit) -> int:
    """Return the days that may lie between two runs: the most often that a rule names, spread over a week of whole days."""
    return ceil(WEEK_DAYS / max(limit.value))


def outlet_conditions(look: Look) -> Iterator[Condition]:
    """Yield one condition of the practice for each rarely used tap; nothing where the book names none."""
    for tap in rare_taps(look):
        what = said("{place}: run, rarely used", place=tap.place)
        mend = Owed(
            PRACTICE,
            f"run {tap.place}",
            said("Run {place}, hot and cold, no spray", place=tap.place),
            tap.origin,
            USUAL_S,
            due_ms=tap.due_ms,
            overdue=True,
        )
        yield Condition(
            what, tap.verdict, tap.why, tap.origin, tap.evidence, tap.ran_ms, tap.due_ms if tap.verdict is Verdict.FIT else None,
            () if tap.verdict is Verdict.FIT else (mend,),
        )  # fmt: skip


def chair_outlets(look: Look, chair: Chair) -> tuple[ChairOutlet, ...]:
    """Return each outlet of a chair with the days since its water last moved, the longest first."""
    sorts, subject = moving_sorts(look.basis), f"chair:{chair.id}"
    found = []
    for outlet in chair.outlets:
        moved = last_moved(look, subject, sorts, outlet.id)
        found.append(ChairOutlet(chair.id, outlet.id, moved, None if moved is None else look.age_days(moved)))
    return tuple(sorted(found, key=lambda one: (one.moved_ms or 0, one.outlet)))
