"""A day as neutral JSON, schema 1: the instance (what is given) and the plan (who does what when), read strictly.

Comes in: JSON text of an instance or a plan. Goes out: frozen values, or every finding at once with its JSON path.
Times are whole minutes after the day's own midnight (elapsed, so that a clock change is an ordinary day of 1,380 or
1,500 minutes). Never read here: who a visit is for; a visit is an opaque id.
"""

import json
from collections import Counter
from collections.abc import Iterable, Sequence
from difflib import get_close_matches
from typing import Annotated, Any, Literal, Self, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from fettlebook.errors import Finding, Mendable

LONGEST_DAY_MIN = 4320  # a day with shifts over midnight on both sides

Id = Annotated[str, Field(min_length=1, max_length=120)]
Minute = Annotated[int, Field(ge=0, le=LONGEST_DAY_MIN)]
Length = Annotated[int, Field(ge=1, le=LONGEST_DAY_MIN)]
Procedure = Literal["opening", "turnover", "closing"]
Work = Literal["chairs", "instruments"]


class _Part(BaseModel):
    model_config = ConfigDict(strict=True, extra="forbid", frozen=True, populate_by_name=True)


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
    """A chair with what is owed before its first visit, between two visits and after its last."""

    id: Id
    opening: tuple[Step, ...]
    turnover: Annotated[tuple[Step, ...], Field(min_length=1)]
    closing: Annotated[tuple[Step, ...], Field(min_length=1)]

    def procedure(self, name: Procedure) -> tuple[Step, ...]:
        """Return the steps of one procedure."""
        return {"opening": self.opening, "turnover": self.turnover, "closing": self.closing}[name]


class Visit(_Part):
    """A booked visit: never starts before `booked`; visits of a chair keep their booked order."""

    id: Id
    chair: Id
    booked: Minute
    minutes: Length
    uses: dict[str, Annotated[int, Field(ge=0, le=500)]]
    weight: Annotated[int, Field(ge=1, le=1000)]
    latest: Minute | None = None

    def needs(self) -> dict[str, int]:
        """Return set type -> how many, without zeros."""
        return {t: n for t, n in self.uses.items() if n}


class SetType(_Part):
    """Instrument sets of one type; units `id#1` to `id#owned`, all sterile as the day starts.

    `places` is how much of a machine's capacity one unit takes; left out, 1 (schema 1 counts sets, so a plan that holds
    the places holds schema 1 too).
    """

    id: Id
    owned: Annotated[int, Field(ge=0, le=5000)]
    places: Annotated[int, Field(ge=1, le=50)] = 1


class Machine(_Part):
    """A washer or a sterilizer with the one cycle that the plan uses; `capacity` in sets (in places where sets state them)."""

    id: Id
    capacity: Annotated[int, Field(ge=1, le=5000)]
    minutes: Length
    not_before: Minute


class Reprocess(_Part):
    """Minutes around the machines."""

    load_minutes: Length
    unload_minutes: Length
    pack_minutes: Length
    cool_minutes: Minute


class PlannedVisit(_Part):
    """When a visit starts, and on which units."""

    id: Id
    start: Minute
    units: tuple[Id, ...]


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
    """A load of a machine: loaded just before `start`, unloaded any time after its end (None: not yet)."""

    machine: Id
    units: Annotated[tuple[Id, ...], Field(min_length=1)]
    load_start: Minute
    load_person: Id
    start: Minute
    unload_start: Minute | None = None
    unload_person: Id | None = None


class Plan(_Part):
    """A plan of an instance; `left_out` names the visits that it does not serve."""

    instance: str
    visits: tuple[PlannedVisit, ...]
    steps: tuple[PlannedStep, ...]
    packs: tuple[Pack, ...]
    batches: tuple[Batch, ...]
    left_out: tuple[Id, ...] = ()


class Done(_Part):
    """What has begun by `now`."""

    visits: tuple[PlannedVisit, ...] = ()
    steps: tuple[PlannedStep, ...] = ()
    packs: tuple[Pack, ...] = ()
    batches: tuple[Batch, ...] = ()


class Instance(_Part):
    """A day to be planned."""

    schema_: Annotated[Literal[1], Field(alias="schema")] = 1
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

    def visits_of(self, chair: str) -> tuple[Visit, ...]:
        """Return a chair's visits in booked order (equal times in the order of the file)."""
        return tuple(sorted((v for v in self.visits if v.chair == chair), key=lambda v: v.booked))

    def places(self) -> dict[str, int]:
        """Return set type -> places that one unit takes in a machine."""
        return {t.id: t.places for t in self.set_types}

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
    instance = _read(Instance, text, where)
    if errors := [f for f in instance_findings(instance, where) if f.weight == "error"]:
        raise Mendable.of(errors)
    return instance


def read_plan(text: str | bytes, where: str = "plan") -> Plan:
    """Return the plan in a JSON text; raises as `read_instance`."""
    return _read(Plan, text, where)


def to_json(value: Instance | Plan) -> str:
    """Return schema 1 JSON, optional fields only where they say something."""
    return json.dumps(_plain(value), indent=1, ensure_ascii=False) + "\n"


