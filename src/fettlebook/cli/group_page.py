"""The group's table as a page on this machine."""

from __future__ import annotations

import socket
from collections.abc import Callable

import click
import uvicorn

from fettlebook.errors import Mendable
from fettlebook.exchange.group.rows import Row
from fettlebook.web.group.pages import group_app


def open_page(title: str, rows: Callable[[], list[Row]], port: int) -> None:
    """Serve the page on loopback until Ctrl-C; who sits elsewhere comes through a tunnel of their own."""
    listening = socket.socket(socket.AF_INET)
    try:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(("127.0.0.1", port))
        listening.listen(16)
    except OSError as error:
        listening.close()
        mend = "Is it open already? Else choose another port, or --port 0 for any that is free."
        raise Mendable(f"can't listen there: {error.strerror}", where=f"127.0.0.1 port {port}", mend=mend) from None
    with listening:
        click.echo(f"the group is open at http://127.0.0.1:{listening.getsockname()[1]}/ (Ctrl-C stops it)")
        config = uvicorn.Config(group_app(title, rows), log_level="warning", access_log=False, server_header=False, lifespan="off")
        uvicorn.Server(config).run(sockets=[listening])
