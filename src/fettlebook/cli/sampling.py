"""`fettlebook sampling`: which chair is sampled next, what the plan in force can tell, and a sheet for the round."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from fettlebook.cli.options import DATA, JSON, PRACTICE
from fettlebook.cli.printed_in import language_option, printed_in

if TYPE_CHECKING:
    from datetime import datetime


@click.command()
@PRACTICE
@DATA
@click.option("--today", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE", help="The day that is asked about; left out, today.")
@click.option(
    "--multiple",
    type=click.FloatRange(1, 1000, min_open=True),
    default=3.0,
    show_default=True,
    help="A bad chair: so many times the limit.",
)
@click.option(
    "--power",
    type=click.FloatRange(0, 1, min_open=True, max_open=True),
    default=0.9,
    show_default=True,
    help="It must be found within a year with this chance.",
)
@click.option(
    "--within",
    "within_days",
    type=click.IntRange(0, 3650),
    default=14,
    show_default=True,
    metavar="DAYS",
    help="The round: what is due by then.",
)
@click.option("--sheet", metavar="FILE.pdf", help="Print the round: what to mind, the samples, labels to cut.")
@click.option("--ics", metavar="FILE.ics", help="Write the diary as a calendar, one entry for each sample.")
@JSON
@language_option
@click.pass_context
def sampling(
    context: click.Context,
    /,
    *,
    practice_file: str,
    data: str | None,
    today: datetime | None,
    multiple: float,
    power: float,
    within_days: int,
    sheet: str | None,
    ics: str | None,
    as_json: bool,
    language: str | None,
) -> None:
    """Which chair and outlet is sampled next, by when, and can the plan in force tell a bad chair at all?

    Samples by due day, of those due together the one whose result would change most first. The outlet is the one not
    sampled for longest. One good sample says little: the chance that a bad chair passes is said, and what would find it.

    Exit status: 0 nothing is overdue; 1 a sample is; 2 nothing could be done.
    """
    import json  # noqa: PLC0415 - imports wait until they are needed: --help stays quick
    from datetime import datetime as clock  # noqa: PLC0415
    from datetime import timedelta  # noqa: PLC0415
    from pathlib import Path  # noqa: PLC0415

    from fettlebook.cli.water_book import judged_from_book, say  # noqa: PLC0415
    from fettlebook.cli.whole_file import write_whole  # noqa: PLC0415
    from fettlebook.exchange.laboratory.beside import water_beside  # noqa: PLC0415
    from fettlebook.exchange.laboratory.sampling_diary import due_samples, plan_told, plan_words  # noqa: PLC0415

    look, water = judged_from_book(practice_file, data, today.date() if today else None)
    beside = water_beside(look, water)
    due, told = due_samples(look, water, beside), plan_told(look, water, multiple=multiple, power=power)
    day = water.judged.today
    this_round = [one for one in due if one.due <= day + timedelta(days=within_days)]
    if sheet is not None:
        from fettlebook.exchange.paper.sampling_sheet import sampling_sheet  # noqa: PLC0415

        voice = printed_in(look.basis.practice, language)
        pdf = sampling_sheet(look.basis.practice, look.basis.rulebook, this_round, made_at=clock.now(look.basis.zone), voice=voice)
        write_whole(Path(sheet), pdf)
    if ics is not None:
        from fettlebook.exchange.laboratory.sampling_calendar import sampling_calendar  # noqa: PLC0415

        write_whole(Path(ics), sampling_calendar(look.basis.practice, due, today=day, made_at=clock.now(look.basis.zone)))
    if as_json:
        rows = [
            {
                "chair": one.chair, "outlet": one.outlet, "due": str(one.due), "not_before": str(one.from_day) if one.from_day else None,
                "why": one.why, "value_of_one_sample": one.value, "p_above_limit": one.p_above,
            }
            for one in due
        ]  # fmt: skip
        plan = {
            "multiple": told.multiple, "limit_cfu_per_ml": told.limit_cfu_ml, "sd_log10": told.sd_log10, "every_days": told.every_days,
            "passes_once": told.passes_once, "passes_a_year": told.passes_a_year, "power": told.power,
            "rounds_singly": told.singly.rounds if told.singly else None,
            "cheapest": None if told.cheapest is None else {"pooled": told.cheapest.pooled, "rounds": told.cheapest.rounds},
            "told": list(plan_words(told)),
        }  # fmt: skip
        click.echo(json.dumps({"today": str(day), "due": rows, "plan": plan}, indent=2, ensure_ascii=False))
    else:
        for one in due:
            mark = "overdue" if one.due < day else "now" if one.due == day else str(one.due)
            early = f" (not before {one.from_day})" if one.from_day is not None and one.from_day > day else ""
            say(f"{mark:<11}{one.chair}, {one.outlet}: {one.why}{early}")
        click.echo()
        for line in plan_words(told):
            say(line)
        if ics is not None:
            say(f"{ics}: {len(due)} samples as entries of a calendar.")
        if sheet is not None:
            say(f"{sheet}: {len(this_round)} samples due within {within_days} days.")
    context.exit(1 if any(one.due <= day for one in due) else 0)
