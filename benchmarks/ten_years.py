"""Years of an invented practice of twelve chairs in a book on disk: what a start costs, and what questions cost, beside the first fold.

    python benchmarks/ten_years.py FOLDER [entries]

FOLDER keeps the book for a next run (about 1 kB an entry with what is kept beside it). Each start is a process of its own. Times are
processor times (the machine is shared), waiting for the disk is told beside them. Peer, in the same run: SHA-256 over the sealed bytes.
"""

import argparse
import hashlib
import json
import os
import resource
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date
from functools import partial
from importlib.resources import files
from pathlib import Path

from fettlebook.book.received import Received
from fettlebook.book.stores import SqliteStore, open_book
from fettlebook.book.tree import Growing, Peaks, leaf_hash
from fettlebook.cli import collect_seldom
from fettlebook.demo.life import Habits, Life
from fettlebook.exchange.kept_state import KeptFold
from fettlebook.practice.load import read_practice
from fettlebook.practice.model import Practice
from fettlebook.rules.load import load_rulebook
from fettlebook.standing.basis import DAY_MS, Basis
from fettlebook.standing.due import due_duties
from fettlebook.standing.look_back import since_last_good
from fettlebook.standing.standings import Standings
from fettlebook.standing.state import State
from fettlebook.standing.trace import trace
from fettlebook.times.running import running_times
from machine import machine

HABITS = Habits(forgets=0.002, cuts_short=0.001, comes_late=0.02, fails=0.002, high_count=0.01, mends=0.003)
FIRST_DAY = date(2016, 1, 4)
MORE = 300  # entries that come while somebody looks
TIMES = 3  # of the demo practice's four chairs


def practice() -> Practice:
    """Return the demo practice with three times its chairs, sets and machines."""
    read = read_practice(files("fettlebook.demo").joinpath("practice.toml").read_bytes(), "practice.toml").practice
    assert read is not None
    chairs = [c.model_copy(update={"id": f"chair {n * 4 + k}"}) for n in range(TIMES) for k, c in enumerate(read.chairs, 1)]
    sets = [s.model_copy(update={"owned": s.owned * TIMES}) for s in read.sets]
    return read.model_copy(update={"chairs": tuple(chairs), "sets": tuple(sets)})


def ground() -> Basis:
    here = practice()
    rulebook = load_rulebook(here)
    return Basis.of(here, rulebook, running_times(here, rulebook))


def live(path: Path, entries: int) -> None:
    """Write the book: the leaves aside first, because a book is taken in whole by its root."""
    here = practice()
    rulebook = load_rulebook(here)
    aside, tree, count = path.with_suffix(".leaves"), Growing(Peaks()), 0
    with aside.open("wb") as out:
        for one in Life(here, rulebook, running_times(here, rulebook), habits=HABITS).days(FIRST_DAY, 40_000):
            out.write(one.leaf + b"\n")
            tree.add(leaf_hash(one.leaf))
            count += 1
            if count == entries:
                break
    with open_book(path) as store:
        store.take_sealed(leaves(aside), size=count, root=tree.peaks().root())
    aside.unlink()


def leaves(path: Path) -> Iterator[bytes]:
    with path.open("rb") as file:
        for line in file:
            yield line[:-1]


