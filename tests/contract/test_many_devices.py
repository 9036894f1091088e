"""Many devices at once, and two servers on one database: one order, every entry once, every device answered."""

import json
import os
import random
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import make_url

from fettlebook.book.entries import Moment, new_entry
from fettlebook.book.kinds import StepDone
from fettlebook.book.received import Receipt
from fettlebook.book.stores import PostgresStore, Store, admit, open_group_book

pytestmark = pytest.mark.invented
NOW = 1_772_442_000_000
DEVICES, EACH = 100, 12


def entries_of(device: str, count: int) -> list[bytes]:
    data = StepDone(duty="chair.between", step="between.flush", chair="chair 1", outcome="done")
    return [new_entry(data, moment=Moment(NOW + n, "UTC"), device=device, n=n, by="ana").encode() for n in range(1, count + 1)]


def test_a_hundred_devices_that_reconnect_at_once_are_all_answered_and_nothing_is_twice(store: Store) -> None:
    held = {f"tablet-{d}": entries_of(f"tablet-{d}", EACH) for d in range(DEVICES)}
    answers: dict[str, dict[str, Receipt]] = {}
    faults: list[object] = []
    gate = threading.Barrier(DEVICES)

    def reconnect(device: str) -> None:
        chance = random.Random(device)
        try:
            gate.wait(30)
            got: dict[str, Receipt] = {}
            for _ in range(2):  # everything twice, in another order: as after a cut connection
                mine = chance.sample(held[device], EACH)
                for result in store.append(mine[:7], now=NOW, via=device) + store.append(mine[7:], now=NOW, via=device):
                    assert isinstance(result, Receipt)
                    assert got.setdefault(result.id, result) == result
            answers[device] = got
        except BaseException as fault:
            faults.append(fault)

    threads = [threading.Thread(target=reconnect, args=(device,)) for device in held]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(120)
    assert faults == []
    assert len(answers) == DEVICES
    here = {r.entry.id: r for r in store.read()}
    assert len(here) == DEVICES * EACH == store.head().size
    for got in answers.values():
        for receipt in got.values():
            assert (here[receipt.id].seq, here[receipt.id].received) == (receipt.seq, receipt.received)
    found = store.verify(receipts={r.seq: r.leaf_hash for got in answers.values() for r in got.values()})
    assert found.whole
    assert found.not_received == {}
    assert all(store.missing_of(device) is None for device in held)


SERVER = """
import sys
from fettlebook.book.stores import open_group_book
from fettlebook.book.received import Receipt
url, practice, via = sys.argv[1:]
with open_group_book(url, practice, durable=False) as store:
    print("ready", flush=True)
    lines = [line.rstrip(b"\\n") for line in sys.stdin.buffer]
    for start in range(0, len(lines), 9):
        for result in store.append(lines[start : start + 9], now=1_772_442_000_000, via=via):
            print(result.id, result.seq)
"""


@pytest.mark.parametrize("kind_of_store", ["postgres"], indirect=True)
def test_two_servers_on_one_database_give_one_order_and_the_same_receipts(store: Store, request: Any) -> None:
    assert isinstance(store, PostgresStore)
    url = request.getfixturevalue("plain_url")
    both = [line for d in range(4) for line in entries_of(f"tablet-{d}", 60)]
    running = []
    for via in ("server-1", "server-2"):
        words = [sys.executable, "-c", SERVER, url, store.practice, via]
        running.append(subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE))
    for one in running:  # both have the book open before either gets an entry
        assert one.stdout is not None
        assert one.stdout.readline() == b"ready\n"
    outs: list[bytes] = [b"", b""]

    def feed(which: int) -> None:
        mixed = random.Random(which).sample(both, len(both))
        outs[which], _ = running[which].communicate(b"\n".join(mixed) + b"\n", timeout=100)

    threads = [threading.Thread(target=feed, args=(which,)) for which in (0, 1)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [one.returncode for one in running] == [0, 0]
    said = [dict(line.split() for line in out.decode().splitlines()) for out in outs]
    assert said[0] == said[1]
    here = list(store.read())
    assert {r.entry.id: str(r.seq) for r in here} == said[0]
    assert [r.seq for r in here] == list(range(1, len(both) + 1))
    assert [r.received for r in here] == sorted({r.received for r in here})
    assert store.verify().whole


@pytest.mark.parametrize("kind_of_store", ["postgres"], indirect=True)
def test_the_command_line_works_on_a_groups_database(open_store: Callable[..., Store], request: Any, tmp_path: Path) -> None:
    store = open_store()
    url = request.getfixturevalue("plain_url")
    environment = os.environ | {"FETTLEBOOK_THROW_AWAY_DATABASE": "1"}

    def run(*words: str, stdin: bytes = b"") -> subprocess.CompletedProcess[bytes]:
        full = [sys.executable, "-m", "fettlebook", "book", words[0], url, "--practice", store.practice, *words[1:]]
        return subprocess.run(full, input=stdin, env=environment, capture_output=True, check=False, timeout=100)

    sent = entries_of("tablet-1", 5)
    done = run("append", stdin=b"\n".join(sent))
    assert done.returncode == 0, done.stderr
    assert run("dump", "--json").stdout.splitlines() == [r.leaf for r in store.read()]
    assert run("verify").returncode == 0
    kept = run("backup", str(tmp_path), "--drill", "--json")
    assert kept.returncode == 0, kept.stderr
    folder = json.loads(kept.stdout)["folder"]
    again = [sys.executable, "-m", "fettlebook", "book", "restore", folder, url, "--practice", store.practice]
    refused = subprocess.run(again, env=environment, capture_output=True, check=False, timeout=100)
    assert (refused.returncode, b"entries already" in refused.stderr) == (2, True)
    admit(request.getfixturevalue("owner_url"), role=make_url(url).username or "", practice="another")
    with open_group_book(url, "another", durable=False) as other:
        assert other.head().size == 0
