"""Whose training is held until when: what the book holds of it, beside what practice file and rulebook want. Pure; it changes no verdict.

The newest `held_on` of a person and a name counts. When it is wanted again: the earlier of what its entry says and the interval of the
rulebook row of that name; where neither says, a later day of the practice file; else no day is known, and none is guessed. A training
that no entry tells of stands with the practice file's day alone.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from fettlebook.rules.model import Requirement
from fettlebook.standing.basis import DAYS_OF, Basis
from fettlebook.standing.look import Look

DUE_DAYS: Final = 60  # so long before its day a training is shown; our own choice
QUANTITY: Final = "training"  # by which a rulebook row is one of training


@dataclass(frozen=True, slots=True)
class TrainingSays:
    """One training of one person. `until`: by when it is wanted again, None where nobody said; `entry`: None where none tells of it."""

    person: str
    name: str
    what: str
    topic: str  # the rulebook's words where `what` is its row's id, else `what`
    held_on: date | None
    held_by: str | None
    until: date | None
    day_by: str  # who names the day: entry, rulebook, practice file; empty: nobody
    over: bool
    entry: str | None


def training_rows(basis: Basis) -> tuple[Requirement, ...]:
    """Return the rows of the rulebook that ask for training."""
    return tuple(row for row in basis.rulebook.requirements if row.quantity == QUANTITY)


def training_names(basis: Basis) -> tuple[str, ...]:
    """Return the names that trainings have: those of the practice file, then the ids of the rulebook's rows, each once."""
    written = (one.what for person in basis.practice.people for one in person.training)
    return tuple(dict.fromkeys((*written, *(row.id for row in training_rows(basis)))))


def trainings(look: Look) -> tuple[TrainingSays, ...]:
    """Return the trainings of everybody in the practice file, the first due first, those without a day last."""
    today = look.basis.day_of(look.at)
    found = [one for person in look.basis.practice.people for one in _of(look, person.id, person.name, today)]
    return tuple(sorted(found, key=lambda one: (one.until is None, one.until or today, one.person, one.what)))


def training_due(look: Look, days: int = DUE_DAYS) -> tuple[TrainingSays, ...]:
    """Return whose training is over or will be within so many days, the earliest first."""
    until = look.basis.day_of(look.at) + timedelta(days=days)
    return tuple(one for one in trainings(look) if one.until is not None and one.until <= until)


def _of(look: Look, person: str, name: str, today: date) -> Iterator[TrainingSays]:
    rows = {row.id: row for row in training_rows(look.basis)}
    written = {one.what: one.until for someone in look.basis.practice.people if someone.id == person for one in someone.training}
    newest: dict[str, tuple[date, str, str | None, str]] = {}
    for fact in look.forward(f"person:{person}", "trained"):
        held = date.fromisoformat(fact.says.held_on)
        # Of two entries of one day the later one counts; a day that is still to come is no training held.
        if held <= today and held >= newest.get(fact.says.what, (date.min,))[0]:
            newest[fact.says.what] = held, fact.says.held_by, fact.says.again_on, fact.entry
    for what in dict.fromkeys((*written, *newest)):
        topic = rows[what].topic if what in rows else what
        if what not in newest:
            until = written[what]
            yield TrainingSays(person, name, what, topic, None, None, until, "practice file", until < today, None)
            continue
        held, by, again, entry = newest[what]
        day, whose = _again(held, again, rows.get(what), written.get(what))
        yield TrainingSays(person, name, what, topic, held, by, day, whose, day is not None and day < today, entry)


def _again(held: date, again_on: str | None, row: Requirement | None, written: date | None) -> tuple[date | None, str]:
    days = [DAYS_OF[word] for word in row.trigger.replace(",", " ").split() if word in DAYS_OF] if row is not None else []
    named = [(date.fromisoformat(again_on), "entry")] if again_on is not None else []
    named += [(held + timedelta(days=min(days)), "rulebook")] if days else []
    if not named and written is not None and written > held:
        named = [(written, "practice file")]
    return min(named, default=(None, ""))
