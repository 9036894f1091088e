"""The door: whoever writes, the gate is asked first, with every practice file that the book holds by then."""

import json
from pathlib import Path

import pytest

from fettlebook.book.door import Door
from fettlebook.book.entries import Moment, new_entry
from fettlebook.book.kinds import Data, PracticeFileVersion, StepDone
from fettlebook.book.received import Receipt, Refused
from fettlebook.book.stores import open_book
from fettlebook.demo import practice_text
from fettlebook.errors import Mendable

pytestmark = pytest.mark.invented
NOW = 1_772_442_000_000
MOMENT = Moment(NOW, "Europe/London")


def step(chair: str) -> Data:
    return StepDone(duty="chair.first", step="first.refit", chair=chair, outcome="done")


def line(chair: str, n: int) -> bytes:
    entry = new_entry(step(chair), moment=MOMENT, device="tablet-1", n=n, by="ana")
    return json.dumps(json.loads(entry.encode()), indent=1).encode()  # a device's own spelling


def test_a_batch_goes_in_but_for_what_the_gate_refuses(tmp_path: Path) -> None:
    with open_book(tmp_path / "book.sqlite", "quayside") as store:
        store.note(PracticeFileVersion.of(practice_text().decode()), moment=MOMENT)
        results = Door(store).append([line("chair 1", 1), line("chair 9", 2), b"{", line("chair 2", 3)], now=NOW, via="tablet-1")
        assert [type(one) for one in results] == [Receipt, Refused, Refused, Receipt]
        assert store.head().size == 3


def test_what_this_machine_writes_passes_the_same_gate(tmp_path: Path) -> None:
    with open_book(tmp_path / "book.sqlite", "quayside") as store:
        door = Door(store)
        door.note(PracticeFileVersion.of(practice_text().decode()), moment=MOMENT)
        with pytest.raises(Mendable, match="no chair 'chair 9'"):
            door.note(step("chair 9"), moment=MOMENT)
        with pytest.raises(Mendable, match="before the year 2000"):
            door.note(step("chair 1"), moment=Moment(0, "UTC"))
        assert store.head().size == 1


def test_a_practice_file_that_comes_in_counts_from_the_next_entry_on(tmp_path: Path) -> None:
    with open_book(tmp_path / "book.sqlite", "quayside") as store:
        door = Door(store)
        door.note(PracticeFileVersion.of(practice_text().decode()), moment=MOMENT)
        door.note(PracticeFileVersion.of(practice_text().decode().replace('"chair 4"', '"chair 9"')), moment=MOMENT)
        assert isinstance(door.note(step("chair 9"), moment=MOMENT), Receipt)
