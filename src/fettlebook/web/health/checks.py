"""The checks, each on its own: one that can't be made says so, and the others are made all the same."""

import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from fettlebook import __version__
from fettlebook.book.backup import backups_in, read_backup
from fettlebook.book.disk import low_on_space
from fettlebook.book.kinds import PracticeFileVersion, from_ms, to_ms
from fettlebook.book.stores import SqliteStore, Store, open_book
from fettlebook.errors import Mendable
from fettlebook.exchange.arrivals.aside import aside_folder, put_aside_files
from fettlebook.exchange.calendar import booked_days
from fettlebook.exchange.key import KEY_BYTES
from fettlebook.practice.load import read_practice_file
from fettlebook.practice.model import Practice
from fettlebook.said import said, said_count
from fettlebook.web.health.looked import Looked, Seen, of_finding
from fettlebook.web.source import newest_book, read_whole
from fettlebook.web.tls.authority import folder_beside, read
from fettlebook.web.tls.served import ends_soon

BACKUP_OLD: Final = timedelta(days=2)
BOOK_AHEAD_DAYS: Final = 7
OFFSET_MOST_MS: Final = 60_000  # a tablet whose clock is further off writes doubtful lengths
NEWEST: Final = 500  # entries whose clocks are compared
RACE_ENDS: Final = (3, 51, 3)  # an older SQLite can lose what two connections checkpoint at once; one writer alone avoids it


@dataclass(frozen=True, slots=True)
class House:
    """What is looked at: the files of one practice."""

    practice_file: Path
    book_file: Path | None
    data: Path
    backups: Path | None
    now: datetime  # aware
    store: Store | None = None  # a group's book, which is open and has no file


def look_at(house: House) -> Iterator[Looked]:
    """Yield each thing that was looked at. Never raises for what is wrong with one."""
    practice = None
    try:
        loaded = read_practice_file(house.practice_file)
        practice = loaded.practice
        if practice is None:
            errors = loaded.errors
            yield Looked(said("practice file"), Seen.BAD, said("{n} errors: {first}", n=len(errors), first=errors[0].what), errors[0].mend)
        else:
            count = len(loaded.warnings)
            line = said_count("read, {n} warning", "read, {n} warnings", n=count) if count else said("read, nothing to mend")
            yield Looked(said("practice file"), Seen.LOOK if count else Seen.GOOD, line, said("See fettlebook check.") if count else "")
    except Mendable as error:
        yield of_finding(said("practice file"), error.findings[0])
    checks: list[tuple[str, Callable[[], Iterator[Looked]]]] = [
        (said("appointment book"), lambda: _appointments(house, practice)),
        (said("book"), lambda: _book(house, practice)),
        (said("space on the disk"), lambda: _space(house)),
        (said("backup"), lambda: _backups(house)),
        (said("clock"), lambda: _clock(house, practice)),
        (said("certificate"), lambda: _certificate(house)),
        (said("arrivals"), lambda: _arrivals(house)),
        (said("versions"), _versions),
    ]
    for thing, check in checks:
        try:
            yield from check()
        except Mendable as error:
            yield of_finding(thing, error.findings[0])
        except Exception as error:  # what can't be looked at is told; the next thing is looked at all the same
            line = said("it could not be looked at ({kind})", kind=type(error).__name__)
            yield Looked(thing, Seen.BAD, line, said("Tell whoever looks after the program."))


def _appointments(house: House, practice: Practice | None) -> Iterator[Looked]:
    if house.book_file is None or practice is None:
        return
    file = newest_book(house.book_file)
    zone = ZoneInfo(practice.practice.time_zone)
    today = house.now.astimezone(zone).date()
    days = booked_days(read_whole(file), file.name, practice, today, bytes(KEY_BYTES), days=60)
    if not days:
        line = said("no visit is booked from today on")
        yield Looked(said("appointment book"), Seen.BAD, line, said("Export it again: the file is old, or of another practice."))
        return
    ahead = (days[-1] - today).days
    line = said("reaches to {last}", last=days[-1])
    mend = "" if ahead >= BOOK_AHEAD_DAYS else said("Export it again: it ends within a week.")
    yield Looked(said("appointment book"), Seen.GOOD if ahead >= BOOK_AHEAD_DAYS else Seen.LOOK, line, mend)


def _book(house: House, practice: Practice | None) -> Iterator[Looked]:
    if not _has_book(house):
        yield Looked(said("book"), Seen.BAD, said("there is none"), said("Begin one: fettlebook book init, or open the page once."))
        return
    with _opened(house, practice) as store:
        if isinstance(store, SqliteStore):
            store.check()
        head, last = store.head(), store.latest(PracticeFileVersion.KIND)
    when = from_ms(head.received, practice.practice.time_zone if practice else "UTC")
    line = said("{size} entries, the last {when}", size=head.size, when=when.isoformat(sep=" ", timespec="minutes")[:16])
    yield Looked(said("book"), Seen.GOOD, line)
    if last is not None and practice is not None and getattr(last.entry.data, "text", "") != house.practice_file.read_text("utf-8"):
        line = said("the practice file was changed and is not in the book yet")
        yield Looked(said("practice file"), Seen.LOOK, line, said("Open the page once, or: fettlebook book renew BOOK PRACTICE.toml"))


def _has_book(house: House) -> bool:
    return house.store is not None or house.data.exists()


