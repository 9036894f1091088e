"""A laboratory's table as results for the book: looked through first, each result once, all of it or nothing.

A result finds its sample where exactly one sample of that chair and day waits in the book; else it brings its own, taken at noon.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from typing import Final

from fettlebook.book.kinds import HeldFile, SampleResult, to_ms
from fettlebook.errors import Finding
from fettlebook.exchange.laboratory.sheet import Sheet, SheetRow
from fettlebook.standing.look import Look
from fettlebook.standing.water_history import WATER_COUNT

NL_PER_ML: Final = 1_000_000
NOON: Final = time(12)
MOST_DECIMALS: Final = 6


@dataclass(frozen=True, slots=True)
class ToWrite:
    """One line of the table and the entry that it becomes; `waited`: it answers a sample that the book has without a result."""

    row: SheetRow
    data: SampleResult
    waited: bool


@dataclass(frozen=True, slots=True)
class Intake:
    """What a table would add to the book. With `findings` of weight error nothing of it may be written."""

    to_write: tuple[ToWrite, ...]
    known: tuple[SheetRow, ...]  # in the book already
    findings: tuple[Finding, ...]

    @property
    def clean(self) -> bool:
        """Whether nothing stands against writing it."""
        return not any(finding.weight == "error" for finding in self.findings)


def intake_of(look: Look, sheet: Sheet, file: str, report: HeldFile | None = None) -> Intake:
    """Return what a laboratory's table would add to a book, as known at a look's moment.

    Parameters
    ----------
    look
        The book, and the practice file whose chairs the table must name.
    sheet, file
        The table as read, and its name for messages.
    report
        The table's own bytes, kept beside the book; each entry names them.
    """
    chairs = {chair.id.casefold(): chair.id for chair in look.basis.practice.chairs}
    findings = list(sheet.findings)
    unknown = sorted({row.chair for row in sheet.rows if row.chair.casefold() not in chairs})
    if unknown:
        lines = ", ".join(str(row.line) for row in sheet.rows if row.chair in unknown)
        mend = f"Chairs of the practice file: {', '.join(chairs.values())}. Was one renamed? Say it: --rename NAME=CHAIR."
        findings.append(Finding(f"no such chair: {', '.join(unknown)}", f"{file} line {lines}, chair", mend))
    to_write: list[ToWrite] = []
    known: list[SheetRow] = []
    samples = {chair: list(_in_book(look, chair)) for chair in chairs.values()}
    taken: set[str] = {sample.name for found in samples.values() for sample in found}
    for row in sheet.rows:
        chair = chairs.get(row.chair.casefold())
        if chair is None:
            continue
        if any(_same(row, one) for one in samples[chair]):
            known.append(row)
            continue
        base = _name(chair, row)
        other = next((one for one in samples[chair] if row.report and one.name == base and one.result is not None), None)
        if other is not None and other.result is not None:
            what = f"the book has report {row.report} with another result ({other.result[0]:g} CFU/mL)"
            findings.append(Finding(what, f"{file} line {row.line}", "Ask the laboratory which holds; correct the entry in the book."))
            continue
        waiting = [one for one in samples[chair] if one.result is None and one.day == row.sampled_on and not one.answered]
        if len(waiting) == 1:
            waiting[0].answered = True
            name, taken_ms = waiting[0].name, waiting[0].taken_ms
        else:
            name = _fresh(base, taken)
            taken_ms = to_ms(datetime.combine(row.sampled_on, NOON, tzinfo=look.basis.zone))
        taken.add(name)
        to_write.append(ToWrite(row, _entry(row, name, chair, taken_ms, report), len(waiting) == 1))
    return Intake(tuple(to_write), tuple(known), tuple(findings))


@dataclass(slots=True)
class _Sample:
    """A sample in the book: what it is called, when it was taken, and what its result says: (report's number, colonies, volume [nL])."""

    name: str
    day: date
    taken_ms: int
    result: tuple[float, int | None, int | None] | None
    answered: bool = False


def _in_book(look: Look, chair: str) -> Iterator[_Sample]:
    seen: set[str] = set()
    for fact in look.back(f"chair:{chair}", "sample"):
        name = fact.says.sample
        if name in seen:
            continue
        seen.add(name)
        taken = look.latest(f"sample:{name}", "taken")
        results = look.state.stream(f"sample:{name}", "result").back(look.known_at, look.known_at)
        said = next((one.says for one in results if one.says.quantity == WATER_COUNT), None)
        when = taken.happened if taken is not None else fact.happened
        plates = said.plates[0] if said is not None and len(said.plates) == 1 else (None, None, "")
        yield _Sample(name, look.basis.day_of(when), when, (said.value, plates[0], plates[1]) if said is not None else None)


def _same(row: SheetRow, one: _Sample) -> bool:
    """Tell whether a result of the book is this line: the same day and the same count on the same volume."""
    if one.result is None or one.day != row.sampled_on:
        return False
    value, colonies, plated = one.result
    if plated is not None and colonies is not None:
        return (colonies, plated) == (row.colonies, _nl(row.volume_ml))
    number, decimals = _number(row)
    return bool(abs(value - number / 10**decimals) < 1e-9 * max(1.0, value))


def _name(chair: str, row: SheetRow) -> str:
    """Return what a sample that the book doesn't know is called: by the report's number where it has one."""
    plain = re.sub(r"[^A-Za-z0-9._-]+", "-", row.report).strip("-.")[:40]
    return f"W {plain}" if plain else f"W {row.sampled_on} {chair}"[:50]


def _fresh(base: str, taken: set[str]) -> str:
    name, number = base, 1
    while name in taken:
        number += 1
        name = f"{base} {number}"
    return name


def _entry(row: SheetRow, sample: str, chair: str, taken_ms: int, report: HeldFile | None) -> SampleResult:
    number, decimals = _number(row)
    return SampleResult(
        sample=sample,
        quantity=WATER_COUNT,
        value=number,
        decimals=decimals or None,
        value_unit="CFU/mL",
        mark=None if row.kind == "count" else row.kind,
        chair=chair,
        taken_ms=taken_ms,
        colonies=row.colonies,
        plated_nl=_nl(row.volume_ml),
        report=report,
        report_number=row.report or None,
    )


def _nl(volume_ml: float) -> int:
    return max(1, round(volume_ml * NL_PER_ML))


def _number(row: SheetRow) -> tuple[int, int]:
    """Return CFU/mL as whole number and decimals: below, the first count that was ruled out; else colonies over volume."""
    colonies = row.colonies + 1 if row.kind == "below" else row.colonies
    per_ml = Decimal(colonies) / Decimal(repr(row.volume_ml))
    decimals = min(MOST_DECIMALS, max(0, -int(per_ml.normalize().as_tuple().exponent)))
    if per_ml >= 10:
        decimals = min(decimals, 1)
    return int((per_ml * 10**decimals).to_integral_value()), decimals
