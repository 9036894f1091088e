"""Kills a writer with SIGKILL at random moments, again and again, and looks whether the book kept what it had acknowledged.

`python benchmarks/soak_kill.py --rounds 1000` prints what happened; status 1 where anything is wrong. The tests run 50 rounds.

After each kill: every acknowledged entry is there under the number that was said, none is there twice, what was sent without an answer gets
one receipt when it is sent again, and every 25 rounds the whole book is verified against the root of the time before.
"""

import argparse
import hashlib
import os
import random
import signal
import sys
import tempfile
import time
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from fettlebook.book.entries import Moment, new_entry
from fettlebook.book.kinds import StepDone
from fettlebook.book.received import Receipt
from fettlebook.book.stores import Store, open_book
from fettlebook.book.verify import Anchor

NOW = 1_772_442_000_000
AHEAD = 130  # more than one batch can hold: what was sent without an answer lies within


@dataclass
class Soaked:
    """What a soak has seen."""

    rounds: int = 0
    acknowledged: int = 0
    stored_without_answer: int = 0
    entries: int = 0
    verified: int = 0


def entry_bytes(n: int) -> bytes:
    """Return entry number `n` (from 1): always the same bytes, so that it can be sent again."""
    digest = hashlib.sha256(str(n).encode()).hexdigest()
    entry_id = f"{digest[:8]}-{digest[8:12]}-7{digest[12:15]}-8{digest[15:18]}-{digest[18:30]}"
    data = StepDone(duty="chair.between", step="between.flush", chair=f"chair {n % 4 + 1}", outcome="done", run="r" * (n % 50 + 1))
    made = new_entry(data, moment=Moment(NOW + n, "Europe/Berlin"), device="tablet-3", n=n, by="ana")
    return made.model_copy(update={"id": entry_id}).encode()


def soak(path: Path, rounds: int, chance: random.Random) -> Soaked:
    """Kill `rounds` writers of the book at `path`; raise AssertionError where the book did not keep its word."""
    seen = Soaked()
    anchors: list[Anchor] = []
    with open_book(path):
        pass
    for _ in range(rounds):
        acknowledged = _killed(path, seen.entries, chance)
        with open_book(path) as store:
            seen.rounds += 1
            _look(store, acknowledged, seen)
            if seen.rounds % 25 == 0 or seen.rounds == rounds:
                assert store.verify(anchors=anchors).whole
                head = store.head()
                anchors = [Anchor(head.size, head.root, f"round {seen.rounds}")]
                store.check()
                seen.verified += 1
    return seen


def _killed(path: Path, start: int, chance: random.Random) -> dict[int, int]:
    """Let a child write from entry `start` + 1 on, kill it at a random moment, and return seq by n of what it had acknowledged."""
    seed, reading, writing = chance.random(), *os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        _write(path, start, random.Random(seed), writing)
    os.close(writing)
    with os.fdopen(reading, "rb") as said:
        first = said.readline()
        time.sleep(chance.random() ** 2 * 0.04)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        rest = said.read()  # said before it died: acknowledged as well
    lines = [line for line in (first + rest).splitlines(keepends=True) if line.endswith(b"\n")]
    return {int(n): int(seq) for n, seq in (line.split() for line in lines)}


def _write(path: Path, start: int, chance: random.Random, out: int) -> None:
    with suppress(BaseException), open_book(path) as store:
        n = start
        while True:
            batch = [entry_bytes(n + i) for i in range(1, chance.choice((1, 1, 2, 5, 20, 120)) + 1)]
            for result in store.append(batch, now=NOW, via="tablet-3"):
                n += 1
                os.write(out, b"%d %d\n" % (n, result.seq if isinstance(result, Receipt) else -1))
    os._exit(9)


def _look(store: Store, acknowledged: dict[int, int], seen: Soaked) -> None:
    here = {r.entry.n: r.seq for r in store.read(since=seen.entries)}
    assert acknowledged.items() <= here.items(), "an acknowledged entry is missing, or stands elsewhere"
    assert sorted(here.values()) == list(range(seen.entries + 1, seen.entries + len(here) + 1)), "numbers with a gap, or twice"
    last = max(acknowledged, default=seen.entries)
    again = [entry_bytes(n) for n in range(max(1, last - 20), last + AHEAD + 1)]
    for n, result in zip(range(max(1, last - 20), last + AHEAD + 1), store.append(again, now=NOW, via="tablet-3"), strict=True):
        assert isinstance(result, Receipt), result
        assert here.get(n, result.seq) == result.seq, "sent again, it got another number"
    size = store.head().size
    assert size == last + AHEAD, "an entry is in the book twice, or one is missing"
    seen.acknowledged += len(acknowledged)
    seen.stored_without_answer += len(here) - len(acknowledged)
    seen.entries = size


def main() -> int:
    """Run the soak that the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=20260302)
    asked = parser.parse_args()
    begun = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        try:
            seen = soak(Path(folder) / "book.sqlite", asked.rounds, random.Random(asked.seed))
        except AssertionError as error:
            print(f"FAILED: {error}")
            return 1
    print(
        f"{seen.rounds} kills in {time.monotonic() - begun:.0f} s: {seen.acknowledged} acknowledged entries, 0 missing, 0 twice;"
        f" {seen.stored_without_answer} stored without an answer, each with one receipt when sent again;"
        f" {seen.entries} entries, verified whole {seen.verified} times"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
