"""Opening the book that a command names, by file or address, and the clock that goes with it."""

import os
import time
from collections.abc import Callable
from pathlib import Path

import click
from sqlalchemy import make_url
from sqlalchemy.exc import ArgumentError

from fettlebook.book.disk import low_on_space
from fettlebook.book.entries import Moment
from fettlebook.book.stores import SqliteStore, Store, open_book, open_group_book
from fettlebook.errors import Mendable


def is_address(book_at: str) -> bool:
    """Tell whether this is the address of a group's database, not a file."""
    return book_at.startswith(("postgresql:", "postgresql+"))


def group_address(book_at: str | None) -> str | None:
    """Return the address of a group's database as the driver takes it; None where a file is meant, or nothing."""
    if book_at is None or not is_address(book_at):
        return None
    try:
        make_url(book_at)
    except ArgumentError:
        mend = "Write postgresql://role@host/database."
        raise Mendable("no address of a database", where="BOOK", mend=mend) from None
    return f"postgresql+psycopg://{book_at.partition('://')[2]}"


def opener(address: str, kept_beside: Path | None = None) -> Callable[[str], Store]:
    """Return what opens a practice's book in a group's database; what is made of it is kept on this machine by the given name."""

    def open_it(practice: str) -> Store:
        # A throw-away server for trials may run without fsync; a real one is refused then.
        store = open_group_book(address, practice, durable=os.environ.get("FETTLEBOOK_THROW_AWAY_DATABASE") != "1")
        store.kept_beside = kept_beside
        return store

    return open_it


def existing_file(book_at: str) -> Path:
    """Return the file of a book that must be there: a mistyped name must not make a new one."""
    path = Path(book_at)
    if is_address(book_at):
        raise Mendable("the address of a database", where="BOOK", mend="Name the file of a book; a group's books go out by `book export`.")
    if not path.exists():
        raise Mendable("no such file", where=book_at, mend="Look at the name; `fettlebook book init` makes a new book.")
    return path


def opened(book_at: str, practice: str | None, *, write: bool) -> Store:
    """Open the book that is there."""
    if (address := group_address(book_at)) is not None:
        if practice is None:
            raise Mendable("a group's database holds several books", where="--practice", mend="Name the practice.")
        return opener(address)(practice)
    path = existing_file(book_at)
    if write and (low := low_on_space(path)) is not None:
        click.echo(f"{low.where}: {low.what}. {low.mend}", err=True)
    store = open_book(path, write=write)
    try:
        return store.of(chosen(store, practice))
    except BaseException:
        store.close()
        raise


def chosen(store: SqliteStore, practice: str | None) -> str:
    """Return whose book is meant: the one named, or the only one in the file."""
    held = store.practices()
    if practice is None and len(held) != 1:
        told = ", ".join(held) or "none"
        raise Mendable(f"this file holds {len(held)} books ({told:.200})", where="--practice", mend="Name the practice.")
    if practice is not None and practice not in held:
        told = ", ".join(held) or "none"
        raise Mendable(f"no book of {practice!r} in it", where="--practice", mend=f"Name one that it holds: {told:.300}.")
    return practice if practice is not None else held[0]


def key_file(book_at: str, key_at: str | None) -> Path:
    """Return where the signing key stands."""
    if key_at is None and is_address(book_at):
        raise Mendable("a group's database has no file beside it", where="--key", mend="Name the file of the signing key.")
    return Path(key_at) if key_at is not None else Path(f"{book_at}.key")


def now_ms() -> int:
    """Return the clock of this machine [ms since 1970-01-01 UTC]."""
    return time.time_ns() // 1_000_000


def moment_now(zone: str = "UTC") -> Moment:
    """Return this moment; what a command writes claims no length of time, so it names no forward clock."""
    return Moment(now_ms(), zone)
