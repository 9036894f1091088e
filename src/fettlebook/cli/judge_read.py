"""What a judgement needs, from files and options: the log, the criteria, the sensors' bounds, the machine's past."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from fettlebook.errors import Mendable
from fettlebook.exchange.cycle_judging import criteria_for, criteria_names, form_of_log, sensors_for
from fettlebook.exchange.logs import LARGEST_BYTES, LogForm, ReadLog, read_log
from fettlebook.practice.load import read_practice_file
from fettlebook.practice.model import Cycle, Machine, Practice
from fettlebook.rules.cycle_criteria import CriteriaRow, bundled_criteria, criteria_of, find_criteria, read_criteria
from fettlebook.rules.load import load_rulebook
from fettlebook.rules.model import Rulebook
from fettlebook.science.cycles.criteria import Criteria
from fettlebook.science.cycles.drift import Chart, against_past
from fettlebook.science.cycles.judge import judge_cycle
from fettlebook.science.cycles.load_types import LoadForm
from fettlebook.science.cycles.log import CycleLog, Real, Sensors
from fettlebook.science.cycles.outcome import Judgement, evidence

Options = Mapping[str, Any]
UNTOLD = "Nothing says by what it should be judged. "


@dataclass(frozen=True, slots=True)
class Judged:
    """A judged file, and all that was taken for it."""

    file: str
    sha256: str
    machine: str
    cycle: str
    read: ReadLog
    log: CycleLog
    criteria: Criteria
    sensors: Sensors
    judgement: Judgement
    charts: tuple[Chart, ...]

    @property
    def title(self) -> str:
        """Machine, cycle and file."""
        return ", ".join(part for part in (self.machine, self.cycle, self.file) if part)


def judged_file(
    path: Path,
    options: Options,
    known: tuple[Practice, Rulebook] | None = None,
    load: LoadForm | None = None,
    past: Sequence[Mapping[str, float]] = (),
) -> Judged:
    """Return a log file judged as the options say.

    Parameters
    ----------
    known
        The practice and its rulebook, where a book says them; left out: those of --practice.
    load
        What the book says of the load; --load and --wrapped come before it.
    past
        Values of the machine's earlier cycles, as the book has them, oldest first; those of --past come after.

    Raises
    ------
    Mendable
        A file is missing, or an option names a machine, cycle, criteria, column or unit that there isn't.
    """
    text = read_log_file(path)
    practice, rulebook = known or _practice(options["practice_file"])
    machine = _machine(practice, options["machine"])
    cycle = _cycle(machine, options["cycle"], needed=options["criteria"] is None)
    criteria, untold = _criteria(options, cycle, rulebook)
    sensors = _sensors(criteria, machine, options)
    read = read_log(text, path.name, _form(options, machine), ambient_kpa=_ambient(options, machine))
    log = _cut(read.log, options["from_s"], options["to_s"])
    if options["load_form"] or options["wrapped"] is not None:
        load = LoadForm(options["load_form"] or "solid", bool(options["wrapped"]))
    if untold:
        criteria, judgement = _only_measured(log, sensors, load)
    else:
        judgement = judge_cycle(log, criteria, sensors, load=load, indicator=options["indicator"])
    charts = against_past(judgement.values, [*past, *(v for file in options["past"] for v in _past(file, criteria, sensors, options))])
    drifts = tuple(f"Against its own {len(chart.past)} past cycles: {chart.odd}." for chart in charts if chart.odd)
    judgement = replace(judgement, remarks=(*judgement.remarks, *drifts))
    name = machine.id if machine else options["machine"] or ""
    digest = hashlib.sha256(text).hexdigest()
    return Judged(path.name, digest, name, options["cycle"] or (cycle.id if cycle else ""), read, log, criteria, sensors, judgement, charts)


def read_log_file(path: Path) -> bytes:
    """Return a log's bytes; raises `Mendable` where it can't be read or is far too long."""
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise Mendable(f"{path.stat().st_size} bytes are no cycle's log", where=str(path), mend="Cut out the cycle.")
        return path.read_bytes()
    except OSError as error:
        raise Mendable(f"can't be read: {error.strerror}", where=str(path), mend="Name the log's file.") from None


def _practice(path: Path | None) -> tuple[Practice | None, Rulebook | None]:
    if path is None:
        return None, None
    loaded = read_practice_file(path)
    if loaded.practice is None:
        raise Mendable.of(loaded.errors)
    today = datetime.now(ZoneInfo(loaded.practice.practice.time_zone)).date()
    return loaded.practice, load_rulebook(loaded.practice, on=today, loaded=loaded)


def _machine(practice: Practice | None, name: str | None) -> Machine | None:
    if practice is None:
        return None
    have = ", ".join(m.id for m in practice.machines)
    if name is None:
        raise Mendable("which machine ran it is not said", where="--machine", mend=f"Choose one of: {have}.")
    machine = next((m for m in practice.machines if m.id == name), None)
    if machine is None:
        raise Mendable(f'there is no machine "{name}" in the practice file', where="--machine", mend=f"Choose one of: {have}.")
    return machine


def _cycle(machine: Machine | None, name: str | None, *, needed: bool) -> Cycle | None:
    if machine is None:
        return None
    have = ", ".join(c.id for c in machine.cycles)
    if name is None:
        if len(machine.cycles) == 1:
            return machine.cycles[0]
        if needed:
            raise Mendable(f"which cycle of {machine.id} it was is not said", where="--cycle", mend=f"Choose one of: {have}.")
        return None
    cycle = next((c for c in machine.cycles if c.id == name), None)
    if cycle is None and needed:
        raise Mendable(f'{machine.id} has no cycle "{name}"', where="--cycle", mend=f"Choose one of: {have}.")
    return cycle


def _criteria(options: Options, cycle: Cycle | None, rulebook: Rulebook | None) -> tuple[Criteria, bool]:
    """Return the criteria; true beside stand-ins where nobody said any."""
    name = options["criteria"] or (cycle.criteria if cycle else "")
    if not name and cycle is None and options["cycle"] in {row.id for row in bundled_criteria()}:
        name = options["cycle"]
    if not name and cycle is None:
        return criteria_of(find_criteria("steam-134-b")), True
    return criteria_for(cycle, rulebook, _row(name, options["cycle"]) if name else None), False


def _row(name: str, cycle: str | None) -> CriteriaRow:
    path = Path(name)
    if path.suffix != ".toml":
        return find_criteria(name)
    rows = read_criteria(read_log_file(path), path.name)
    if len(rows) == 1:
        return rows[0]
    if cycle is None:
        raise Mendable(f"{path.name} has {len(rows)} criteria", where="--cycle", mend=f"Choose one of: {', '.join(r.id for r in rows)}.")
    return find_criteria(cycle, rows, where="--cycle")


def _sensors(criteria: Criteria, machine: Machine | None, options: Options) -> Sensors:
    sensors = sensors_for(criteria, machine)
    if (k := options["temperature_within_k"]) is not None:
        calibrated = {c: replace(v, within_k=k) for c, v in sensors.calibrated.items()}
        sensors = replace(sensors, temperature_k=k, calibrated=calibrated, source="as told")
    if (kpa := options["pressure_within_kpa"]) is not None:
        sensors = replace(sensors, pressure_share=0.0, pressure_kpa=kpa)
    return sensors


def _form(options: Options, machine: Machine | None = None) -> LogForm:
    """Return the log form: the machine's own, and over it what was said now."""
    own = form_of_log(machine)
    return LogForm(
        columns={**own.columns, **_pairs(options["columns"], "--column", "time=Zeit")},
        units={**own.units, **_pairs(options["units"], "--unit", "pressure=bar")},
        reference=options["reference"] or own.reference,
        decimal=options["decimal"] or own.decimal,
        time=options["time_form"] or own.time,
    )


