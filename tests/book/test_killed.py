"""kill -9 between acknowledgements: every acknowledged entry is there afterwards, once, and the book takes more."""

import random
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from fettlebook.book.entries import Moment
from fettlebook.book.kinds import PracticeFileVersion
from fettlebook.book.stores import open_book

WRITER = """
import sys
from fettlebook.book.entries import Moment, new_entry
from fettlebook.book.kinds import DayPlanned
from fettlebook.book.received import Receipt
from fettlebook.book.stores import open_book
with open_book(sys.argv[1]) as store:
    n = store.head().size
    while True:
        data = DayPlanned(day="2026-03-02", instance_digest="ab" * 32, verdict="fits", line="x" * (n * 37 % 400 + 1))
        made = [new_entry(data, moment=Moment(n, "UTC"), device="tablet-3", n=n + i + 1, by="p07") for i in range(n % 3 + 1)]
        for receipt in store.append(made, now=n, via="tablet-3"):
            assert isinstance(receipt, Receipt)
            print(receipt.id, receipt.seq, flush=True)
        n += len(made)
"""


@pytest.mark.invented
def test_every_acknowledged_entry_survives_kill_minus_nine(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    acknowledged: dict[str, int] = {}
    chance = random.Random(20260302)
    for _ in range(6):
        writer = subprocess.Popen([sys.executable, "-c", WRITER, str(path)], stdout=subprocess.PIPE, text=True)
        assert writer.stdout is not None
        for _ in range(chance.randrange(1, 120)):
            line = writer.stdout.readline().split()
            acknowledged[line[0]] = int(line[1])
        writer.send_signal(signal.SIGKILL)
        rest = writer.stdout.read()  # said before it died: acknowledged as well
        for line in (whole.split() for whole in rest.splitlines(keepends=True) if whole.endswith("\n")):
            acknowledged[line[0]] = int(line[1])
        assert writer.wait() == -signal.SIGKILL
        with open_book(path) as store:  # the dead writer's lock has fallen with it
            got = {r.entry.id: r.seq for r in store.read()}
            assert acknowledged.items() <= got.items()
            assert sorted(got.values()) == list(range(1, len(got) + 1))
            assert store.head().size == len(got)
            store.check()
    assert len(acknowledged) > 100
    with open_book(path) as store:
        assert store.note(PracticeFileVersion.of("a = 1\n"), moment=Moment(1, "UTC")).seq == len(got) + 1
