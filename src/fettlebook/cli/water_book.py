"""The work of `fettlebook water` with a book: the counts of the book judged, or a laboratory's table taken into it."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime, time
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import click

from fettlebook.book.door import Door
from fettlebook.book.entries import Moment
from fettlebook.book.kinds import HeldFile, digest_of
from fettlebook.book.stores import open_book
from fettlebook.cli.book_open import now_ms
from fettlebook.cli.standings_read import read_standings
from fettlebook.errors import Mendable
from fettlebook.exchange.laboratory.from_book import BookWater, judge_book
from fettlebook.exchange.laboratory.into_book import Intake, intake_of
from fettlebook.exchange.laboratory.sheet import Sheet
from fettlebook.practice.load import load_practice
from fettlebook.standing.look import Look

LATEST = time(23, 59)


def judged_from_book(practice_file: str, data: str | None, day: date | None, **ways: Any) -> tuple[Look, BookWater]:
    """Return what the book says of its chairs' water at the end of a day (None: now), and the look it was made from."""
    at = (
        None if day is None or day >= datetime.now(_zone(practice_file)).date() else datetime.combine(day, LATEST).isoformat("T", "minutes")
    )
    with read_standings(practice_file, data, at, "now") as asked:
        look = asked.view.look
        return look, judge_book(look, **ways)


def take_in(
    sheet: Sheet,
    file: str,
    content: bytes,
    *,
    practice_file: str,
    data: str | None,
    by: str | None,
    write: bool,
    renamed: Mapping[str, str],
) -> tuple[Intake, int]:
    """Look a laboratory's table through for the book; with `write`, enter all of it or nothing.

    Returns
    -------
    What the table would add, and how many results were written.
    """
    rows = tuple(replace(row, chair=renamed.get(row.chair, row.chair)) for row in sheet.rows)
    media = "text/csv"
    report = HeldFile(digest=digest_of(content), length_bytes=len(content), media=media, name=Path(file).name[:500])
    with read_standings(practice_file, data, None, "now") as asked:
        intake = intake_of(asked.view.look, replace(sheet, rows=rows), file, report)
        zone, practice = asked.practice.practice.time_zone, asked.practice.practice.id
        people = [person.id for person in asked.practice.people]
    if not write or not intake.clean or not intake.to_write:
        return intake, 0
    if by is None:
        raise Mendable("not given", where="--by", mend="Say who enters it: --by ana, an id from the practice file.")
    if by not in people:
        raise Mendable(f"nobody is called {by!r:.60}", where="--by", mend=f"Choose one of: {', '.join(people)}.")
    book = Path(data) if data else Path(practice_file).with_name("book.sqlite")
    with open_book(book, practice) as store:
        door, moment = Door(store), Moment(now_ms(), zone)
        for one in intake.to_write:
            door.refuse(one.data, moment=moment, by=by)  # before the report's bytes are kept
        store.keep_file(content, media=media, name=report.name)
        receipts = door.note_all([one.data for one in intake.to_write], moment=moment, by=by)
    return intake, len(receipts)


def show_intake(intake: Intake, written: int, *, asked: bool) -> None:
    """Say what a table adds to the book, line by line, and what keeps it out."""
    for one in intake.to_write:
        waited = "answers the sample that waits" if one.waited else "sample not in the book before: taken at noon"
        mark = {"below": "less than ", "above": "at least ", "count": ""}[one.row.kind]
        click.echo(
            f"line {one.row.line:<4} {one.row.chair:<12} {one.row.sampled_on}  {mark}{one.data.value / 10 ** (one.data.decimals or 0):g} "
            f"CFU/mL ({one.row.colonies} colonies on {one.row.volume_ml:g} mL), {waited}"
        )
    if intake.known:
        say(f"In the book already, passed over: lines {', '.join(str(row.line) for row in intake.known)}.")
    for finding in intake.findings:
        click.echo(f"{'aside' if finding.weight == 'error' else 'look '}    {finding}", err=True)
    if written:
        say(f"{written} results are in the book.")
    elif not intake.clean:
        say("Nothing was written: mend what is named above, then again. A table goes in as a whole.")
    elif not intake.to_write:
        say("Nothing new: the book has all of it.")
    elif not asked:
        say(f"{len(intake.to_write)} results would be written. To do so, add: --write --by PERSON")


def intake_data(intake: Intake, written: int) -> dict[str, Any]:
    """Return the same for programs."""
    return {
        "written": written,
        "to_write": [
            {"line": one.row.line, "chair": one.data.chair, "sample": one.data.sample, "waited": one.waited} for one in intake.to_write
        ],
        "known": [row.line for row in intake.known],
        "findings": [{"what": f.what, "where": f.where, "mend": f.mend, "weight": f.weight} for f in intake.findings],
    }


def say(text: str) -> None:
    """Print a paragraph."""
    click.echo(textwrap.fill(text, 80, break_on_hyphens=False))


def _zone(practice_file: str) -> ZoneInfo:
    return ZoneInfo(load_practice(Path(practice_file)).practice.time_zone)
