"""Reading a machine's or a logger's CSV into a cycle's log: columns by name, units as said, every row that can't be read counted.

Nothing is guessed in silence. What a header or an option says is taken; a pressure's unit that nobody says is taken only where it fits in
one way, and that is told; whatever stays open becomes a finding, and the cycle is then `unproven`.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np

from fettlebook.errors import Finding, Mendable
from fettlebook.exchange.logs_columns import Column, headed_columns, told_columns
from fettlebook.exchange.logs_table import Table, read_table
from fettlebook.exchange.logs_times import seconds_of
from fettlebook.science.cycles.log import CycleLog, Real
from fettlebook.science.cycles.quantities import PRESSURE_KPA, TEMPERATURE, Reference, fitting_units, hottest_pair, to_celsius, to_kpa

LARGEST_BYTES: Final = 200_000_000


@dataclass(frozen=True, slots=True)
class LogForm:
    """What a person says of a log's form; whatever is left out is read from the file.

    Parameters
    ----------
    columns
        Role (time, chamber, drain, load, pressure, dose, or any other name for a further thermometer) to the column's
        name, or its number from 1.
    units
        Role to unit: C, F or K; kPa, bar, mbar, hPa, Pa, MPa, psi or mmHg; s or min for time.
    reference
        Whether the pressure is absolute or gauge.
    decimal
        Decimal sign.
    time
        What two numbers with a colon mean: hours and minutes, or minutes and seconds.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    reference: Reference | None = None
    decimal: Literal[".", ","] | None = None
    time: Literal["h:m", "m:s"] | None = None


@dataclass(frozen=True, slots=True)
class ReadLog:
    """A log as read, in the trade's units, with the columns that were taken and those left aside."""

    log: CycleLog
    taken: Mapping[str, str]  # role -> the column's own name
    units: Mapping[str, str]  # role -> unit, and how it is known
    left_aside: tuple[str, ...]


def read_log(text: bytes, file: str, form: LogForm | None = None, *, ambient_kpa: float | None = None) -> ReadLog:
    """Return the log of a CSV text.

    Parameters
    ----------
    text
        The file's bytes; UTF-8, UTF-16 with its mark, or Windows-1252.
    file
        Its name, for findings.
    form
        What a person says of its form.
    ambient_kpa
        The air's pressure where somebody told it [kPa]; a gauge reading can't be used without.

    Returns
    -------
    ReadLog
        Never raises for what is in the file: an empty file gives an empty log whose findings say so.

    Raises
    ------
    Mendable
        The form itself is wrong: a column, unit or pressure that there can't be.
    """
    form = form or LogForm()
    _check_form(form, ambient_kpa)
    table = read_table(text, file, form.decimal)
    findings = list(table.findings)
    columns = told_columns(table, form.columns, file) if form.columns else {}
    headed, aside, odd = headed_columns(table, taken={c.index for c in columns.values()}, roles=frozenset(columns), file=file)
    columns = {**headed, **columns}
    findings += odd
    if aside:
        findings.append(Finding(f"left aside: {', '.join(aside)}", file, "If one is needed, name it: --column ROLE=NAME.", "warning"))
    findings += _words(table, columns, file)
    _join_date(table, columns)
    if table.numbers.shape[0] == 0 or "time" not in columns:
        if table.numbers.shape[0]:
            findings.append(Finding("no column is the time", file, "Say which one: --column time=NAME."))
        return ReadLog(CycleLog(np.zeros(0), {}, None, ambient_kpa, None, tuple(findings)), {}, {}, aside)
    time_s, time_unit, faults = seconds_of(table, columns["time"], form.units.get("time"), form.time, file)
    findings += faults
    temps, told, faults = _temperatures(table, columns, form, file)
    findings += faults
    told["time"] = time_unit
    pressure = None
    if "pressure" in columns:
        hottest = np.max(np.array(list(temps.values())), axis=0) if temps else np.full(time_s.size, np.nan)
        column = columns["pressure"]
        pressure, how, faults = _pressure((table.column(column.index), hottest), column, form, ambient_kpa, f"{file}, column {column.name}")
        findings += faults
        told["pressure"] = how
    dose = table.column(columns["dose"].index) if "dose" in columns else None
    log = CycleLog(time_s, temps, pressure, ambient_kpa, dose, tuple(findings))
    return ReadLog(log, {role: c.name for role, c in columns.items()}, told, aside)


def _check_form(form: LogForm, ambient_kpa: float | None) -> None:
    for role, unit in form.units.items():
        known = (
            ("s", "min", "h")
            if role == "time"
            else tuple(PRESSURE_KPA)
            if role == "pressure"
            else ("mL",)
            if role == "dose"
            else TEMPERATURE
        )
        if unit not in known:
            raise Mendable(f'"{unit}" is no unit of {role}', where="--unit", mend=f"There are: {', '.join(known)}.")
    if ambient_kpa is not None and not 50.0 <= ambient_kpa <= 110.0:
        mend = "Give the air's own pressure at the practice, not reduced to sea level: 101.3 at the sea, about 95 at 540 m."
        raise Mendable(f"{ambient_kpa:g} kPa is no pressure of the air", where="--ambient-kpa", mend=mend)


