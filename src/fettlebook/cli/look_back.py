"""`fettlebook look-back`: the pack after a bad test, a failed cycle or a count over a limit."""

from __future__ import annotations

import click

from fettlebook.cli.printed_in import language_option, printed_in


@click.command("look-back")
@click.argument("subject")
@click.option(
    "--practice", "practice_file", required=True, metavar="PRACTICE.toml", type=click.Path(path_type=str), help="The practice file."
)
@click.option("-o", "--output", required=True, metavar="DIR", help="A new folder for the PDF, the CSV and the letter draft.")
@click.option("--data", metavar="BOOK.sqlite", help="The book of entries; beside the practice file if left out.")
@click.option("--test", metavar="TEST", help='Of a machine: the test to go by, such as "spore test"; the one that failed last if left out.')
@click.option("--at", metavar="DATETHH:MM", help="Nothing later than this moment; now if left out.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON and nothing else.")
@language_option
@click.pass_context
def look_back(
    context: click.Context,
    /,
    *,
    subject: str,
    practice_file: str,
    output: str,
    data: str | None,
    test: str | None,
    at: str | None,
    as_json: bool,
    language: str | None,
) -> None:
    """Write what a bad result touched and what is still open: look-back.pdf, look-back.csv, letter.txt.

    SUBJECT is a machine whose test failed, a chair whose count was over a limit, or a load whose cycle failed, as it is called.
    No patient is named: visits are opaque references, and the letter has blanks. Written whole or not at all.

    Exit status: 0 written, nothing is open; 1 written, and something is still open; 2 nothing was written.
    """
    import json  # noqa: PLC0415 - imports wait until they are needed: --help stays quick
    from pathlib import Path  # noqa: PLC0415

    from fettlebook.cli.standings_read import read_standings  # noqa: PLC0415
    from fettlebook.exchange.evidence.bundle import new_folder, refuse_taken  # noqa: PLC0415
    from fettlebook.exchange.look_back_pack import csv_pack, letter_of, pack_of, pdf_pack  # noqa: PLC0415
    from fettlebook.standing.asking import read_subject  # noqa: PLC0415

    to = Path(output)
    refuse_taken(to)
    with read_standings(practice_file, data, at, "now") as asked:
        view = asked.view
        pack = pack_of(view.look, read_subject(view, subject), test=test)
        voice = printed_in(view.look.basis.practice, language)
        with new_folder(to) as writing:
            writing.put("look-back.pdf", pdf_pack(pack, voice))
            writing.put("look-back.csv", csv_pack(pack).encode())
            writing.put("letter.txt", letter_of(pack, voice).encode())
    back = pack.back
    counts = {"loads": len(back.loads), "visits": len(back.visits), "sets_in_the_cupboard": len(back.at_hand)}
    if as_json:
        click.echo(json.dumps({"folder": str(to), "subject": back.subject, "what": back.what, **counts, "open": list(pack.open)}, indent=2))
    else:
        click.echo(
            f"{pack.title}\n{to}: {counts['loads']} loads, {counts['visits']} visits, {counts['sets_in_the_cupboard']} sets not used yet"
        )
        for one in pack.open:
            click.echo(f"  open: {one}")
        if not pack.open:
            click.echo("  nothing open that the book shows")
    context.exit(1 if pack.open else 0)
