"""What `fettlebook serve --host` needs beside the pages: a certificate, a lead's PIN, and the plain page of trust on a port of its own."""

from __future__ import annotations

import threading
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import click

from fettlebook.errors import Mendable

if TYPE_CHECKING:
    import socket
    from collections.abc import Callable
    from pathlib import Path

    from fettlebook.web.pages import Pages
    from fettlebook.web.tls.authority import Certificates
    from fettlebook.web.tls.served import Served

EVERY = ("0.0.0.0", "::")  # noqa: S104 - asked for by name


def certificates_for(host: str, data: Path, practice_file: Path) -> Certificates:
    """Return the certificates with which the pages may be opened to the house.

    Raises
    ------
    Mendable
        There are none, they have ended, they don't name the address; or nobody who leads has a PIN.
    """
    from fettlebook.practice.load import load_practice  # noqa: PLC0415 - the practice file is read only here
    from fettlebook.web.people.opened import refuse_without_lead  # noqa: PLC0415 - with the pages
    from fettlebook.web.tls.authority import folder_beside, read  # noqa: PLC0415 - cryptography takes a moment
    from fettlebook.web.tls.served import ends_soon, refuse_ended  # noqa: PLC0415 - cryptography takes a moment

    now = datetime.now(UTC)
    held = read(folder_beside(data))
    refuse_ended(held, now)
    if host not in EVERY and host.lower() not in held.hosts:
        known = ", ".join(sorted(held.hosts))
        mend = f"Let it: fettlebook certificate renew --address {host}. Now it names {known}."
        raise Mendable(f"the certificate does not name {host}", where="--host", mend=mend)
    refuse_without_lead(data, load_practice(practice_file))
    if soon := ends_soon(held, now):
        click.echo(f"Warning: {soon.what}. {soon.mend}", err=True)
    return held


def say_addresses(served: Served) -> None:
    """Say where the pages are open, and where a new tablet begins."""
    click.echo(f"fettlebook is open at {served.addresses[0]}/ (Ctrl-C stops it)")
    for other in served.addresses[1:]:
        click.echo(f"  also {other}/")
    click.echo(f"A new tablet begins at {served.trust_addresses[0]}/ and compares this fingerprint:")
    click.echo(f"  {served.fingerprint}")


def announce_here(served: Served, practice: str) -> Callable[[], bool]:
    """Tell the local network the server's name; return what ends that."""
    from fettlebook.web.tls.name import announce, announced  # noqa: PLC0415 - with the pages

    return announce(announced(served.certificates.names, served.certificates.addresses, served.port, practice))


def open_trust_page(listening: socket.socket, pages: Pages, served: Served) -> Callable[[], bool]:
    """Open the plain page of trust beside the pages; return what closes it."""
    import uvicorn  # noqa: PLC0415 - with the pages

    from fettlebook.web.tls.trust import trust_site  # noqa: PLC0415 - with the pages

    config = uvicorn.Config(
        trust_site(pages, served), log_level="warning", access_log=False, timeout_graceful_shutdown=1, server_header=False, lifespan="off"
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, name="trust page", daemon=True)
    thread.start()

    def close() -> bool:
        server.should_exit = True
        thread.join(3)
        listening.close()
        return not thread.is_alive()

    return close
