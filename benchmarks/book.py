"""What the record costs beside bare inserts of the same bytes and beside bare hashing: appending, verifying, proving.

`python benchmarks/book.py` (about a minute; `--entries 1000000` for a long book; PostgreSQL where its programs are installed).
Each peer runs in turn with the book, chunk by chunk, on the same disk with the same settings; the ratio is that of the times.
"""

import argparse
import hashlib
import json
import os
import resource
import shutil
import socket
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path

from fettlebook.book.entries import Moment, new_entry
from fettlebook.book.kinds import StepDone
from fettlebook.book.stores import Store, admit, open_book, open_group_book, prepare_group_book
from fettlebook.book.tree import verify_inclusion
from machine import machine

NOW = 1_772_442_000_000
COLUMNS = "practice, seq, id, kind, device, n, hash, leaf"
SETTINGS = ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON", "cell_size_check=ON")


def made(count: int, start: int = 0) -> list[bytes]:
    """Return entries as devices send them, each with an id of its own."""
    data = StepDone(
        duty="chair.between", step="between.flush", chair="chair 1", outlets=("turbine",), outcome="done", readings={"flush_s": 30}
    )
    first = new_entry(data, moment=Moment(NOW, "Europe/Berlin"), device="tablet-3", n=1, by="ana").encode()
    fields = json.loads(first)
    entries = []
    for n in range(start + 1, start + count + 1):
        digest, at = hashlib.sha256(str(n).encode()).hexdigest(), f"{NOW + n * 20_000:012x}"  # version 7: the time first, then chance
        new_id = f"{at[:8]}-{at[8:]}-7{digest[12:15]}-8{digest[15:18]}-{digest[18:30]}"
        chair = f"chair {n % 12 + 1}".encode()
        one = first.replace(fields["id"].encode(), new_id.encode()).replace(b'"n":1,', b'"n":%d,' % n).replace(b"chair 1", chair)
        entries.append(one)
    return entries


def in_turn(chunks: int, *runs: Callable[[int], object]) -> list[float]:
    """Run all in turn, chunk by chunk; return the seconds of each."""
    seconds = [0.0] * len(runs)
    for chunk in range(chunks):
        for i, run in enumerate(runs):
            begun = time.perf_counter()
            run(chunk)
            seconds[i] += time.perf_counter() - begun
    return seconds


def row(what: str, peer: str, seconds: tuple[float, float], count: int, goal: str = "") -> None:
    """Print one line: rates of both (seconds of the book, of the peer), and the ratio of the book's speed to the peer's."""
    own_s, peer_s = seconds
    print(f"{what:<46}{count / own_s:>11,.0f}/s  {count / peer_s:>11,.0f}/s {peer:<32}{peer_s / own_s:>6.2f}  {goal}")


