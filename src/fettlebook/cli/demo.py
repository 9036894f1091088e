"""`fettlebook demo DIR`: the invented practice, to try everything on."""

from pathlib import Path

import click


@click.command()
@click.argument("directory", metavar="DIR", type=click.Path(path_type=Path))
@click.option("--overwrite", is_flag=True, help="Replace files of these names that have another content.")
def demo(directory: Path, overwrite: bool) -> None:
    """Write the invented demo practice and its appointment book into DIR.

    Exit status: 0 both files stand in DIR; 2 nothing was written.
    """
    from fettlebook.demo import book_ics, practice_text  # noqa: PLC0415 - keeps --help quick
    from fettlebook.demo.write import write_files  # noqa: PLC0415

    contents = {"practice.toml": practice_text(), "book.ics": book_ics()}
    for name, written in write_files(directory, contents, overwrite=overwrite).items():
        click.echo(f"{'wrote' if written else 'kept '}  {directory / name}")
    click.echo("All of it is invented: no such practice exists, and no number in it is a fact of the trade.")
    practice, book = directory / "practice.toml", directory / "book.ics"
    click.echo(f"\nNext:\n  fettlebook check {practice}\n  fettlebook times {practice}\n  fettlebook day {practice} {book}")
