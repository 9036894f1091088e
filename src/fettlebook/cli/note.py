"""`fettlebook note`: one entry by hand, from words and numbers as a person types them."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from fettlebook.cli.options import JSON

if TYPE_CHECKING:
    from datetime import datetime


@click.command()
@click.argument("kind", required=False)
@click.argument("fields", metavar="[FIELD=VALUE]...", nargs=-1)
@click.option("--book", "book_at", metavar="BOOK", help="The book it goes into.")
@click.option("--practice", metavar="ID", help="Whose book, where BOOK holds several.")
@click.option("--by", metavar="PERSON", help="Who says it: an id from the practice file.")
@click.option(
    "--at",
    type=click.DateTime(["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S"]),
    metavar="DATETHH:MM",
    help="When it was, on the practice's clock; now if left out.",
)
@click.option("--from-paper", is_flag=True, help="It was written on paper then, and is entered now.")
@click.option("--remark", metavar="TEXT", help="A few words. No patients' names. Kept sealed, can be erased.")
@click.option("--refers-to", metavar="ID", help="The earlier entry that it is about.")
@JSON
def note(
    *,
    kind: str | None,
    fields: tuple[str, ...],
    book_at: str | None,
    practice: str | None,
    by: str | None,
    at: datetime | None,
    from_paper: bool,
    remark: str | None,
    refers_to: str | None,
    as_json: bool,
) -> None:
    """Write one entry into a book by hand.

    Without KIND the kinds are listed; with KIND alone its fields. A list is written with commas (outlets=turbine,syringe), a
    reading as readings.strip_mg_l=1000, a load's items as items=exam#3:P412:solid, a file as
    log=@cycle.csv, plates as plates=12:0.1,>300:1 (colonies, mL of undiluted sample).

    \b
    fettlebook note step.done --book book.sqlite --by ana \\
        duty=chair.close step=close.rinse "chair=chair 1" outlets=turbine,syringe outcome=done

    Exit status: 0 it is durable (the id is printed); 2 nothing was written, the message says why.
    """
    from fettlebook.cli.note_entry import describe, list_kinds, write  # noqa: PLC0415 - heavy imports wait until a command runs

    if kind is None:
        list_kinds(as_json=as_json)
        return
    if book_at is None and not fields:
        describe(kind, as_json=as_json)
        return
    status = write(
        kind,
        fields,
        book_at=book_at,
        practice=practice,
        by=by,
        at=at,
        from_paper=from_paper,
        remark=remark,
        refers_to=refers_to,
        as_json=as_json,
    )
    sys.exit(status)
