"""An entry in words: what kind, about what, claimed when, received when; for the table of entries and for one entry's own page."""

from dataclasses import dataclass
from typing import Any, Final
from zoneinfo import ZoneInfo

from fettlebook.book.kinds import KINDS
from fettlebook.book.received import Received
from fettlebook.practice.model import Practice
from fettlebook.rules.model import Rulebook
from fettlebook.said import joined, said
from fettlebook.standing.asking import name_of, said_at
from fettlebook.web.kind_names import kind_name
from fettlebook.web.moments import long

APART_MS: Final = 60_000
TEXT_MOST: Final = 120
LONGEST: Final = 600  # a whole file in an entry is no sentence
SEALED: Final = said("a person's words, sealed: they are not shown here")


@dataclass(frozen=True, slots=True)
class EntryRow:
    """One line of the table of entries."""

    seq: int
    id: str
    received: str
    claimed: str  # empty where it came at once
    kind: str
    called: str  # the kind as people call it
    about: tuple[str, ...]
    by: str
    device: str
    done: str  # the duty and step by their names; empty: none, or unknown here
    told: str  # the rest, field by field


class EntryNames:
    """Names in entries as people know them: of duties and steps by the rulebook, of sets and people by the practice file."""

    def __init__(self, practice: Practice, rulebook: Rulebook) -> None:
        self._duties = {duty.id: duty.name for duty in rulebook.duties}
        self._steps = {step.id: step.name for duty in rulebook.duties for step in duty.steps}
        self._sets = {one.id: one.name for one in practice.sets}
        self._people = {one.id: one.name for one in practice.people}

    def subject(self, subject: str) -> str:
        """Return a subject as people call it."""
        kind, _, name = subject.partition(":")
        return self.unit(name) if kind == "unit" else self.person(name) if kind == "person" else name_of(subject)

    def unit(self, unit: str) -> str:
        """Return a set or handpiece as people call it."""
        type_id, mark, number = unit.rpartition("#")
        return f"{self._sets[type_id]} {number}" if mark and type_id in self._sets else unit

    def person(self, person: str) -> str:
        """Return a person's name."""
        return self._people.get(person, person)

    def told(self, received: Received) -> tuple[str, str]:
        """Return what was done by its names, and value by value what else an entry says beside what it is about, as it stands there."""
        fields = dict(fields_of(received))
        names = [
            names[word] for field, names in (("duty", self._duties), ("step", self._steps)) if (word := str(fields.get(field))) in names
        ]
        known = {"duty", "step"} if names and len(names) == ("duty" in fields) + ("step" in fields) else set()
        rest = [
            f"{name} {_short([self.unit(one) for one in value] if name == 'units' else value)}"
            for name, value in fields.items()
            if name not in _IN_SUBJECTS and name not in known and (name, value) != ("outcome", "done")
        ]
        return joined(": ", names) if known else "", "; ".join(rest)


def row_of(received: Received, zone: ZoneInfo, names: EntryNames) -> EntryRow:
    """Return an entry as a line."""
    entry = received.entry
    apart = abs(received.received - received.offset - entry.at) > APART_MS
    done, told = names.told(received)
    return EntryRow(
        seq=received.seq, id=entry.id, received=long(received.received, zone), claimed=long(entry.at, zone) if apart else "",
        kind=entry.kind, called=kind_name(entry.kind), about=tuple(names.subject(one) for one in entry.subjects[:4]),
        by=names.person(entry.by), device=entry.device, done=done, told=told,
    )  # fmt: skip


def fields_of(received: Received) -> list[tuple[str, Any]]:
    """Return what an entry says, field by field, as it stands in its sealed bytes; sealed words are named, not opened."""
    data = received.entry.data.model_dump(exclude_none=True)
    return [(name.replace("_", " "), SEALED if name == "remark" else value) for name, value in data.items()]


def value_in_words(value: Any) -> str:
    """Return a value of an entry as text: lists with commas, tables as name value."""
    if isinstance(value, dict):
        return ", ".join(f"{name.replace('_', ' ')} {value_in_words(one)}" for name, one in value.items())
    if isinstance(value, list | tuple):
        return "; ".join(value_in_words(one) for one in value) if value else "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    text = str(value)
    return text if len(text) <= LONGEST else said("{text:,} characters: see the sealed record", text=len(text))


def kind_in_words(kind: str) -> str:
    """Return the first line of what a kind of entry means; the kind itself where this program doesn't know it."""
    model = KINDS.get(kind)
    return (
        (model.__doc__ or kind).strip().partition("\n")[0]
        if model
        else said("{kind}: a kind of a newer program, kept as it came", kind=kind)
    )


def as_row(received: Received, zone: ZoneInfo) -> dict[str, Any]:
    """Return an entry as a row of a table that is saved."""
    entry = received.entry
    return {
        "seq": received.seq,
        "received": said_at(received.received, zone),
        "claimed": said_at(entry.at, zone),
        "claimed_zone": entry.zone,
        "kind": entry.kind,
        "by": entry.by,
        "device": entry.device,
        "number": entry.n,
        "about": ", ".join(entry.subjects),
        "says": "; ".join(f"{name} {value_in_words(value)}" for name, value in fields_of(received)),
        "refers_to": entry.refers_to or "",
        "id": entry.id,
    }


_IN_SUBJECTS: Final = ("chair", "machine", "visit", "load", "sample", "person", "text", "layers", "digest")


def _short(value: Any) -> str:
    text = value_in_words(value)
    return text if len(text) <= TEXT_MOST else text[: TEXT_MOST - 1] + "…"
