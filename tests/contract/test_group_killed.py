"""A PostgreSQL server with its safe settings, killed with -9 under a writer: what was acknowledged is there after its recovery."""

import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text

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


class Cluster:
    def __init__(self, folder: Path) -> None:
        found = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda p: int(p.parent.name))
        self.bin = str(found[-1]) + "/" if found else ""
        self.folder, self.data = folder, folder / "data"
        self.prefix = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
        if self.prefix:
            shutil.chown(folder, "postgres")
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.run("initdb", "-D", str(self.data), "-U", "owner", "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8", "--no-sync")

    def run(self, program: str, *arguments: str, check: bool = True) -> int:
        command = [*self.prefix, self.bin + program, *arguments]
        return subprocess.run(command, cwd=self.folder, check=check, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL).returncode

    def start(self) -> None:
        options = f"-h 127.0.0.1 -p {self.port} -k {self.folder}"
        for _ in range(40):  # after a kill the old server's children need a moment to go
            if self.run("pg_ctl", "-D", str(self.data), "-w", "-l", str(self.folder / "log"), "-o", options, "start", check=False) == 0:
                return
            time.sleep(0.25)
        pytest.fail("PostgreSQL did not start:\n" + (self.folder / "log").read_text("utf-8"))

    def kill(self) -> None:
        os.kill(int((self.data / "postmaster.pid").read_text().split()[0]), signal.SIGKILL)

    def url(self, role: str) -> str:
        return f"postgresql+psycopg://{role}@127.0.0.1:{self.port}/postgres"


@pytest.fixture
def cluster() -> Iterator[Cluster]:
    if os.environ.get("FETTLEBOOK_WITHOUT_POSTGRES") == "1":
        pytest.skip("FETTLEBOOK_WITHOUT_POSTGRES=1: PostgreSQL was waived")
    folder = Path(tempfile.mkdtemp())  # not pytest's own: postgres must be able to enter it
    made = Cluster(folder)
    made.start()
    yield made
    made.run("pg_ctl", "-D", str(made.data), "-m", "immediate", "-w", "stop", check=False)
    shutil.rmtree(folder)


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
