"""`fettlebook treatments`: each treatment of the lines, what was planned and what was reached."""

from __future__ import annotations

import click

from fettlebook.cli.options import AT, DATA, JSON, KNOWN_AT, PRACTICE


@click.command()
@click.argument("chair", required=False)
@PRACTICE
@DATA
@AT
@KNOWN_AT
@click.option("--days", default=92, show_default=True, type=click.IntRange(1, 36_500), help="How many days back from --at.")
@JSON
@click.pass_context
def treatments(
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
    """Treatments of the water lines: fill, contact and rinse as planned and as they ran, product, strips, and a verdict each.

    CHAIR as it is called in the practice file; left out: all of them.

    Exit status: 0 every treatment is fit; 1 some is not, or a chair has none in the book; 2 nothing could be done.
    """
    import json  # noqa: PLC0415 - imports wait until they are needed: --help stays quick

    from fettlebook.cli.standings_read import read_standings  # noqa: PLC0415
    from fettlebook.cli.treatments_page import treatment_data, treatments_page  # noqa: PLC0415
    from fettlebook.errors import Mendable  # noqa: PLC0415
    from fettlebook.standing.asking import said_at  # noqa: PLC0415
    from fettlebook.standing.model import Verdict  # noqa: PLC0415
    from fettlebook.standing.treatments import treatments as treatments_of  # noqa: PLC0415

    with read_standings(practice_file, data, at, known_at) as asked:
        look, basis = asked.view.look, asked.view.look.basis
        if chair is not None and chair not in basis.chairs:
            raise Mendable(f'no chair is called "{chair}"', where="CHAIR", mend=f"Choose one of: {', '.join(basis.chairs)}.")
        since = basis.days_after(look.at, -days)
        found = {name: treatments_of(look, basis.chairs[name], since) for name in ([chair] if chair else basis.chairs)}
        if as_json:
            head = {"practice": asked.practice.practice.id, "invented": asked.practice.practice.invented}
            told = [treatment_data(one, basis.zone) for of_chair in found.values() for one in of_chair]
            none = [name for name, of_chair in found.items() if not of_chair]
            body = {**head, "at": said_at(look.at, basis.zone), "days": days, "chairs_without": none, "treatments": told}
            click.echo(json.dumps(body, indent=2, ensure_ascii=False))
        else:
            click.echo(f"{asked.title}\n{asked.head}\n")
            for line in treatments_page(found, days, basis.zone):
                click.echo(line)
        whole = all(of_chair and all(one.verdict is Verdict.FIT for one in of_chair) for of_chair in found.values())
        context.exit(0 if whole else 1)
