"""What appending writes with: the driver's own connection inside a transaction.

Appending is what a practice waits for. A query builder takes longer to put a statement together than SQLite takes to carry it out, so here
the statements stand as they are, in the words that both databases understand, with `?` for a value.
"""

import sqlite3
from collections.abc import Sequence
from functools import lru_cache
from typing import Any, Final, Protocol

from fettlebook.book.stores.head import Head

_LISTS: Final = {
    **dict.fromkeys(("practice", "id", "kind", "device", "subject"), "text"),
    **dict.fromkeys(("seq", "n", "level", "number"), "bigint"),
    **dict.fromkeys(("digest", "leaf", "hash"), "bytea"),
}


# One step down the unique index for each id, whatever the planner knows of the table: asked for as a list, a fresh table was read whole.
_KNOWN: Final = (
    "SELECT e.* FROM unnest(%s::text[]) AS asked (id), LATERAL (SELECT id, seq, leaf FROM entry"
    " WHERE practice = %s AND id = asked.id LIMIT 1) AS e"
)


ENTRY: Final = ("entry", "practice, seq, id, kind, device, n, hash, leaf")
NODE: Final = ("node", "practice, level, number, hash")
_MOVE: Final = "UPDATE head SET size = ?, received = ?, peaks = ? WHERE practice = ? AND size = ? AND received = ? AND peaks = ?"


class NotAsThought(Exception):  # noqa: N818 - no error: it is then done with asking first
    """The book stands elsewhere than was thought; nothing was added."""


class Pen(Protocol):
    """Carries out statements in one transaction."""

    def rows(self, sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """Return what a query finds."""

    def known(self, practice: str, ids: Sequence[str]) -> list[tuple[Any, ...]]:
        """Return id, seq and leaf of those entries that are in the book."""

    def write(self, sql: str, values: Sequence[Any]) -> None:
        """Carry out one statement."""

    def insert(self, table: str, columns: str, rows: Sequence[Sequence[Any]], clash: str = "") -> None:
        """Add rows to a table; `columns` as they stand in a statement, `a, b`. `clash`: what to do where a row stands there already."""

    def add_at(self, practice: str, before: Head, after: Head, entries: Sequence[Sequence[Any]], nodes: Sequence[Sequence[Any]]) -> None:
        """Move the head from one place to another and add entries and nodes, or do nothing of it and raise `NotAsThought`.

        It may be raised, and so may the driver's error for an id that is there, not before the end of the transaction.
        """


class SqlitePen:
    """Writes to SQLite."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    def rows(self, sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """Return what a query finds."""
        return self._connection.execute(sql, values).fetchall()

    def known(self, practice: str, ids: Sequence[str]) -> list[tuple[Any, ...]]:
        """Return id, seq and leaf of those entries that are in the book."""
        marks = ", ".join("?" * len(ids))
        query = f"SELECT id, seq, leaf FROM entry WHERE practice = ? AND id IN ({marks})"  # noqa: S608 - marks only
        return self._connection.execute(query, (practice, *ids)).fetchall()

    def write(self, sql: str, values: Sequence[Any]) -> None:
        """Carry out one statement."""
        self._connection.execute(sql, values)

    def insert(self, table: str, columns: str, rows: Sequence[Sequence[Any]], clash: str = "") -> None:
        """Add rows to a table."""
        self._connection.executemany(_insert_one(table, columns, clash), rows)

    def add_at(self, practice: str, before: Head, after: Head, entries: Sequence[Sequence[Any]], nodes: Sequence[Sequence[Any]]) -> None:
        """Move the head and add entries and nodes."""
        if self._connection.execute(_MOVE, _moved(practice, before, after)).rowcount != 1:
            raise NotAsThought
        self.insert(*ENTRY, entries)
        if nodes:
            self.insert(*NODE, nodes)


class PostgresPen:
    """Writes to PostgreSQL; many rows of one statement share a round trip."""

    def __init__(self, cursor: Any) -> None:
        self._cursor = cursor  # psycopg's

    def rows(self, sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """Return what a query finds."""
        found: list[tuple[Any, ...]] = self._cursor.execute(_percent(sql), values, prepare=True).fetchall()
        return found

    def known(self, practice: str, ids: Sequence[str]) -> list[tuple[Any, ...]]:
        """Return id, seq and leaf of those entries that are in the book."""
        found: list[tuple[Any, ...]] = self._cursor.execute(_KNOWN, (list(ids), practice), prepare=True).fetchall()
        return found

    def write(self, sql: str, values: Sequence[Any]) -> None:
        """Carry out one statement."""
        self._cursor.execute(_percent(sql), values, prepare=True)

    def insert(self, table: str, columns: str, rows: Sequence[Sequence[Any]], clash: str = "") -> None:
        """Add rows to a table, all in one statement: a list for each column."""
        self._cursor.execute(_insert_lists(table, columns, clash), [list(column) for column in zip(*rows, strict=True)], prepare=True)

    def add_at(self, practice: str, before: Head, after: Head, entries: Sequence[Sequence[Any]], nodes: Sequence[Sequence[Any]]) -> None:
        """Move the head and add entries and nodes: one statement, so that it need not be known whether the first half did anything."""
        lists = [list(column) for rows in (nodes, entries) if rows for column in list(zip(*rows, strict=True))[1:]]
        self._cursor.execute(_add_at(bool(nodes)), (*_moved(practice, before, after), *lists), prepare=True)
        if self._cursor.rowcount != len(entries):
            raise NotAsThought


def _moved(practice: str, before: Head, after: Head) -> tuple[Any, ...]:
    there, here = ((head.size, head.received, b"".join(head.tree.hashes)) for head in (after, before))
    return (*there, practice, *here)


@lru_cache(maxsize=2)
def _add_at(nodes: bool) -> str:
    added = [
        f"INSERT INTO {table} ({columns}) SELECT moved.practice, new.* FROM moved, unnest({_lists(columns, 1)}) AS new"  # noqa: S608 - our own names
        for table, columns in (NODE, ENTRY)
    ]
    return f"WITH moved AS ({_percent(_MOVE)} RETURNING practice){f', kept AS ({added[0]})' if nodes else ''} {added[1]}"


@lru_cache(maxsize=100)
def _percent(sql: str) -> str:
    return sql.replace("%", "%%").replace("?", "%s")


@lru_cache(maxsize=20)
def _insert_one(table: str, columns: str, clash: str) -> str:
    marks = ", ".join("?" for _ in columns.split(","))
    return f"INSERT INTO {table} ({columns}) VALUES ({marks}) {clash}"  # noqa: S608 - our own names


@lru_cache(maxsize=20)
def _insert_lists(table: str, columns: str, clash: str) -> str:
    return f"INSERT INTO {table} ({columns}) SELECT * FROM unnest({_lists(columns)}) {clash}"  # noqa: S608 - our own names


def _lists(columns: str, first: int = 0) -> str:
    return ", ".join(f"%b::{_LISTS[name.strip()]}[]" for name in columns.split(",")[first:])  # %b: as bytes, not spelled out
