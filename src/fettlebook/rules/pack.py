"""The TOML form of a rulebook pack, and reading one. All that is wrong with a pack comes back at once, as findings."""

import tomllib
from dataclasses import dataclass
from datetime import date
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from fettlebook.errors import Finding
from fettlebook.practice.model import Id
from fettlebook.rules.model import Computed, Only, Stricter, Subject, Sure, When

Text = Annotated[str, Field(min_length=1, max_length=700)]
RuleId = Annotated[str, Field(min_length=3, max_length=60, pattern=r"^[a-z0-9-]+(\.[a-z0-9_]+)+$")]
PackForce = Literal["law", "guidance", "standard", "body", "paper", "practice"]
Compare = Literal["<", "<=", ">", ">=", "=", "range", "window", "sterile", "label", "event", "local", "trend", "none", "no_abnormal_change"]
Role = Literal["aim", "alert", "action", "limit", "context"]
Outlets = Literal["all", "used", "none"]
Handpieces = Literal["on", "off", "either"]
Medium = Literal["water", "air", "water and air", "air or water", "none"]
Where = Literal["always", "line intensive", "no line intensive", "line continuous"]
Product = Literal["", "line intensive", "line continuous", "suction", "surfaces"]
Evidence = Literal[
    "amount",
    "check entry",
    "closing entry",
    "contact time",
    "cycle log",
    "judgement",
    "outlets",
    "pack scans",
    "product lot",
    "sample sheet",
    "set scans",
    "start",
    "step entry",
    "stock entry",
    "stop",
    "strip reading",
    "test result",
    "wet time",
]


class _Form(BaseModel):
    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)


class PackHead(_Form):
    """What the pack is, and which packs it stands on."""

    id: Id
    name: Text
    edition: Text
    date: Annotated[date, Field(description="day on which this edition of the pack was made")]
    builds_on: Annotated[tuple[Id, ...], Field(description="packs that are laid beneath this one, whether listed or not")]
    full: Annotated[bool, Field(description="false: a few values only, and the program says so")] = True
    scope: Text


class RequirementRow(_Form):
    """One row: what a document asks for, in our own words, with its source and how sure it is."""

    id: RuleId
    group: Text
    topic: Text
    trigger: Annotated[str, Field(max_length=200)] = ""
    value: Annotated[float | tuple[float, ...] | None, Field(union_mode="left_to_right")] = None
    unit: Annotated[str, Field(max_length=30)] = ""
    compare: Compare | None = None
    jurisdiction: Text
    force: PackForce
    source: Text
    sure: Sure
    note: Annotated[str, Field(max_length=700)] = ""
    role: Role | None = None
    valid_from: date | None = None
    valid_to: date | None = None
    medium: Medium | None = None
    handpieces: Handpieces | None = None
    outlets: Outlets | None = None
    within_s: float | None = None
    band_degc: tuple[tuple[float, float], ...] = ()
    response_step: str = ""
    # How fettlebook applies the row; ours, not the source's.
    quantity: str = ""
    stricter: Stricter | None = None
    steps: tuple[RuleId, ...] = ()
    product_active: str = ""
    reading: Annotated[str, Field(max_length=400)] = ""

    @property
    def values(self) -> tuple[float, ...]:
        """The numbers of the row, none, one or several."""
        if self.value is None:
            return ()
        return self.value if isinstance(self.value, tuple) else (self.value,)

    def in_force(self, on: date | None) -> bool:
        """Return whether the row holds on a day; without a day, whether it hasn't ended."""
        if on is None:
            return self.valid_to is None
        return (self.valid_from is None or self.valid_from <= on) and (self.valid_to is None or on <= self.valid_to)


class StepRow(_Form):
    """One step of a duty."""

    id: RuleId
    name: Text
    attended: bool
    length: Literal["fixed", "measured", "computed"]
    seconds: Annotated[float | None, Field(gt=0, le=172_800)] = None
    computes: Annotated[Computed | None, Field(strict=False)] = None
    outlets: Outlets = "none"
    handpieces: Handpieces = "either"
    medium: Medium = "none"
    evidence: Annotated[tuple[Evidence, ...], Field(min_length=1)]
    caution: Annotated[str, Field(max_length=300)] = ""
    only: Only = "every chair"
    beside: tuple[RuleId, ...] = ()
    where: Where = "always"
    product: Product = ""


class AddedStepRow(StepRow):
    """A step that a later pack puts into a duty of an earlier one, after a named step."""

    duty: RuleId
    after: RuleId
    or_after: RuleId | None = None


class DutyRow(_Form):
    """A duty with its steps in running order."""

    id: RuleId
    name: Text
    subject: Annotated[Subject, Field(strict=False)]
    when: Annotated[When, Field(strict=False)]
    rule: Annotated[RuleId | None, Field(description="row that asks for it; left out: common practice")] = None
    idle_from: RuleId | None = None
    idle_index: int = 0
    covers: tuple[RuleId, ...] = ()
    steps: Annotated[tuple[StepRow, ...], Field(min_length=1)]


