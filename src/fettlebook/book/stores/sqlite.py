"""The book in one SQLite file: one program writes, on one connection; readers have their own.

Sources
-------
[W] SQLite, "Write-Ahead Logging": in WAL mode only synchronous=FULL syncs the log at each commit. secondary
[R] SQLite before 3.51.3 can lose committed writes when two connections write and checkpoint at the same instant: here one
    connection alone writes and checkpoints, and a lock keeps other programs out. secondary
"""

import os
import sqlite3
import threading
from collections.abc import Collection, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Final, Self
from urllib.parse import quote

from sqlalchemy import Connection, Engine, create_engine, event, select
from sqlalchemy.exc import DBAPIError
from sqlalchemy.pool import QueuePool, StaticPool

from fettlebook.book.disk import share_under
from fettlebook.book.files import sync_folder
from fettlebook.book.moved import refuse_moved
from fettlebook.book.stores import tables
from fettlebook.book.stores.base import Store
from fettlebook.book.stores.pen import NotAsThought, Pen, SqlitePen
from fettlebook.book.stores.pruning import without_guard_sqlite
from fettlebook.book.stores.rebuild import Rebuilt, rebuild
from fettlebook.book.stores.told import Told
from fettlebook.book.sweep import Salt, Swept
from fettlebook.book.sweeper import APART_FROM, sweep_apart
from fettlebook.book.words import KeyFile
from fettlebook.errors import Mendable

APPLICATION_ID: Final = 0x66746C62  # "ftlb" in the file's header: it is a book
SCHEMA: Final = len(tables.REVISIONS)
CHECK_MOST_BYTES: Final = 200_000_000  # up to here the file is checked at each start (well under a second)
_HEADER: Final = b"SQLite format 3\x00"
_RESTORE: Final = "Keep it as it is, restore the last backup beside it, and let the tablets send again what that lacks."
_SAFE: Final = (
    "journal_mode=WAL",
    "synchronous=FULL",  # [W]
    "fullfsync=1",  # macOS: fsync alone leaves the data in the drive's cache
    "checkpoint_fullfsync=1",
    "foreign_keys=ON",
    "trusted_schema=OFF",
    "cell_size_check=ON",
    "busy_timeout=5000",
)


class InUse(Mendable):
    """Another program writes to this book; reading it is possible meanwhile."""


def open_book(path: Path | str, practice: str = "practice", *, write: bool = True) -> "SqliteStore":
    """Open the book in this file; make it, and its folder, where there is none.

    Parameters
    ----------
    path
        The file, on a disk of this machine (not a network share).
    practice
        Whose book it is; one file can hold several.
    write
        False: read only, also while another program writes. Nothing is made.

    Raises
    ------
    Mendable
        The folder can't be written, another program is writing, the file is not a book, is damaged, or is of a newer fettlebook.
    """
    return SqliteStore(Path(path), practice, write=write)


