"""`fettlebook water`: what a laboratory's counts say of each chair's water today."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from fettlebook.cli.options import DATA, JSON

if TYPE_CHECKING:
    from datetime import date, datetime

    from fettlebook.exchange.laboratory import Sheet

LIMIT = 500.0


@click.command()
@click.argument("file", metavar="[COUNTS.csv]", required=False, type=click.Path(path_type=str))
@click.option(
    "--practice", "practice_file", metavar="PRACTICE.toml", type=click.Path(path_type=str), help="Ask its book, or write into it."
)
@DATA
@click.option("--write", is_flag=True, help="Write the results of COUNTS.csv into the book; left out, only say what would be written.")
@click.option("--by", metavar="PERSON", help="Who enters them: an id from the practice file.")
@click.option("--rename", "renamed", multiple=True, metavar="NAME=CHAIR", help="What the table calls a chair of the practice file; repeat.")
@click.option("--today", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE", help="The day that is asked about; left out, today.")
@click.option(
    "--limit",
    "limit_cfu_ml",
    type=click.FloatRange(0, min_open=True),
    metavar="CFU/mL",
    help="The limit in force; left out, 500 (CDC 2003). Yours may be lower.",
)
@click.option(
    "--risk",
    type=click.FloatRange(0, 1, min_open=True, max_open=True),
    default=0.10,
    show_default=True,
    help="Act at this chance of being over.",
)
@click.option("--chair", "chairs", multiple=True, metavar="NAME", help="A chair that must be answered for, sampled or not; repeat.")
@click.option("--treated", multiple=True, metavar="CHAIR=DATE", help="An intensive treatment that the table doesn't tell; repeat.")
@click.option(
    "--column", "columns", multiple=True, metavar="FIELD=HEADING", help="Which column is which: chair, sampled_on, result, volume_ml ..."
)
@click.option("--per-ml", "unit_ml", type=click.FloatRange(0, min_open=True), metavar="ML", help="Counts are per so many mL: 1, 100, 1000.")
@click.option(
    "--volume-ml",
    type=click.FloatRange(0, min_open=True),
    metavar="ML",
    help="Undiluted sample on the plates, where the table has no column.",
)
@click.option("--too-many", "too_many_at", type=click.IntRange(1), metavar="COLONIES", help="The laboratory stops counting here (TNTC).")
@click.option("--nd-is-none", is_flag=True, help="This laboratory's 'n.d.' means none detected, not 'not done'.")
@click.option("--decimal", type=click.Choice(["comma", "point"]), help="The decimal sign, where the table doesn't show it.")
@click.option("--dates", type=click.Choice(["day-first", "month-first"]), help="How dates with slashes are written.")
@JSON
@click.pass_context
def water(
    context: click.Context,
    /,
    *,
    file: str | None,
    practice_file: str | None,
    today: datetime | None,
    limit_cfu_ml: float | None,
    as_json: bool,
    **options: Any,
) -> None:
    """Where does each chair's water stand, how sure is that, and when will it pass the limit?

    COUNTS.csv: one result a line, with chair, sampled_on, colonies and volume_ml (or a laboratory's own columns), and
    days_since_intensive where known. All chairs are judged together, with counting error, results below and above what
    could be counted, and the rise after an intensive treatment. One sample says little, and the range shows how little.

    With --practice alone: results and treatments of its book, every limit in force, what each treatment achieved.
    With COUNTS.csv and --practice: the table's results for the book. Nothing is written without --write, and never half a table.

    Exit status: 0 every chair is below the risk; 1 one is not, has no sample, or lines were set aside; 2 nothing could be done.
    """
    import json  # noqa: PLC0415 - imports wait until they are needed: --help stays quick
    from dataclasses import replace  # noqa: PLC0415
    from datetime import datetime as clock  # noqa: PLC0415
    from pathlib import Path  # noqa: PLC0415

    from fettlebook.cli.water_page import as_data, show  # noqa: PLC0415
    from fettlebook.errors import Mendable  # noqa: PLC0415
    from fettlebook.exchange.arrivals.reports import as_table  # noqa: PLC0415
    from fettlebook.exchange.laboratory import SheetWays, read_sheet  # noqa: PLC0415
    from fettlebook.exchange.laboratory.judged import judge_sheet  # noqa: PLC0415

    if file is None:
        context.exit(_of_book(practice_file, today, limit_cfu_ml, as_json=as_json, **options))
    day = today.date() if today else clock.now().astimezone().date()
    try:
        data = Path(file).read_bytes()
    except OSError as error:
        raise Mendable(f"it can't be read ({error.strerror})", where=file, mend="Name the laboratory's table, saved as CSV.") from None
    ways = SheetWays(
        columns=dict(_pair(text, "--column") for text in options["columns"]),
        decimal=options["decimal"],
        unit_ml=options["unit_ml"],
        volume_ml=options["volume_ml"],
        too_many_at=options["too_many_at"],
        nd_is="none seen" if options["nd_is_none"] else None,
        dates={"day-first": "day first", "month-first": "month first", None: None}[options["dates"]],
    )
    report = as_table(data, file)
    sheet = read_sheet(report.table, file, replace(ways, decimal=report.decimal or ways.decimal), day)
    sheet = replace(sheet, findings=(*report.findings, *sheet.findings))
    if practice_file is not None:
        context.exit(_into_book(sheet, file, data, practice_file, as_json=as_json, **options))
    judged = judge_sheet(
        sheet,
        file=file,
        today=day,
        limit_cfu_ml=limit_cfu_ml or LIMIT,
        risk=options["risk"],
        treated=_treated(options["treated"], day),
        chairs=options["chairs"],
    )
    if as_json:
        click.echo(json.dumps(as_data(judged), indent=2, ensure_ascii=False))
    else:
        show(judged, said=limit_cfu_ml is not None)
    quiet = all(judged.verdict(c) == "fit" for c in judged.chairs)
    context.exit(0 if quiet and not any(f.weight == "error" for f in judged.findings) else 1)


def _of_book(practice_file: str | None, today: datetime | None, limit_cfu_ml: float | None, *, as_json: bool, **options: Any) -> int:
    """Answer from the book."""
    import json  # noqa: PLC0415

    from fettlebook.cli.water_book import judged_from_book  # noqa: PLC0415
    from fettlebook.cli.water_book_page import book_data, show_book  # noqa: PLC0415
    from fettlebook.errors import Mendable  # noqa: PLC0415
    from fettlebook.exchange.laboratory.beside import water_beside  # noqa: PLC0415

    if practice_file is None:
        raise Mendable("neither a table nor a book", where="COUNTS.csv", mend="Name a laboratory's table, or a practice file: --practice.")
    ways = {"limit": limit_cfu_ml, "risk": options["risk"], "volume_ml": options["volume_ml"], "chairs": options["chairs"]}
    look, found = judged_from_book(practice_file, options["data"], today.date() if today else None, **ways)
    beside = water_beside(look, found)
    if as_json:
        click.echo(json.dumps(book_data(look, found, beside), indent=2, ensure_ascii=False))
    else:
        show_book(look, found, beside)
    judged = found.judged
    return 0 if all(judged.verdict(c) == "fit" for c in judged.chairs) and not any(f.weight == "error" for f in judged.findings) else 1


def _into_book(sheet: Sheet, file: str, content: bytes, practice_file: str, *, as_json: bool, **options: Any) -> int:
    """Say what a table adds to the book; with --write add it."""
    import json  # noqa: PLC0415

    from fettlebook.cli.water_book import intake_data, show_intake, take_in  # noqa: PLC0415

    renamed = dict(_pair(text, "--rename") for text in options["renamed"])
    intake, written = take_in(
        sheet, file, content, practice_file=practice_file, data=options["data"], by=options["by"], write=options["write"], renamed=renamed
    )
    if as_json:
        click.echo(json.dumps(intake_data(intake, written), indent=2, ensure_ascii=False))
    else:
        show_intake(intake, written, asked=options["write"])
    return 0 if intake.clean else 1


def _pair(text: str, option: str) -> tuple[str, str]:
    from fettlebook.errors import Mendable  # noqa: PLC0415

    name, sign, value = text.partition("=")
    if not (sign and name.strip() and value.strip()):
        raise Mendable(f"{text!r}", where=option, mend=f"Write it as {option} NAME=VALUE.")
    return name.strip(), value.strip()


def _treated(texts: tuple[str, ...], today: date) -> dict[str, list[date]]:
    from datetime import date as calendar  # noqa: PLC0415

    from fettlebook.errors import Mendable  # noqa: PLC0415

    found: dict[str, list[date]] = {}
    for text in texts:
        chair, value = _pair(text, "--treated")
        try:
            day = calendar.fromisoformat(value)
        except ValueError:
            raise Mendable(f"{value!r} is no day", where="--treated", mend="Write it as --treated 'chair 1=2026-11-25'.") from None
        if day > today:
            raise Mendable(f"a treatment on {day}, after {today}", where="--treated", mend="Give treatments that were done.")
        found.setdefault(chair, []).append(day)
    return found
