"""Both stores for one suite. PostgreSQL comes through DATABASE_URL, which `scripts/with-postgres` sets."""

import os
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sqlalchemy import create_engine, make_url, text

from fettlebook.book.stores import Store, admit, open_book, open_group_book, prepare_group_book


@pytest.fixture(scope="session")
def owner_url() -> Iterator[str]:
    """Give a fresh database with an empty group book; the test fails where there is no PostgreSQL, unless it was waived by name."""
    given = os.environ.get("DATABASE_URL")
    if not given:
        if os.environ.get("FETTLEBOOK_WITHOUT_POSTGRES") == "1":
            pytest.skip("FETTLEBOOK_WITHOUT_POSTGRES=1: PostgreSQL was waived")
        pytest.fail("DATABASE_URL is not set: run `scripts/with-postgres COMMAND`, or waive with FETTLEBOOK_WITHOUT_POSTGRES=1")
    name = f"book_{uuid.uuid4().hex[:12]}"
    server = create_engine(given, isolation_level="AUTOCOMMIT")
    with server.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    url = make_url(given).set(database=name).render_as_string(hide_password=False)
    prepare_group_book(url)
    yield url
    with server.connect() as connection:
        connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))
    server.dispose()


@pytest.fixture(scope="session")
def new_role(owner_url: str) -> Iterator[Callable[[], str]]:
    """Give a function that makes a plain role and returns its address."""
    engine = create_engine(owner_url, isolation_level="AUTOCOMMIT")
    made: list[str] = []

    def make() -> str:
        made.append(f"plain_{uuid.uuid4().hex[:12]}")
        with engine.connect() as connection:
            connection.execute(text(f"CREATE ROLE {made[-1]} LOGIN"))
        return make_url(owner_url).set(username=made[-1]).render_as_string(hide_password=False)

    yield make
    with engine.connect() as connection:
        for role in made:
            connection.execute(text(f"DROP OWNED BY {role}"))
            connection.execute(text(f"DROP ROLE {role}"))
    engine.dispose()


@pytest.fixture(scope="session")
def plain_url(new_role: Callable[[], str]) -> str:
    return new_role()


@pytest.fixture(params=["sqlite", "postgres"])
def kind_of_store(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def open_store(kind_of_store: str, request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Callable[..., Store]]:
    """Give a function that opens the book of a practice; each test has a file, or practice names, of its own."""
    mine = uuid.uuid4().hex[:12]
    opened: list[Store] = []

    def open_it(practice: str = "oak street") -> Store:
        if kind_of_store == "sqlite":
            if opened:
                opened.append(opened[0].of(practice))
            else:
                opened.append(open_book(tmp_path / "book.sqlite", practice))
        else:
            url = request.getfixturevalue("plain_url")
            admit(request.getfixturevalue("owner_url"), role=make_url(url).username or "", practice=f"{practice} {mine}")
            opened.append(open_group_book(url, f"{practice} {mine}", durable=False))
        return opened[-1]

    yield open_it
    for store in opened:
        store.close()


@pytest.fixture
def store(open_store: Callable[..., Store]) -> Store:
    return open_store()
