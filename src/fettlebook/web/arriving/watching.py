"""The folder of arrivals, looked at every few seconds: what stands still is taken in; what can't be is put aside and shown."""

import logging
import threading
from collections import deque
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from fettlebook.book.door import Door
from fettlebook.errors import Finding, Mendable
from fettlebook.exchange.arrivals.arrived import Outcome
from fettlebook.exchange.arrivals.aside import PutAside, aside_folder, put_aside_files
from fettlebook.exchange.arrivals.cycle_log import Into
from fettlebook.exchange.arrivals.folder import Waiting, look_into, stands_still
from fettlebook.exchange.arrivals.reading import read_arrived
from fettlebook.exchange.arrivals.taking import take_in
from fettlebook.web.desk import Desk, bug
from fettlebook.web.record import Record

EVERY_S: Final = 3.0
SHOWN: Final = 50
log = logging.getLogger("fettlebook.web")


@dataclass(frozen=True, slots=True)
class Came:
    """One file that was looked at in this run."""

    at_ms: int
    source: str
    name: str
    outcome: Outcome


class Watching:
    """Takes in what arrives, in a thread of its own."""

    def __init__(self, folder: Path, record: Record, desk: Desk, *, appointments: Path | None = None, every_s: float = EVERY_S) -> None:
        """Begin to watch; `appointments` is the folder of the appointment book's exports, where it is one."""
        self.appointments = appointments if appointments is not None and appointments.is_dir() else None
        self.folder, self._record, self._desk, self._every_s = folder, record, desk, every_s
        path = getattr(record.store, "path", None)  # a group's book has no file: its arrivals are put aside in the folder itself
        self.aside = aside_folder(Path(path)) if path is not None else folder / ".aside"
        self._door = Door(record.store)
        self._before: dict[Path, Waiting] = {}
        self._done: dict[Path, Waiting] = {}
        self._came: deque[Came] = deque(maxlen=SHOWN)
        self.trouble: Finding | None = None  # why nothing can be taken in now
        self._leave, self._look = threading.Event(), threading.Event()
        self._thread = threading.Thread(target=self._work, name="arrivals", daemon=True)
        self._thread.start()

    def came(self) -> list[Came]:
        """Return what was looked at in this run, the newest first."""
        return list(self._came)[::-1]

    def put_aside(self) -> list[PutAside]:
        """Return the files that wait for a person."""
        return list(put_aside_files(self.aside))

    def look_again(self) -> None:
        """Look at once, also at what could not be read before."""
        self._done.clear()
        self._look.set()

    def close(self) -> None:
        """Stop; what is being taken in is finished first."""
        self._leave.set()
        self._look.set()
        self._thread.join(10)

    def _work(self) -> None:
        while not self._leave.is_set():
            try:
                if self._record.ready(1.0):
                    self.take()
                    self.trouble = None
            except Mendable as error:
                self.trouble = error.findings[0]
            except Exception as error:  # the watcher outlives whatever a file may hold
                self.trouble = bug(error, "taking in arrivals")
            self._look.wait(self._every_s)
            self._look.clear()

    def take(self) -> None:
        """Look once, and take in what stands still since the look before."""
        now = look_into(self.folder)
        for path in stands_still(now, self._before, self._done):
            if self._leave.is_set():
                return
            waiting = now[path]
            moment = self._record.now()
            try:
                arrived = read_arrived(path, waiting)
            except Mendable as error:
                outcome = Outcome("put aside", f"{path.name}: {error.what}", findings=tuple(error.findings))
            else:
                into = Into(self._record.store, self._door, self._desk.reading.practice, moment)
                with self._record.view() as view:
                    outcome = take_in(into, lambda look=view.look: look, arrived, self.aside)  # type: ignore[misc]
            self._done[path] = waiting
            self._came.append(Came(moment, waiting.source, path.name, outcome))
            log.info("arrived: %s", outcome.became)  # no name: a laboratory may put anything into it
        self._before = now
