"""A day as neutral JSON: the instance (what is given) and the plan (who does what when), read strictly.

Comes in: JSON text of an instance or a plan. Goes out: frozen values, or every finding at once with its JSON path.
Times are whole minutes after the day's own midnight (elapsed, so that a clock change is an ordinary day of 1,380 or
1,500 minutes). Never read here: who a visit is for; a visit is an opaque id. What version 2 adds is optional, stands
last in each part, and is written only where it says something: a day of schema 1 stays the same to the byte.
"""

import json
from collections.abc import Iterable
from typing import Annotated, Literal, Self

from pydantic import Field

from fettlebook.errors import Finding, Mendable
from fettlebook.plan.detail import Cycle, Duty, OwedTest, PlannedDuty, PlannedTest, Transport
from fettlebook.plan.detail_findings import detail_findings
from fettlebook.plan.form import LONGEST_DAY_MIN, Id, Length, Minute
from fettlebook.plan.form import Part as _Part
from fettlebook.plan.instance_findings import schema_1_findings
from fettlebook.plan.instance_json import read_form, without_unsaid

__all__ = [
    "LONGEST_DAY_MIN",
    "Batch",
    "Chair",
    "Done",
    "Instance",
    "Machine",
    "Pack",
    "Person",
    "Plan",
    "PlannedStep",
    "PlannedVisit",
    "Procedure",
    "Reprocess",
    "SetType",
    "Step",
    "Visit",
    "Work",
    "instance_findings",
    "read_instance",
    "read_plan",
    "to_json",
]

Procedure = Literal["opening", "turnover", "closing"]
Work = Literal["chairs", "instruments"]


class Person(_Part):
    """One who does attended work: one job at a time, inside the shift, outside breaks.

    `does` is what the person may do; left out, both (schema 1 knows no skills, so a reader of plain schema 1 loses nothing).
    """

    id: Id
    from_: Annotated[Minute, Field(alias="from")]
    to: Minute
    breaks: tuple[tuple[Minute, Minute], ...] = ()
    does: Annotated[tuple[Work, ...], Field(min_length=1)] = ("chairs", "instruments")

    def windows(self) -> tuple[tuple[int, int], ...]:
        """Return the stretches in which this person can work, in order."""
        out, at = [], self.from_
        for a, b in sorted(self.breaks):
            if a > at:
                out.append((at, min(a, self.to)))
            at = max(at, b)
        if at < self.to:
            out.append((at, self.to))
        return tuple(out)


class Step(_Part):
    """One step of a procedure on a chair; an unattended one holds the chair but nobody."""

    name: Annotated[str, Field(min_length=1, max_length=200)]
    minutes: Length
    attended: bool


class Chair(_Part):
    """A chair with what is owed before its first visit, between two visits and after its last.

    Version 2: nothing happens on it in `out`; its closing (with an intensive treatment, if it has one) ends by `closed_by`.
    """

    id: Id
    opening: tuple[Step, ...]
    turnover: Annotated[tuple[Step, ...], Field(min_length=1)]
    closing: Annotated[tuple[Step, ...], Field(min_length=1)]
    room: Id | None = None
    out: tuple[tuple[Minute, Minute], ...] = ()
    closed_by: Minute | None = None

    def procedure(self, name: Procedure) -> tuple[Step, ...]:
        """Return the steps of one procedure."""
        return {"opening": self.opening, "turnover": self.turnover, "closing": self.closing}[name]


class Visit(_Part):
    """A booked visit: never starts before `booked`; visits of a chair keep their booked order.

    Version 2: `may_move` names other chairs on which it can be served as well.
    """

    id: Id
    chair: Id
    booked: Minute
    minutes: Length
    uses: dict[str, Annotated[int, Field(ge=0, le=500)]]
    weight: Annotated[int, Field(ge=1, le=1000)]
    latest: Minute | None = None
    may_move: tuple[Id, ...] = ()

    def needs(self) -> dict[str, int]:
        """Return set type -> how many, without zeros."""
        return {t: n for t, n in self.uses.items() if n}