@contextmanager
def _opened(house: House, practice: Practice | None) -> Iterator[Store]:
    if house.store is not None:
        yield house.store
        return
    with open_book(house.data, practice.practice.id if practice else "practice", write=False) as store:
        yield store


def _space(house: House) -> Iterator[Looked]:
    if (low := low_on_space(house.data)) is not None:
        yield of_finding(said("space on the disk"), low)
        return
    free = shutil.disk_usage(house.data.parent).free
    yield Looked(said("space on the disk"), Seen.GOOD, said("{free} GB free", free=f"{free / 1e9:.0f}"))


def _backups(house: House) -> Iterator[Looked]:
    thing = said("backup")
    if house.store is not None:
        line = said("a group's database is backed up by the group")
        yield Looked(thing, Seen.GOOD, line)
        return
    if house.backups is None:
        yield Looked(thing, Seen.LOOK, said("no folder is named"), said("Name it with --backups: on another disk than the book's."))
        return
    found = backups_in(house.backups) if house.backups.is_dir() else []
    if not found:
        yield Looked(
            thing, Seen.BAD, said("there is none in {folder}", folder=house.backups.name), said("Make one: fettlebook book backup")
        )
        return
    newest = max((read_backup(path) for path in found), key=lambda one: one.made_ms)
    made = from_ms(newest.made_ms)
    age = house.now - made
    line = said("{n} kept, the newest {made}", n=len(found), made=made.isoformat(sep=" ", timespec="minutes")[:16])
    if age > BACKUP_OLD:
        yield Looked(thing, Seen.BAD, line, said("Make one now, and see why it was not made: fettlebook book backup"))
    else:
        yield Looked(thing, Seen.GOOD, line)
    if _same_disk(house.backups, house.data):
        line = said("the backups lie on the same disk as the book")
        yield Looked(thing, Seen.LOOK, line, said("Put them on another one: a broken disk takes both."))


def _same_disk(one: Path, two: Path) -> bool:
    try:
        return one.stat().st_dev == two.parent.stat().st_dev
    except OSError:
        return False


def _clock(house: House, practice: Practice | None) -> Iterator[Looked]:
    thing = said("clock")
    if _has_book(house):
        with _opened(house, practice) as store:
            head = store.head()
            newest = list(store.read(max(0, head.size - NEWEST)))
        ahead = head.received - to_ms(house.now)
        if ahead > OFFSET_MOST_MS:
            line = said("this machine's clock stands {min} min before the last entry", min=round(ahead / 60_000))
            yield Looked(thing, Seen.BAD, line, said("Set the clock; entries keep their order meanwhile."))
        off = {one.via: one.offset for one in newest if abs(one.offset) > OFFSET_MOST_MS}
        for device, offset in sorted(off.items()):
            line = said("the clock of {device} is {min} min off", device=device, min=round(abs(offset) / 60_000))
            yield Looked(thing, Seen.LOOK, line, said("Set that tablet's clock; lengths of steps noted there are doubtful."))
    synced = _synchronised()
    if synced is None:
        yield Looked(
            thing, Seen.LOOK, said("whether it is set by the network can't be told here"), said("Compare it with a clock you trust.")
        )
    elif synced:
        yield Looked(thing, Seen.GOOD, said("set by the network"))
    else:
        yield Looked(thing, Seen.LOOK, said("not set by the network"), said("Switch on: timedatectl set-ntp true"))


def _synchronised() -> bool | None:
    """Return whether systemd says that the clock is set by the network; None where there is no systemd to ask."""
    found = shutil.which("timedatectl")
    if found is None:
        return None
    try:
        told = subprocess.run([found, "show", "-p", "NTPSynchronized", "--value"], capture_output=True, text=True, timeout=5, check=False)  # noqa: S603
    except (OSError, subprocess.TimeoutExpired):
        return None
    return {"yes": True, "no": False}.get(told.stdout.strip())


def _certificate(house: House) -> Iterator[Looked]:
    folder = folder_beside(house.data)
    if not folder.exists():
        line = said("none: the pages open on this machine alone")
        yield Looked(said("certificate"), Seen.GOOD, line)
        return
    held = read(folder)
    if (soon := ends_soon(held, house.now)) is not None:
        yield of_finding(said("certificate"), soon)
    else:
        yield Looked(said("certificate"), Seen.GOOD, said("good until {until}", until=f"{held.until:%Y-%m-%d}"))


def _arrivals(house: House) -> Iterator[Looked]:
    waiting = len(list(put_aside_files(aside_folder(house.data))))
    if waiting:
        line = said("{n} files are put aside", n=waiting)
        yield Looked(said("arrivals"), Seen.LOOK, line, said("A person must look: page Arrivals."))
    else:
        yield Looked(said("arrivals"), Seen.GOOD, said("nothing is put aside"))


def _versions() -> Iterator[Looked]:
    python = ".".join(map(str, sys.version_info[:3]))
    line = said("fettlebook {own}, Python {python}, SQLite {sqlite}", own=__version__, python=python, sqlite=sqlite3.sqlite_version)
    old = tuple(map(int, sqlite3.sqlite_version.split("."))) < RACE_ENDS
    if old:
        line = said("{line} (an older one with a known race; one writer alone avoids it, as here)", line=line)
    yield Looked(said("versions"), Seen.GOOD, line)
