"""The wall between practices of one PostgreSQL database, attacked from the inside of the wrong practice."""

import sqlite3
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sqlalchemy import Connection, Engine, create_engine, make_url, text
from sqlalchemy.exc import DBAPIError, ProgrammingError

from fettlebook.book.entries import Moment
from fettlebook.book.kinds import PracticeFileVersion
from fettlebook.book.stores import PostgresStore, admit, open_group_book, prepare_group_book, tables
from fettlebook.book.stores.migrate import bring_forward
from fettlebook.book.tree import leaf_hash, peaks_of
from fettlebook.errors import Mendable

pytestmark = pytest.mark.invented
MOMENT = Moment(1_772_442_000_000, "Europe/Berlin")
DATA = PracticeFileVersion.of("a = 1\n")
TABLES = tuple(t.name for t in tables.metadata.sorted_tables)


def role_of(url: str) -> str:
    return make_url(url).username or ""


@pytest.fixture
def oak(owner_url: str, new_role: Callable[[], str]) -> Iterator[PostgresStore]:
    url = new_role()
    admit(owner_url, role=role_of(url), practice="oak")
    with open_group_book(url, "oak", durable=False) as store:
        store.note(DATA, moment=MOMENT, subjects=("practice:oak",))
        yield store


@pytest.fixture
def elm_url(owner_url: str, new_role: Callable[[], str]) -> str:
    url = new_role()
    admit(owner_url, role=role_of(url), practice="elm")
    return url


def as_elm(connection: Connection, claims: str) -> None:
    connection.execute(text("SELECT set_config('fettlebook.practice', :p, true)"), {"p": claims})


def attempt(engine: Engine, claims: str, attack: str) -> None:
    with engine.begin() as connection:
        as_elm(connection, claims)
        connection.exec_driver_sql(attack)


@pytest.mark.parametrize("claims", ["elm", "oak", ""])
def test_a_role_of_another_practice_reads_nothing_whatever_it_claims(oak: PostgresStore, elm_url: str, claims: str) -> None:
    assert oak.head().size > 0
    engine = create_engine(elm_url)
    with engine.begin() as connection:
        as_elm(connection, claims)
        for table in TABLES:
            assert connection.execute(text(f"SELECT count(*) FROM {table} WHERE practice = 'oak'")).scalar_one() == 0
        assert connection.execute(text("SELECT count(*) FROM access WHERE practice = 'oak'")).scalar_one() == 0
    engine.dispose()


@pytest.mark.parametrize("claims", ["elm", "oak", ""])
@pytest.mark.parametrize(
    "attack",
    [
        "INSERT INTO entry (practice, seq, id, kind, device, n, hash, leaf) VALUES ('oak', 99, 'x', 'x', 'x', 1, 'x', 'x')",
        "INSERT INTO entry_subject (practice, subject, seq) VALUES ('oak', 'x', 1)",
        "INSERT INTO clash (practice, id, digest, seq) VALUES ('oak', 'x', 'x', 1)",
        "INSERT INTO node (practice, level, number, hash) VALUES ('oak', 8, 0, 'x')",
        "INSERT INTO access (role, practice) VALUES (current_user, 'oak')",
        "UPDATE access SET practice = 'oak'",
        "UPDATE entry SET practice = 'elm'",
        "DELETE FROM entry",
        "DELETE FROM head",
        "TRUNCATE entry",
        "DROP TABLE entry CASCADE",
        "ALTER TABLE entry DISABLE ROW LEVEL SECURITY",
        "DROP POLICY own_practice ON entry",
        "DROP TRIGGER entry_kept ON entry",
        "UPDATE alembic_version SET version_num = 'x'",
        "SET LOCAL session_replication_role = replica",
        "CREATE TABLE public.entry2 AS SELECT * FROM entry",
        "CREATE FUNCTION public.f() RETURNS int LANGUAGE sql SECURITY DEFINER AS 'SELECT 1'",
        "COPY entry TO PROGRAM 'cat'",
    ],
)
def test_a_role_of_another_practice_is_refused_each_attack(oak: PostgresStore, elm_url: str, claims: str, attack: str) -> None:
    before = [r.leaf for r in oak.read()]
    engine = create_engine(elm_url)
    with pytest.raises(ProgrammingError) as caught:
        attempt(engine, claims, attack)
    engine.dispose()
    assert getattr(caught.value.orig, "sqlstate", None) == "42501"  # refused for want of the right, not for a slip in the attack
    assert [r.leaf for r in oak.read()] == before


@pytest.mark.parametrize("claims", ["elm", "oak"])
def test_the_head_of_another_practice_can_not_be_moved(oak: PostgresStore, elm_url: str, claims: str) -> None:
    before = oak.head()
    engine = create_engine(elm_url)
    with engine.begin() as connection:
        as_elm(connection, claims)
        assert connection.execute(text("UPDATE head SET size = 0 WHERE practice = 'oak'")).rowcount == 0
    with pytest.raises(ProgrammingError, match="row-level security"):
        attempt(engine, claims, "INSERT INTO head (practice, size, received, peaks) VALUES ('oak', 0, 0, '')")
    engine.dispose()
    assert oak.head() == before


def test_a_role_can_not_become_another(oak: PostgresStore, elm_url: str, owner_url: str) -> None:
    engine = create_engine(elm_url)
    for become in (oak._engine.url.username, role_of(owner_url), "pg_read_all_data"):
        with pytest.raises(DBAPIError), engine.begin() as connection:
            connection.exec_driver_sql(f"SET ROLE {become}")
    engine.dispose()


