"""What appending writes with: the driver's own connection inside a transaction.

Appending is what a practice waits for. A query builder takes longer to put a statement together than SQLite takes to carry it out, so here
the statements stand as they are, in the words that both databases understand, with `?` for a value.
"""

import sqlite3
from collections.abc import Sequence
from functools import lru_cache
from typing import Any, Protocol


class Pen(Protocol):
    """Carries out statements in one transaction."""

    def rows(self, sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """Return what a query finds."""

    def write(self, sql: str, rows: Sequence[Sequence[Any]]) -> None:
        """Carry out one statement for each row of values."""


class SqlitePen:
    """Writes to SQLite."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    def rows(self, sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """Return what a query finds."""
        return self._connection.execute(sql, values).fetchall()

    def write(self, sql: str, rows: Sequence[Sequence[Any]]) -> None:
        """Carry out one statement for each row of values."""
        if len(rows) == 1:
            self._connection.execute(sql, rows[0])
        else:
            self._connection.executemany(sql, rows)


class PostgresPen:
    """Writes to PostgreSQL; many rows of one statement share a round trip."""

    def __init__(self, cursor: Any) -> None:
        self._cursor = cursor  # psycopg's

    def rows(self, sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """Return what a query finds."""
        found: list[tuple[Any, ...]] = self._cursor.execute(_percent(sql), values, prepare=True).fetchall()
        return found

    def write(self, sql: str, rows: Sequence[Sequence[Any]]) -> None:
        """Carry out one statement for each row of values."""
        if len(rows) == 1:
            self._cursor.execute(_percent(sql), rows[0], prepare=True)
        else:
            self._cursor.executemany(_percent(sql), rows)


@lru_cache(maxsize=100)
def _percent(sql: str) -> str:
    return sql.replace("?", "%s")
