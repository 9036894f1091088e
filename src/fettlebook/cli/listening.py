"""The port that pages listen at."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import socket

LOOPBACK = "127.0.0.1"


def listen(host: str, port: int) -> socket.socket:
    """Take the port before anything else: a taken port is then the first and only message.

    Parameters
    ----------
    host
        A name or address of this machine; IPv6 where it has a colon.
    port
        0: any that is free.

    Raises
    ------
    Mendable
        Another program listens there, or it can't be listened there at all.
    """
    import errno  # noqa: PLC0415 - imports wait until they are needed: --help stays quick
    import socket  # noqa: PLC0415

    from fettlebook.errors import Mendable  # noqa: PLC0415

    listening = socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET)
    try:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((host, port))
        listening.listen(128)
    except OSError as error:
        listening.close()
        taken = error.errno == errno.EADDRINUSE
        what = "another program listens there" if taken else f"can't listen there: {error.strerror}"
        mend = "Is fettlebook open already? Else choose another port, or --port 0 for any that is free."
        raise Mendable(what, where=f"{host} port {port}", mend=mend) from None
    return listening