def test_the_practice_s_own_role_can_add_but_neither_change_nor_delete(oak: PostgresStore) -> None:
    for attack in ("UPDATE entry SET kind = 'x'", "DELETE FROM entry", "TRUNCATE entry", "DELETE FROM entry_subject", "DELETE FROM head"):
        with pytest.raises(Mendable, match="refuses this role"), oak._writing() as connection:
            connection.exec_driver_sql(attack)


def test_even_the_owner_can_not_change_an_entry_by_mistake(oak: PostgresStore, owner_url: str) -> None:
    engine = create_engine(owner_url)
    for mistake in ("UPDATE entry SET kind = 'x'", "DELETE FROM entry", "TRUNCATE entry"):
        with pytest.raises(DBAPIError, match="never changed"), engine.begin() as connection:
            connection.exec_driver_sql(mistake)
    engine.dispose()


def test_a_query_of_ours_that_forgets_the_practice_still_stays_inside_it(owner_url: str, new_role: Callable[[], str]) -> None:
    url = new_role()
    for practice in ("ash", "yew"):
        admit(owner_url, role=role_of(url), practice=practice)
    with open_group_book(url, "ash", durable=False) as ash:
        ash.note(DATA, moment=MOMENT)
        yew = ash.of("yew")
        yew.note(DATA, moment=MOMENT)
        yew.note(DATA, moment=MOMENT)
        for store, size in ((ash, 1), (yew, 2)):
            with store._reading() as connection:
                assert connection.execute(text("SELECT count(*) FROM entry")).scalar_one() == size


def test_opening_a_practice_without_being_admitted_is_refused_in_words(elm_url: str, new_role: Callable[[], str]) -> None:
    with pytest.raises(Mendable, match="not admitted to 'oak'"):
        open_group_book(elm_url, "oak", durable=False)
    with pytest.raises(Mendable, match=r"not admitted"):
        open_group_book(new_role(), "oak", durable=False)
    with open_group_book(elm_url, "elm", durable=False) as elm, pytest.raises(Mendable, match="refuses this role"):
        elm.of("oak").note(DATA, moment=MOMENT)


def test_the_program_does_not_run_as_a_role_that_no_wall_holds(owner_url: str) -> None:
    with pytest.raises(Mendable, match="does not hold this role"):
        open_group_book(owner_url, "elm", durable=False)


def test_a_server_that_may_lose_what_it_acknowledged_is_refused(elm_url: str) -> None:
    with open_group_book(elm_url, "elm", durable=False) as store, store._reading() as connection:
        off = connection.exec_driver_sql("SHOW fsync").scalar_one() == "off"
    if not off:
        open_group_book(elm_url, "elm").close()
        return
    with pytest.raises(Mendable, match="fsync is off"):
        open_group_book(elm_url, "elm")


def test_a_database_without_a_book_or_that_does_not_answer_is_said_in_words(owner_url: str, elm_url: str) -> None:
    empty = make_url(owner_url).set(database="postgres").render_as_string(hide_password=False)
    with pytest.raises(Mendable, match="no book"):
        open_group_book(empty, "elm")
    silent = make_url(elm_url).set(port=1, password="secret").render_as_string(hide_password=False)
    with pytest.raises(Mendable, match="does not answer") as caught:
        open_group_book(silent, "elm")
    assert "secret" not in str(caught.value)


def test_preparing_again_changes_nothing_and_keeps_roles_admitted(oak: PostgresStore, owner_url: str) -> None:
    prepare_group_book(owner_url)
    assert oak.note(DATA, moment=MOMENT).seq > 1


def test_a_group_book_of_the_first_schema_is_brought_forward(owner_url: str, new_role: Callable[[], str]) -> None:
    kept = Path(__file__).parents[1] / "book/kept/book-schema-1.sqlite"
    old, server = sqlite3.connect(kept), create_engine(owner_url, isolation_level="AUTOCOMMIT")
    name, url, role = f"old_{uuid.uuid4().hex[:12]}", make_url(owner_url), new_role()
    with server.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    there = url.set(database=name).render_as_string(hide_password=False)
    owner = create_engine(there)
    with owner.begin() as connection:
        bring_forward(connection, "v0001")
        for table in ("entry", "entry_subject", "clash", "head"):
            rows = old.execute(f"SELECT * FROM {table}")
            names = [d[0] for d in rows.description]
            line = text(f"INSERT INTO {table} ({', '.join(names)}) VALUES ({', '.join(':' + n for n in names)})")
            connection.execute(line, [dict(zip(names, row, strict=True)) for row in rows])
        practice = connection.execute(text("SELECT practice FROM head ORDER BY size DESC")).scalars().first()
        assert practice
        connection.execute(text("INSERT INTO access (role, practice) VALUES (:r, :p)"), {"r": role_of(role), "p": practice})
    plain = make_url(role).set(database=name).render_as_string(hide_password=False)
    with pytest.raises(Mendable, match="not admitted"):
        open_group_book(plain, practice, durable=False)
    prepare_group_book(there)  # the role was admitted before; it gets the right to the new tables
    with open_group_book(plain, practice, durable=False) as store:
        leaves = [r.leaf for r in store.read()]
        assert leaves == [row[0] for row in old.execute("SELECT leaf FROM entry WHERE practice = ? ORDER BY seq", (practice,))]
        assert store.head().tree == peaks_of([leaf_hash(leaf) for leaf in leaves])
        assert store.verify().whole
        assert store.note(DATA, moment=MOMENT).seq == len(leaves) + 1
        store.prove_entry(1)
    owner.dispose()
    old.close()
    with server.connect() as connection:
        connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))
    server.dispose()
