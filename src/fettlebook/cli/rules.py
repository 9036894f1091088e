"""`fettlebook rules`: what is in force for a practice, who says so, how sure that is, and what it overrides."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from fettlebook.cli.options import JSON

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from fettlebook.errors import Finding
    from fettlebook.rules.model import Rulebook


@click.command()
@click.argument("practice_file", metavar="PRACTICE.toml", type=click.Path(path_type=str))
@click.option("--on", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE", help="Rules in force on this day; today if left out.")
@click.option("--duties", is_flag=True, help="Only duties and their steps.")
@click.option("--limits", is_flag=True, help="Only limits.")
@click.option("--full", is_flag=True, help="Also what each step leaves as evidence, cautions, notes, and rules without a number.")
@JSON
@click.option("--csv", "csv_to", metavar="FILE|-", help="Write a table file, or print it with -.")
@click.pass_context
def rules(
    context: click.Context,
    /,
    *,
    practice_file: str,
    on: datetime | None,
    duties: bool,
    limits: bool,
    full: bool,
    as_json: bool,
    csv_to: str | None,
) -> None:
    """List the duties and limits in force, with source and what each overrides.

    Layers are laid over each other: general practice, standards, country, state, the practice's own rules. The strictest
    holds. UNCHECKED means that the value is known from memory only: look it up before you rely on it.

    Exit status: 0 all rules stand; 1 listed, but an own rule was refused or a product is barred by law (both are shown);
    2 nothing could be done.
    """
    import json  # noqa: PLC0415 - imports wait until they are needed: --help stays quick
    from datetime import datetime  # noqa: PLC0415
    from pathlib import Path  # noqa: PLC0415
    from zoneinfo import ZoneInfo  # noqa: PLC0415

    from fettlebook.cli.whole_file import write_whole  # noqa: PLC0415
    from fettlebook.errors import Mendable  # noqa: PLC0415
    from fettlebook.practice.load import read_practice_file  # noqa: PLC0415
    from fettlebook.rules.listing import as_csv, as_data  # noqa: PLC0415
    from fettlebook.rules.load import findings_of, lay_rulebook  # noqa: PLC0415

    if as_json and csv_to == "-":
        raise click.UsageError("--json and --csv - both print to the same place: give --csv a file name.")
    loaded = read_practice_file(Path(practice_file))
    if loaded.practice is None:
        raise Mendable.of(loaded.errors)
    day = on.date() if on else datetime.now(ZoneInfo(loaded.practice.practice.time_zone)).date()
    laid = lay_rulebook(loaded.practice, day)
    refused = findings_of(loaded.practice, laid.faults, loaded)
    if laid.rulebook is None:
        raise Mendable.of(refused)
    if csv_to == "-":
        click.echo(as_csv(laid.rulebook), nl=False)
    elif csv_to:
        write_whole(Path(csv_to), as_csv(laid.rulebook), encoding="utf-8-sig")  # spreadsheets read UTF-8 by its mark
    if as_json:
        told = [{"what": finding.what, "where": finding.where, "mend": finding.mend} for finding in refused]
        head = {"practice": loaded.practice.practice.id, "invented": loaded.practice.practice.invented}
        click.echo(json.dumps({**head, **as_data(laid.rulebook), "refused": told}, indent=2, ensure_ascii=False))
    elif csv_to != "-":
        title = f"{loaded.practice.practice.name}{' (invented)' if loaded.practice.practice.invented else ''}"
        _show(title, laid.rulebook, refused, duties=duties or not limits, limits=limits or not duties, full=full)
    context.exit(1 if refused or laid.barred_by_law else 0)


def _show(head: str, book: Rulebook, refused: Sequence[Finding], *, duties: bool, limits: bool, full: bool) -> None:
    from rich.console import Console  # noqa: PLC0415

    from fettlebook.cli.rules_page import page  # noqa: PLC0415

    console = Console(highlight=False, markup=False)
    for line in page(head, book, refused, width=console.width, duties=duties, limits=limits, full=full):
        console.print(line.text, style="bold" if line.heading else None, soft_wrap=True)
