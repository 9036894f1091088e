"""`fettlebook due`: what is owed today, and what is overdue."""

from __future__ import annotations

import click

from fettlebook.cli.options import AT, DATA, JSON, KNOWN_AT, PRACTICE


@click.command()
@click.argument("subject", required=False)
@PRACTICE
@DATA
@AT
@KNOWN_AT
@JSON
@click.pass_context
def due(
    context: click.Context,
    /,
    *,
    subject: str | None,
    practice_file: str,
    data: str | None,
    at: str | None,
    known_at: str | None,
    as_json: bool,
) -> None:
    """Duties due by the end of the day, the overdue ones first, with moment, minutes and rule.

    SUBJECT as it is called in the practice file, such as "chair 1"; left out: all of the practice.

    Exit status: 0 nothing is overdue; 1 something is; 2 nothing could be done.
    """
    import json  # noqa: PLC0415 - imports wait until they are needed: --help stays quick

    from fettlebook.cli.standing_page import due_page, owed_data  # noqa: PLC0415
    from fettlebook.cli.standings_read import read_standings  # noqa: PLC0415
    from fettlebook.standing.asking import minutes, read_subject, said_at  # noqa: PLC0415
    from fettlebook.standing.due import due_duties  # noqa: PLC0415

    with read_standings(practice_file, data, at, known_at) as asked:
        view, zone = asked.view, asked.standings.basis.zone
        chosen = read_subject(view, subject) if subject else None
        found = tuple(owed for owed in due_duties(view) if chosen in (None, owed.subject))
        overdue = sum(owed.overdue for owed in found)
        if as_json:
            head = {"practice": asked.practice.practice.id, "invented": asked.practice.practice.invented, "at": said_at(view.look.at, zone)}
            click.echo(json.dumps({**head, "due": [owed_data(owed, zone) for owed in found]}, indent=2, ensure_ascii=False))
        else:
            click.echo(f"{asked.title}\n{asked.head}\n")
            cost = minutes(sum(owed.attended_s for owed in found), sum(owed.unattended_s for owed in found))
            click.echo(f"{len(found)} due, {overdue} of them overdue: {cost}" if found else "Nothing is due.")
            for line in due_page(found, asked.standings.basis):
                click.echo(line)
        context.exit(1 if overdue else 0)
