"""Reading a file of the folder of arrivals, with its size looked at first."""

from pathlib import Path

from fettlebook.errors import Mendable
from fettlebook.exchange.arrivals.arrived import Arrived
from fettlebook.exchange.arrivals.folder import MOST_BYTES, Waiting


def read_arrived(path: Path, waiting: Waiting) -> Arrived:
    """Return the file as it came.

    Raises
    ------
    Mendable
        It is far too large to be a log or report, or it can't be read.
    """
    if waiting.size > MOST_BYTES:
        raise Mendable(
            f"{waiting.size / 1e6:,.0f} MB are no log of a cycle and no report",
            where=str(path),
            mend="Take it out; export one cycle alone.",
        )
    try:
        content = path.read_bytes()
    except OSError as error:
        raise Mendable(f"can't be read: {error.strerror}", where=str(path), mend="Give this program's user the right to read it.") from None
    return Arrived(content, path.name, waiting.source, waiting.written_ns // 1_000_000)
