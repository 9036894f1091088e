"""Entries that speak of what the practice does not have, or of times that can't be, stay with their sender."""

import pytest

from fettlebook.book.canonical import respell
from fettlebook.book.entries import Entry, Moment, new_entry
from fettlebook.book.gate import Gate, gate_of
from fettlebook.book.kinds import Data, LoadPacked, MachineTest, OutOfService, PracticeFileVersion, SampleTaken, StepDone, VisitStarted
from fettlebook.book.kinds.instruments import InLoad
from fettlebook.book.kinds.people import TrainingHeld
from fettlebook.book.received import Received
from fettlebook.demo import practice_text
from fettlebook.errors import Mendable

pytestmark = pytest.mark.invented
NOW = 1_772_442_000_000
DAY = 86_400_000


def made(data: Data, at: int = NOW) -> Entry:
    return new_entry(data, moment=Moment(at, "Europe/Berlin"), device="tablet-3", n=1, by="ana")


@pytest.fixture(scope="module")
def gate() -> Gate:
    first = made(PracticeFileVersion.of(practice_text().decode()))
    second = made(PracticeFileVersion.of(practice_text().decode().replace('"chair 4"', '"chair 5"')))
    broken = made(PracticeFileVersion.of("not = [TOML"))
    return gate_of(Received(n, NOW, 0, "t", entry, b"") for n, entry in enumerate((first, second, broken)))


@pytest.mark.parametrize(
    "data",
    [
        StepDone(duty="d", step="s", chair="chair 1", outlets=("turbine",), outcome="done"),
        StepDone(duty="d", step="s", chair="chair 4", outcome="done"),  # gone from the newer file, there in the older
        StepDone(duty="d", step="s", chair="chair 5", outcome="done"),
        VisitStarted(visit="v_1", chair="chair 2", units=("exam#1",)),
        MachineTest(machine="sterilizer 1", test="daily steam", outcome="passed"),
        SampleTaken(sample="W1", what="water", chair="chair 1", product="a kit", lot="1"),
    ],
    ids=lambda v: v if isinstance(v, str) else v.KIND,
)
def test_what_any_practice_file_in_the_book_names_may_enter(gate: Gate, data: Data) -> None:
    assert gate.refusals(made(data), now=NOW) == ()


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (StepDone(duty="d", step="s", chair="chair 9", outcome="done"), "no chair 'chair 9'"),
        (StepDone(duty="d", step="s", chair="chair 1", outlets=("hose",), outcome="done"), "no outlet 'chair 1/hose'"),
        (MachineTest(machine="oven", test="daily steam", outcome="passed"), "no machine 'oven'"),
        (OutOfService(units=("spoon#1",), reason="bent"), "no set 'spoon'"),
        (LoadPacked(load="L1", machine="sterilizer 1", items=(InLoad(unit="spoon#1"),)), "no set 'spoon'"),
        (TrainingHeld(person="a patient", what="x", held_on="2026-03-02", held_by="Ben"), "nobody of the staff is 'a patient'"),
    ],
    ids=lambda v: v if isinstance(v, str) else v.KIND,
)
def test_what_no_practice_file_names_is_refused_with_what_is_known(gate: Gate, data: Data, said: str) -> None:
    (found,) = gate.refusals(made(data), now=NOW)
    assert said in found.what
    assert "known:" in found.mend


def test_without_a_practice_file_nothing_is_unknown() -> None:
    assert Gate([]).refusals(made(StepDone(duty="d", step="s", chair="any", outcome="done")), now=NOW) == ()


@pytest.mark.parametrize(
    ("at", "offset", "refused"),
    [
        (NOW - 900 * DAY, 0, False),
        (NOW + 3 * DAY, 0, False),
        (0, 0, True),
        (0, NOW, False),  # a tablet that began in 1970, and said so when it sent
        (NOW + 400 * DAY, 0, True),
        (NOW + 400 * DAY, -400 * DAY, False),
    ],
)
def test_only_times_outside_of_reason_are_refused(gate: Gate, at: int, offset: int, refused: bool) -> None:
    data = StepDone(duty="d", step="s", chair="chair 1", outcome="done")
    assert bool(gate.refusals(made(data, at), now=NOW, offset=offset)) == refused


def test_json_in_any_spelling_becomes_the_one_spelling_or_is_refused() -> None:
    assert respell(b'{ "b": [1, 2],\n "a": "\\u00e4" }') == '{"a":"ä","b":[1,2]}'.encode()
    for bad in (b'{"a":1,"a":2}', b'{"a":1.5}', b'{"a":NaN}', b"{", b'{"a":null}', b"[" * 5000, b'"' + b"x" * 70_000 + b'"', b"\xff"):
        with pytest.raises(Mendable):
            respell(bad)
