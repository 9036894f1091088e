"""The group's table as a page on this machine."""

from __future__ import annotations

from collections.abc import Callable

import click
import uvicorn

from fettlebook.cli.listening import LOOPBACK, listen
from fettlebook.exchange.group.rows import Row
from fettlebook.web.group.pages import group_app


def open_page(title: str, rows: Callable[[], list[Row]], port: int) -> None:
    """Serve the page on loopback until Ctrl-C; who sits elsewhere comes through a tunnel of their own."""
    with listen(LOOPBACK, port) as listening:
        click.echo(f"the group is open at http://{LOOPBACK}:{listening.getsockname()[1]}/ (Ctrl-C stops it)")
        config = uvicorn.Config(group_app(title, rows), log_level="warning", access_log=False, server_header=False, lifespan="off")
        uvicorn.Server(config).run(sockets=[listening])
