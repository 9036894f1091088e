"""`fettlebook times`: how long each step runs on each chair, and why."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from fettlebook.cli.options import JSON

if TYPE_CHECKING:
    from datetime import datetime

    from fettlebook.science.circuits import Method


@click.command()
@click.argument("practice_file", metavar="PRACTICE.toml", type=click.Path(path_type=str))
@click.option("--chair", "chairs", multiple=True, metavar="ID", help="Only this chair; may be given more than once.")
@click.option("--duty", metavar="WHEN/ID", help='Only the duties of a moment ("between visits"), or one duty or step by its id.')
@click.option("--explain", is_flag=True, help="Say how each time comes about, with the numbers.")
@click.option("--every-step", is_flag=True, help="List each step; else those that go by rule, label or line, and the sum of the others.")
@click.option("--bound", is_flag=True, help="Reckon the line by the safe bound: long enough whatever is in the water.")
@JSON
@click.option("--csv", "csv_to", metavar="FILE|-", help="Write a table file, or print it with -.")
@click.option("--on", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE", help="Rules in force on this day; today if left out.")
@click.pass_context
def times(
    context: click.Context,
    /,
    *,
    practice_file: str,
    chairs: tuple[str, ...],
    duty: str | None,
    explain: bool,
    every_step: bool,
    bound: bool,
    as_json: bool,
    csv_to: str | None,
    on: datetime | None,
) -> None:
    """How long each flush, fill, contact and rinse runs on each chair, and why.

    Each time is the longest of three: what the rule asks, what the label asks, what this chair's line needs. The program
    never shortens a rule or a label.

    Exit status: 0 every time is known; 1 some can't be said (the reason is shown); 2 nothing could be done.
    """
    import json  # noqa: PLC0415 - imports wait until they are needed: --help stays quick
    from datetime import datetime  # noqa: PLC0415
    from pathlib import Path  # noqa: PLC0415
    from zoneinfo import ZoneInfo  # noqa: PLC0415

    from fettlebook.cli.chosen_times import chosen_times  # noqa: PLC0415
    from fettlebook.cli.times_table import show_times  # noqa: PLC0415
    from fettlebook.cli.whole_file import write_whole  # noqa: PLC0415
    from fettlebook.practice.load import load_practice  # noqa: PLC0415
    from fettlebook.rules.load import load_rulebook  # noqa: PLC0415
    from fettlebook.times.listing import as_csv, as_data  # noqa: PLC0415
    from fettlebook.times.running import running_times  # noqa: PLC0415
    from fettlebook.times.totals import duty_totals  # noqa: PLC0415

    if as_json and csv_to == "-":
        raise click.UsageError("--json and --csv - both print to the same place: give --csv a file name.")
    practice = load_practice(Path(practice_file))
    day = on.date() if on else datetime.now(ZoneInfo(practice.practice.time_zone)).date()
    rulebook = load_rulebook(practice, on=day)
    method: Method = "safe bound" if bound else "exact"
    everything = running_times(practice, rulebook, method=method)
    found = chosen_times(everything, practice, chairs, duty)
    chosen = {(t.chair, t.duty_id) for t in found}
    totals = tuple(t for t in duty_totals(everything) if (t.chair, t.duty_id) in chosen)
    if csv_to == "-":
        click.echo(as_csv(found), nl=False)
    elif csv_to:
        write_whole(Path(csv_to), as_csv(found), encoding="utf-8-sig")  # spreadsheets read UTF-8 by its mark
        click.echo(f"{csv_to}: {len(found)} rows written", err=True)
    if as_json:
        click.echo(json.dumps(as_data(practice, rulebook, found, totals, on=day, method=method), indent=2, ensure_ascii=False))
    elif csv_to != "-":
        narrow = duty is not None and duty.casefold() not in {str(t.when).casefold() for t in found}
        show_times(practice, rulebook, found, totals, day=day, explain=explain, every_step=every_step or narrow, method=method)
    context.exit(1 if any(t.seconds is None for t in found) else 0)
