"""The books of a group of practices in one PostgreSQL database: one order per practice, and a wall between them.

Two kinds of roles: the owner makes the tables and admits (`prepare_group_book`, `admit`); the program runs as a plain role that can
add and read in the practices that it was admitted to, and nothing else. Row-level security holds it, whatever the queries say.
"""

from collections.abc import Collection, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any, Final, Self

from sqlalchemy import Connection, Engine, create_engine, select, text
from sqlalchemy.exc import DBAPIError

from fettlebook.book.kinds import BookPruned
from fettlebook.book.received import unseal
from fettlebook.book.stores import tables
from fettlebook.book.stores.base import Store
from fettlebook.book.stores.lines import Lines
from fettlebook.book.stores.pen import NotAsThought, Pen, PostgresPen
from fettlebook.book.stores.pruning import empty_some
from fettlebook.book.stores.rebuild import Rebuilt, rebuild
from fettlebook.book.stores.told import Told
from fettlebook.book.words import GroupKeys
from fettlebook.errors import AwayError, Mendable

_GRANTS: Final = (
    "GRANT SELECT, INSERT ON entry, entry_subject, clash, node, file, checkpoint TO {role}",
    "GRANT SELECT, INSERT, UPDATE ON head, device TO {role}",
    "GRANT SELECT, INSERT, DELETE ON text_key TO {role}",  # to erase a key is what it is for
    "GRANT SELECT ON access, alembic_version TO {role}",
)
_MIGRATING: Final = 0x66746C62  # advisory lock: two servers that start at once bring the schema forward one after the other
# A server that vanished without a word is told from a slow one by these, not by the two hours of the network's own patience.
_PATIENCE: Final = {"connect_timeout": 5, "tcp_user_timeout": 20_000}
_DURABLE: Final = ("fsync", "full_page_writes", "synchronous_commit")


def prepare_group_book(owner_url: str) -> None:
    """Make the tables, or bring them forward, as their owner; roles that were admitted stay so."""
    from fettlebook.book.stores.migrate import bring_forward  # noqa: PLC0415 - Alembic takes 0.3 s to import

    engine = create_engine(owner_url)
    try:
        with _in_words(engine), engine.begin() as connection:
            connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _MIGRATING})
            bring_forward(connection)
            for (role,) in connection.execute(text("SELECT DISTINCT role FROM access")).all():
                _grant(connection, role)
    finally:
        engine.dispose()


def admit(owner_url: str, *, role: str, practice: str) -> None:
    """Let an existing plain role add to and read the book of `practice`."""
    engine = create_engine(owner_url)
    try:
        with _in_words(engine), engine.begin() as connection:
            _grant(connection, role)
            line = text("INSERT INTO access (role, practice) VALUES (:role, :practice) ON CONFLICT DO NOTHING")
            connection.execute(line, {"role": role, "practice": practice})
    finally:
        engine.dispose()


def rebuild_group_book(owner_url: str, practice: str) -> Rebuilt:
    """Make the tables that are read off a practice's entries again, as their owner: the program's role can't delete."""
    engine = create_engine(owner_url)
    try:
        with _in_words(engine), engine.begin() as connection:
            # The lock that appending takes too: nothing is added meanwhile.
            connection.execute(select(tables.head.c.size).where(tables.head.c.practice == practice).with_for_update())
            return rebuild(connection, practice)
    finally:
        engine.dispose()


def prune_group_book(owner_url: str, practice: str, *, keep: Collection[str] = ()) -> int:
    """Drop the bodies that the practice's newest `book.pruned` names, as the tables' owner; return how many went.

    `PostgresStore.prune` notes it first, as the program's role, which can't change rows. `keep`: ids whose bodies stay, as given there.
    """
    engine = create_engine(owner_url)
    pruned = tables.entry
    try:
        with _in_words(engine), engine.begin() as connection:
            query = select(pruned.c.leaf).where(pruned.c.practice == practice, pruned.c.kind == BookPruned.KIND)
            leaves = connection.execute(query).scalars().all()
            last = max((unseal(bytes(leaf)).entry.data.last_seq for leaf in leaves), default=0)  # type: ignore[attr-defined]
            connection.exec_driver_sql("ALTER TABLE entry DISABLE TRIGGER entry_kept")
            gone = 0
            while some := empty_some(connection, practice, last, keep):
                gone += some
            connection.exec_driver_sql("ALTER TABLE entry ENABLE TRIGGER entry_kept")
            return gone
    finally:
        engine.dispose()


