"""A year's evidence file in seconds and MB, and the checking of a bundle against raw SHA-256 over the same bytes.

    python benchmarks/evidence.py [days]

The year is invented (`demo.lived`), with the logs of failed cycles kept. Times are processor times: the machine is shared. Peer of the
script: one SHA-256 over each line of entries.jsonl, read and hashed in the same run by the same Python. Peer of the making: one pass that
reads and decodes every entry of the book, which anything that looks at all of them must do.
"""

import hashlib
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from fettlebook.book.keyfile import make_key
from fettlebook.book.kinds import to_ms
from fettlebook.book.signing import book_name
from fettlebook.book.stores import open_book
from fettlebook.demo import practice_text
from fettlebook.demo.heat.kept import KeptLogs
from fettlebook.demo.lived import live_into
from fettlebook.exchange.evidence.make import make_evidence
from fettlebook.exchange.evidence.span import span_of
from fettlebook.practice.load import load_practice
from fettlebook.rules.load import load_rulebook
from fettlebook.standing.basis import Basis
from fettlebook.times.running import running_times
from machine import machine

LAST = date(2026, 11, 25)


def timed(work: Callable[[], object]) -> float:
    """Return the processor time of one run [s]."""
    began = time.process_time()
    work()
    return time.process_time() - began


def hash_lines(path: Path) -> None:
    with path.open("rb") as lines:
        for line in lines:
            hashlib.sha256(line).digest()


def check_s(folder: Path) -> float:
    """Return the processor time of a run of the bundle's script, the start of Python included [s]."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, "-I", "-S", folder / "check.py"], check=True, capture_output=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main(days: int) -> None:
    print(machine("typst", "cryptography", "numpy"))
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        (folder / "practice.toml").write_bytes(practice_text())
        practice = load_practice(folder / "practice.toml")
        rulebook = load_rulebook(practice, on=LAST)
        until = to_ms(datetime(LAST.year, LAST.month, LAST.day, 19, 0, tzinfo=ZoneInfo(practice.practice.time_zone)))
        key = folder / "book.sqlite.key"
        make_key(key, book_name(practice.practice.id))
        with open_book(folder / "book.sqlite", practice.practice.id) as store:
            live_into(store, practice_text(), LAST - timedelta(days=days), until, seed=3, logs=KeptLogs())
            basis = Basis.of(practice, rulebook, running_times(practice, rulebook))
            span = span_of(practice, LAST - timedelta(days=days), LAST, LAST)
            decode_s = timed(lambda: sum(1 for _ in store.read()))
            began, wall = time.process_time(), time.perf_counter()
            made = make_evidence(store, basis, span, folder / "out", key_file=key)
            make_s, wall_s = time.process_time() - began, time.perf_counter() - wall
            again_s = timed(lambda: make_evidence(store, basis, span, folder / "again", key_file=key))
        pages = made.report_bytes / 1e6
        print(f"book of {days} days: {made.size:,} entries; shown {made.shown:,}")
        print(
            f"make, first time: {make_s:.1f} s ({wall_s:.1f} s by the wall clock) = {make_s / decode_s:.1f} x reading and decoding the book"
        )
        print(f"make, the fold kept: {again_s:.1f} s = {again_s / decode_s:.1f} x")
        print(f"report.pdf {pages:.1f} MB, folder {made.bundle_bytes / 1e6:.1f} MB")
        entries = made.folder / "entries.jsonl"
        raw_s = min(timed(lambda: hash_lines(entries)) for _ in range(3))
        checked_s = min(check_s(made.folder) for _ in range(3))
        per_million = 1e6 * checked_s / made.shown
        print(f"check.py: {checked_s:.2f} s, {per_million:.1f} s a million entries; raw SHA-256 of the same lines {raw_s:.2f} s")
        print(f"ratio: check.py takes {checked_s / raw_s:.1f} x raw SHA-256 (speed {raw_s / checked_s:.3f} of it)")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 365)
