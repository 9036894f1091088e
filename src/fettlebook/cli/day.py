"""`fettlebook day`: one day from a practice file and an appointment book, as a timetable."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from fettlebook.cli.options import JSON, SEED, limit_s
from fettlebook.cli.plan import LIMIT_S, MOST_LIMIT_S, progress_shown

if TYPE_CHECKING:
    from datetime import datetime

    from fettlebook.errors import Finding


@click.command()
@click.argument("practice_file", metavar="PRACTICE.toml", type=click.Path(path_type=str))
@click.argument("book_file", metavar="BOOK.ics", type=click.Path(path_type=str))
@click.option(
    "--date", "day", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE", help="The day; left out: today, or the next day with visits."
)
@click.option(
    "--by",
    "by",
    type=click.Choice(["person", "chair", "machine"]),
    multiple=True,
    help="Only these timetables; may be given more than once.",
)
@limit_s(LIMIT_S, MOST_LIMIT_S)
@SEED
@click.option(
    "--key",
    "key_file",
    metavar="FILE",
    help="The practice's key, so that visits get the references of the page; left out: references of this run only.",
)
@click.option("--book", "data", metavar="BOOK.sqlite", help="The practice's book: what is due by it gets its place in the day.")
@JSON
@click.pass_context
def day(
    context: click.Context,
    /,
    *,
    practice_file: str,
    book_file: str,
    day: datetime | None,
    by: tuple[str, ...],
    limit_s: float,
    seed: int,
    key_file: str | None,
    data: str | None,
    as_json: bool,
) -> None:
    """Plan one day from a practice file and an appointment book.

    With the practice's book (--book), what is due by it (weekly tests, samples, what a chair owes after standing still)
    stands in the timetable: before the first visit, or where the day is slack. What finds no room is named.

    Prints the verdict of the day in one line, then who does what when: by person, by chair, by machine. No name and no
    reason of a visit is read.

    Exit status: 0 every visit on time; 1 a visit late or not served, or an entry of the files that must be mended; 2
    nothing could be done.
    """
    import json  # noqa: PLC0415 - imports wait until they are needed: --help stays quick
    from pathlib import Path  # noqa: PLC0415

    from fettlebook.cli.day_from_files import plan_from_files  # noqa: PLC0415
    from fettlebook.cli.day_tables import show_day  # noqa: PLC0415
    from fettlebook.plan.day import DayVerdict  # noqa: PLC0415
    from fettlebook.web.tables import as_json as as_data  # noqa: PLC0415

    with progress_shown(limit_s) as told:
        planned = plan_from_files(
            Path(practice_file),
            Path(book_file),
            day=day.date() if day else None,
            key_file=key_file,
            data=data,
            limit_s=limit_s,
            seed=seed,
            told=told,
        )
    plan, practice = planned.plan, planned.practice
    if as_json:
        click.echo(json.dumps(as_data(plan), indent=2, ensure_ascii=False))
    else:
        if day is None and plan.day != planned.today:
            click.echo(f"Nothing is booked today ({planned.today}); this is the next day with visits.")
        show_day(plan, practice, by=by or ("person", "chair", "machine"))
    in_order = plan.verdict in {DayVerdict.FITS, DayVerdict.NOTHING_BOOKED} and not _to_mend(plan.findings)
    context.exit(0 if in_order else 1)


def _to_mend(findings: tuple[Finding, ...]) -> bool:
    return any(f.weight == "error" for f in findings)
