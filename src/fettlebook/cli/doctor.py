"""`fettlebook doctor`: is all in order with the machine that keeps the book?"""

from __future__ import annotations

import click

from fettlebook.cli.options import DATA, JSON


@click.command()
@click.argument("practice_file", metavar="PRACTICE.toml", type=click.Path(path_type=str))
@click.argument("book_file", metavar="[BOOK.ics]", required=False, type=click.Path(path_type=str))
@DATA
@click.option("--backups", metavar="FOLDER", help="Where backups are kept.")
@JSON
@click.pass_context
def doctor(
    context: click.Context, /, *, practice_file: str, book_file: str | None, data: str | None, backups: str | None, as_json: bool
) -> None:
    """Look at files, book, disk, backups, clock, certificate, arrivals and versions: what is wrong, and how to mend it.

    It changes nothing, and works while the page is open.

    Exit status: 0 all good; 1 something needs a look or is bad; 2 nothing could be done.
    """
    import json  # noqa: PLC0415 - imports wait until they are needed: --help stays quick
    from datetime import UTC, datetime  # noqa: PLC0415
    from pathlib import Path  # noqa: PLC0415

    from fettlebook.web.health.checks import House, look_at  # noqa: PLC0415
    from fettlebook.web.health.looked import SIGNS, Seen  # noqa: PLC0415

    path = Path(practice_file)
    house = House(
        path,
        Path(book_file) if book_file else None,
        Path(data) if data else path.with_name("book.sqlite"),
        Path(backups) if backups else None,
        datetime.now(UTC),
    )
    found = list(look_at(house))
    if as_json:
        click.echo(
            json.dumps([{"thing": f.thing, "seen": f.seen, "line": f.line, "mend": f.mend} for f in found], ensure_ascii=False, indent=2)
        )
    else:
        for one in found:
            click.echo(f"{SIGNS[one.seen]} {one.seen:<5} {one.thing}: {one.line}")
            if one.mend:
                click.echo(f"          {one.mend}")
    context.exit(0 if all(one.seen is Seen.GOOD for one in found) else 1)