def _plain(value: BaseModel) -> dict[str, Any]:
    data = value.model_dump(mode="json", by_alias=True, exclude_defaults=False)
    if isinstance(value, Plan):
        if not value.left_out:
            del data["left_out"]
        return data
    for key in ("now", "done"):
        if data[key] is None:
            del data[key]
    for v in data["visits"]:
        if v["latest"] is None:
            del v["latest"]
    for t in data["set_types"]:
        if t["places"] == 1:
            del t["places"]
    for p in data["people"]:
        if p["does"] == ["chairs", "instruments"]:
            del p["does"]
    for b in data.get("done", {}).get("batches", []):
        if b["unload_start"] is None:
            del b["unload_start"], b["unload_person"]
    return data


def instance_findings(instance: Instance, where: str = "instance") -> tuple[Finding, ...]:
    """Return what is wrong (error) or forces lateness or loss (warning) between the parts of an instance."""
    out: list[Finding] = []

    def say(path: str, what: str, mend: str, *, warn: bool = False) -> None:
        out.append(Finding(what, f"{where} $.{path}", mend, "warning" if warn else "error"))

    if instance.day_start >= instance.day_end:
        say(
            "day_end",
            f"{instance.day_end} is not after day_start {instance.day_start}",
            "Write the minute at which the last chair must be closed.",
        )
    parts: tuple[tuple[str, Sequence[Any]], ...] = (
        ("people", instance.people),
        ("chairs", instance.chairs),
        ("visits", instance.visits),
        ("set_types", instance.set_types),
        ("washers", instance.washers),
        ("sterilizers", instance.sterilizers),
    )
    for field, items in parts:
        for again in (i for i, n in Counter(x.id for x in items).items() if n > 1):
            say(field, f"id {again!r} stands {sum(x.id == again for x in items)} times", "Give each its own id.")
    for both in {m.id for m in instance.washers} & {m.id for m in instance.sterilizers}:
        say("sterilizers", f"id {both!r} is a washer's too", "Give each machine its own id.")
    for i, p in enumerate(instance.people):
        if p.from_ >= p.to:
            say(
                f"people[{i}].to",
                f"the shift of {p.id} ends at {p.to}, before it begins at {p.from_}",
                "Swap them, or add 1440 for a shift over midnight.",
            )
        for k, (a, b) in enumerate(p.breaks):
            if a >= b or b <= p.from_ or a >= p.to:
                say(
                    f"people[{i}].breaks[{k}]",
                    f"break {a} to {b} is empty or outside the shift {p.from_} to {p.to}",
                    "Write [from, to] inside the shift.",
                )
    chairs, types = {c.id for c in instance.chairs}, instance.owned()
    for i, v in enumerate(instance.visits):
        if v.chair not in chairs:
            say(f"visits[{i}].chair", f"no chair {v.chair!r}", "Write one of: " + ", ".join(sorted(chairs)) + ".")
        if v.latest is not None and v.latest < v.booked:
            say(f"visits[{i}].latest", f"{v.latest} is before booked {v.booked}", "Write a minute at or after the booked one.")
        for t, n in v.needs().items():
            if t not in types:
                near = get_close_matches(t, types, 1)
                say(f"visits[{i}].uses", f"no set type {t!r}", f"Did you mean {near[0]!r}?" if near else "List it in set_types.")
            elif n > types[t]:
                say(
                    f"visits[{i}].uses",
                    f"visit {v.id} needs {n} of {t}, {types[t]} owned",
                    "It can't be served; own more, or book it elsewhere.",
                    warn=True,
                )
    for c in instance.chairs:
        for before, after in zip(own := instance.visits_of(c.id), own[1:], strict=False):
            if before.booked + before.minutes > after.booked:
                over = before.booked + before.minutes - after.booked
                say(
                    f"visits[{instance.visits.index(after)}].booked",
                    f"{after.id} is booked {over} min before {before.id} on {c.id} ends",
                    "Move one of them.",
                    warn=True,
                )
    if (instance.now is None) != (instance.done is None):
        say("now", "`now` and `done` belong together, one is missing", "Give both, or neither.")
    return tuple(out)


_Form = TypeVar("_Form", bound=BaseModel)


def _read(form: type[_Form], text: str | bytes, where: str) -> _Form:
    try:
        return form.model_validate_json(text)
    except ValidationError as error:
        raise Mendable.of([_finding(form, e, where) for e in error.errors(include_url=False)]) from None


_MENDS = {
    "missing": "Add the field.",
    "int_type": "Write a whole number of minutes or pieces, without quotes.",
    "int_from_float": "Write a whole number.",
    "bool_type": "Write true or false.",
    "string_type": "Write text in quotes.",
    "too_short": "List at least one.",
    "greater_than_equal": "Write a value inside the limit.",
    "less_than_equal": "Write a value inside the limit.",
    "json_invalid": "Mend the JSON at that place; nothing was read.",
    "literal_error": "Write one of the values named.",
}


def _finding(form: type[BaseModel], error: Any, where: str) -> Finding:
    path = "$"
    for part in error["loc"]:
        path += f"[{part}]" if isinstance(part, int) else f".{part}"
    seen = error["input"]
    shown = "" if isinstance(seen, (dict, list, tuple, bytes)) or len(str(seen)) > 60 else f" (seen: {seen!r})"
    mend = _MENDS.get(error["type"], "Write it as schema 1 asks.")
    if error["type"] == "extra_forbidden":
        known = {f.alias or n for n, f in form.model_fields.items()}
        near = get_close_matches(str(error["loc"][-1]), known, 1)
        mend = f"Did you mean {near[0]!r}?" if near else "Take it out."
        return Finding(f"unknown field {error['loc'][-1]!r}", f"{where} {path}", mend)
    return Finding(error["msg"][0].lower() + error["msg"][1:] + shown, f"{where} {path}", mend)