class Pack(_Form):
    """A whole pack."""

    schema_: Annotated[Literal[1], Field(alias="schema")]
    pack: PackHead
    requirement: tuple[RequirementRow, ...] = ()
    duty: tuple[DutyRow, ...] = ()
    added_step: tuple[AddedStepRow, ...] = ()


@dataclass(frozen=True, slots=True)
class ReadPack:
    """A pack as read: `pack` is None where a finding is an error."""

    pack: Pack | None
    findings: tuple[Finding, ...]


def read_pack(text: bytes, file: str) -> ReadPack:
    """Read a pack from TOML text.

    Parameters
    ----------
    text
        The file's bytes, UTF-8.
    file
        Name of the file, for messages.

    Returns
    -------
    ReadPack
        The pack, or every finding that keeps it from being one.
    """
    try:
        data = tomllib.loads(text.decode("utf-8"))
    except UnicodeDecodeError as error:
        return ReadPack(None, (Finding(f"byte {error.start + 1} is not UTF-8", file, "Save the file as UTF-8 text."),))
    except tomllib.TOMLDecodeError as error:
        return ReadPack(None, (Finding(f"not readable as TOML: {error}", file, "Mend the line named here, then read the pack again."),))
    try:
        pack = Pack.model_validate(_frozen(data))
    except ValidationError as error:
        return ReadPack(None, tuple(_finding(dict(fault), data, file) for fault in error.errors(include_url=False)))
    findings = tuple(_own_faults(pack, file))
    return ReadPack(None if findings else pack, findings)


def _own_faults(pack: Pack, file: str) -> list[Finding]:
    """What the form alone can't say: ids used twice, numbers that nobody can compare, steps without a length."""
    found: list[Finding] = []
    seen: set[str] = set()
    steps = [step for duty in pack.duty for step in duty.steps] + list(pack.added_step)
    for name in [row.id for row in pack.requirement] + [duty.id for duty in pack.duty] + [step.id for step in steps]:
        if name in seen:
            found.append(Finding(f'id "{name}" stands twice', f"{file}, {name}", "Give each row, duty and step an id of its own."))
        seen.add(name)
    for row in pack.requirement:
        where = f"{file}, requirement {row.id}"
        if row.value is not None and (row.compare is None or not row.unit or row.stricter is None):
            found.append(
                Finding("a number without compare, unit or stricter", where, "Add all three, else nobody can hold anything against it.")
            )
        if row.compare in ("range", "window") and (len(row.values) != 2 or row.values[0] > row.values[1]):
            found.append(Finding(f"{row.compare} {row.values}", where, "Give the lower end, then the upper end."))
        if row.valid_from and row.valid_to and row.valid_to < row.valid_from:
            found.append(Finding(f"ends {row.valid_to}, before it begins {row.valid_from}", where, "Put valid_from and valid_to in order."))
    for step in steps:
        where = f"{file}, step {step.id}"
        if (step.length == "computed") != (step.computes is not None):
            found.append(
                Finding(f"length {step.length}, computes {step.computes}", where, "Computed steps, and only these, say what is computed.")
            )
        if (step.length == "computed") == (step.seconds is not None):
            found.append(
                Finding(
                    f"length {step.length}, seconds {step.seconds}", where, "Give seconds for fixed and measured steps, none for computed."
                )
            )
    return found


def _finding(fault: dict[str, Any], data: dict[str, Any], file: str) -> Finding:
    place = _place(fault["loc"], data)
    seen = "" if fault["type"] == "missing" else f": {fault['input']!r}"[:120]
    mend = {
        "missing": "Add this key.",
        "extra_forbidden": "Take the key out, or spell it as docs/assistant/rulebook.md does.",
    }.get(fault["type"], "Give a value of the kind named here.")
    return Finding(f"{fault['msg']}{seen}", f"{file}, {place}", mend)


def _place(loc: tuple[str | int, ...], data: Any) -> str:
    """Return the key path in words, with the row's id where it has one: `requirement 3 (uk.storage), force`."""
    parts: list[str] = []
    for key in loc:
        if isinstance(key, int):
            data = data[key] if isinstance(data, list) and key < len(data) else None
            name = data.get("id") if isinstance(data, dict) else None
            parts[-1:] = [f"{parts[-1] if parts else 'item'} {key + 1}" + (f" ({name})" if name else "")]
        else:
            data = data.get(key) if isinstance(data, dict) else None
            parts.append(key)
    return ", ".join(parts)


def _frozen(value: Any) -> Any:
    """Return TOML data with tuples in place of lists, as the strict forms want them."""
    if isinstance(value, dict):
        return {key: _frozen(item) for key, item in value.items()}
    return tuple(_frozen(item) for item in value) if isinstance(value, list) else value
