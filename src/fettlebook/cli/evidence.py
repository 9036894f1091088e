"""`fettlebook evidence`: what an inspector gets, as a PDF and a bundle that can be checked without this program."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from fettlebook.cli.printed_in import language_option

if TYPE_CHECKING:
    from datetime import datetime

DAY = click.DateTime(["%Y-%m-%d"])


@click.command()
@click.argument("practice_file", metavar="PRACTICE.toml", type=click.Path(path_type=str))
@click.option("--from", "first", type=DAY, required=True, metavar="DATE", help="The first day.")
@click.option("--to", "last", type=DAY, metavar="DATE", help="The last day; today if left out.")
@click.option("--chair", "chairs", multiple=True, metavar="ID", help="Only this chair, and what is of no chair; several times: these.")
@click.option("-o", "--output", required=True, metavar="DIR", help="A new folder; what is there is never overwritten.")
@click.option("--data", metavar="BOOK.sqlite", help="The book of entries; beside the practice file if left out.")
@click.option("--key", "key_at", metavar="FILE", help="The key that signs; BOOK.sqlite.key if left out.")
@click.option("--zip", "zip_at", metavar="FILE.zip", help="Also pack the folder into this new file.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON and nothing else.")
@language_option
@click.pass_context
def evidence(
    context: click.Context,
    /,
    *,
    practice_file: str,
    first: datetime,
    last: datetime | None,
    chairs: tuple[str, ...],
    output: str,
    data: str | None,
    key_at: str | None,
    zip_at: str | None,
    as_json: bool,
    language: str | None,
) -> None:
    """Write the evidence of some days: report.pdf, the sealed entries, proofs, every number's entries, and check.py.

    The first page says what is in order and what is not. Whoever gets the folder checks it by `python3 check.py`, without this program.
    Written whole or not at all.

    Exit status: 0 written, all in order; 1 written, and something is not in order or not proven; 2 nothing was written.
    """
    from fettlebook.cli.evidence_made import write_evidence  # noqa: PLC0415 - keeps --help quick

    in_order = write_evidence(
        practice_file,
        first.date(),
        last.date() if last else None,
        chairs,
        output,
        data=data,
        key_at=key_at,
        zip_at=zip_at,
        as_json=as_json,
        language=language,
    )
    context.exit(0 if in_order else 1)
