"""The pages of a practice over a group's database: the wall between practices, and a database that is away for a while."""

import json
import os
import re
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx
import pytest
from sqlalchemy import create_engine, text
from sqlalchemy.exc import DBAPIError

sys.path.insert(0, str(Path(__file__).parents[1] / "journeys"))
sys.path.insert(0, str(Path(__file__).parent))
from cluster import Cluster, started
from real_page import DAY, Served, start

from fettlebook.book.entries import Moment, new_entry
from fettlebook.book.kinds import FaultReported
from fettlebook.book.stores import PostgresStore, admit, open_group_book, prepare_group_book
from fettlebook.demo import book_ics, practice_text

pytestmark = pytest.mark.invented
LONG_S = 60.0
LOOK_S = 0.1
SECRET = "only elm says zebrawood"
PAGES = (
    "/standing",
    "/entries",
    "/entries.csv",
    "/water",
    "/work.json",
    "/doctor",
    f"/day/{DAY}",
    "/trace",
    "/loads",
    "/evidence",
    "/times",
)


def until(holds: Callable[[], Any]) -> Any:
    """Wait for a condition; fails after a minute."""
    for _ in range(round(LONG_S / LOOK_S)):
        if found := holds():
            return found
        time.sleep(LOOK_S)
    pytest.fail("it did not come")


@dataclass
class Tablet:
    """A browser with a name signed in, which sends entries and keeps them until they are acknowledged."""

    client: httpx.Client
    n: int = 0
    waiting: list[dict[str, Any]] = field(default_factory=list)
    acknowledged: dict[str, int] = field(default_factory=dict)

    def note(self, what: str) -> None:
        who = self.who
        self.n += 1
        data = FaultReported(chair="chair 1", fault=f"f{self.n}", what=what, stops_use=False)
        moment = Moment(1_795_603_320_000 + self.n, "Europe/London")
        made = new_entry(data, moment=moment, device=who["device"], n=self.n, by=who["person"], subjects=("chair:chair 1",))
        self.waiting.append(json.loads(made.encode()))

    def sign_in(self) -> None:
        origin = str(self.client.base_url).rstrip("/")
        self.client.headers.update({"Origin": origin, "Sec-Fetch-Site": "same-origin"})
        assert self.client.post("/sign-in", data={"person": "ana", "next": "/work"}).status_code == 303
        self.who = self.client.get("/api/who").json()
        self.client.headers["X-Fettlebook-Token"] = self.who["token"]
        self.n = self.who["highest_n"]

    def send(self) -> httpx.Response:
        body = {
            "device": self.who["device"],
            "now": 1_795_603_320_000,
            "highest_n": self.n,
            "entries": [{"entry": one} for one in self.waiting],
        }
        answer = self.client.post("/api/entries", json=body)
        if answer.status_code == 200:
            results = answer.json()["results"]
            assert all(r.get("seq") for r in results), results
            self.acknowledged |= {one["id"]: r["seq"] for one, r in zip(self.waiting, results, strict=True)}
            self.waiting.clear()
        return answer


@pytest.fixture(scope="module")
def cluster() -> Iterator[Cluster]:
    with started() as made:
        prepare_group_book(made.url("owner"))
        engine = create_engine(made.url("owner"))
        with engine.begin() as connection:
            for role in ("quay", "elm"):
                connection.execute(text(f"CREATE ROLE {role} LOGIN"))
        engine.dispose()
        admit(made.url("owner"), role="quay", practice="quayside")
        admit(made.url("owner"), role="elm", practice="elm")
        with open_group_book(made.url("elm"), "elm") as elm:
            data = FaultReported(chair="chair 1", fault="drip", what=SECRET, stops_use=True)
            elm.note(data, moment=Moment(1_795_000_000_000, "UTC"), subjects=("chair:chair 1",))
        yield made


