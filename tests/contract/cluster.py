"""A PostgreSQL server of a test's own with its safe settings, to be stopped, killed and started again."""

import os
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest


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

    def stop(self) -> None:
        """Stop it in good order, whoever is connected."""
        self.run("pg_ctl", "-D", str(self.data), "-m", "fast", "-w", "stop")

    def url(self, role: str) -> str:
        return f"postgresql+psycopg://{role}@127.0.0.1:{self.port}/postgres"


@contextmanager
def started() -> Iterator[Cluster]:
    """Give one that runs; the test is skipped only where PostgreSQL was waived by name."""
    if os.environ.get("FETTLEBOOK_WITHOUT_POSTGRES") == "1":
        pytest.skip("FETTLEBOOK_WITHOUT_POSTGRES=1: PostgreSQL was waived")
    folder = Path(tempfile.mkdtemp())  # not pytest's own: postgres must be able to enter it
    made = Cluster(folder)
    try:
        made.start()
        yield made
    finally:
        made.run("pg_ctl", "-D", str(made.data), "-m", "immediate", "-w", "stop", check=False)
        shutil.rmtree(folder)