class SqliteStore(Store):
    """The book of one practice in a SQLite file. Use `open_book`."""

    _ask_then = (NotAsThought, sqlite3.IntegrityError)

    def __init__(self, path: Path, practice: str, *, write: bool = True) -> None:
        self.practice = practice
        self.path = path
        self._told = Told()
        self._lock: sqlite3.Connection | None = None
        self._writer: Engine | None = None
        self._raw: sqlite3.Connection | None = None  # the writer's own, which alone writes
        self._one_writer, self._in_turn = threading.Lock(), threading.Lock()
        try:
            if write:
                _refuse_share(path)
                refuse_moved(path)
                self._lock = _keep_others_out(path)
                if not path.exists():
                    _make(path)
            _look_at_header(path)
            self._readers = _engine(path, write=False)
            with _in_words(path), self._readers.begin() as connection:
                version = connection.exec_driver_sql("PRAGMA user_version").scalar_one()
                if path.stat().st_size <= CHECK_MOST_BYTES:
                    _check(connection, path)
            _refuse_newer(version, path)  # again: a newer program's change may stand in the log only
            if write:
                self._writer = _engine(path, write=True)
                with _in_words(path), self._writer.connect() as first:  # now: the last to close may then tidy up the log
                    self._raw = first.connection.driver_connection
                if version < SCHEMA:
                    with _in_words(path):
                        _keep_as_it_was(path, version)
                        _bring_forward(self._writer, path)
            elif version < SCHEMA:
                what = f"a book of the older schema {version}"
                raise Mendable(what, where=str(path), mend="Open it once for writing with this fettlebook; that brings it forward.")
        except BaseException:
            self.close()
            raise

    def of(self, practice: str) -> Self:
        """Return the book of another practice in the same file; it shares this one's connections."""
        other = object.__new__(type(self))
        other.__dict__ = self.__dict__ | {"practice": practice, "_told": Told(), "_stands": None, "_in_turn": threading.Lock()}
        return other

    @property
    def others_add(self) -> bool:
        """Whether another process may write: not while this one does."""
        return self._writer is None

    def close(self) -> None:
        """Let go of the file. What was acknowledged is safe without it."""
        if self._raw is not None:
            # Whoever reads the book next, perhaps only to read, then finds its subjects ready. (Closed already: by another practice of it.)
            with suppress(Mendable, sqlite3.ProgrammingError):
                self.catch_up()
        if readers := getattr(self, "_readers", None):
            readers.dispose()
        if self._writer is not None:
            self._writer.dispose()
        if self._lock is not None:
            self._lock.close()

    def check(self) -> None:
        """Raise `Mendable` where the file's structure is damaged (SQLite's integrity check: a second for a million entries)."""
        with _in_words(self.path), self._readers.begin() as connection:
            _check(connection, self.path, "integrity_check")

    def text_keys(self) -> KeyFile:
        """Return where the keys of people's words stand: in a file beside the book, which no backup of the book takes along."""
        return KeyFile(self.path.with_name(self.path.name + ".words"), self.practice)

    def practices(self) -> tuple[str, ...]:
        """Return the practices whose books are in this file."""
        with self._reading() as connection:
            return tuple(row.practice for row in connection.execute(select(tables.head.c.practice).order_by(tables.head.c.practice)))

    def rebuild(self) -> Rebuilt:
        """Make the tables that are read off the entries again; raises `Mendable` where the entries are not as they were sealed."""
        with self._writing() as connection:
            return rebuild(connection, self.practice)

    def _refuse_pruning(self) -> None:
        if self._writer is None:
            raise Mendable("opened for reading", where=str(self.path), mend="Open it for writing.")

    def _empty(self, last: int, keep: Collection[str]) -> None:
        assert self._raw is not None
        with self._one_writer, _in_words(self.path):
            self._raw.execute("PRAGMA secure_delete=ON")  # what goes is overwritten in the file
        while True:
            with self._writing() as connection:
                if not without_guard_sqlite(connection, self.practice, last, keep):
                    self._drop_unnamed_files(connection)
                    break
        with self._one_writer, _in_words(self.path):
            self._raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")  # and in the log
            self._raw.execute("PRAGMA secure_delete=OFF")

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        if self._writer is None:
            raise Mendable("opened for reading", where=str(self.path), mend="Open it for writing.")
        with self._one_writer, _in_words(self.path), self._writer.begin() as connection:
            yield connection

    @contextmanager
    def _appending(self) -> Iterator[tuple[Pen, str]]:
        raw = self._raw
        if raw is None:
            raise Mendable("opened for reading", where=str(self.path), mend="Open it for writing.")
        with self._one_writer, _in_words(self.path):
            raw.execute("BEGIN IMMEDIATE")
            try:
                yield SqlitePen(raw), ""
                raw.execute("COMMIT")
            except BaseException:
                if raw.in_transaction:
                    raw.execute("ROLLBACK")
                raise

    _adding = _appending

    def _sweep(self, size: int, salt: Salt | None, *, cores: int | None) -> Swept | None:
        """Sweep in as many processes as there are processors; a short book here."""
        if size < APART_FROM:
            return super()._sweep(size, salt, cores=cores)
        return sweep_apart(f"file:{quote(str(self.path.absolute()))}?mode=ro", self.practice, size, salt, cores=cores)

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        with _in_words(self.path), self._readers.begin() as connection:
            yield connection

    @contextmanager
    def _reading_with_pen(self) -> Iterator[Pen]:
        with self._reading() as connection:
            yield self._pen_of(connection)

    def _pen_of(self, connection: Connection) -> Pen:
        return SqlitePen(connection.connection.driver_connection)  # type: ignore[arg-type]  # it is sqlite3's: _engine made it


