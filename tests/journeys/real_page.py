"""A real `fettlebook serve` in a process of its own."""

import os
import re
import selectors
import signal
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from shutil import which

import pytest

DAY = "2026-11-25"
CHROMIUM = os.environ.get("CHROMIUM") or which("chromium") or which("chromium-browser") or "/usr/bin/chromium"
ARGUMENTS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
SIZES = {"tablet": (800, 1280), "desk": (1280, 800), "wall": (1920, 1080)}


@dataclass
class Served:
    """A running page with its files."""

    process: subprocess.Popen[bytes]
    address: str
    folder: Path
    log: Path

    def stop(self, how: signal.Signals = signal.SIGTERM, most_s: float = 60.0) -> int:
        """Stop it as a person or a system would, and return its exit status; a loaded machine is waited for."""
        self.process.send_signal(how)
        return self.process.wait(most_s)


def start(folder: Path, *more: str, practice: str = "practice.toml", book: str = "book.ics") -> Served:
    """Start the page and return once it has told its address."""
    log = folder / "serve.log"
    files = [str(folder / practice), str(folder / book), "--data", str(folder / "book.sqlite")]
    command = [sys.executable, "-m", "fettlebook", "serve", *files, "--port", "0", *more]
    with log.open("ab") as errors:
        process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=errors, cwd=folder)
    assert process.stdout
    with selectors.DefaultSelector() as ready:
        ready.register(process.stdout, selectors.EVENT_READ)
        assert ready.select(60), "it did not tell its address"
    line = process.stdout.readline().decode()
    found = re.search(r"http://127\.0\.0\.1:\d+", line)
    if not found:
        process.wait(10)
        pytest.fail(f"{line}{log.read_text()}")
    return Served(process, found[0], folder, log)
