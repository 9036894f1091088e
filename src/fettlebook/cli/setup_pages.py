"""The set-up as pages: a server on this machine alone, until Ctrl-C."""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from fettlebook.exchange.setup.dialogue import Dialogue


def serve_pages(dialogue: Dialogue, port: int) -> bool:
    """Open the pages; tell whether the set-up came to its end before they were stopped."""
    from datetime import UTC, datetime  # noqa: PLC0415 - imports wait until they are needed

    import uvicorn  # noqa: PLC0415

    from fettlebook.cli.listening import LOOPBACK, listen  # noqa: PLC0415
    from fettlebook.web.setup.pages import setup_app  # noqa: PLC0415

    with listen(LOOPBACK, port) as listening:
        app = setup_app(dialogue, lambda: datetime.now(UTC))
        config = uvicorn.Config(
            app, log_level="warning", access_log=False, timeout_graceful_shutdown=2, server_header=False, lifespan="off"
        )
        click.echo(f"The questions are at http://{LOOPBACK}:{listening.getsockname()[1]}/ (Ctrl-C stops; all answers are kept)")
        with suppress(KeyboardInterrupt):
            uvicorn.Server(config).run(sockets=[listening])
    click.echo(f"Stopped. Go on with: fettlebook setup {dialogue.folder} --page" if app.state.ended is None else "Stopped.")
    return app.state.ended is not None