def open_group_book(url: str, practice: str, *, durable: bool = True) -> "PostgresStore":
    """Open the book of `practice` as the role in `url`.

    Parameters
    ----------
    url
        `postgresql+psycopg://role@host/database`.
    practice
        One that the role was admitted to.
    durable
        False takes a server that may lose acknowledged entries at power loss (a throw-away one, for tests).

    Raises
    ------
    Mendable
        The database doesn't answer (`AwayError`), has no book or one of another schema, could lose what it acknowledged, or would not keep
        practices apart for this role.
    """
    engine = create_engine(url, pool_pre_ping=True, pool_size=4, max_overflow=16, connect_args=_PATIENCE)
    try:
        store = PostgresStore(engine, practice)
        with store._reading() as connection:
            _refuse_unfit(connection, practice, durable=durable)
    except BaseException:
        engine.dispose()
        raise
    return store


class PostgresStore(Store):
    """The book of one practice in a PostgreSQL database. Use `open_group_book`."""

    def __init__(self, engine: Engine, practice: str, lines: Lines | None = None) -> None:
        self._engine = engine
        self.practice = practice
        self._told, self._lines = Told(), lines or Lines(partial(_line, engine))
        self._in_turn = self._lines.turn(practice)
        self._ask_then = (NotAsThought, engine.dialect.loaded_dbapi.IntegrityError, AwayError)
        self.kept_beside: Path | None = None  # by which name what is made of this book may be kept on this machine; a cache only

    @property
    def others_add(self) -> bool:
        """Whether another server may add to this practice: always."""
        return True

    def of(self, practice: str) -> Self:
        """Return the book of another practice in the same database; it shares this one's connections."""
        return type(self)(self._engine, practice, self._lines)

    def close(self) -> None:
        """Let go of the database. What was acknowledged is safe without it."""
        self._lines.close()
        self._engine.dispose()

    def text_keys(self) -> GroupKeys:
        """Return where the keys of people's words stand: in the table `text_key`, to be left out of the database's backups."""
        return GroupKeys(self._writing, self.practice)

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        with _in_words(self._engine), self._engine.begin() as connection:
            connection.execute(text("SELECT set_config('fettlebook.practice', :practice, true)"), {"practice": self.practice})
            yield connection

    @contextmanager
    def _appending(self) -> Iterator[tuple[Pen, str]]:
        # In a pipeline: what needs no answer travels with the next thing that does, and the last of it with the commit. Three journeys to
        # the server instead of ten; on a network they are most of the time.
        with _in_words(self._engine):
            connection = self._engine.raw_connection()
            try:
                driver = connection.driver_connection
                assert driver is not None
                with driver.pipeline():
                    cursor = driver.cursor()
                    cursor.execute("SELECT set_config('fettlebook.practice', %s, true)", (self.practice,), prepare=True)
                    yield PostgresPen(cursor), "FOR UPDATE"
                    driver.commit()
            finally:
                connection.close()  # which rolls back whatever was not committed

    @contextmanager
    def _adding(self) -> Iterator[tuple[Pen, str]]:
        # One statement, which commits by itself, on a connection that has named its practice before: one journey to the server.
        harmless = (NotAsThought, self._engine.dialect.loaded_dbapi.IntegrityError)
        with _in_words(self._engine), self._lines.of(self.practice, harmless=harmless) as driver:
            yield PostgresPen(driver.cursor()), ""

    @contextmanager
    def _reading_with_pen(self) -> Iterator[Pen]:
        with self._writing() as connection:
            yield self._pen_of(connection)

    def _pen_of(self, connection: Connection) -> Pen:
        return PostgresPen(connection.connection.cursor())

    def _refuse_pruning(self) -> None:
        pass  # the entry is noted by whoever may add; the bodies are the owner's to drop

    def _empty(self, last: int, keep: Collection[str]) -> None:
        """Nothing: this role can't change rows. `prune_group_book` does, as their owner, what `book.pruned` names."""

    # Reading pages and heads needs one state per query only, which is what a plain transaction gives.
    _reading = _writing


