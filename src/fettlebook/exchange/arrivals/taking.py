"""Taking in what arrives: each file goes to its reader, is written whole or put aside whole, and is known the next time."""

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from fettlebook.book.kinds import HeldFile, digest_of
from fettlebook.errors import Finding, Mendable
from fettlebook.exchange.arrivals.arrived import LABORATORY, Arrived, Outcome
from fettlebook.exchange.arrivals.aside import put_aside
from fettlebook.exchange.arrivals.cycle_log import Into, take_cycle_log
from fettlebook.exchange.arrivals.reports import as_table
from fettlebook.exchange.laboratory.into_book import intake_of
from fettlebook.exchange.laboratory.sheet import SheetWays, read_sheet
from fettlebook.practice.model import Laboratory
from fettlebook.standing.look import Look

PACKED: Final = (b"PK\x03\x04", b"\x1f\x8b\x08", b"Rar!", b"7z\xbc\xaf")
Looking = Callable[[], Look]


def take_in(into: Into, looking: Looking, arrived: Arrived, aside: Path | None) -> Outcome:
    """Take in one file; what can't be read is put aside in the folder `aside` (None: only told).

    Raises
    ------
    Mendable
        Nothing could be written, neither into the book nor aside: the file stays where it is, and is tried again.
    """
    if arrived.content[:4].startswith(PACKED):
        found = Finding("a packed archive", arrived.name, "Unpack it; it is not opened here, whatever is in it.")
        outcome = Outcome("put aside", f"{arrived.name}: a packed archive", findings=(found,))
    elif arrived.source == LABORATORY:
        outcome = take_report(into, looking(), arrived)
    else:
        outcome = take_cycle_log(into, looking(), arrived)
    if outcome.became == "put aside" and aside is not None:
        put_aside(aside, arrived, outcome)
    return outcome


def take_report(into: Into, look: Look, arrived: Arrived) -> Outcome:
    """Take in a laboratory's report: all of its results, or none."""
    lab, zone = into.practice.laboratory, ZoneInfo(into.practice.practice.time_zone)
    try:
        report = as_table(arrived.content, arrived.name)
        ways = ways_of(lab)
        if report.decimal is not None:
            ways = replace(ways, decimal=report.decimal, unit_ml=ways.unit_ml)
        sheet = read_sheet(report.table, arrived.name, ways, datetime.fromtimestamp(into.now_ms / 1000, zone).date())
        rows = tuple(replace(row, chair=lab.chairs.get(row.chair, row.chair)) for row in sheet.rows)
        held = HeldFile(
            digest=digest_of(arrived.content), length_bytes=len(arrived.content), media=media_of(arrived), name=arrived.name[-500:]
        )
        intake = intake_of(look, replace(sheet, rows=rows), arrived.name, held)
        wrong = tuple(one for one in (*report.findings, *intake.findings) if one.weight == "error")
        if wrong:
            return Outcome("put aside", f"{arrived.name}: {wrong[0].what}", findings=wrong)
        if not intake.to_write:
            return Outcome("known", f"{arrived.name}: {len(intake.known)} results, all in the book already")
        said = [one.data for one in intake.to_write]
        for data in said:
            into.door.refuse(data, moment=into.moment, now=into.now_ms)
        into.store.keep_file(arrived.content, media=held.media, name=held.name)
        receipts = into.door.note_all(said, moment=into.moment)
    except Mendable as error:
        return Outcome("put aside", f"{arrived.name}: {error.findings[0].what}", findings=tuple(error.findings))
    return Outcome("kept", f"{arrived.name}: {len(receipts)} results", tuple(one.id for one in receipts))


def ways_of(lab: Laboratory) -> SheetWays:
    """Return how the laboratory's tables are to be read, as the practice file says."""
    return SheetWays(
        dict(lab.columns), lab.decimal, lab.per_ml, lab.volume_ml, lab.too_many_at, "none seen" if lab.nd_is_none_seen else None, lab.dates
    )


def media_of(arrived: Arrived) -> str:
    """Return the media type of a report."""
    return "application/json" if arrived.content.lstrip()[:1] in (b"{", b"[") else "text/csv"
