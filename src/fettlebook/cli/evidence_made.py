"""The work of `fettlebook evidence`: read what is named, make the folder, say what came of it."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import click

from fettlebook.book.stores import open_book
from fettlebook.cli.printed_in import printed_in
from fettlebook.cli.standings_read import book_beside
from fettlebook.errors import Mendable
from fettlebook.exchange.evidence.blocks import Clock
from fettlebook.exchange.evidence.bundle import zip_bytes_to
from fettlebook.exchange.evidence.first_page import areas_of
from fettlebook.exchange.evidence.make import Made, make_evidence
from fettlebook.exchange.evidence.span import span_of
from fettlebook.practice.load import load_practice
from fettlebook.rules.load import load_rulebook
from fettlebook.standing.basis import Basis
from fettlebook.standing.model import SHAPES, Verdict, worst
from fettlebook.times.running import running_times


def write_evidence(
    practice_file: str,
    first: date,
    last: date | None,
    chairs: Sequence[str],
    output: str,
    *,
    data: str | None,
    key_at: str | None,
    zip_at: str | None,
    as_json: bool,
    language: str | None = None,
) -> bool:
    """Write it and say what it says; return whether all is in order."""
    path = Path(practice_file)
    practice = load_practice(path)
    zone = ZoneInfo(practice.practice.time_zone)
    today = datetime.now(zone).date()
    span = span_of(practice, first, last or today, today, chairs)
    rulebook = load_rulebook(practice, on=min(span.last, today))
    book = book_beside(path, data)
    if zip_at is not None and Path(zip_at).exists():
        raise Mendable("a file is there already", where=zip_at, mend="Name a new file; it is never overwritten.")
    tell = _tell if not as_json and sys.stderr.isatty() else lambda stage, done, of: None
    with open_book(book, practice.practice.id, write=False) as store:
        basis = Basis.of(practice, rulebook, running_times(practice, rulebook))
        key = Path(key_at) if key_at else Path(f"{book}.key")
        voice = printed_in(practice, language)
        made = make_evidence(store, basis, span, Path(output), key_file=key, tell=tell, voice=voice)
    if zip_at is not None:
        zip_bytes_to(made.folder, Path(zip_at))
    areas = areas_of(made.found, made.figures, made.seals)
    click.echo(json.dumps(_data(made), ensure_ascii=False, indent=2) if as_json else _page(made, zone))
    return worst(verdict for _, verdict, _ in areas) is Verdict.FIT


def _tell(stage: str, done: int, of: int) -> None:
    click.echo(f"\r\x1b[K{stage}{f' {done:,} of {of:,}' if of else ''}", nl=False, err=True)
    if stage == "setting the pages":
        click.echo("", err=True)


def _page(made: Made, zone: ZoneInfo) -> str:
    lines = [*(f"ATTENTION: {one}" for one in made.seals.alarms)]
    for area, verdict, told in areas_of(made.found, made.figures, made.seals):
        lines.append(f"{SHAPES[verdict]} {area:<18} {told}")
    for one in made.found.open[:10]:
        lines.append(f"  open since {Clock(zone).at(one.at_ms)}: {one.subject.partition(':')[2]}, {one.what}")
    if len(made.found.open) > 10:
        lines.append(f"  and {len(made.found.open) - 10} more open, in report.pdf")
    lines.append(f"{made.folder}: report.pdf ({made.report_bytes / 1e6:.1f} MB), {made.shown:,} of {made.size:,} entries shown")
    lines.append(f"whole folder {made.bundle_bytes / 1e6:.1f} MB. Check it anywhere: python3 {made.folder / 'check.py'}")
    return "\n".join(lines)


def _data(made: Made) -> dict[str, object]:
    return {
        "folder": str(made.folder),
        "from": str(made.found.span.first),
        "to": str(made.found.span.last),
        "chairs": list(made.found.span.chairs),
        "size": made.size,
        "shown": made.shown,
        "root": made.root.hex(),
        "signed": made.seals.signed,
        "whole": made.seals.whole,
        "alarms": list(made.seals.alarms),
        "areas": [{"area": a, "verdict": str(v), "told": t} for a, v, t in areas_of(made.found, made.figures, made.seals)],
        "figures": {one.id: one.value for one in made.figures.of.values()},
        "report_bytes": made.report_bytes,
        "bundle_bytes": made.bundle_bytes,
    }