class SetType(_Part):
    """Instrument sets of one type; units `id#1` to `id#owned`, all sterile as the day starts.

    `places` is how much of a machine's capacity one unit takes; left out, 1 (schema 1 counts sets, so a plan that holds
    the places holds schema 1 too).

    Version 2: `bath`: through an ultrasonic bath before the washer; `dry_minutes`: alone after the washer, before anybody
    packs it; `lubricate_minutes`: hands before packing, in one go with it; `rides`: kinds of cycle that it may ride, where a
    machine has a choice (left out: any).
    """

    id: Id
    owned: Annotated[int, Field(ge=0, le=5000)]
    places: Annotated[int, Field(ge=1, le=50)] = 1
    bath: bool = False
    dry_minutes: Minute = 0
    lubricate_minutes: Minute = 0
    rides: tuple[Id, ...] = ()


class Machine(_Part):
    """A washer or a sterilizer with the one cycle that the plan uses; `capacity` in sets (in places where sets state them).

    Version 2: an ultrasonic bath is one too. `cycles`: a choice for each load; `minutes` is then the quickest. `tests`: owed
    before the first load, from `not_before` on.
    """

    id: Id
    capacity: Annotated[int, Field(ge=1, le=5000)]
    minutes: Length
    not_before: Minute
    cycles: tuple[Cycle, ...] = ()
    tests: tuple[OwedTest, ...] = ()
    room: Id | None = None

    def cycle_for(self, rides: Iterable[Iterable[str]]) -> tuple[str | None, int] | None:
        """Return the quickest cycle (None: its only one) that all of some set types may ride, with its minutes; None: there is none."""
        if not self.cycles:
            return None, self.minutes
        asked = [set(r) for r in rides if r]
        fit = [(c.minutes, c.id) for c in self.cycles if all(c.kind in r for r in asked)]
        return (min(fit)[1], min(fit)[0]) if fit else None

    def cycle_minutes(self, cycle: str | None) -> int:
        """Return the minutes of a cycle."""
        if cycle is None:
            return self.minutes
        return next((c.minutes for c in self.cycles if c.id == cycle), self.minutes)


class Reprocess(_Part):
    """Minutes around the machines."""

    load_minutes: Length
    unload_minutes: Length
    pack_minutes: Length
    cool_minutes: Minute


class PlannedVisit(_Part):
    """When a visit starts, and on which units; `chair` only where it was moved."""

    id: Id
    start: Minute
    units: tuple[Id, ...]
    chair: Id | None = None


class PlannedStep(_Part):
    """When a step of a procedure starts, and who does it (None: unattended)."""

    chair: Id
    procedure: Procedure
    after: Id | None
    index: Annotated[int, Field(ge=0)]
    start: Minute
    person: Id | None


class Pack(_Part):
    """One unit inspected and packed."""

    unit: Id
    start: Minute
    person: Id


class Batch(_Part):
    """A load of a machine: loaded just before `start`, unloaded any time after its end (None: not yet).

    `cycle` is the one chosen, where the machine has a choice.
    """

    machine: Id
    units: Annotated[tuple[Id, ...], Field(min_length=1)]
    load_start: Minute
    load_person: Id
    start: Minute
    unload_start: Minute | None = None
    unload_person: Id | None = None
    cycle: Id | None = None


class Plan(_Part):
    """A plan of an instance; `left_out` names the visits that it does not serve."""

    instance: str
    visits: tuple[PlannedVisit, ...]
    steps: tuple[PlannedStep, ...]
    packs: tuple[Pack, ...]
    batches: tuple[Batch, ...]
    left_out: tuple[Id, ...] = ()
    tests: tuple[PlannedTest, ...] = ()
    duties: tuple[PlannedDuty, ...] = ()


class Done(_Part):
    """What has begun by `now`."""

    visits: tuple[PlannedVisit, ...] = ()
    steps: tuple[PlannedStep, ...] = ()
    packs: tuple[Pack, ...] = ()
    batches: tuple[Batch, ...] = ()
    tests: tuple[PlannedTest, ...] = ()
    duties: tuple[PlannedDuty, ...] = ()


