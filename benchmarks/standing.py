"""The fold and the verdicts on a big invented book: cost of one more entry early and late, of all verdicts, of a trace.

    python benchmarks/standing.py [entries]

Times are processor times: the machine is shared. Peers, in the same run: one plain pass over the same entries in memory (only their time
is looked at), and decoding sealed bytes.
"""

import gc
import os
import statistics
import sys
import time
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date
from importlib.resources import files

from fettlebook.book.received import Received, unseal
from fettlebook.demo.life import Habits, Life
from fettlebook.practice.load import read_practice
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
CHUNK = 2_000
FIRST_DAY = date(2016, 1, 4)


def timed(work: Callable[[], object], times: int = 5) -> float:
    """Return the median of some runs [s]."""
    found = []
    for _ in range(times):
        began = time.process_time()
        work()
        found.append(time.process_time() - began)
    return statistics.median(found)


def resident_mb() -> float:
    with open("/proc/self/statm", encoding="ascii") as stat:
        return int(stat.read().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6


@dataclass
class Folded:
    """A state that grew entry by entry, with what each stretch of the book cost."""

    state: State
    newest: deque[Received]  # what a correction can still ask for: stands for the book beside the state
    adding: list[float] = field(default_factory=list)  # [s an entry], chunk by chunk
    passing: list[float] = field(default_factory=list)


def grow(life: Life, entries: int) -> Folded:
    """Add entries in chunks, in the order of receipt, and time the adding alone."""
    originals: dict[str, Received] = {}
    folded = Folded(State(originals.get), deque())
    for chunk in chunks(life, entries):
        for one in chunk:
            originals[one.entry.id] = one
            folded.newest.append(one)
        while len(folded.newest) > 5_000:
            originals.pop(folded.newest.popleft().entry.id)
        began = time.process_time()
        for one in chunk:
            folded.state.add(one)
        folded.adding.append((time.process_time() - began) / len(chunk))
        began = time.process_time()
        last = 0
        for one in chunk:
            last = max(last, one.entry.at)
        folded.passing.append((time.process_time() - began) / len(chunk))
    return folded


def chunks(life: Life, entries: int) -> Iterator[list[Received]]:
    chunk: list[Received] = []
    for number, one in enumerate(life.days(FIRST_DAY, 40_000), 1):
        chunk.append(one)
        if len(chunk) == CHUNK:
            yield chunk
            chunk = []
            if number >= entries:
                return


def first_moment(state: State) -> int:
    """Return when the first fact of some chair happened [ms since 1970 UTC]."""
    return next(iter(state.stream("chair:chair 1", "visit"))).happened


def add_late(folded: Folded, count: int = 500) -> float:
    """Return what an entry costs that happened on the first day and comes at the end [s]."""
    state, like = folded.state, folded.newest[-1]
    first = first_moment(state)
    late = [
        replace(like, seq=state.seq + n, received=state.received + n, entry=like.entry.model_copy(update={"at": first + n}))
        for n in range(1, count + 1)
    ]
    began = time.process_time()
    for one in late:
        state.add(one)
    return (time.process_time() - began) / count


def main(entries: int) -> None:
    print(machine("fettlebook", "pydantic"))
    practice = read_practice(files("fettlebook.demo").joinpath("practice.toml").read_bytes(), "practice.toml").practice
    assert practice is not None
    rulebook = load_rulebook(practice)
    times = running_times(practice, rulebook)
    leaves = [one.leaf for one in Life(practice, rulebook, times, habits=HABITS).days(FIRST_DAY, 5)]
    decode_s = timed(lambda: [unseal(leaf) for leaf in leaves], 3) / len(leaves)

    gc.collect()
    gc.freeze()
    before = resident_mb()
    folded = grow(Life(practice, rulebook, times, habits=HABITS), entries)
    gc.collect()
    held = resident_mb() - before
    state, count = folded.state, folded.state.seq
    add_s, pass_s = statistics.mean(folded.adding), statistics.mean(folded.passing)
    day = state.received // DAY_MS * DAY_MS
    now = day - DAY_MS // 2
    first = first_moment(state)
    half = first + (now - first) // 2 // DAY_MS * DAY_MS
    years = (state.received - first) / DAY_MS / 365.25
    print(f"{count:,} invented entries, {years:.1f} years of the demo practice (4 chairs, 4 machines, 31 sets)")
    print(f"peers: plain pass {1e6 * pass_s:.2f} us an entry ({1e3 * pass_s * count:.0f} ms); decoding {1e6 * decode_s:.1f} us an entry\n")

    def row(what: str, seconds: float, ratio: str) -> None:
        shown = f"{1e6 * seconds:8.1f} us" if seconds < 1e-3 else f"{1e3 * seconds:8.1f} ms"
        print(f"{what:<58}{shown}   {ratio}")

    row("add an entry", add_s, f"{add_s / pass_s:.0f} x the pass, {add_s / decode_s:.2f} x decoding")
    start = statistics.median(folded.adding[:5])
    for share in (0.25, 0.5, 0.75, 1.0):
        end = max(5, round(share * len(folded.adding)))
        here = statistics.median(folded.adding[end - 5 : end])
        row(f"  near {share:.0%} of the book", here, f"{here / start:.2f} x at its begin")
    late_s = add_late(folded)
    row("  one that happened on the first day, at the end", late_s, f"{late_s / add_s:.1f} x a usual one")

    standings = Standings(state, Basis.of(practice, rulebook, times))
    view = standings.as_of(now, state.received)
    all_s = timed(lambda: standings.as_of(now, state.received).all())
    row(f"verdicts of all {len(list(view.subjects()))} present subjects", all_s, f"{all_s / pass_s / count:.3f} x the pass over the book")
    row("  half-way back, as known then", half_s := timed(lambda: standings.as_of(half).all()), f"{half_s / all_s:.2f} x now")
    row("verdict of one chair", timed(lambda: standings.as_of(now, state.received).standing("chair:chair 1")), "")
    row("duties due", timed(lambda: due_duties(standings.as_of(now, state.received))), "")
    back = since_last_good(view.look, "sterilizer 1")
    told = f"{len(back.loads)} loads, {len(back.visits)} visits"
    row("look-back from the last failed test", timed(lambda: since_last_good(view.look, "sterilizer 1")), told)
    visit = next(view.look.back("chair:chair 1", "visit")).says.ref
    row("trace of one visit", timed(lambda: trace(view.look, f"visit:{visit}")), f"{len(trace(view.look, f'visit:{visit}').links)} links")
    print(f"\nmemory: {held:,.0f} MB, {1e6 * held / count:,.0f} bytes an entry (the state, and the newest 5,000 entries beside it)")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200_000)
