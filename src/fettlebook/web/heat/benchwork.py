"""What the load bench shows: loads by stage, units to pack with their state, one load with what is missing, in plain words."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, Literal

from fettlebook.practice.model import Machine, MachineKind
from fettlebook.said import said, term
from fettlebook.standing.asking import name_of
from fettlebook.standing.handpiece import cycles_since_service
from fettlebook.standing.load import riding
from fettlebook.standing.load_tests import implant_rule
from fettlebook.standing.model import Condition, Standing, Verdict
from fettlebook.standing.ride import set_type_of
from fettlebook.standing.standings import View
from fettlebook.standing.streams import Fact

Stage = Literal["packed", "ran", "decided"]
DAYS_BACK: Final = 7
RELEASE: Final = "released by a person who may"
OWN_SPORE: Final = "its own spore test"


@dataclass(frozen=True, slots=True)
class LoadRow:
    """One load on the bench."""

    load: str
    machine: str
    stage: Stage
    verdict: Verdict
    packed_ms: int
    units: tuple[str, ...]
    told: str
    early: bool  # released before its spore result


@dataclass(frozen=True, slots=True)
class UnitRow:
    """A unit that could be packed, and where it stands."""

    unit: str
    name: str
    told: str
    fit: bool
    handpiece: bool
    oil: bool
    cycles: str


@dataclass(frozen=True, slots=True)
class LoadSeen:
    """One load, whole."""

    load: str
    machine: Machine | None
    packed: Fact | None
    ran: Fact | None
    decided: Fact | None
    standing: Standing
    missing: tuple[Condition, ...]  # what is not fit, besides the release itself
    aside: tuple[str, ...]  # units that were put aside one by one
    waits_for_spores: bool
    sterilizer: bool

    @property
    def stage(self) -> Stage:
        """How far it is."""
        return "packed" if self.ran is None else "ran" if self.decided is None else "decided"


def loads_of(view: View) -> tuple[LoadRow, ...]:
    """Return the loads of the last days, those that wait first, newest first in each."""
    look = view.look
    since = look.basis.days_after(look.at, -DAYS_BACK)
    rows: list[LoadRow] = []
    for machine in look.basis.practice.machines:
        for fact in look.back(f"machine:{machine.id}", "loads", since=since):
            rows.append(_row(view, machine, fact))
    order = {"ran": 0, "packed": 1, "decided": 2}
    return tuple(sorted(rows, key=lambda row: (order[row.stage], -row.packed_ms)))


def _row(view: View, machine: Machine, fact: Fact) -> LoadRow:
    look, subject = view.look, f"load:{fact.says.load}"
    ran, decided = look.latest(subject, "cycle"), look.latest(subject, "decided")
    if ran is None:
        stage: Stage = "packed"
        told = (
            said("not run yet")
            if decided is None or decided.says.meaning == "released"
            else said("{meaning} by {by}", meaning=term(decided.says.meaning), by=decided.says.by)
        )
        stage = "packed" if decided is None else "decided"
    elif machine.kind is not MachineKind.STERILIZER:
        stage, told = "decided", said("ran {ran}", ran=look.when(ran.happened))
    elif decided is None:
        stage, told = "ran", said("ran {ran}: waits for a person's release", ran=look.when(ran.happened))
    else:
        stage, told = (
            "decided",
            said(
                "{meaning} by {by} {decided}", meaning=term(decided.says.meaning), by=decided.says.by, decided=look.when(decided.happened)
            ),
        )
    units = tuple(unit for unit, _ in fact.says.items)
    early = decided is not None and decided.says.early
    return LoadRow(fact.says.load, machine.id, stage, view.standing(subject).verdict, fact.happened, units, told, early)


def units_of(view: View) -> Iterator[UnitRow]:
    """Yield every unit that the practice owns, with why it is not fit; those that are fit come last."""
    rows: list[UnitRow] = []
    for of_type in view.look.basis.practice.sets:
        for number in range(1, of_type.owned + 1):
            unit = f"{of_type.id}#{number}"
            standing = view.standing(f"unit:{unit}")
            first = standing.failing[0] if standing.failing else None
            count, _ = cycles_since_service(view.look, unit) if of_type.most_cycles else (0, None)
            cycles = said("{count} of {most_cycles} cycles", count=count, most_cycles=of_type.most_cycles) if of_type.most_cycles else ""
            fit, oil = standing.verdict is Verdict.FIT, of_type.kind == "handpiece" and of_type.lubricate_minutes > 0
            told = first.why if first else said("fit: released and in date")
            rows.append(UnitRow(unit, of_type.name, told, fit, of_type.kind == "handpiece", oil, cycles))
    yield from sorted(rows, key=lambda row: row.fit)


def load_seen(view: View, load: str) -> LoadSeen:
    """Return one load; raises `Mendable` where the book knows none of that name."""
    look, subject = view.look, f"load:{load}"
    standing = view.standing(subject)
    packed = look.latest(subject, "packed")
    machine = look.machine(packed.says.machine, packed.happened) if packed else None
    aside: dict[str, None] = {}
    decided = None
    for fact in look.back(subject, "decided"):
        part = fact.says.units is not None or fact.says.packs is not None
        if part and fact.says.meaning != "released":
            aside.update(dict.fromkeys(fact.says.units or ()))
        elif decided is None:
            decided = fact
    asked = implant_rule(look, packed) is not None if packed else False
    waits = asked and any(c.what == OWN_SPORE and c.verdict is Verdict.UNPROVEN for c in standing.conditions)
    missing = tuple(c for c in standing.failing if c.what != RELEASE)
    ran = look.latest(subject, "cycle")
    sterilizer = machine is not None and machine.kind is MachineKind.STERILIZER
    return LoadSeen(load, machine, packed, ran, decided, standing, missing, tuple(aside), waits, sterilizer)


def items_of(view: View, load: str) -> tuple[tuple[str, bool, str | None], ...]:
    """Return what lies in a load: (unit, wrapped, form)."""
    packed = view.look.latest(f"load:{load}", "packed")
    return riding(packed) if packed else ()


def new_load_name(view: View) -> str:
    """Return a name for the next load: the day and a number that no load has yet."""
    day = view.look.basis.day_of(view.look.at).isoformat()
    number = 1
    while f"load:{day}-{number}" in view.look.state.subjects:
        number += 1
    return f"{day}-{number}"


def unit_words(view: View, unit: str) -> str:
    """Return a unit as people call it."""
    of_type = set_type_of(view.look.basis.practice, unit)
    return f"{of_type.name} {unit.partition('#')[2]}" if of_type else name_of(unit)
