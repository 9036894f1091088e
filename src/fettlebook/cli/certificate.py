"""`fettlebook certificate`: the practice's own authority, and the certificate with which tablets in the house reach the pages."""

from __future__ import annotations

import pathlib
from typing import TYPE_CHECKING

import click

from fettlebook.cli.options import JSON

if TYPE_CHECKING:
    from pathlib import Path

    from fettlebook.web.tls.authority import Certificates

_PRACTICE = click.argument("practice_file", metavar="PRACTICE.toml", type=click.Path(path_type=pathlib.Path))
_DATA = click.option("--data", metavar="FILE.sqlite", help="The book of entries; beside the practice file if left out.")
_NAMES = click.option("--name", "names", multiple=True, help="A name by which tablets call this machine, as practice.local.")
_ADDRESSES = click.option("--address", "addresses", multiple=True, help="This machine's address in the house, as 192.168.1.20.")


@click.group()
def certificate() -> None:
    """Make, renew and show the certificate for tablets in the house.

    It stands in a folder beside the book (book.sqlite.tls), with the practice's own authority. Each tablet trusts the authority
    once; renewing the server's certificate touches no tablet.
    """


@certificate.command()
@_PRACTICE
@_DATA
@_NAMES
@_ADDRESSES
@JSON
def make(*, practice_file: Path, data: str | None, names: tuple[str, ...], addresses: tuple[str, ...], as_json: bool) -> None:
    """Make the authority and the server's first certificate.

    Without --name and --address it takes this machine's own name in the local network and the address by which others reach it.

    Exit status: 0 made; 2 nothing was made, the message says why.
    """
    from fettlebook.practice.load import load_practice  # noqa: PLC0415 - imports wait until they are needed
    from fettlebook.web.tls.authority import folder_beside, make_authority, now_utc  # noqa: PLC0415

    at = _data(practice_file, data)
    practice = load_practice(practice_file)
    named, placed = names or _own_names(), addresses or _own_addresses()
    made = make_authority(folder_beside(at), practice.practice.name, named, placed, now_utc())
    _note(at, practice.practice.id, made)
    _show(made, as_json=as_json)


@certificate.command()
@_PRACTICE
@_DATA
@_NAMES
@_ADDRESSES
@JSON
def renew(*, practice_file: Path, data: str | None, names: tuple[str, ...], addresses: tuple[str, ...], as_json: bool) -> None:
    """Renew the server's certificate from the same authority; tablets need nothing.

    With --name or --address it is made out for these instead of the ones before. Start the server anew afterwards.

    Exit status: 0 renewed; 2 nothing was changed, the message says why.
    """
    from fettlebook.practice.load import load_practice  # noqa: PLC0415 - imports wait until they are needed
    from fettlebook.web.tls import authority  # noqa: PLC0415

    at = _data(practice_file, data)
    made = authority.renew(authority.folder_beside(at), names, addresses, authority.now_utc())
    _note(at, load_practice(practice_file).practice.id, made)
    _show(made, as_json=as_json)


@certificate.command()
@_PRACTICE
@_DATA
@JSON
def show(*, practice_file: Path, data: str | None, as_json: bool) -> None:
    """Show names, fingerprints, and until when they hold.

    Exit status: 0 it holds; 1 it has ended or ends within 30 days; 2 there is none, or it can't be read.
    """
    import sys  # noqa: PLC0415 - imports wait until they are needed

    from fettlebook.web.tls.authority import WARN_DAYS, folder_beside, now_utc, read  # noqa: PLC0415

    held = read(folder_beside(_data(practice_file, data)))
    _show(held, as_json=as_json)
    sys.exit(1 if held.days_left(now_utc()) < WARN_DAYS else 0)


def _data(practice_file: Path, data: str | None) -> Path:
    from pathlib import Path  # noqa: PLC0415 - imports wait until they are needed

    return Path(data) if data else practice_file.with_name("book.sqlite")


def _show(held: Certificates, *, as_json: bool) -> None:
    import json  # noqa: PLC0415 - imports wait until they are needed

    from fettlebook.web.tls.authority import in_pairs, now_utc  # noqa: PLC0415
    from fettlebook.web.tls.served import ends_soon  # noqa: PLC0415

    soon = ends_soon(held, now_utc())
    if as_json:
        said = {
            "folder": str(held.folder), "names": held.names, "addresses": held.addresses, "until": held.until.isoformat(),
            "authority_until": held.authority_until.isoformat(), "days_left": held.days_left(now_utc()),
            "fingerprint": held.fingerprint, "authority_fingerprint": held.authority_fingerprint,
        }  # fmt: skip
        click.echo(json.dumps(said, indent=1))
        return
    click.echo(f"Folder           {held.folder} (keep it in the backup, and to yourself)")
    click.echo(f"Names            {', '.join(held.names)}")
    click.echo(f"Addresses        {', '.join(held.addresses)}")
    click.echo(f"Server until     {held.until:%Y-%m-%d %H:%M} UTC, {held.days_left(now_utc())} days")
    click.echo(f"Authority until  {held.authority_until:%Y-%m-%d}")
    click.echo("Fingerprint of the authority, to compare at each tablet (SHA-256):")
    pairs = in_pairs(held.authority_fingerprint)
    click.echo(f"  {pairs[:48]}\n  {pairs[48:]}")
    if soon:
        click.echo(f"Warning: {soon.what}. {soon.mend}")


def _note(data: Path, practice: str, made: Certificates) -> None:
    """Note it in the book, where there is one."""
    from fettlebook.book.kinds.people import CertificateMade  # noqa: PLC0415 - imports wait until they are needed
    from fettlebook.cli.people_book import note_in  # noqa: PLC0415

    said = CertificateMade(
        fingerprint=made.fingerprint,
        authority=made.authority_fingerprint,
        until=f"{made.until:%Y-%m-%d}",
        names=(*made.names, *made.addresses),
    )
    note_in(data, practice, said)


def _own_names() -> tuple[str, ...]:
    import re  # noqa: PLC0415 - imports wait until they are needed
    import socket  # noqa: PLC0415

    plain = re.sub(r"[^a-z0-9-]", "-", socket.gethostname().partition(".")[0].lower()).strip("-")
    return (f"{plain or 'fettlebook'}.local",)


def _own_addresses() -> tuple[str, ...]:
    """Return the address by which others reach this machine: the one from which a packet would leave (none is sent)."""
    import socket  # noqa: PLC0415 - imports wait until they are needed

    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        try:
            asked.connect(("192.0.2.1", 9))
        except OSError:
            return ()
        return (asked.getsockname()[0],)
