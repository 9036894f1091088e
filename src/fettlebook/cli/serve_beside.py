"""What works beside the pages while they are open: arrivals are taken in, word of changes is sent, each day's backup is made."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import time
    from pathlib import Path

    from fettlebook.web.arriving import Watching
    from fettlebook.web.desk import Desk
    from fettlebook.web.health.backing_up import BackingUp
    from fettlebook.web.record import Record
    from fettlebook.web.telling import Telling


@dataclass(frozen=True)
class Asked:
    """What is asked for: folders, and the time of the day's backup."""

    arrivals: Path | None
    backups: Path | None
    backup_at: time


@dataclass(frozen=True)
class Beside:
    """The workers, each in a thread of its own."""

    watching: Watching | None
    backing_up: BackingUp | None
    telling: Telling

    def close(self) -> None:
        """Stop them; what one is at is finished first."""
        for worker in (self.watching, self.backing_up, self.telling):
            if worker is not None:
                worker.close()


def open_beside(asked: Asked, data: Path, record: Record, desk: Desk, appointments: Path | None = None) -> Beside:
    """Start what is asked for."""
    from fettlebook.exchange.key import beside, load_or_make_key  # noqa: PLC0415 - with the pages
    from fettlebook.web.arriving import Watching  # noqa: PLC0415 - with the pages
    from fettlebook.web.health.backing_up import BackingUp  # noqa: PLC0415 - with the pages
    from fettlebook.web.telling import Telling  # noqa: PLC0415 - with the pages

    watching = Watching(asked.arrivals, record, desk, appointments=appointments) if asked.arrivals is not None else None
    backing_up = BackingUp(asked.backups, asked.backup_at, record, desk) if asked.backups is not None else None
    return Beside(watching, backing_up, Telling(record, desk, data.with_name(f"{data.name}.word"), load_or_make_key(beside(data))))