def _ambient(options: Options, machine: Machine | None) -> float | None:
    said: float | None = options["ambient_kpa"]
    return said if said is not None or machine is None or machine.log is None else machine.log.ambient_kpa


def _pairs(texts: Sequence[str], option: str, like: str) -> dict[str, str]:
    found = {}
    for text in texts:
        role, sign, name = text.partition("=")
        if not sign or not role.strip() or not name.strip():
            raise Mendable(f'"{text}" says nothing', where=option, mend=f"Write it as {like}.")
        found[role.strip()] = name.strip()
    return found


def _cut(log: CycleLog, from_s: float | None, to_s: float | None) -> CycleLog:
    if from_s is None and to_s is None:
        return log
    keep = (log.time_s >= (-np.inf if from_s is None else from_s)) & (log.time_s <= (np.inf if to_s is None else to_s))

    def part(values: Real | None) -> Real | None:
        return None if values is None else values[keep]

    temps = {channel: values[keep] for channel, values in log.temperatures_c.items()}
    return replace(log, time_s=log.time_s[keep], temperatures_c=temps, pressure_kpa=part(log.pressure_kpa), dose_ml=part(log.dose_ml))


def _only_measured(log: CycleLog, sensors: Sensors, load: LoadForm | None) -> tuple[Criteria, Judgement]:
    """Return what the log shows where nobody said what it should have been: values of the band it fits best, and the verdict unproven."""
    best: tuple[float, Criteria, Judgement] | None = None
    for name in ("steam-134-b", "steam-126-b", "steam-121-b"):
        criteria = criteria_of(find_criteria(name))
        judged = judge_cycle(log, criteria, sensors, load=load)
        held = judged.values.get("hold_s", 0.0)
        if best is None or held > best[0]:
            best = (held, criteria, judged)
    if best is None:
        raise ValueError("there are bundled criteria")
    held, criteria, judged = best
    low, high = criteria.band_c
    seen = f"It held {held:.0f} s in {low:g} to {high:g} degC. " if held > 0 else ""
    untold = evidence("criteria", "criteria are said", f"{UNTOLD}{seen}Say it with --criteria; there are: {criteria_names()}")
    reading = tuple(o for o in judged.outcomes if o.id in ("reading", "readings", "units", "pressure", "clock", "clock_twice", "one_cycle"))
    return criteria, replace(judged, criteria_id="", criteria_name="no criteria said", outcomes=(untold, *reading))


def _past(path: Path, criteria: Criteria, sensors: Sensors, options: Options) -> list[dict[str, float]]:
    """Return the values of earlier cycles that were fit: from a log, or from answers of `judge --json` (one, a list, or one a line)."""
    text = read_log_file(path)
    if text.lstrip()[:1] not in (b"{", b"["):
        judged = judge_cycle(read_log(text, path.name, _form(options), ambient_kpa=options["ambient_kpa"]).log, criteria, sensors)
        return [dict(judged.values)] if judged.verdict == "fit" else []
    try:
        try:
            whole = json.loads(text)
            answers = whole if isinstance(whole, list) else [whole]
        except json.JSONDecodeError:
            answers = [json.loads(line) for line in text.splitlines() if line.strip()]
        fit = [a["values"] for a in answers if a["verdict"] == "fit" and a["criteria"]["id"] == criteria.id]
        return [{key: float(value) for key, value in values.items()} for values in fit]
    except (ValueError, TypeError, KeyError, AttributeError):
        raise Mendable("no answer of judge --json", where=str(path), mend="Name logs, or files that judge --json wrote.") from None
