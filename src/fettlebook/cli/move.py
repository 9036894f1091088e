"""`fettlebook move`: carry the whole practice to another machine."""

from __future__ import annotations

import pathlib
from typing import TYPE_CHECKING

import click

from fettlebook.cli.options import JSON

if TYPE_CHECKING:
    from pathlib import Path

    from fettlebook.exchange.moving import Moving


@click.group()
def move() -> None:
    """Carry the whole practice to another machine: practice file, book, keys, people, certificates; verified on both sides.

    Exit status: 0 done; 2 nothing was done, the message says why.
    """


@move.command()
@click.argument("practice_file", metavar="PRACTICE.toml", type=click.Path(path_type=pathlib.Path))
@click.argument("folder", metavar="FOLDER", type=click.Path(path_type=pathlib.Path))
@click.option(
    "--data", metavar="FILE.sqlite", type=click.Path(path_type=pathlib.Path), help="The book; beside the practice file if left out."
)
@click.option("--appointments", metavar="BOOK.ics", type=click.Path(path_type=pathlib.Path), help="The appointment book, to take along.")
@click.option("--trial", is_flag=True, help="The book here stays in use: to try the other machine, not to work there.")
@JSON
def out(*, practice_file: Path, folder: Path, data: Path | None, appointments: Path | None, trial: bool, as_json: bool) -> None:
    """Pack everything into a new FOLDER, read it again as it lies there, and close the book on this machine.

    End the page first. From then on the book here can be read and not written, so that there are never two of it.
    The folder holds keys: carry it yourself, and delete it once the practice runs on the other machine.
    """
    from fettlebook.cli.book_open import now_ms  # noqa: PLC0415 - imports wait until they are needed
    from fettlebook.errors import Mendable  # noqa: PLC0415
    from fettlebook.exchange.moving import missing, move_out  # noqa: PLC0415
    from fettlebook.web.source import newest_book  # noqa: PLC0415

    if appointments is not None and not appointments.exists():
        raise Mendable("there is no such file", where=str(appointments), mend="Correct the name, or leave --appointments out.")
    diary = newest_book(appointments) if appointments is not None else None
    book = data or practice_file.with_name("book.sqlite")
    moving = move_out(practice_file, diary, book, folder, now=now_ms(), stays=trial)
    if as_json:
        _as_json(moving, folder)
        return
    click.echo(f"{folder}: the practice {moving.practice}, {moving.size} entries, {len(moving.files)} files beside; verified")
    click.echo(f"root {moving.root.hex()}")
    for what in missing(moving):
        click.echo(f"  not here, so not in it: {what}")
    if trial:
        click.echo("A trial: the book here stays in use. What is written on the other machine stays there and is lost to this book.")
    else:
        click.echo(f"The book here is closed: it can be read, not written ({book.name}.moved says so).")
    click.echo(f"\nOn the other machine:\n  fettlebook move in {folder.name} NEW-FOLDER")
    click.echo("The folder holds keys: delete it once the practice runs there.")


@move.command("in")
@click.argument("folder", metavar="FOLDER", type=click.Path(path_type=pathlib.Path))
@click.argument("to", metavar="NEW-FOLDER", type=click.Path(path_type=pathlib.Path))
@JSON
def in_(*, folder: Path, to: Path, as_json: bool) -> None:
    """Put what `move out` packed to NEW-FOLDER: all of it, verified, or nothing. Nothing that is there is overwritten."""
    from fettlebook.exchange.moving import move_in  # noqa: PLC0415 - imports wait until they are needed

    moving = move_in(folder, to)
    if as_json:
        _as_json(moving, to)
        return
    click.echo(f"{to}: the practice {moving.practice}, {moving.size} entries, verified; the book goes on where it stood")
    click.echo(f"root {moving.root.hex()}")
    if moving.stays:
        click.echo("This is a trial: the practice goes on working on the other machine. Don't work with this one.")
    click.echo("Next:")
    if any(name.startswith("book.sqlite.tls/") for name in moving.files):
        click.echo(f"  fettlebook certificate renew {to / 'practice.toml'} --address ...   where this machine's name or address is another")
    diary = next((name for name in moving.files if name in {"book.ics", "book.json"}), "BOOK.ics")
    click.echo(f"  fettlebook serve {to / 'practice.toml'} {to / diary}\nThen delete {folder}: it holds keys.")


def _as_json(moving: Moving, folder: Path) -> None:
    import json  # noqa: PLC0415

    said = {"folder": str(folder), "practice": moving.practice, "size": moving.size, "root": moving.root.hex()}
    click.echo(json.dumps(said | {"files": sorted(moving.files), "trial": moving.stays}))
