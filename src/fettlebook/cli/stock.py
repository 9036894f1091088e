"""`fettlebook stock`: what is left of each product, until when it lasts, by when to order."""

from __future__ import annotations

import click

from fettlebook.cli.options import AT, DATA, JSON, KNOWN_AT, PRACTICE


@click.command()
@PRACTICE
@DATA
@AT
@KNOWN_AT
@click.option(
    "--lead-days", default=7, show_default=True, type=click.IntRange(0, 366), help="Days from an order until it stands in the cupboard."
)
@click.option("--days", default=182, show_default=True, type=click.IntRange(1, 3_660), help="How many days of use are looked at.")
@JSON
@click.pass_context
def stock(
    context: click.Context,
    /,
    *,
    practice_file: str,
    data: str | None,
    at: str | None,
    known_at: str | None,
    lead_days: int,
    days: int,
    as_json: bool,
) -> None:
    """What is left of each product by the book, until when it lasts at the real use, and the last day to order.

    Exit status: 0 nothing is to be ordered; 1 something is, or can't be told; 2 nothing could be done.
    """
    import json  # noqa: PLC0415 - imports wait until they are needed: --help stays quick

    from fettlebook.cli.standings_read import read_standings  # noqa: PLC0415
    from fettlebook.cli.stock_page import stock_data, stock_page  # noqa: PLC0415
    from fettlebook.standing.asking import said_at  # noqa: PLC0415
    from fettlebook.standing.stock import stock_of  # noqa: PLC0415

    with read_standings(practice_file, data, at, known_at) as asked:
        look, basis = asked.view.look, asked.view.look.basis
        found = [stock_of(look, product, lead_days, days) for product in basis.practice.products]
        today = basis.day_of(look.at)
        if as_json:
            head = {
                "practice": asked.practice.practice.id,
                "invented": asked.practice.practice.invented,
                "at": said_at(look.at, basis.zone),
            }
            told = [stock_data(one, basis.zone, today) for one in found]
            click.echo(json.dumps({**head, "lead_days": lead_days, "days": days, "products": told}, indent=2, ensure_ascii=False))
        else:
            click.echo(f"{asked.title}\n{asked.head}\n")
            for line in stock_page(found, basis.zone, today, lead_days):
                click.echo(line)
        context.exit(1 if any(one.lasts is None or one.to_order(today) for one in found) else 0)
