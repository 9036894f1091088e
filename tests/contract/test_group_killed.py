"""A PostgreSQL server with its safe settings, killed with -9 under a writer: what was acknowledged is there after its recovery."""

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text

sys.path.insert(0, str(Path(__file__).parent))
from cluster import Cluster, started

from fettlebook.book.stores import admit, open_group_book, prepare_group_book
from fettlebook.errors import Mendable

WRITER = """
import sys
from fettlebook.book.entries import Moment, new_entry
from fettlebook.book.kinds import DayPlanned
from fettlebook.book.stores import open_group_book
with open_group_book(sys.argv[1], "oak") as store:
    n = store.head().size
    while True:
        data = DayPlanned(day="2026-03-02", instance_digest="ab" * 32, verdict="fits", line="x")
        made = [new_entry(data, moment=Moment(n, "UTC"), device="tablet-3", n=n + i + 1, by="p07") for i in range(n % 3 + 1)]
        for receipt in store.append(made, now=n, via="tablet-3"):
            print(receipt.id, receipt.seq, flush=True)
        n += len(made)
"""


@pytest.fixture
def cluster() -> Iterator[Cluster]:
    with started() as made:
        yield made


@pytest.mark.invented
def test_every_acknowledged_entry_survives_the_server_s_kill_minus_nine(cluster: Cluster) -> None:
    prepare_group_book(cluster.url("owner"))
    engine = create_engine(cluster.url("owner"))
    with engine.begin() as connection:
        connection.execute(text("CREATE ROLE plain LOGIN"))
    admit(cluster.url("owner"), role="plain", practice="oak")
    command = [sys.executable, "-c", WRITER, cluster.url("plain")]
    writer = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    assert writer.stdout is not None
    lines = [writer.stdout.readline() for _ in range(40)]
    cluster.kill()
    lines += [line for line in writer.stdout.read().splitlines(keepends=True) if line.endswith("\n")]
    assert writer.wait() not in {0, None}
    acknowledged = {line.split()[0]: int(line.split()[1]) for line in lines}
    assert len(acknowledged) >= 40
    cluster.start()
    with open_group_book(cluster.url("plain"), "oak") as store:  # durable settings are asked for here
        got = {r.entry.id: r.seq for r in store.read()}
        assert acknowledged.items() <= got.items()
        found = store.verify()
        assert found.whole
        assert found.size == len(got) >= len(acknowledged)
    engine.dispose()
    with engine.begin() as connection:
        connection.execute(text("ALTER ROLE plain SET synchronous_commit = off"))
    engine.dispose()
    with pytest.raises(Mendable, match="synchronous_commit is off"):
        open_group_book(cluster.url("plain"), "oak")
