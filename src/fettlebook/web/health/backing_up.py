"""The backup of each day, made while the pages are open: copied, verified, restored to another place as a trial, old ones dropped.

It is made at a set time of the practice's day, and soon after a start where the newest is older than a day. One that fails is tried again
each quarter of an hour; until one is good, the pages say so. The trial's outcome is an entry of the book.
"""

import logging
import shutil
import tempfile
import threading
from collections.abc import Callable
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from fettlebook.book.backup import Backup, back_up, backups_in, read_backup, rotate, try_restore
from fettlebook.book.door import Door
from fettlebook.book.entries import Moment
from fettlebook.book.kinds import from_ms, to_ms
from fettlebook.book.signing import sign_book
from fettlebook.errors import Finding, Mendable
from fettlebook.web.desk import Desk, bug
from fettlebook.web.record import Record

AGAIN: Final = timedelta(minutes=15)
OLD: Final = timedelta(hours=25)
LOOK_S: Final = 20.0
log = logging.getLogger("fettlebook.web")


def due(newest: datetime | None, now: datetime, at: time, zone: ZoneInfo) -> bool:
    """Tell whether a backup is to be made now.

    Parameters
    ----------
    newest
        When the newest good one was made, aware; None: there is none.
    now
        Aware.
    at
        The time of the practice's day at which one is made.
    """
    if newest is None or now - newest > OLD:
        return True
    local = now.astimezone(zone)
    set_today = datetime.combine(local.date(), at, zone)
    return local >= set_today > newest.astimezone(zone)


class BackingUp:
    """Makes the backups, in a thread of its own."""

    def __init__(
        self, folder: Path, at: time, record: Record, desk: Desk, *, clock: Callable[[], datetime] | None = None, look_s: float = LOOK_S
    ) -> None:
        self.folder, self._at, self._record, self._desk, self._look_s = folder, at, record, desk, look_s
        self._clock = clock or (lambda: datetime.now(UTC))
        self._door = Door(record.store)
        self._failed_at: datetime | None = None
        self.trouble: Finding | None = None
        self.newest: datetime | None = None
        self._leave = threading.Event()
        self._thread = threading.Thread(target=self._work, name="backups", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Stop; a backup that is being made is finished first."""
        self._leave.set()
        self._thread.join(60)

    def _work(self) -> None:
        self.newest = _newest(self.folder)
        while not self._leave.wait(self._look_s):
            now = self._clock()
            waits = self._failed_at is not None and now - self._failed_at < AGAIN
            if waits or not self._record.ready(0.0) or not due(self.newest, now, self._at, self._desk.reading.zone):
                continue
            try:
                self.newest = from_ms(self.make(now).made_ms)
                self._failed_at = self.trouble = None
            except Mendable as error:
                self._failed_at, self.trouble = now, error.findings[0]
            except Exception as error:  # the next one is tried all the same
                self._failed_at, self.trouble = now, bug(error, "making a backup")
            log.info("backup: %s", "made and tried" if self.trouble is None else self.trouble.what)

    def make(self, now: datetime) -> Backup:
        """Make one backup now: copy, verify, try to restore it, note the trial, drop old ones. Raises `Mendable` where it can't be made."""
        path = getattr(self._record.store, "path", None)
        if path is None:
            raise Mendable("this book has no file", where="backup", mend="A group's database is backed up by the group.")
        _make_folder(self.folder)
        if (key := Path(f"{path}.key")).exists():
            sign_book(self._record.store, key)  # the day's checkpoint goes into the backup: what the book held then can't be denied later
        made = back_up(Path(path), self.folder, now=to_ms(now))
        with tempfile.TemporaryDirectory(dir=self.folder) as scratch:
            tried = try_restore(made, Path(scratch))
        zone = self._desk.reading.practice.practice.time_zone
        for practice, outcome in tried.items():
            if practice == self._record.store.practice:
                self._door.note(outcome, moment=Moment(to_ms(now), zone))
        if not all(outcome.whole for outcome in tried.values()):
            shutil.rmtree(made.folder, ignore_errors=True)
            raise Mendable("the copy could not be restored whole", where=str(self.folder), mend="Look at that disk; verify the book.")
        rotate(self.folder)
        return made


def _newest(folder: Path) -> datetime | None:
    found = []
    for path in backups_in(folder) if folder.is_dir() else ():
        try:
            found.append(read_backup(path).made_ms)
        except Mendable:
            continue
    return from_ms(max(found)) if found else None


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        mend = "Plug the disk in again, or name another folder with --backups."
        raise Mendable(f"the folder of backups can't be reached: {error.strerror}", where=str(folder), mend=mend) from None
