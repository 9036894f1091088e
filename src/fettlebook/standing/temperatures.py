"""Taps: the newest hot and cold reading of each, held against the rulebook's temperature and the time in which it must be reached."""

from dataclasses import dataclass
from typing import Final

from fettlebook.book.kinds import PRACTICE
from fettlebook.rules.model import Limit, Origin
from fettlebook.standing.basis import BOOK, DAYS_OF
from fettlebook.standing.facts import Warm
from fettlebook.standing.look import Look
from fettlebook.standing.model import Verdict
from fettlebook.standing.streams import Fact

QUANTITY: Final = {"hot": "hot water at an outlet", "cold": "cold water at an outlet"}


@dataclass(frozen=True, slots=True)
class TapSays:
    """The newest reading of one tap's hot or cold water. `due_ms`: when the next one is owed; None where no rule says so."""

    place: str
    water: str
    read_ms: int
    water_c: float
    ran_s: int | None
    asked_c: float | None
    within_s: float | None
    verdict: Verdict
    why: str
    origin: Origin
    due_ms: int | None
    evidence: tuple[str, ...]


def taps(look: Look) -> tuple[TapSays, ...]:
    """Return the newest reading of each tap and water, in order of place; empty where the book has none."""
    newest: dict[tuple[str, str], Fact] = {}
    for fact in look.forward(PRACTICE, "warm"):
        newest[fact.says.place, fact.says.water] = fact
    return tuple(_tap(look, fact) for _, fact in sorted(newest.items()))


def _tap(look: Look, fact: Fact) -> TapSays:
    says: Warm = fact.says
    limit = look.basis.limit_of(QUANTITY[says.water])
    due = _due(look, fact, limit)
    if limit is None:
        verdict, why = Verdict.UNPROVEN, f"{says.water_c:g} degC; no rulebook in force names a temperature"
    else:
        verdict, why = _against(says, limit)
        if verdict is Verdict.FIT and due is not None and due <= look.at:
            verdict, why = Verdict.UNPROVEN, f"{why}; the next reading was due {look.when(due)}"
    return TapSays(
        says.place, says.water, fact.happened, says.water_c, says.ran_s, limit.value[0] if limit else None,
        limit.within_s if limit else None, verdict, why, limit.origin if limit else BOOK, due, (fact.entry,),
    )  # fmt: skip


def _against(says: Warm, limit: Limit) -> tuple[Verdict, str]:
    """Return the verdict: a reading too early can't condemn, one too late can't acquit."""
    asked, within, hot = limit.value[0], limit.within_s, says.water == "hot"
    if says.mixed and hot:
        return Verdict.UNPROVEN, f"{says.water_c:g} degC behind a mixing valve: measure before it"
    reached = says.water_c >= asked if hot else says.water_c < asked
    told = f"{says.water_c:g} degC, {'at least' if hot else 'under'} {asked:g} degC is asked for"
    if within is None:
        return (Verdict.FIT if reached else Verdict.UNFIT), told
    if says.ran_s is None:
        return Verdict.UNPROVEN, f"{told} within {within:g} s; how long it had run is not in the book"
    in_time = says.ran_s <= within if reached else says.ran_s >= within
    told = f"{told} within {within:g} s; read after {says.ran_s} s"
    return (Verdict.UNPROVEN if not in_time else Verdict.FIT if reached else Verdict.UNFIT), told


def _due(look: Look, fact: Fact, limit: Limit | None) -> int | None:
    words = limit.trigger.replace(",", " ").split() if limit is not None else []
    days = next((DAYS_OF[word] for word in words if word in DAYS_OF), None)
    return None if days is None else look.basis.days_after(fact.happened, days + 1)