def _engine(path: Path, *, write: bool) -> Engine:
    """Return an engine whose transactions begin at once: the driver's own BEGIN would come only before the first change."""

    def connect() -> sqlite3.Connection:
        mode = "rw" if write else "ro"
        uri = f"file:{quote(str(path.absolute()))}?mode={mode}"
        connection = sqlite3.connect(uri, uri=True, check_same_thread=False, isolation_level=None, timeout=5)
        try:
            for pragma in _SAFE if write else ("query_only=1", "trusted_schema=OFF", "cell_size_check=ON"):
                answer = connection.execute(f"PRAGMA {pragma}").fetchone()
                if pragma.startswith("journal_mode") and answer != ("wal",):
                    mend = "Put the book on a disk of this machine, not on a network share."
                    raise Mendable(f"no safe journal here ({answer})", where=str(path), mend=mend)
        except BaseException:
            connection.close()
            raise
        return connection

    pool: dict[str, Any] = {"poolclass": StaticPool} if write else {"poolclass": QueuePool, "pool_size": 4, "max_overflow": 16}
    engine = create_engine("sqlite://", creator=connect, **pool)

    @event.listens_for(engine, "begin")
    def _(connection: Connection) -> None:
        connection.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")

    return engine


def _make(path: Path) -> None:
    """Make an empty book under another name first, so that a crash leaves no half-made one."""
    fresh = path.with_name(path.name + ".new")
    try:
        for old in (fresh, Path(f"{fresh}-wal"), Path(f"{fresh}-shm")):
            old.unlink(missing_ok=True)
        os.close(os.open(fresh, os.O_CREAT | os.O_WRONLY, 0o600))  # for its owner only, and so will its log be
        with _in_words(path):
            engine = _engine(fresh, write=True)
            try:
                _bring_forward(engine, path)
            finally:
                engine.dispose()
        os.replace(fresh, path)
    except OSError as error:
        mend = "Give a folder that you may write to, on a disk of this machine with room on it."
        raise Mendable(f"the book can't be made ({error.strerror})", where=str(path), mend=mend) from None
    sync_folder(path.parent)


def before_upgrade(path: Path, version: int) -> Path:
    """Return where a book is kept as it was before it was brought forward from an older schema."""
    return path.with_name(f"{path.name}.schema-{version}")


def _keep_as_it_was(path: Path, version: int) -> None:
    """Copy the whole book beside itself before its schema changes: the way back to the program that wrote it."""
    kept = before_upgrade(path, version)
    draft = kept.with_name(f"{kept.name}.draft")
    draft.unlink(missing_ok=True)
    try:
        os.close(os.open(draft, os.O_CREAT | os.O_WRONLY, 0o600))
        source = sqlite3.connect(path, isolation_level=None, timeout=5)
        try:
            source.execute("VACUUM INTO ?", (str(draft),))  # into an empty file that stands there already; with all that its log holds
        finally:
            source.close()
        with draft.open("rb+") as file:
            os.fsync(file.fileno())
        os.replace(draft, kept)
        sync_folder(path.parent)
    except OSError as error:
        mend = "Make room beside the book: it is copied whole before it is changed. Nothing was changed."
        raise Mendable(f"can't be kept as it was ({error.strerror})", where=str(kept), mend=mend) from None
    finally:
        draft.unlink(missing_ok=True)


def _bring_forward(engine: Engine, path: Path) -> None:
    from fettlebook.book.stores.migrate import bring_forward  # noqa: PLC0415 - Alembic takes 0.3 s to import, and is seldom needed

    try:
        with engine.begin() as connection:
            bring_forward(connection)
    except DBAPIError as error:
        if _code(error) != sqlite3.SQLITE_ERROR:
            raise
        mend = "Nothing was changed. Keep the file as it is, and open it with the fettlebook that wrote it."
        raise Mendable(f"could not be brought forward to schema {SCHEMA} ({error.orig})", where=str(path), mend=mend) from error


def _refuse_share(path: Path) -> None:
    if (kind := share_under(path.parent)) is not None:
        mend = "Put the book on a disk of this machine; other machines reach it through the page. Backups may go to the share."
        raise Mendable(f"this folder is a network share ({kind})", where=str(path.parent), mend=mend)


def _keep_others_out(path: Path) -> sqlite3.Connection:
    """Hold an exclusive lock beside the book for as long as the connection is open; it falls with the process, however that ends."""
    beside = path.with_name(path.name + ".writer")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if hasattr(os, "statvfs") and os.statvfs(path.parent).f_flag & os.ST_RDONLY:
            mend = "Make the disk writable, or give a folder on another disk of this machine."
            raise Mendable("this disk is read-only", where=str(path.parent), mend=mend)
        lock = sqlite3.connect(beside, timeout=1, isolation_level=None, check_same_thread=False)
    except (OSError, sqlite3.Error) as error:
        mend = "Give a folder that you may write to, on a disk of this machine."
        raise Mendable(f"the folder can't be written ({error})", where=str(path.parent), mend=mend) from None
    try:
        lock.execute("BEGIN EXCLUSIVE")
    except sqlite3.OperationalError as error:
        lock.close()
        if error.sqlite_errorcode & 0xFF == sqlite3.SQLITE_BUSY:
            mend = "Use that one's page, or end it first: one program at a time writes to a book."
            raise InUse("another fettlebook is writing to this book", where=str(path), mend=mend) from None
        mend = "Give a folder that you may write to, on a disk of this machine."
        raise Mendable(f"the folder can't be written ({error})", where=str(path.parent), mend=mend) from None
    return lock