@pytest.fixture(scope="module")
def served(cluster: Cluster, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("quay")
    (folder / "practice.toml").write_bytes(practice_text())
    (folder / "book.ics").write_bytes(book_ics())
    page = start(folder, "--at", f"{DAY}T10:42", "--data", cluster.url("quay").replace("+psycopg", ""))
    yield page
    assert page.stop(most_s=20) == 0


@pytest.fixture(scope="module")
def tablet(served: Served) -> Iterator[Tablet]:
    with httpx.Client(base_url=served.address, timeout=LONG_S) as client:
        made = Tablet(client)
        made.sign_in()
        until(lambda: client.get("/standing").status_code == 200)
        yield made


@pytest.fixture
def quay(cluster: Cluster) -> Iterator[PostgresStore]:
    with open_group_book(cluster.url("quay"), "quayside") as store:
        yield store


def test_pages_keep_their_entries_in_the_group_s_book_and_no_book_beside_the_files(
    tablet: Tablet, served: Served, quay: PostgresStore
) -> None:
    tablet.note("the syringe drips")
    assert tablet.send().status_code == 200
    (kept,) = [r for r in quay.read() if r.entry.id in tablet.acknowledged]
    assert kept.entry.data.what == "the syringe drips"  # type: ignore[attr-defined]
    assert quay.latest("practice_file.version") is not None
    until(lambda: quay.latest("day.planned", f"day:{DAY}") or (tablet.client.get(f"/day/{DAY}/progress") and None))
    assert not list(served.folder.glob("*.sqlite"))
    assert (served.folder / "practice.book.visits").exists()


def test_no_page_shows_what_another_practice_s_book_says(tablet: Tablet) -> None:
    answered = 0
    for page in (*PAGES, "/entries?about=practice%3Aelm", "/standing?practice=elm", "/trace?subject=chair%3Achair+1&practice=elm"):
        answer = tablet.client.get(page, follow_redirects=True)
        assert SECRET not in answer.text, page
        assert "zebrawood" not in answer.text, page
        answered += answer.status_code == 200
    assert answered >= 8


@pytest.mark.parametrize("claims", ["elm", "quayside", ""])
@pytest.mark.parametrize(
    "attack",
    [
        "SELECT leaf FROM entry WHERE practice = 'elm'",
        "SELECT e.leaf FROM entry e JOIN access a ON true",
        "SELECT subject FROM entry_subject WHERE practice = 'elm'",
        "SELECT root FROM (SELECT peaks AS root FROM head WHERE practice = 'elm') AS h",
        "SELECT * FROM (TABLE entry) AS e WHERE practice = 'elm'",
        "SELECT * FROM text_key WHERE practice = 'elm'",
        "SELECT * FROM access WHERE practice = 'elm'",
        "SELECT set_config('fettlebook.practice', 'elm', false), leaf FROM entry WHERE practice = 'elm'",
    ],
)
def test_the_role_of_the_pages_reads_nothing_of_another_practice(
    tablet: Tablet, quay: PostgresStore, cluster: Cluster, claims: str, attack: str
) -> None:
    engine = create_engine(cluster.url("quay"))
    with engine.begin() as connection:
        connection.execute(text("SELECT set_config('fettlebook.practice', :p, true)"), {"p": claims})
        found = connection.exec_driver_sql(attack).all()
    engine.dispose()
    assert not [row for row in found if SECRET.encode() in b"".join(bytes(v) for v in row if isinstance(v, (bytes, memoryview)))]
    if "'elm'" in attack:
        assert found == []


@pytest.mark.parametrize(
    "attack",
    [
        "INSERT INTO access (role, practice) VALUES ('quay', 'elm')",
        "INSERT INTO entry (practice, seq, id, kind, device, n, hash, leaf) VALUES ('elm', 9, 'x', 'x', 'x', 1, 'x', 'x')",
        "UPDATE entry SET leaf = ''",
        "DELETE FROM entry",
        "ALTER ROLE quay BYPASSRLS",
        "SET ROLE elm",
        "SET SESSION AUTHORIZATION elm",
        "ALTER TABLE entry NO FORCE ROW LEVEL SECURITY",
        "CREATE FUNCTION public.steal() RETURNS text LANGUAGE sql SECURITY DEFINER AS 'SELECT 1::text'",
        "SELECT pg_read_file('PG_VERSION')",
        "COPY (SELECT 1) TO PROGRAM 'cat'",
    ],
)
def test_the_role_of_the_pages_changes_nothing_and_becomes_nobody_else(tablet: Tablet, cluster: Cluster, attack: str) -> None:
    engine = create_engine(cluster.url("quay"))
    with pytest.raises(DBAPIError) as caught, engine.begin() as connection:
        connection.exec_driver_sql(attack)
    engine.dispose()
    assert getattr(caught.value.orig, "sqlstate", None) == "42501"


def test_pages_of_a_practice_whose_role_was_not_admitted_do_not_open(cluster: Cluster, tmp_path: Path) -> None:
    (tmp_path / "elm.toml").write_bytes(practice_text().replace(b'id = "quayside"', b'id = "elm"', 1))
    (tmp_path / "book.ics").write_bytes(book_ics())
    command = ["serve", str(tmp_path / "elm.toml"), str(tmp_path / "book.ics"), "--port", "0", "--data", cluster.url("quay")]
    ended = subprocess.run([sys.executable, "-m", "fettlebook", *command], capture_output=True, text=True, timeout=LONG_S, check=False)
    assert ended.returncode == 2
    assert "not admitted to 'elm'" in ended.stderr
    assert sorted(p.name for p in tmp_path.iterdir()) == ["book.ics", "elm.toml"]  # nothing was left behind


def test_while_the_database_is_away_pages_say_so_and_afterwards_all_is_there(tablet: Tablet, cluster: Cluster, quay: PostgresStore) -> None:
    tablet.note("before")
    assert tablet.send().status_code == 200
    cluster.stop()
    try:
        for word in ("one while away", "two while away"):
            tablet.note(word)
            answer = tablet.send()
            assert answer.status_code == 503
            assert "does not answer" in answer.json()["findings"][0]["what"]
        page = tablet.client.get("/standing")
        assert page.status_code == 503
        assert "does not answer" in page.text
        assert "What was not acknowledged was not stored" in page.text
        assert tablet.client.get("/times", follow_redirects=True).status_code == 200  # what needs no book is there
        assert tablet.client.get("/sign-in").status_code < 500
    finally:
        cluster.start()
    until(lambda: tablet.send().status_code == 200)
    assert until(lambda: (page := tablet.client.get("/standing")).status_code == 200 and page)
    got = {r.entry.id: r.seq for r in quay.read()}
    assert tablet.acknowledged.items() <= got.items()
    assert len(tablet.acknowledged) >= 3
    assert quay.verify().whole


def test_a_day_that_could_not_be_planned_meanwhile_is_planned_by_itself(tablet: Tablet, cluster: Cluster) -> None:
    other = "2026-11-26"
    cluster.stop()
    try:
        tablet.client.get(f"/day/{other}")
        until(lambda: tablet.client.get(f"/day/{other}/progress").json()["trouble"])
        assert re.search("does not answer", tablet.client.get(f"/day/{other}").text)
    finally:
        cluster.start()
    until(lambda: tablet.client.get(f"/day/{other}/plan.json").status_code == 200)
    progress = tablet.client.get(f"/day/{other}/progress").json()
    assert not progress["trouble"]


def test_a_server_that_starts_while_the_database_is_away_says_so_and_changes_nothing(cluster: Cluster, tmp_path: Path) -> None:
    (tmp_path / "practice.toml").write_bytes(practice_text())
    (tmp_path / "book.ics").write_bytes(book_ics())
    nowhere = "postgresql://quay@127.0.0.1:1/postgres"
    command = ["serve", str(tmp_path / "practice.toml"), str(tmp_path / "book.ics"), "--port", "0", "--data", nowhere]
    ended = subprocess.run([sys.executable, "-m", "fettlebook", *command], capture_output=True, text=True, timeout=LONG_S, check=False)
    assert ended.returncode == 2
    assert "does not answer" in ended.stderr
    assert sorted(p.name for p in tmp_path.iterdir()) == ["book.ics", "practice.toml"]
    assert os.environ.get("PGPASSWORD") is None
