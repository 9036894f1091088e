"""`fettlebook labels`: labels for the packs of a load."""

from __future__ import annotations

import click

from fettlebook.cli.options import DATA, PRACTICE
from fettlebook.cli.printed_in import language_option, printed_in


def _pair(text: str, what: str, least: float = 1.0) -> tuple[float, float]:
    from fettlebook.errors import Mendable  # noqa: PLC0415 - imports wait until they are needed: --help stays quick

    one, _, two = text.lower().replace(",", ".").partition("x")
    try:
        found = float(one), float(two)
    except ValueError:
        found = -1.0, -1.0
    if not all(least <= side < 1000 for side in found):
        raise Mendable(f"{text!r:.40} can't be read", where=what, mend="Write it as two numbers with x between, such as 3x8 or 62x29.")
    return found


@click.command()
@click.argument("load")
@PRACTICE
@DATA
@click.option("-o", "--output", default="labels.pdf", show_default=True, metavar="FILE.pdf", help="The PDF to write.")
@click.option("--sheet", default="3x8", show_default=True, metavar="CxR", help="Columns and rows of labels on an A4 sheet.")
@click.option("--margin", default="0x4.5", show_default=True, metavar="XxY", help="Margins of the sheet, left and top [mm].")
@click.option("--skip", type=click.IntRange(0, 500), default=0, help="How many labels of the first sheet are used already.")
@click.option("--single", metavar="WxH", help="Single labels of this size on a roll [mm], instead of a sheet.")
@language_option
def labels(
    *,
    load: str,
    practice_file: str,
    data: str | None,
    output: str,
    sheet: str,
    margin: str,
    skip: int,
    single: str | None,
    language: str | None,
) -> None:
    """Labels for the packs of LOAD, as it was packed: what, which load and machine, use by, codes to scan.

    Exit status: 0 written; 2 nothing could be done, and nothing was written.
    """
    from pathlib import Path  # noqa: PLC0415

    from fettlebook.cli.standings_read import read_standings  # noqa: PLC0415
    from fettlebook.cli.whole_file import write_whole  # noqa: PLC0415
    from fettlebook.exchange.paper.labels import Paper  # noqa: PLC0415
    from fettlebook.exchange.paper.labels_of import labels_of_load  # noqa: PLC0415

    columns, rows = _pair(sheet, "--sheet")
    paper = Paper(round(columns), round(rows), *_pair(margin, "--margin", 0.0), _pair(single, "--single") if single else None)
    with read_standings(practice_file, data, None, None) as asked:
        basis = asked.standings.basis
        pdf, count = labels_of_load(asked.store, basis, load, paper, skip, voice=printed_in(basis.practice, language))
    write_whole(Path(output), pdf)
    click.echo(f"{output}: {count} label{'' if count == 1 else 's'} for load {load}")
