"""The group's table as a page on this machine."""

from __future__ import annotations

import socket
from collections.abc import Callable

import click
import uvicorn

from fettlebook.cli.listening import LOOPBACK, listen
from fettlebook.exchange.group.rows import Row
from fettlebook.web.group.pages import group_app


def open_page(title: str, rows: Callable[[], list[Row]], port: int) -> None:
    """Serve the page on loopback until Ctrl-C; who sits elsewhere comes through a tunnel of their own."""
    with listen(LOOPBACK, port) as listening:
        click.echo(opened_words(listening.getsockname()[1], socket.gethostname()))
        config = uvicorn.Config(group_app(title, rows), log_level="warning", access_log=False, server_header=False, lifespan="off")
        uvicorn.Server(config).run(sockets=[listening])


def opened_words(port: int, machine: str) -> str:
    """Say where the page is, why nowhere else, and how to reach it from elsewhere all the same."""
    address = f"http://{LOOPBACK}:{port}/"
    return (
        f"the group is open at {address} (Ctrl-C stops it)\n"
        "On this machine alone: the page names what is wrong in every practice, and has no sign-in of its own.\n"
        "From another machine, through an encrypted tunnel with your own sign-in at this one; then open the same address there:\n"
        f"  ssh -N -L {port}:{LOOPBACK}:{port} {machine}"
    )
