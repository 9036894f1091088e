"""Taps: the newest hot and cold reading of each, held against the rulebook's temperature and the time in which it must be reached."""

from dataclasses import dataclass
from typing import Final

from fettlebook.book.kinds import PRACTICE
from fettlebook.rules.model import Limit, Origin
from fettlebook.said import said
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


@dataclass(frozen=True, slots=True)
class TapSeries:
    """The readings of one tap's hot or cold water, oldest first: (read [ms], degC, verdict of the reading by itself, why)."""

    place: str
    water: str
    asked_c: float | None
    readings: tuple[tuple[int, float, Verdict, str], ...]


def tap_series(look: Look, since: int = 0) -> tuple[TapSeries, ...]:
    """Return each tap's readings from `since` [ms] on, each held against the rulebook of the moment asked about."""
    found: dict[tuple[str, str], list[tuple[int, float, Verdict, str]]] = {}
    for fact in look.forward(PRACTICE, "warm", since=since):
        limit = look.basis.limit_of(QUANTITY[fact.says.water])
        told = _against(fact.says, limit) if limit is not None else (Verdict.UNPROVEN, "no rulebook in force names a temperature")
        found.setdefault((fact.says.place, fact.says.water), []).append((fact.happened, fact.says.water_c, *told))
    series = []
    for (place, water), readings in sorted(found.items()):
        limit = look.basis.limit_of(QUANTITY[water])
        series.append(TapSeries(place, water, limit.value[0] if limit is not None else None, tuple(readings)))
    return tuple(series)


def _tap(look: Look, fact: Fact) -> TapSays:
    says: Warm = fact.says
    why: str
    limit = look.basis.limit_of(QUANTITY[says.water])
    due = _due(look, fact, limit)
    if limit is None:
        verdict, why = Verdict.UNPROVEN, said("{water_c:g} degC; no rulebook in force names a temperature", water_c=says.water_c)
    else:
        verdict, why = _against(says, limit)
        if verdict is Verdict.FIT and due is not None and look.over(due):
            verdict, why = Verdict.UNPROVEN, said("{why}; the next reading was due {due}", why=why, due=look.when(due))
    return TapSays(
        says.place, says.water, fact.happened, says.water_c, says.ran_s, limit.value[0] if limit else None,
        limit.within_s if limit else None, verdict, why, limit.origin if limit else BOOK, due, (fact.entry,),
    )  # fmt: skip


def _against(says: Warm, limit: Limit) -> tuple[Verdict, str]:
    """Return the verdict: a reading too early can't condemn, one too late can't acquit."""
    asked, within, hot = limit.value[0], limit.within_s, says.water == "hot"
    if says.mixed and hot:
        return Verdict.UNPROVEN, said("{water_c:g} degC behind a mixing valve: measure before it", water_c=says.water_c)
    reached = says.water_c >= asked if hot else says.water_c < asked
    told = said(
        "{water_c:g} degC, {hot} {asked:g} degC is asked for",
        water_c=says.water_c,
        hot=said("at least") if hot else said("under"),
        asked=asked,
    )
    if within is None:
        return (Verdict.FIT if reached else Verdict.UNFIT), told
    if says.ran_s is None:
        return Verdict.UNPROVEN, said("{told} within {within:g} s; how long it had run is not in the book", told=told, within=within)
    in_time = says.ran_s <= within if reached else says.ran_s >= within
    told = said("{told} within {within:g} s; read after {ran_s} s", told=told, within=within, ran_s=says.ran_s)
    return (Verdict.UNPROVEN if not in_time else Verdict.FIT if reached else Verdict.UNFIT), told


def _due(look: Look, fact: Fact, limit: Limit | None) -> int | None:
    words = limit.trigger.replace(",", " ").split() if limit is not None else []
    days = next((DAYS_OF[word] for word in words if word in DAYS_OF), None)
    return None if days is None else look.basis.days_after(fact.happened, days + 1)