def _temperatures(
    table: Table, columns: Mapping[str, Column], form: LogForm, file: str
) -> tuple[dict[str, Real], dict[str, str], list[Finding]]:
    temps: dict[str, Real] = {}
    told: dict[str, str] = {}
    findings: list[Finding] = []
    for role, column in columns.items():
        if role in ("time", "date", "pressure", "dose"):
            continue
        unit = form.units.get(role) or form.units.get("temperature") or column.unit or ""
        values = table.column(column.index)
        if not unit:
            unit = "C"
            hot = float(np.nanmax(values)) if np.any(np.isfinite(values)) else 0.0
            if hot > 150.0:
                mend = f"Say the unit: --unit {role}=F, or {role}=K."
                findings.append(Finding(f"{role} goes to {hot:.0f} and no unit is said: no degrees Celsius", file, mend))
        temps[role] = to_celsius(values, unit)
        told[role] = f"deg{unit}" if unit != "K" else "K"
    if not temps:
        findings.append(Finding("no column is a temperature", file, "Say which one: --column chamber=NAME."))
    return temps, told, findings


def _words(table: Table, columns: Mapping[str, Column], file: str) -> list[Finding]:
    """Return words that stand in place of readings in the columns that are judged by; the cycle can't be told to be good past them."""
    found: list[Finding] = []
    for column in columns.values():
        cells = table.words.get(column.index)
        if cells:
            line, cell = cells[0]
            what = f'{len(cells)} {"cell is" if len(cells) == 1 else "cells are"} no number in "{column.name}", the first "{cell[:30]}"'
            mend = "Look what the machine meant by it; leave a cell empty where there was no reading."
            found.append(Finding(what, f"{file} line {line}", mend))
    return found


def _join_date(table: Table, columns: dict[str, Column]) -> None:
    """Put the date before the time where the log has a column for each."""
    date, time = columns.get("date"), columns.get("time")
    if date and time and date.index in table.cells and time.index in table.cells:
        table.cells[time.index] = [
            f"{d.strip()} {t.strip()}" for d, t in zip(table.cells[date.index], table.cells[time.index], strict=True)
        ]


def _pressure(
    read: tuple[Real, Real], column: Column, form: LogForm, ambient_kpa: float | None, place: str
) -> tuple[Real | None, str, list[Finding]]:
    """Return the absolute pressure [kPa] or None, how its unit is known, and what was found; `read` is it and the hottest sensor."""
    values, hottest_c = read
    unit = form.units.get("pressure") or column.unit
    reference = form.reference or column.reference
    if not np.any(np.isfinite(values)):
        return None, "", [Finding("the pressure has no reading", place, "Name the column that has it: --column pressure=NAME.")]
    how = "as said" if unit and reference else "told by its size"
    findings: list[Finding] = []
    if not unit or not reference:
        start, hot, pressure = hottest_pair(hottest_c, values)
        hot_fits = [
            ((u.pressure, u.reference), fits)
            for u, fits in fitting_units(start, hot, pressure, ambient_kpa or 101.3)
            if u.temperature == "C" and unit in ("", u.pressure) and reference in (None, u.reference)
        ]
        # Hot end and start; else the start alone (a log that never gets hot); else the hot end alone (a log that begins too late).
        fitting = {u for u, fits in hot_fits if fits} or _by_start(start, unit, reference) or {u for u, _ in hot_fits}
        if len(fitting) != 1:
            found = ", ".join(sorted(f"{u} {r}" for u, r in fitting)) or "none that fits its temperature and the air's pressure"
            mend = "Say both: --unit pressure=kPa (or bar, mbar, psi, ...) and --pressure absolute (or gauge)."
            return None, "", [Finding(f"the pressure's unit is not said, and could be: {found}", place, mend)]
        ((unit, reference),) = fitting
        findings.append(Finding(f"taken as {unit} {reference}, by its size", place, "Say so if it is not.", "warning"))
    if reference == "gauge" and ambient_kpa is None:
        mend = "Give the air's own pressure on that day: --ambient-kpa. Sea level is about 101, 1,500 m about 84."
        return None, "", [*findings, Finding("a gauge shows nothing of the air's pressure, and it was not told", place, mend)]
    return to_kpa(values, unit, reference or "absolute", ambient_kpa or 0.0), f"{unit} {reference}, {how}", findings


def _by_start(start: float, unit: str, reference: Reference | None) -> set[tuple[str, Reference]]:
    """Return how the first readings alone would be the air's pressure: for logs that never get hot, such as a leak test."""
    found: set[tuple[str, Reference]] = set()
    for name in (unit,) if unit else ("kPa", "bar", "mbar", "psi"):
        kpa = start * PRESSURE_KPA[name]
        if 70.0 <= kpa <= 108.0 and reference in (None, "absolute"):
            found.add((name, "absolute"))
        if unit and abs(kpa) <= 5.0 and reference in (None, "gauge"):
            found.add((name, "gauge"))
    return found
