"""`fettlebook checks`: suction that draws, its care, surfaces kept wet, and checks of cleaning as shares."""

from __future__ import annotations

import click

from fettlebook.cli.options import AT, DATA, JSON, KNOWN_AT, PRACTICE


@click.command()
@click.argument("chair", required=False)
@PRACTICE
@DATA
@AT
@KNOWN_AT
@click.option("--days", default=92, show_default=True, type=click.IntRange(1, 3_660), help="How many days back from --at.")
@JSON
@click.pass_context
def checks(
    context: click.Context,
    /,
    *,
    chair: str | None,
    practice_file: str,
    data: str | None,
    at: str | None,
    known_at: str | None,
    days: int,
    as_json: bool,
) -> None:
    """Suction and surfaces: how each hose draws, its care, wet times against the label, shares of clean spots with their interval.

    At the end parts that last for so long (filters, separators, bottles), with the day to change them.

    CHAIR as it is called in the practice file; left out: all of them. Checks of cleaning are always those of the whole practice.

    Exit status: 0 all in order; 1 a hose not steady, a care or a wet time not fit, a part past its life, or nothing in the book;
    2 nothing could be done.
    """
    import json  # noqa: PLC0415 - imports wait until they are needed: --help stays quick

    from fettlebook.cli.checks_page import checks_data, checks_page, parts_data, parts_page  # noqa: PLC0415
    from fettlebook.cli.standings_read import read_standings  # noqa: PLC0415
    from fettlebook.errors import Mendable  # noqa: PLC0415
    from fettlebook.standing.asking import said_at  # noqa: PLC0415
    from fettlebook.standing.parts import all_parts  # noqa: PLC0415
    from fettlebook.standing.rounds import chair_checks  # noqa: PLC0415
    from fettlebook.standing.surfaces import cleaning_shares  # noqa: PLC0415

    with read_standings(practice_file, data, at, known_at) as asked:
        look, basis = asked.view.look, asked.view.look.basis
        if chair is not None and chair not in basis.chairs:
            raise Mendable(f'no chair is called "{chair}"', where="CHAIR", mend=f"Choose one of: {', '.join(basis.chairs)}.")
        since = basis.days_after(look.at, -days)
        found = [chair_checks(look, basis.chairs[name], since) for name in ([chair] if chair else basis.chairs)]
        shares, parts = cleaning_shares(look, since), all_parts(look)
        if as_json:
            head = {
                "practice": asked.practice.practice.id,
                "invented": asked.practice.practice.invented,
                "at": said_at(look.at, basis.zone),
            }
            click.echo(
                json.dumps(
                    {**head, "days": days, **checks_data(found, shares, basis.zone), "parts": parts_data(parts, basis.zone)},
                    indent=2,
                    ensure_ascii=False,
                )
            )
        else:
            click.echo(f"{asked.title}\n{asked.head}\n")
            for line in (*checks_page(found, shares, days, basis.zone), "", *parts_page(parts)):
                click.echo(line)
        past = any(one.due_ms is not None and one.due_ms <= look.at for one in parts)
        context.exit(0 if all(one.in_order for one in found) and not past else 1)
