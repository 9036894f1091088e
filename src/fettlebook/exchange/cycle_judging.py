"""By what a machine's log is judged: the criteria of its cycle, the bounds of its sensors, the form of its load, its own past."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Final

from fettlebook.errors import Mendable
from fettlebook.exchange.logs import LogForm, ReadLog, read_log
from fettlebook.practice.model import Cycle, Machine, Practice
from fettlebook.rules.cycle_criteria import CriteriaRow, bundled_criteria, criteria_of, find_criteria
from fettlebook.rules.model import Rulebook
from fettlebook.science.cycles.criteria import Criteria
from fettlebook.science.cycles.load_types import Form, LoadForm
from fettlebook.science.cycles.log import Calibration, Sensors
from fettlebook.standing.ride import set_type_of

HARDEST: Final[Mapping[str | None, int]] = {None: 0, "solid": 1, "porous": 2, "hollow": 3}


def criteria_names() -> str:
    """Return the names of the bundled criteria, for a message."""
    return ", ".join(row.id for row in bundled_criteria())


def criteria_for(cycle: Cycle | None, rulebook: Rulebook | None, row: CriteriaRow | None = None) -> Criteria:
    """Return the criteria of a cycle of the practice file: those it names (or `row`), the rulebook's limits, its own validated ones.

    Raises
    ------
    Mendable
        The cycle names none, or names those of another type of cycle.
    """
    if row is None and (cycle is None or not cycle.criteria):
        name = f'cycle "{cycle.id}"' if cycle else "it"
        mend = f'Write criteria = "..." beside the cycle in the practice file, or give --criteria. There are: {criteria_names()}.'
        raise Mendable(f"{name} names no criteria", where="practice file", mend=mend)
    row = row or find_criteria(cycle.criteria if cycle else "")
    found = criteria_of(row, rulebook, cycle.limits if cycle else {}, cycle.limits_from if cycle else "")
    if cycle is not None and cycle.type in ("B", "N", "S") and found.kind == "steam":
        if found.cycle_type not in ("", cycle.type):
            what = f'cycle "{cycle.id}" is of type {cycle.type}, {found.id} is for type {found.cycle_type}'
            raise Mendable(what, where="criteria", mend="Name the criteria of that type of cycle.")
        found = replace(found, cycle_type=cycle.type)
    return found


def sensors_for(criteria: Criteria, machine: Machine | None) -> Sensors:
    """Return how far readings may be out: by the machine's calibrations where it has any, else as the criteria say."""
    sensors = criteria.sensors()
    if machine is None or not machine.sensors:
        return sensors
    thermometers = {s.channel: Calibration(s.reads_more_by, s.within) for s in machine.sensors if s.channel != "pressure"}
    days = sorted(s.calibrated_on for s in machine.sensors if s.calibrated_on)
    sensors = replace(sensors, calibrated=thermometers, source=f"calibration{f' of {days[0]}' if days else ''}, practice file")
    gauge = next((s for s in machine.sensors if s.channel == "pressure"), None)
    if gauge is None:
        return sensors
    return replace(sensors, pressure_share=0.0, pressure_kpa=gauge.within, pressure_offset_kpa=gauge.reads_more_by)


def form_of_log(machine: Machine | None) -> LogForm:
    """Return how a machine's logs are to be read, as the practice file says; by themselves where it says nothing."""
    if machine is None or machine.log is None:
        return LogForm()
    said = machine.log
    return LogForm(dict(said.columns), dict(said.units), said.reference, said.decimal, said.time)


def read_log_of(machine: Machine | None, content: bytes, name: str) -> ReadLog:
    """Return a log of a machine, read as its log form in the practice file says; raises `Mendable` where that form can't be right."""
    ambient = machine.log.ambient_kpa if machine is not None and machine.log is not None else None
    return read_log(content, name, form_of_log(machine), ambient_kpa=ambient)


def load_form(practice: Practice, items: Iterable[tuple[str, bool, str | None]]) -> LoadForm | None:
    """Return the hardest form among (unit, wrapped, form), and whether anything is wrapped; None of nothing. A handpiece is hollow."""
    hardest: str | None = None
    wrapped = there = False
    for unit, packed, said in items:
        of_type = set_type_of(practice, unit)
        form = "hollow" if of_type is not None and of_type.kind == "handpiece" else said
        hardest = max(hardest, form, key=HARDEST.__getitem__)
        wrapped, there = wrapped or packed, True
    forms: dict[str | None, Form] = {None: "solid", "solid": "solid", "porous": "porous", "hollow": "hollow"}
    return LoadForm(forms[hardest], wrapped) if there else None
