"""The people file: hashes of PINs, badges and devices' secrets, sessions and wrong tries, in a small database beside the book.

Never in the append-only book, where nothing could be forgotten again, and never in an export. Only its owner can read the file.
Nothing in it opens a door by itself: PINs and badges are hashed under a pepper that stands in a file of its own, devices' secrets
and sessions are long random numbers of which only a digest is kept.
"""

import os
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

from fettlebook.errors import Mendable

SCHEMA: Final = 1
APPLICATION: Final = 0x66747071  # "ftpq": no other program's file is taken for ours
_TABLES: Final = """
CREATE TABLE pin (person TEXT PRIMARY KEY, hash TEXT NOT NULL, changed INTEGER NOT NULL) STRICT;
CREATE TABLE badge (digest BLOB PRIMARY KEY, person TEXT NOT NULL, given INTEGER NOT NULL) STRICT;
CREATE TABLE device (id TEXT PRIMARY KEY, name TEXT NOT NULL, digest BLOB NOT NULL UNIQUE, enrolled INTEGER NOT NULL,
    by TEXT NOT NULL, seen INTEGER NOT NULL, withdrawn INTEGER) STRICT;
CREATE TABLE code (digest BLOB PRIMARY KEY, name TEXT NOT NULL, by TEXT NOT NULL, until INTEGER NOT NULL, used INTEGER) STRICT;
CREATE TABLE session (digest BLOB PRIMARY KEY, device TEXT NOT NULL, person TEXT NOT NULL, began INTEGER NOT NULL,
    seen INTEGER NOT NULL, locked INTEGER NOT NULL) STRICT;
CREATE TABLE wrong (what TEXT NOT NULL, device TEXT NOT NULL, tries INTEGER NOT NULL, last INTEGER NOT NULL,
    PRIMARY KEY (what, device)) STRICT;
CREATE TABLE known (name TEXT PRIMARY KEY, value BLOB NOT NULL) STRICT;
"""


def people_file_beside(data: Path) -> Path:
    """Return where the people file of a book stands: `book.sqlite.people`."""
    return data.with_name(f"{data.name}.people")


def pepper_beside(data: Path) -> Path:
    """Return where the pepper stands: `book.sqlite.pepper`. Without it no PIN and no badge is known any more."""
    return data.with_name(f"{data.name}.pepper")


class PeopleFile:
    """An open people file. Every change is one transaction, durable when it returns."""

    def __init__(self, path: Path | None) -> None:
        """Open the file, or make it; None keeps all in memory.

        Raises
        ------
        Mendable
            It can't be opened, is no people file, or was written by a newer edition.
        """
        where = str(path) if path else "memory"
        try:
            if path is not None:
                os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))
                if os.name == "posix" and path.stat().st_mode & 0o077:
                    path.chmod(0o600)  # a copy from a backup may have come back readable by all
            self._lock = threading.RLock()
            self._held = sqlite3.connect(path or ":memory:", isolation_level=None, check_same_thread=False, timeout=10)
            for pragma in ("journal_mode=delete", "synchronous=full", "secure_delete=on", "trusted_schema=off"):
                self._held.execute(f"PRAGMA {pragma}")
            with self.change() as file:
                self._begin(file, where)
        except OSError as error:
            mend = "Give this program's user the right to read and write there."
            raise Mendable(f"the people file can't be used: {error.strerror}", where=where, mend=mend) from None
        except sqlite3.DatabaseError as error:
            mend = "Put it back from the backup; or take it away: PINs and tablets are then given anew, the book is not touched."
            raise Mendable(f"this is no people file: {error}", where=where, mend=mend) from None

    def _begin(self, file: sqlite3.Connection, where: str) -> None:
        ((application,),) = file.execute("PRAGMA application_id")
        ((version,),) = file.execute("PRAGMA user_version")
        if not application and not version and not file.execute("SELECT 1 FROM sqlite_schema").fetchone():
            for statement in _TABLES.split(";\n")[:-1]:
                file.execute(statement)
            file.execute(f"PRAGMA application_id={APPLICATION}")
            file.execute(f"PRAGMA user_version={SCHEMA}")
        elif application != APPLICATION:
            raise Mendable("this is another program's database", where=where, mend="Move it away; a new people file is then begun.")
        elif version != SCHEMA:
            raise Mendable(f"a people file of edition {version}", where=where, mend="Update fettlebook on this machine.")

    @contextmanager
    def change(self) -> Iterator[sqlite3.Connection]:
        """Give the database for reading and changing, alone; all of it is kept, or nothing where an error comes out."""
        with self._lock:
            self._held.execute("BEGIN IMMEDIATE")
            try:
                yield self._held
            except BaseException:
                self._held.execute("ROLLBACK")
                raise
            self._held.execute("COMMIT")

    def rows(self, question: str, *values: Any) -> list[tuple[Any, ...]]:
        """Return the answer to a question."""
        with self._lock:
            return self._held.execute(question, values).fetchall()

    def close(self) -> None:
        """Let go of the file."""
        with self._lock:
            self._held.close()
