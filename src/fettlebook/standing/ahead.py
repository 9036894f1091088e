"""The days ahead: what falls due on each, if nothing more is entered than the work of every day.

The same fold is asked about each coming day. What is owed every day anew (openings, turnovers, closings, daily tests) and instruments are
left out: they are the day plan's. Pure.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from fettlebook.rules.model import When
from fettlebook.standing.due import due_duties
from fettlebook.standing.look import Look
from fettlebook.standing.model import Owed
from fettlebook.standing.standings import View
from fettlebook.standing.streams import Fact
from fettlebook.standing.upkeep import open_stops

EVERY_DAY: Final = tuple(when for when in When if when is not When.WEEKLY)
NO_DAY: Final = ("process", "release", "file", "send")  # owed now, of no day
MINUTE_MS: Final = 60_000


@dataclass(frozen=True, slots=True)
class DayAhead:
    """What falls due on a day and was not due before; `open` tells whether the practice works."""

    day: date
    open: bool
    duties: tuple[Owed, ...]


@dataclass(frozen=True, slots=True)
class OpenFault:
    """A fault that no repair or return has ended; `stops` tells whether it stops use. `fault` is the name that its repair refers to."""

    subject: str
    fault: str | None
    what: str
    by: str
    since_ms: int
    stops: bool
    entry: str


def days_ahead(view: View, days: int = 7) -> tuple[DayAhead, ...]:
    """Return today and the days after it, each with what falls due then for the first time; what is overdue today stands under today."""
    basis = view.look.basis
    seen: set[tuple[str, str]] = set()
    out = []
    today = basis.day_of(view.look.at)
    for number in range(days):
        day = today + timedelta(days=number)
        then = view if number == 0 else view.later(basis.day_begins(day) + MINUTE_MS)
        fresh = [o for o in due_duties(then, instruments=False) if (o.subject, o.duty_id) not in seen and _of_a_week(view, o)]
        seen |= {(o.subject, o.duty_id) for o in fresh}
        out.append(DayAhead(day, bool(basis.openings(day)), tuple(fresh)))
    return tuple(out)


def _of_a_week(view: View, owed: Owed) -> bool:
    basis = view.look.basis
    kind, _, name = owed.subject.partition(":")
    duty = next((d for d in basis.rulebook.duties if d.id == owed.duty_id), None)
    if duty is not None:
        return duty.when not in EVERY_DAY
    machine = basis.machines.get(name) if kind == "machine" else None
    test = next((t for t in machine.tests if t.id == owed.duty_id), None) if machine is not None else None
    if test is not None:
        return test.every != "day"
    return kind not in ("unit", "load") and owed.duty_id not in NO_DAY


def open_faults(look: Look) -> tuple[OpenFault, ...]:
    """Return what was reported of chairs and machines and is not ended, newest first."""
    practice = look.basis.practice
    subjects = [*(f"chair:{chair.id}" for chair in practice.chairs), *(f"machine:{machine.id}" for machine in practice.machines)]
    found = [one for subject in subjects for one in _faults(look, subject)]
    return tuple(sorted(found, key=lambda one: -one.since_ms))


def _faults(look: Look, subject: str) -> Iterator[OpenFault]:
    stops = list(open_stops(look, subject, None))
    for fact in stops:
        yield _fault(subject, fact, stops=True)
    repaired: set[str | None] = set()
    for fact in look.back(subject, "service"):
        if fact.says.sort == "repair":
            repaired.add(fact.says.fault)
        elif fact.says.sort == "fault" and (fact.says.fault is None or fact.says.fault not in repaired):
            yield _fault(subject, fact, stops=False)


def _fault(subject: str, fact: Fact, *, stops: bool) -> OpenFault:
    return OpenFault(subject, fact.says.fault, fact.says.words, fact.says.by, fact.happened, stops, fact.entry)
