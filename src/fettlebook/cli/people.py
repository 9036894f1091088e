"""`fettlebook people`: PINs and devices from the machine itself, for the first steps and for when nobody can sign in any more."""

from __future__ import annotations

import pathlib
import sys
from typing import TYPE_CHECKING

import click

from fettlebook.cli.options import JSON

if TYPE_CHECKING:
    from pathlib import Path

    from fettlebook.book.kinds import Data
    from fettlebook.web.people.people import People

_PRACTICE = click.argument("practice_file", metavar="PRACTICE.toml", type=click.Path(path_type=pathlib.Path))
_DATA = click.option("--data", metavar="FILE.sqlite", help="The book of entries; beside the practice file if left out.")


@click.group()
def people() -> None:
    """PINs and devices from this machine.

    Whoever can run this can read the files of the book anyway. In daily work the lead does the same on the pages.
    """


@people.command("list")
@_PRACTICE
@_DATA
@JSON
def list_(*, practice_file: Path, data: str | None, as_json: bool) -> None:
    """Show who has a PIN or a badge, and which devices are let in.

    Exit status: 0 shown; 1 nobody who leads has a PIN; 2 it can't be read.
    """
    import json  # noqa: PLC0415 - imports wait until they are needed

    from fettlebook.web.people.devices import Devices  # noqa: PLC0415

    of, _ = _open(practice_file, data)
    devices = Devices(of)
    pins, badges = of.with_pin(), devices.with_badge()
    staff = [
        {"person": p.id, "name": p.name, "role": str(p.acts_as), "pin": p.id in pins, "badge": p.id in badges} for p in of.practice().people
    ]
    let_in = [{"device": d.id, "name": d.name, "by": d.by, "withdrawn": d.withdrawn is not None} for d in devices.all()]
    if as_json:
        click.echo(json.dumps({"people": staff, "devices": let_in}, indent=1))
    else:
        for one in staff:
            has = [word for word, there in (("PIN", one["pin"]), ("badge", one["badge"])) if there]
            click.echo(f"{one['name']:<20} {one['role']:<11} {' and '.join(has) or 'neither PIN nor badge'}")
        for device in let_in:
            click.echo(f"{device['device']:<20} {device['name']}{', withdrawn' if device['withdrawn'] else ''}")
    sys.exit(0 if of.lead_has_pin() else 1)


@people.command()
@_PRACTICE
@click.argument("person")
@_DATA
def pin(*, practice_file: Path, person: str, data: str | None) -> None:
    """Give PERSON a PIN: it is asked twice and not shown; or two lines from a pipe.

    Exit status: 0 given; 2 nothing was changed, the message says why.
    """
    from fettlebook.web.people.devices import Devices  # noqa: PLC0415 - imports wait until they are needed

    of, said = _open(practice_file, data)
    first, again = _asked("New PIN"), _asked("Once more")
    Devices(of).give_pin(person, first, again, "program")
    _note(practice_file, data, said)
    click.echo(f"{person} has a PIN.")


@people.command()
@_PRACTICE
@click.argument("name")
@_DATA
def code(*, practice_file: Path, name: str, data: str | None) -> None:
    """Show a code that lets one device in, called NAME, within ten minutes and once.

    Exit status: 0 shown; 2 nothing was changed, the message says why.
    """
    from fettlebook.errors import Mendable  # noqa: PLC0415 - imports wait until they are needed
    from fettlebook.web.people.devices import Devices  # noqa: PLC0415

    of, _ = _open(practice_file, data)
    if not of.lead_has_pin():
        raise Mendable("nobody who leads has a PIN yet", where="people", mend="Give one first: fettlebook people pin PRACTICE.toml PERSON")
    shown = Devices(of).code(name, "program")
    click.echo(f"{shown[:4]} {shown[4:]}")


@people.command()
@_PRACTICE
@click.argument("device")
@_DATA
def withdraw(*, practice_file: Path, device: str, data: str | None) -> None:
    """Let DEVICE in no more; its id is in `people list`.

    Exit status: 0 withdrawn; 2 there is no such device.
    """
    from fettlebook.errors import Mendable  # noqa: PLC0415 - imports wait until they are needed
    from fettlebook.web.people.devices import Devices  # noqa: PLC0415

    of, said = _open(practice_file, data)
    devices = Devices(of)
    if device not in {one.id for one in devices.all() if one.withdrawn is None}:
        raise Mendable(f"no device {device[:60]!r} is let in", where="DEVICE", mend="Look at fettlebook people list.")
    devices.withdraw(device, "program")
    _note(practice_file, data, said)
    click.echo(f"{device} is withdrawn.")


def _asked(label: str) -> str:
    if sys.stdin.isatty():
        return str(click.prompt(label, hide_input=True))
    return sys.stdin.readline().rstrip("\r\n")


def _open(practice_file: Path, data: str | None) -> tuple[People, list[Data]]:
    """Return the people of a book, and the list into which what is to be noted falls."""
    from pathlib import Path  # noqa: PLC0415 - imports wait until they are needed

    from fettlebook.exchange.key import load_or_make_key  # noqa: PLC0415
    from fettlebook.practice.load import load_practice  # noqa: PLC0415
    from fettlebook.web.people.people import People  # noqa: PLC0415
    from fettlebook.web.people.people_file import PeopleFile, people_file_beside, pepper_beside  # noqa: PLC0415

    practice = load_practice(practice_file)
    at = Path(data) if data else practice_file.with_name("book.sqlite")
    said: list[Data] = []
    file, pepper = PeopleFile(people_file_beside(at)), load_or_make_key(pepper_beside(at))
    return People(lambda: practice, file, pepper, note=lambda one, _: said.append(one)), said


def _note(practice_file: Path, data: str | None, said: list[Data]) -> None:
    from pathlib import Path  # noqa: PLC0415 - imports wait until they are needed

    from fettlebook.cli.people_book import note_in  # noqa: PLC0415
    from fettlebook.practice.load import load_practice  # noqa: PLC0415

    at = Path(data) if data else practice_file.with_name("book.sqlite")
    note_in(at, load_practice(practice_file).practice.id, *said)
