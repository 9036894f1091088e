"""From a clean clone to the page, installed size, and start of the command line, each beside a peer in the same run.

    python benchmarks/setup.py

Peers: the same set-up by pip alone (documented fallback); a bare interpreter; an empty command of the same CLI library.
"""

import os
import re
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

from machine import machine

ROOT = Path(__file__).parents[1]


def clone_to_page(folder: Path, environ: dict[str, str]) -> tuple[float, int, int]:
    """Return seconds from `git clone` to a page that answers, MB of the environment, and bytes of the page."""
    began = time.perf_counter()
    subprocess.run(["git", "clone", "-q", str(ROOT), str(folder)], check=True)
    server = subprocess.Popen(["./run", "--port", "0"], cwd=folder, env=environ, stdout=subprocess.PIPE, text=True)
    assert server.stdout is not None
    try:
        for line in server.stdout:
            found = re.search(r"http://127\.0\.0\.1:\d+\S*", line)
            if found:
                break
        else:
            raise SystemExit("the page never came")
        while True:
            try:
                with urllib.request.urlopen(found.group(), timeout=60) as answer:
                    size = len(answer.read())
                break
            except OSError:
                time.sleep(0.05)
        took = time.perf_counter() - began
    finally:
        server.terminate()
        server.wait(10)
    used = subprocess.run(["du", "-sm", str(folder / ".venv")], capture_output=True, text=True, check=True).stdout
    return took, int(used.split()[0]), size


def best(command: list[str], times: int = 7) -> float:
    """Return the shortest wall time of `command` [s]."""
    took = []
    for _ in range(times):
        began = time.perf_counter()
        subprocess.run(command, stdout=subprocess.DEVNULL, check=True)
        took.append(time.perf_counter() - began)
    return min(took)


def main() -> None:
    """Print the table."""
    print(machine("click", "pydantic", "ortools"))
    with tempfile.TemporaryDirectory() as at:
        took, size_mb, page = clone_to_page(Path(at) / "uv", dict(os.environ))
        pip_took, pip_mb, _ = clone_to_page(Path(at) / "pip", {**os.environ, "FETTLEBOOK_PIP": "1"})
    print(f"clean clone to page: {took:.1f} s, environment {size_mb} MB, page {page / 1024:.0f} KiB")
    print(f"  the same by pip alone: {pip_took:.1f} s, {pip_mb} MB; ratio {took / pip_took:.2f}")
    bare = best([sys.executable, "-c", "pass"])
    empty = best([sys.executable, "-c", "import click; click.command()(lambda: None).main([], standalone_mode=False)"])
    for words in (["--help"], ["--version"], ["check", "--help"], ["day", "--help"]):
        it = best([sys.executable, "-m", "fettlebook", *words])
        beside = f"{it / bare:.1f} x a bare interpreter, {it / empty:.1f} x an empty click command"
        print(f"fettlebook {' '.join(words)}: {it * 1000:.0f} ms; {beside}")


if __name__ == "__main__":
    main()
