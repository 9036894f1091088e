"""`fettlebook standing`: may I use it? A verdict with its conditions, and the way to fit."""

from __future__ import annotations

import click

from fettlebook.cli.options import AT, DATA, JSON, KNOWN_AT, PRACTICE


@click.command()
@click.argument("subject", required=False)
@PRACTICE
@DATA
@AT
@KNOWN_AT
@click.option("--full", is_flag=True, help="Also every entry that a condition rests on.")
@JSON
@click.pass_context
def standing(
    context: click.Context,
    /,
    *,
    subject: str | None,
    practice_file: str,
    data: str | None,
    at: str | None,
    known_at: str | None,
    full: bool,
    as_json: bool,
) -> None:
    """May I use it? Of a chair, a line, a set, a load, a machine, a product, or the whole practice.

    SUBJECT as it is called in the practice file: "chair 1", "chair 1/turbine", "sterilizer 1", exam#3, a load; "practice". Left out: all
    of them in short. fit: all the evidence is there, fresh and good. unfit: some of it is bad. unproven: something is missing or stale.

    Exit status: 0 fit; 1 unfit or unproven (without SUBJECT: of the practice); 2 nothing could be done.
    """
    import json  # noqa: PLC0415 - imports wait until they are needed: --help stays quick

    from fettlebook.cli.standing_page import overview, standing_data, standing_page  # noqa: PLC0415
    from fettlebook.cli.standings_read import read_standings  # noqa: PLC0415
    from fettlebook.standing.asking import read_subject, said_at  # noqa: PLC0415
    from fettlebook.standing.model import Verdict  # noqa: PLC0415
    from fettlebook.standing.standings import PRACTICE  # noqa: PLC0415

    with read_standings(practice_file, data, at, known_at) as asked:
        view, zone = asked.view, asked.standings.basis.zone
        chosen = read_subject(view, subject) if subject else None
        standings = (view.standing(chosen),) if chosen else view.all()
        if as_json:
            head = {
                "practice": asked.practice.practice.id,
                "invented": asked.practice.practice.invented,
                "at": said_at(view.look.at, zone),
                "known_at": said_at(view.look.known_at, zone),
            }
            click.echo(json.dumps({**head, "standings": [standing_data(one, zone) for one in standings]}, indent=2, ensure_ascii=False))
        else:
            click.echo(f"{asked.title}\n{asked.head}\n")
            for line in standing_page(standings[0], asked.standings.basis, full=full) if chosen else overview(view, zone):
                click.echo(line)
        context.exit(0 if view.standing(chosen or PRACTICE).verdict is Verdict.FIT else 1)