def _look_at_header(path: Path) -> None:
    """Look at the file's first bytes only: SQLite would write journals beside a file that is none of ours."""
    try:
        with path.open("rb") as file:
            head, size = file.read(100), os.fstat(file.fileno()).st_size
    except OSError as error:
        mend = "Give the file of a book; one is made when it is opened for writing."
        raise Mendable(f"can't be read ({error.strerror})", where=str(path), mend=mend) from None
    if not head.startswith(_HEADER) or int.from_bytes(head[68:72], "big") != APPLICATION_ID:
        what = "an empty file" if not head else "not a book of fettlebook"
        raise Mendable(what, where=str(path), mend="Give another file name; this file was left as it is.")
    _refuse_newer(int.from_bytes(head[60:64], "big"), path)
    log = Path(f"{path}-wal")
    if log.exists() and log.stat().st_size:
        return  # the log may hold the pages that the file lacks
    page, pages = int.from_bytes(head[16:18], "big"), int.from_bytes(head[28:32], "big")
    page = 65536 if page == 1 else page
    if size % page or size < page * pages:  # SQLite itself reads zeros where a last page is cut
        raise Mendable(f"the file is damaged (cut: {size:,} of {page * pages:,} bytes)", where=str(path), mend=_RESTORE)


def _refuse_newer(version: int, path: Path) -> None:
    if not 1 <= version <= SCHEMA:
        what = f"a book of schema {version}; this fettlebook knows up to {SCHEMA}"
        raise Mendable(what, where=str(path), mend="Update fettlebook, then open it again. Nothing was changed.")


def _check(connection: Connection, path: Path, how: str = "quick_check") -> None:
    pages = connection.exec_driver_sql("PRAGMA page_count").scalar_one()
    said = [row[0] for row in connection.exec_driver_sql(f"PRAGMA {how}(1)")]
    if said != ["ok"] or not pages:
        raise Mendable(f"the file is damaged ({said[0]:.200})", where=str(path), mend=_RESTORE)


@contextmanager
def _in_words(path: Path) -> Iterator[None]:
    """Turn SQLite's failures into words. Whatever was not yet committed has been rolled back."""
    try:
        yield
    except UnicodeDecodeError as error:  # a text in the file, or a name of it in SQLite's own message
        raise Mendable("the file is damaged (a text that is none)", where=str(path), mend=_RESTORE) from error
    except (DBAPIError, sqlite3.Error) as error:
        said = error.orig if isinstance(error, DBAPIError) else error
        if isinstance(said, sqlite3.ProgrammingError):
            raise  # a fault of ours
        what, mend = {
            0: ("the file is damaged", _RESTORE),  # Python's own: a text that is none
            sqlite3.SQLITE_ERROR: ("the file is damaged, or another program has changed its tables", _RESTORE),
            sqlite3.SQLITE_CORRUPT: ("the file is damaged", _RESTORE),
            sqlite3.SQLITE_NOTADB: ("the file is damaged", _RESTORE),
            sqlite3.SQLITE_FULL: ("the disk is full", "Free space on it. What was not acknowledged stays on the tablets."),
            sqlite3.SQLITE_IOERR: ("the disk can't be written or read", "Look at free space and at the disk; then send again."),
            sqlite3.SQLITE_READONLY: ("the file or its folder is read-only", "Make it writable; then send again."),
            sqlite3.SQLITE_CANTOPEN: ("the file or its journal can't be opened", "Look at the rights of the file and its folder."),
            sqlite3.SQLITE_BUSY: ("another program holds the book", "End that program; then send again."),
        }.get(_code(error), ("", ""))
        if not what:
            raise
        raise Mendable(f"{what} ({said})", where=str(path), mend=mend) from error


def _code(error: DBAPIError | sqlite3.Error) -> int:
    cause = error.orig if isinstance(error, DBAPIError) else error
    return int(getattr(cause, "sqlite_errorcode", 0)) & 0xFF