def _line(engine: Engine) -> Any:
    """Return a connection of its own, each statement of which commits by itself."""
    connection = engine.raw_connection()
    driver = connection.driver_connection
    connection.detach()
    assert driver is not None
    driver.autocommit = True
    return driver


def _grant(connection: Connection, role: str) -> None:
    quoted = connection.dialect.identifier_preparer.quote_identifier(role)
    for grant in _GRANTS:
        connection.exec_driver_sql(grant.format(role=quoted.replace("%", "%%")))


def _refuse_unfit(connection: Connection, practice: str, *, durable: bool) -> None:
    where = _where(connection.engine)
    if connection.execute(text("SELECT to_regclass('alembic_version'), to_regclass('entry')")).one() == (None, None):
        raise Mendable("no book in this database", where=where, mend="Let its owner make one (prepare_group_book).")
    powers = text(
        "SELECT r.rolsuper OR r.rolbypassrls OR pg_has_role(current_user, c.relowner, 'MEMBER') "
        "FROM pg_roles r, pg_class c WHERE r.rolname = current_user AND c.oid = 'entry'::regclass"
    )
    if connection.execute(powers).scalar_one():
        mend = "Run the program as a plain role that the owner has admitted (admit)."
        raise Mendable("row-level security does not hold this role", where=where, mend=mend)
    if not connection.execute(text("SELECT has_table_privilege('alembic_version', 'SELECT')")).scalar_one():
        raise Mendable("this role was not admitted", where=where, mend="Let the owner admit it (admit).")
    (revision,) = connection.execute(text("SELECT version_num FROM alembic_version")).one()
    if revision not in tables.REVISIONS:
        raise Mendable(f"a book of the unknown schema {revision}", where=where, mend="Update fettlebook, then open it again.")
    if revision != tables.REVISIONS[-1]:
        raise Mendable(f"a book of the older schema {revision}", where=where, mend="Let its owner bring it forward (prepare_group_book).")
    if connection.execute(text("SELECT 1 FROM access WHERE practice = :practice"), {"practice": practice}).first() is None:
        raise Mendable(f"this role was not admitted to {practice!r}", where=where, mend="Let the owner admit it (admit).")
    for setting in _DURABLE if durable else ():
        if (value := connection.exec_driver_sql(f"SHOW {setting}").scalar_one()) == "off":
            mend = f"Set {setting} = on in postgresql.conf: without it power loss can take acknowledged entries."
            raise Mendable(f"{setting} is {value}", where=where, mend=mend)


def _where(engine: Engine) -> str:
    return engine.url.render_as_string(hide_password=True)


@contextmanager
def _in_words(engine: Engine) -> Iterator[None]:
    """Turn the database's failures into words. Whatever was not yet committed has been rolled back."""
    try:
        yield
    except (DBAPIError, engine.dialect.loaded_dbapi.Error) as error:  # the driver's own come from appending
        cause = error.orig if isinstance(error, DBAPIError) else error
        state = getattr(cause, "sqlstate", None) or ""
        said = str(cause).strip().partition("\n")[0]
        if getattr(error, "connection_invalidated", False) or state[:2] in {"", "08", "57"}:
            mend = "See that it runs and can be reached. What was not acknowledged was not stored: send it again."
            raise AwayError(f"the database does not answer ({said})", where=_where(engine), mend=mend) from error
        if state[:2] == "53":
            what, mend = "the database is out of space or memory", "Free space; what was not acknowledged stays on the tablets."
        elif state == "42501":
            what, mend = "the database refuses this role", "Let the owner admit it to this practice (admit)."
        elif state[:2] == "28":
            what, mend = "the database refuses this login", "Look at role and password in the address."
        else:
            raise
        raise Mendable(f"{what} ({said})", where=_where(engine), mend=mend) from error