class Instance(_Part):
    """A day to be planned.

    Version 2: `baths` are ultrasonic baths; `apart` names pairs of set types that may not share a load; `store` is the room
    in which sets are packed and kept; a duty that a plan does not name is not done.
    """

    schema_: Annotated[Literal[1, 2], Field(alias="schema")] = 1
    name: str = "day"
    day_start: Minute
    day_end: Minute
    people: tuple[Person, ...]
    chairs: tuple[Chair, ...]
    visits: tuple[Visit, ...]
    set_types: tuple[SetType, ...] = ()
    washers: tuple[Machine, ...] = ()
    sterilizers: tuple[Machine, ...] = ()
    reprocess: Reprocess
    now: Minute | None = None
    done: Done | None = None
    baths: tuple[Machine, ...] = ()
    apart: tuple[tuple[Id, Id], ...] = ()
    store: Id | None = None
    transport: tuple[Transport, ...] = ()
    duties: tuple[Duty, ...] = ()

    def visits_of(self, chair: str) -> tuple[Visit, ...]:
        """Return a chair's visits in booked order (equal times in the order of the file)."""
        return tuple(sorted((v for v in self.visits if v.chair == chair), key=lambda v: v.booked))

    def places(self) -> dict[str, int]:
        """Return set type -> places that one unit takes in a machine."""
        return {t.id: t.places for t in self.set_types}

    def pack_minutes(self) -> dict[str, int]:
        """Return set type -> minutes of hands to oil, inspect and pack one unit."""
        return {t.id: t.lubricate_minutes + self.reprocess.pack_minutes for t in self.set_types}

    def ways(self) -> dict[tuple[str | None, str | None], int]:
        """Return (room, room) -> minutes on the way, both ways round; what isn't named takes none."""
        there = {(t.from_, t.to): t.minutes for t in self.transport}
        return {(b, a): m for (a, b), m in there.items()} | there  # type: ignore[return-value]

    def moved(self, plan: Plan | Done) -> Self:
        """Return the day with each visit booked on the chair on which a plan serves it."""
        chair = {v.id: v.chair for v in self.visits}
        to = {v.id: v.chair for v in plan.visits if v.chair not in (None, chair.get(v.id))}
        if not to:
            return self
        return self.model_copy(update={"visits": tuple(v.model_copy(update={"chair": to.get(v.id, v.chair)}) for v in self.visits)})

    def owned(self) -> dict[str, int]:
        """Return set type -> units owned."""
        return {t.id: t.owned for t in self.set_types}

    def without(self, visits: Iterable[str]) -> Self:
        """Return the same day without some visits."""
        gone = set(visits)
        return self.model_copy(update={"visits": tuple(v for v in self.visits if v.id not in gone)}) if gone else self

    def shortest_way_back(self) -> int | None:
        """Return the fewest minutes from cleared to usable again; None without a washer or a sterilizer."""
        if not self.washers or not self.sterilizers:
            return None
        r = self.reprocess
        runs = min(m.minutes for m in self.washers) + min(m.minutes for m in self.sterilizers)
        return runs + 2 * (r.load_minutes + r.unload_minutes) + r.pack_minutes + r.cool_minutes


def read_instance(text: str | bytes, where: str = "instance") -> Instance:
    """Return the instance in a JSON text.

    Parameters
    ----------
    text
        The JSON text.
    where
        Name of the file, for messages.

    Raises
    ------
    Mendable
        The text is no JSON, or the instance is wrong; carries every finding, each with its JSON path.
    """
    instance = read_form(Instance, text, where)
    if errors := [f for f in instance_findings(instance, where) if f.weight == "error"]:
        raise Mendable.of(errors)
    return instance


def read_plan(text: str | bytes, where: str = "plan") -> Plan:
    """Return the plan in a JSON text; raises as `read_instance`."""
    return read_form(Plan, text, where)


def to_json(value: Instance | Plan) -> str:
    """Return the JSON text, optional fields only where they say something."""
    data = value.model_dump(mode="json", by_alias=True, exclude_defaults=False)
    without_unsaid(value, data)
    return json.dumps(data, indent=1, ensure_ascii=False) + "\n"


def instance_findings(instance: Instance, where: str = "instance") -> tuple[Finding, ...]:
    """Return what is wrong (error) or forces lateness or loss (warning) between the parts of an instance."""
    return (*schema_1_findings(instance, where), *detail_findings(instance, where))
