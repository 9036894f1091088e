"""A server that tells the streams of its pages to end before it waits for them: else each stop would take all of its grace time."""

import socket
from collections.abc import Callable

import uvicorn


class Leaving(uvicorn.Server):
    """uvicorn, with a word before it stops."""

    def __init__(self, config: uvicorn.Config, last_word: Callable[[], None]) -> None:
        super().__init__(config)
        self._last_word = last_word

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Let the streams end, then stop as always."""
        self._last_word()
        await super().shutdown(sockets)