def sqlite_appends(folder: Path, count: int) -> None:
    """Append to SQLite beside a table of bare bytes, and beside the book's own tables filled with what is known already."""
    for batch, chunks, goal in ((1, 8, "goal 0.85"), (10, 8, ""), (100, 10, "goal 0.45"), (500, 10, "")):
        per = 150 if batch == 1 else max(batch, count // chunks // batch * batch)
        place = folder / f"batch{batch}"
        place.mkdir()
        runs = _OnSqlite(place, batch, per, made(per * chunks))
        of_bare, of_same, of_book = in_turn(chunks, runs.bare, runs.same, runs.book)
        (of_subjects,) = in_turn(1, runs.subjects)
        runs.close()
        row(f"SQLite append, {batch} per commit", "bare bytes", (of_book, of_bare), per * chunks, goal)
        row("", "same table, no checks", (of_book, of_same), per * chunks)
        row("", "with subjects read off after it", (of_book + of_subjects, of_bare), per * chunks)


class _OnSqlite:
    """The book and its two peers on one disk."""

    def __init__(self, place: Path, batch: int, per: int, entries: list[bytes]) -> None:
        self.batch, self.per, self.entries = batch, per, entries
        with open_book(place / "filled.sqlite") as filled:  # to know leaves and rows beforehand
            for begin in range(0, len(entries), 500):
                filled.append(entries[begin : begin + 500], now=NOW, via="tablet-3")
            self.rows = [("practice", *r) for r in filled.rows()]
        self._bare, self._same = _connected(place / "bare.sqlite"), _tables_of(place / "filled.sqlite", place / "same.sqlite")
        self._bare.execute("CREATE TABLE bare (seq INTEGER PRIMARY KEY, leaf BLOB NOT NULL) STRICT")
        self._book = open_book(place / "book.sqlite")

    def _batches(self, chunk: int) -> Iterator[tuple[int, int]]:
        for begin in range(chunk * self.per, (chunk + 1) * self.per, self.batch):
            yield begin, begin + self.batch

    def bare(self, chunk: int) -> None:
        """Insert the sealed bytes alone."""
        for begin, end in self._batches(chunk):
            self._bare.execute("BEGIN IMMEDIATE")
            self._bare.executemany("INSERT INTO bare VALUES (?, ?)", [(r[1], r[7]) for r in self.rows[begin:end]])
            self._bare.execute("COMMIT")

    def same(self, chunk: int) -> None:
        """Insert rows that are known beforehand into the book's own tables."""
        for begin, end in self._batches(chunk):
            self._same.execute("BEGIN IMMEDIATE")
            self._same.executemany(f"INSERT INTO entry ({COLUMNS}) VALUES (?,?,?,?,?,?,?,?)", self.rows[begin:end])
            self._same.execute("COMMIT")

    def book(self, chunk: int) -> None:
        """Append entries as they came from a device."""
        for begin, end in self._batches(chunk):
            self._book.append(self.entries[begin:end], now=NOW, via="tablet-3")

    def subjects(self, _: int) -> None:
        """Read off the subjects, as whoever reads them first does."""
        self._book.catch_up()

    def close(self) -> None:
        """Let go of the files."""
        self._bare.close()
        self._same.close()
        self._book.close()


def _connected(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(path, isolation_level=None)
    for setting in SETTINGS:
        connection.execute(f"PRAGMA {setting}")
    return connection


def _tables_of(book: Path, to: Path) -> sqlite3.Connection:
    source = sqlite3.connect(book)
    made_by = [r[0] for r in source.execute("SELECT sql FROM sqlite_master WHERE tbl_name = 'entry' AND sql NOT NULL")]
    source.close()
    connection = _connected(to)
    for statement in made_by:
        connection.execute(statement)
    return connection


def verifying_and_proving(folder: Path, count: int) -> None:
    """Verify a whole book from its file beside bare hashing of the same bytes; prove single entries."""
    path = folder / "long.sqlite"
    begun = time.perf_counter()
    with open_book(path) as book:
        for begin in range(0, count, 500):
            book.append(made(min(500, count - begin), begin), now=NOW + begin, via="tablet-3")
    grown_s = time.perf_counter() - begun
    print(f"a book of {count:,} entries: {path.stat().st_size / count:,.0f} bytes each; made in {grown_s:.0f} s, {count / grown_s:,.0f}/s")
    with open_book(path, write=False) as book:
        leaves = [r.leaf for r in book.rows(until=min(count, 200_000))]
        bare_s = min(processor_s(lambda: [hashlib.sha256(leaf).digest() for leaf in leaves]) for _ in range(3)) * count / len(leaves)
        length = statistics.fmean(map(len, leaves))
        leaves.clear()
        for what, sealed_only in (("what is sealed", True), ("all of it", False)):
            one_s = processor_s(partial(_whole, book, sealed_only, 1))
            row(f"verify from the file, {what}, one core", "SHA-256 of the bytes", (one_s, bare_s), count, "goal 0.3")
            (two_s,) = in_turn(1, partial(_whole, book, sealed_only, 2))
            row(f"verify from the file, {what}, two cores", "SHA-256 of the bytes", (two_s, bare_s), count, "goal 0.5, by the clock")
        subprocess.run([sys.executable, "-m", "fettlebook", "book", "verify", str(path)], check=True, stdout=subprocess.DEVNULL)
        held = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
        print(f"  {length:,.0f} bytes each; memory of `fettlebook book verify` as a whole: {held:,.0f} MB (goal under 200)")
        root, size, taken = book.head().root, book.head().size, []
        for i in range(300):
            begun = time.perf_counter()
            proof = book.prove_entry(1 + (i * 7919) % size)
            taken.append((time.perf_counter() - begun) * 1000)
            assert verify_inclusion(proof.leaf_hash, proof.seq - 1, size, proof.hashes, root)
        taken.sort()
        print(f"proof of one entry of {size:,}: median {taken[150]:.2f} ms, 99 of 100 under {taken[296]:.2f} ms (goal: under 2 at 10 M)")


def processor_s(work: Callable[[], object]) -> float:
    """Return the processor time of some work, with that of the processes that it starts: the machine is shared [s]."""

    def now() -> float:
        return sum(sum(resource.getrusage(who)[:2]) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))

    begun = now()
    work()
    return now() - begun


def _whole(book: Store, sealed_only: bool, cores: int, _: int = 0) -> None:
    assert book.verify(sealed_only=sealed_only, cores=cores).whole


@contextmanager
def cluster() -> Iterator[str | None]:
    """Give the address of a fresh PostgreSQL with its safe settings; None where it isn't installed."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda p: int(p.parent.name))
    if not found:
        yield None
        return
    folder = Path(tempfile.mkdtemp())
    user = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
    if user:
        shutil.chown(folder, "postgres")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]

    def run(program: str, *words: str) -> None:
        subprocess.run([*user, str(found[-1] / program), *words], cwd=folder, check=True, stdout=subprocess.DEVNULL)

    run("initdb", "-D", str(folder / "data"), "-U", "owner", "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8", "--data-checksums")
    run("pg_ctl", "-D", str(folder / "data"), "-w", "-l", str(folder / "log"), "-o", f"-h 127.0.0.1 -p {port} -k {folder}", "start")
    try:
        yield f"postgresql+psycopg://owner@127.0.0.1:{port}/postgres"
    finally:
        run("pg_ctl", "-D", str(folder / "data"), "-m", "immediate", "-w", "stop")
        shutil.rmtree(folder, ignore_errors=True)


def postgres_appends(count: int) -> None:
    """Append to PostgreSQL beside inserts of the same bytes into a table of their own, with its safe settings."""
    with cluster() as owner:
        if owner is None:
            print("PostgreSQL is not installed here")
            return
        import psycopg

        address = owner.replace("+psycopg", "")
        with psycopg.connect(address, autocommit=True) as ruler:
            ruler.execute("CREATE ROLE plain LOGIN")
            ruler.execute("CREATE TABLE bare (practice text, seq bigint, leaf bytea NOT NULL, PRIMARY KEY (practice, seq))")
        prepare_group_book(owner)
        for batch, chunks in ((1, 8), (100, 8), (500, 8)):
            practice = f"by {batch}"
            admit(owner, role="plain", practice=practice)
            per = min(count, 60) if batch == 1 else max(batch, count // 10 // batch * batch)
            entries = made(per * chunks)
            with open_group_book(owner.replace("owner@", "plain@"), practice) as book, psycopg.connect(address) as raw:
                _in_turn_on_postgres(book, raw, entries, batch, chunks)


def _in_turn_on_postgres(book: Store, raw: object, entries: Sequence[bytes], batch: int, chunks: int) -> None:
    per = len(entries) // chunks

    def run_bare(chunk: int) -> None:
        cursor = raw.cursor()  # type: ignore[attr-defined]
        for begin in range(chunk * per, (chunk + 1) * per, batch):
            rows = [(book.practice, n, entries[n]) for n in range(begin, begin + batch)]
            cursor.executemany("INSERT INTO bare VALUES (%s, %s, %s)", rows)
            raw.commit()  # type: ignore[attr-defined]

    def run_copy(chunk: int) -> None:
        cursor = raw.cursor()  # type: ignore[attr-defined]
        for begin in range(chunk * per, (chunk + 1) * per, batch):
            with cursor.copy("COPY bare FROM STDIN (FORMAT BINARY)") as copy:
                copy.set_types(["text", "int8", "bytea"])
                for n in range(begin, begin + batch):
                    copy.write_row((f"{book.practice} copied", n, entries[n]))
            raw.commit()  # type: ignore[attr-defined]

    def run_book(chunk: int) -> None:
        for begin in range(chunk * per, (chunk + 1) * per, batch):
            book.append(entries[begin : begin + batch], now=NOW, via="tablet-3")

    of_bare, of_copy, of_book = in_turn(chunks, run_bare, run_copy, run_book)
    row(
        f"PostgreSQL append, {batch} per commit", "INSERT of bare bytes", (of_book, of_bare), len(entries), "goal 0.5" if batch == 1 else ""
    )
    if batch > 1:
        row("", "COPY of bare bytes", (of_book, of_copy), len(entries), "goal 0.4")


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--entries", type=int, default=100_000)
    asked = parser.parse_args()
    print(machine("sqlalchemy", "psycopg", "pydantic"), f"SQLite {sqlite3.sqlite_version}", sep="; ")
    print(f"{'':<46}{'book':>13}  {'peer':>13} {'':<32}{'ratio':>6}")
    with tempfile.TemporaryDirectory() as folder:
        sqlite_appends(Path(folder), 20_000)
        verifying_and_proving(Path(folder), asked.entries)
    postgres_appends(20_000)


if __name__ == "__main__":
    main()
