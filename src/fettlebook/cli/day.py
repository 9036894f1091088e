"""`fettlebook day`: one day from a practice file and an appointment book, as a timetable."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from fettlebook.cli.plan import LIMIT_S, MOST_LIMIT_S, progress_shown

if TYPE_CHECKING:
    from datetime import date, datetime

    from fettlebook.errors import Finding
    from fettlebook.practice.model import Practice

DAYS_AHEAD = 60


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
@click.option(
    "--limit",
    "limit_s",
    type=click.FloatRange(0, MOST_LIMIT_S),
    default=LIMIT_S,
    show_default=True,
    help="Seconds to search; 0: the first answer.",
)
@click.option("--seed", type=click.IntRange(0, 2**31 - 1), default=1, show_default=True, help="Another seed searches in another order.")
@click.option(
    "--key",
    "key_file",
    metavar="FILE",
    help="The practice's key, so that visits get the references of the page; left out: references of this run only.",
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON and nothing else.")
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
    as_json: bool,
) -> None:
    """Plan one day from a practice file and an appointment book.

    Prints the verdict of the day in one line, then who does what when: by person, by chair, by machine. No name and no
    reason of a visit is read.

    Exit status: 0 every visit on time; 1 a visit late or not served, or an entry of the files that must be mended; 2
    nothing could be done.
    """
    import json  # noqa: PLC0415 - imports wait until they are needed: --help stays quick
    import secrets  # noqa: PLC0415
    from datetime import datetime  # noqa: PLC0415
    from pathlib import Path  # noqa: PLC0415
    from zoneinfo import ZoneInfo  # noqa: PLC0415

    from fettlebook.cli.day_tables import show_day  # noqa: PLC0415
    from fettlebook.exchange.calendar import read_book  # noqa: PLC0415
    from fettlebook.exchange.key import KEY_BYTES, load_or_make_key  # noqa: PLC0415
    from fettlebook.plan.day import DayVerdict  # noqa: PLC0415
    from fettlebook.plan.whole_day import plan_day  # noqa: PLC0415
    from fettlebook.practice.load import load_practice  # noqa: PLC0415
    from fettlebook.rules.load import load_rulebook  # noqa: PLC0415
    from fettlebook.times.running import running_times  # noqa: PLC0415
    from fettlebook.web.source import read_whole  # noqa: PLC0415
    from fettlebook.web.tables import as_json as as_data  # noqa: PLC0415

    practice = load_practice(Path(practice_file))
    data, name = read_whole(Path(book_file)), Path(book_file).name
    key = load_or_make_key(Path(key_file)) if key_file else secrets.token_bytes(KEY_BYTES)
    today = datetime.now(ZoneInfo(practice.practice.time_zone)).date()
    chosen = day.date() if day else _next_day(data, name, practice, today, key)
    book = read_book(data, name, practice, chosen, key)
    times = running_times(practice, load_rulebook(practice, on=chosen))
    with progress_shown(limit_s) as told:
        plan = plan_day(
            practice,
            times,
            book.visits,
            chosen,
            limit_s=limit_s,
            seed=seed,
            findings=book.findings,
            not_planned=book.not_planned,
            told=told,
        )
    if as_json:
        click.echo(json.dumps(as_data(plan), indent=2, ensure_ascii=False))
    else:
        if day is None and chosen != today:
            click.echo(f"Nothing is booked today ({today}); this is the next day with visits.")
        show_day(plan, practice, by=by or ("person", "chair", "machine"))
    in_order = plan.verdict in {DayVerdict.FITS, DayVerdict.NOTHING_BOOKED} and not _to_mend(plan.findings)
    context.exit(0 if in_order else 1)


def _to_mend(findings: tuple[Finding, ...]) -> bool:
    return any(f.weight == "error" for f in findings)


def _next_day(data: bytes, name: str, practice: Practice, today: date, key: bytes) -> date:
    from fettlebook.errors import Mendable  # noqa: PLC0415
    from fettlebook.exchange.calendar import booked_days  # noqa: PLC0415

    days = booked_days(data, name, practice, today, key, days=DAYS_AHEAD)
    if not days:
        raise Mendable(
            f"no visit is booked from {today} on for {DAYS_AHEAD} days",
            where=name,
            mend="Export a newer book, or name the day with --date.",
        )
    return days[0]
