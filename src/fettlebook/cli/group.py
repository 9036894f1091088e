"""`fettlebook group`: the practices of a group in one table, the one that needs help first on top."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from fettlebook.cli.options import JSON

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

    from fettlebook.cli.night_group import Job
    from fettlebook.exchange.group.rows import Row

PORT = 8329
AT_ONCE = 2
MOST_S = 600.0


@click.command()
@click.argument("group_file", metavar="GROUP.toml", type=click.Path(path_type=str))
@click.option("-r", "--results", metavar="DIR", help="The folder that `fettlebook night -o` keeps its results in.")
@click.option("--look", is_flag=True, help="First look at each practice's book now, as `night --standings` does.")
@click.option("--date", "day", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE", help="With --look: as it stands at the end of that day.")
@click.option("--take-over", is_flag=True, help="Put what the group shares into each practice file; see docs/carry-on/group.md.")
@click.option("--admit", metavar="DATABASE", help="Make the tables as their owner (postgresql://owner@host/database), admit each role.")
@click.option("--page", is_flag=True, help="Open the table as a page, on this machine alone, until Ctrl-C.")
@click.option("--port", type=click.IntRange(0, 65535), default=PORT, show_default=True, help="Of the page; 0: any that is free.")
@click.option("--csv", "as_csv", is_flag=True, help="Print CSV and nothing else.")
@JSON
@click.pass_context
def group(
    context: click.Context,
    /,
    *,
    group_file: str,
    results: str | None,
    look: bool,
    day: datetime | None,
    take_over: bool,
    admit: str | None,
    page: bool,
    port: int,
    as_csv: bool,
    as_json: bool,
) -> None:
    """Where help is needed first among the practices of a group: no patient, no visit, no person is in it.

    Of each practice: unfit chairs and machines, water above the limit with its chance, overdue duties, how late the next day is planned,
    the last entry, the last backup that was tried. Rows come from the night's results; --look makes the standings anew.

    Exit status: 0 nobody needs anything; 1 somebody does; 2 nothing could be done.
    """
    from pathlib import Path  # noqa: PLC0415 - imports wait until they are needed: --help stays quick

    from fettlebook.cli.night_group import read_group  # noqa: PLC0415

    path = Path(group_file)
    jobs, refused = read_group(path, day=day.date().isoformat() if day else None, limit_s=0, seed=1, most_s=MOST_S)
    if admit is not None or take_over:
        from fettlebook.cli.group_keep import admit_all, take_over_all  # noqa: PLC0415

        done = admit_all(admit, jobs) if admit is not None else True
        done = (take_over_all(path, jobs) if take_over else True) and done
        context.exit(0 if done and not refused else 1)
    if results is None:
        raise click.UsageError("Name the folder of the night's results: -r DIR.")
    folder = Path(results)
    if look:
        from fettlebook.cli.night import STANDINGS, look_at_standings, made_folder  # noqa: PLC0415

        there = made_folder(made_folder(folder) / STANDINGS)
        look_at_standings(jobs, refused, there, queue=None, at_once=AT_ONCE, wait_min=0, quiet=as_csv or as_json)
    names = [*(o.name for o in refused), *(j.name for j in jobs)]
    if page:
        from fettlebook.cli.group_page import open_page  # noqa: PLC0415

        open_page(path.stem, lambda: _rows(names, jobs, folder), port)
        return
    rows = _rows(names, jobs, folder)
    _print(rows, as_csv=as_csv, as_json=as_json)
    context.exit(1 if any(row.needs for row in rows) else 0)


def _rows(names: list[str], jobs: tuple[Job, ...], folder: Path) -> list[Row]:
    from fettlebook.cli.book_open import group_address, now_ms  # noqa: PLC0415
    from fettlebook.exchange.group.results import read_rows  # noqa: PLC0415

    theirs = frozenset(job.name for job in jobs if group_address(job.book))
    return read_rows(names, folder, now_ms=now_ms(), backed_up_by_group=theirs)


def _print(rows: list[Row], *, as_csv: bool, as_json: bool) -> None:
    import json  # noqa: PLC0415

    if as_json:
        click.echo(json.dumps({"practices": [row.as_data() for row in rows]}, indent=2, ensure_ascii=False))
        return
    if as_csv:
        from fettlebook.exchange.csv_table import csv_of  # noqa: PLC0415

        click.echo(csv_of([row.as_cells() for row in rows]), nl=False)
        return
    asking = [row for row in rows if row.needs]
    click.echo(f"{len(rows)} practices, {len(asking)} need something\n")
    for row in asking:
        click.echo(f"{row.name}{' (invented)' if row.summary and row.summary.invented else ''}")
        for need in row.needs:
            click.echo(f"  {need}")
    if quiet := [row.name for row in rows if not row.needs]:
        click.echo(f"\nnothing to do: {', '.join(quiet)}")