def resident_mb() -> float:
    with open("/proc/self/statm", encoding="ascii") as stat:
        return int(stat.read().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6


def timed(work: Callable[[], object]) -> tuple[float, float, object]:
    """Return processor time, elapsed time [s] and the result."""
    cpu, wall = time.process_time(), time.perf_counter()
    result = work()
    return time.process_time() - cpu, time.perf_counter() - wall, result


def one_start(path: Path) -> dict[str, tuple[float, float]]:
    """Start on the book as a command does, and ask; return the seconds of each."""
    basis, before = ground(), resident_mb()
    found: dict[str, tuple[float, float]] = {}

    def note(what: str, work: Callable[[], object]) -> object:
        cpu, wall, result = timed(work)
        found[what] = (cpu, wall)
        return result

    with open_book(path, write=False) as store:
        fold = note("cold start: open the fold", lambda: KeptFold(store))
        assert isinstance(fold, KeptFold)
        standings, now = Standings(fold.state, basis), fold.state.received
        note("  and the first verdicts of all", lambda: list(standings.as_of(now, fold.state.received).all()))
        note("verdicts of all, all made anew", lambda: list(Standings(fold.state, basis).as_of(now, fold.state.received).all()))
        note("verdicts of all, nothing new", lambda: list(standings.as_of(now, fold.state.received).all()))
        note("duties due", lambda: due_duties(standings.as_of(now, fold.state.received)))
        look = standings.as_of(now, fold.state.received).look
        note("look-back from the last failed test, first time", lambda: since_last_good(look, "sterilizer 1"))
        note("look-back, from then on", lambda: since_last_good(look, "sterilizer 1"))
        first = next(iter(fold.state.stream("chair:chair 1", "visit"))).happened
        for share in (0.1, 0.5, 0.9):
            then = int(first + share * (now - first)) // DAY_MS * DAY_MS + DAY_MS // 2
            note(f"verdicts of all at {share:.0%} of the book, as known then", partial(_all, standings, then))
        visit = next(look.back("chair:chair 1", "visit")).says.ref
        note("trace of a visit", lambda: trace(look, f"visit:{visit}"))
        found["memory of all that [MB]"] = (resident_mb() - before, resident_mb())
        mixed = list(as_if_new(list(store.read(fold.state.seq - MORE)), fold.state))
        spent = sorted(timed(lambda one=one: one_more(standings, one))[:2] for one in mixed)  # type: ignore[misc]
        found[f"verdicts of all after one more entry, median of {MORE}"] = spent[len(spent) // 2]
        found["  the worst of them"] = spent[-1]
        found["most memory of the process [MB]"] = (most := resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3, most)
    return found


def as_if_new(like: list[Received], state: State) -> Iterator[Received]:
    """Yield entries of the mix of the book's newest ones, made and received from now on, 20 s apart."""
    made = {device: counter.highest for device, counter in state.devices.items()}
    for number, one in enumerate(like, 1):
        moment, device = state.received + number * 20_000, one.entry.device
        made[device] += 1
        new = one.entry.model_copy(update={"id": f"more {number}", "at": moment, "n": made[device]})
        yield replace(one, seq=state.seq + number, received=moment, offset=0, entry=new)


def one_more(standings: Standings, one: Received) -> list[object]:
    standings.add(one)
    return list(standings.as_of(one.received, one.received).all())


def _all(standings: Standings, then: int) -> list[object]:
    return list(standings.as_of(then).all())


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("folder", type=Path)
    asked.add_argument("entries", type=int, nargs="?", default=100_000)
    asked.add_argument("--start", action="store_true", help=argparse.SUPPRESS)
    given = asked.parse_args()
    path = given.folder / f"years-{given.entries}.sqlite"
    collect_seldom()  # as every command does
    if given.start:
        print(json.dumps(one_start(path)))
        return
    print(machine("fettlebook", "pydantic", "msgspec"))
    if not path.exists():
        cpu, _, _ = timed(lambda: live(path, given.entries))
        print(f"{given.entries:,} invented entries written in {cpu:,.0f} s")
    with open_book(path) as store:
        hashed, _, _ = timed(lambda: hash_all(store))
        print(f"peer: SHA-256 over the sealed bytes, rows read one by one: {hashed:.2f} s; book {path.stat().st_size / 1e6:,.0f} MB")
        cpu, wall, fold = timed(lambda: KeptFold(store))
        assert isinstance(fold, KeptFold)
        told = f"{cpu:,.1f} s ({wall:,.0f} s elapsed), {1e6 * cpu / given.entries:.0f} us an entry, {resident_mb():,.0f} MB"
        print(f"first start, which folds whatever isn't kept: {told}")
        basis = ground()
        cpu, wall, _ = timed(lambda: list(Standings(fold.state, basis).as_of(fold.state.received).all()))
        print(f"first verdicts of all ever: {cpu:,.1f} s ({wall:,.0f} s elapsed)")
        fold.keep_up()
    kept = sum(one.stat().st_size for one in given.folder.glob(f"{path.name}.*.state*"))
    print(f"kept beside the book: {kept / 1e6:,.0f} MB, {kept / given.entries:.0f} bytes an entry\n")
    runs = []
    for _ in range(3):
        said = subprocess.run([sys.executable, __file__, str(given.folder), str(given.entries), "--start"], check=True, capture_output=True)
        runs.append(json.loads(said.stdout))
    for what in runs[0]:
        cpu, wall = (sorted(run[what][k] for run in runs)[1] for k in (0, 1))
        shown = f"{cpu:8.0f} (of {wall:,.0f})" if "MB" in what else f"{1e3 * cpu:8.1f} ms ({1e3 * wall:,.0f} elapsed)"
        print(f"{what:<52}{shown}")


def hash_all(store: SqliteStore) -> bytes:
    found = hashlib.sha256()
    for row in store.rows():
        found.update(row.leaf)
    return found.digest()


if __name__ == "__main__":
    main()
