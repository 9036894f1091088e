"""`fettlebook judge --book`: the raw log kept by its digest, what it shows in small whole units, verdict and reasons; nothing twice."""

import hashlib
import json
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from click.testing import CliRunner, Result
from hypothesis import given
from hypothesis import strategies as st
from made_cycle import Made, as_csv

from fettlebook.book.door import Door
from fettlebook.book.entries import Moment
from fettlebook.book.kinds import CycleJudged, CycleRecorded, InLoad, LoadPacked, MachineTest, PracticeFileVersion, to_ms
from fettlebook.book.stores import open_book
from fettlebook.cli.judge import judge
from fettlebook.demo import practice_text
from fettlebook.demo.heat import as_csv as heat_csv
from fettlebook.demo.heat import make_log
from fettlebook.exchange.cycle_entries import past_values, readings_of, values_of
from fettlebook.exchange.kept_state import state_of
from fettlebook.practice.load import read_practice
from fettlebook.rules.load import load_rulebook
from fettlebook.standing.basis import Basis
from fettlebook.standing.standings import Standings
from fettlebook.times.running import running_times

pytestmark = pytest.mark.invented
TEXT = practice_text().decode()
ENDED = "2026-11-25T10:30"
AT = to_ms(datetime.fromisoformat(ENDED).replace(tzinfo=ZoneInfo("Europe/London")))
NAMES = ("hold_s", "spread_k", "deepest_pulse_kpa", "leak_kpa_min", "f0_min", "air_left_share", "plateau_mean_c", "pulses", "dose_ml")
GOOD = Made(lag_s={"chamber": 2.0, "drain": 3.5, "load": 5.0})


@pytest.fixture
def book(tmp_path: Path) -> Path:
    with open_book(tmp_path / "book.sqlite", "quayside") as store:
        Door(store).note(
            PracticeFileVersion.of(TEXT, "practice.toml"), moment=Moment(AT - 10_000_000, "Europe/London"), subjects=("practice:quayside",)
        )
        items = (InLoad(unit="exam#1", pack="P1"), InLoad(unit="exam#2", pack="P2"))
        packed = LoadPacked(load="L1", machine="sterilizer 1", cycle="wrapped 134", items=items)
        Door(store).note(packed, moment=Moment(AT - 4_000_000, "Europe/London"), by="ana")
    return tmp_path / "book.sqlite"


def run(book: Path, log: Path, *more: str) -> Result:
    told = ["--book", book, "--by", "ana", "--machine", "sterilizer 1", "--said", "passed", "--ended", ENDED, *more]
    return CliRunner().invoke(judge, [str(a) for a in (log, *told)])


def load_of(book: Path):
    practice = read_practice(TEXT.encode(), "practice.toml").practice
    assert practice is not None
    rulebook = load_rulebook(practice)
    with open_book(book, "quayside") as store:
        standings = Standings(state_of(store, kept=False), Basis.of(practice, rulebook, running_times(practice, rulebook)))
        return {c.what: c for c in standings.as_of(AT + 3_600_000, 1 << 60).standing("load:L1").conditions}


def test_a_good_log_is_kept_as_it_came_and_its_cycle_is_good(book: Path, tmp_path: Path) -> None:
    log = tmp_path / "1107.csv"
    log.write_text(as_csv(GOOD.log()))
    done = run(book, log, "--cycle", "wrapped 134", "--in-load", "L1")
    assert done.exit_code == 0, done.output
    assert done.output.count("Written: ") == 2
    with open_book(book, "quayside") as store:
        recorded = store.latest(CycleRecorded.KIND)
        judged = store.latest(CycleJudged.KIND)
        assert recorded is not None
        assert judged is not None
        said = recorded.entry.data
        assert isinstance(said, CycleRecorded)
        assert said.log is not None
        assert store.file(said.log.digest) == log.read_bytes()
        assert said.log.digest == hashlib.sha256(log.read_bytes()).hexdigest()
        assert said.readings is not None
        assert said.readings["hold_ms"] == pytest.approx(264_000, abs=4000)
        assert (said.ended_ms, said.reader.startswith("fettlebook ")) == (AT, True)
        assert judged.entry.refers_to == recorded.entry.id
        assert judged.entry.data.verdict == "fit"
        assert past_values(store, "sterilizer 1", "wrapped 134")[0]["hold_s"] == pytest.approx(264, abs=4)
    assert load_of(book)["cycle was good"].verdict == "fit"


@pytest.mark.parametrize("fault", ["short hold", "air left", "pulses missing", "stopped in the plateau"])
def test_a_faulty_cycle_that_the_machine_calls_passed_is_not_good(book: Path, tmp_path: Path, fault: str) -> None:
    log = tmp_path / "bad.csv"
    log.write_text(heat_csv(make_log(fault, 7)))
    done = run(book, log, "--cycle", "wrapped 134", "--in-load", "L1")
    assert done.exit_code == 1, done.output
    found = load_of(book)["cycle was good"]
    assert found.verdict != "fit"
    assert "the machine says passed" in found.why


def test_the_book_says_what_lay_in_it_so_a_wrapped_load_in_an_n_cycle_is_unfit(book: Path, tmp_path: Path) -> None:
    log = tmp_path / "n.csv"
    log.write_text(as_csv(GOOD.log()))
    said = json.loads(run(book, log, "--cycle", "unwrapped 134", "--in-load", "L1", "--json").output)
    assert said["verdict"] == "unfit"
    assert "wrapped solid in an N cycle" in said["reasons"][0]
    assert load_of(book)["right things in the right cycle"].verdict == "unfit"


def test_a_tests_log_says_its_outcome_and_what_cannot_be_told_is_never_passed(book: Path, tmp_path: Path) -> None:
    log = tmp_path / "t.csv"
    log.write_text(as_csv(replace(GOOD, hold_s=201).log()))
    for number, (more, outcome) in enumerate(
        (((), "unproven"), (("--indicator", "uneven"), "failed"), (("--indicator", "even"), "passed"))
    ):
        other = tmp_path / f"t{number}.csv"
        other.write_bytes(log.read_bytes() + b"\n" * number)
        done = run(book, other, "--cycle", "wrapped 134", "--criteria", "air-removal-134", "--test", "daily steam", *more)
        assert "Written: " in done.output, done.output
        with open_book(book, "quayside") as store:
            newest = store.latest(MachineTest.KIND)
            assert newest is not None
            assert newest.entry.data.outcome == outcome


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (["--in-load", "L9"], 'no load "L9"'),
        (["--cycle", "what"], 'no cycle "what"'),
        (["--from", "10"], "whole"),
        (["--ended", "2199-01-01T00:00"], "after now"),
        (["--practice", "practice.toml"], "the book holds the practice file"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_written(book: Path, tmp_path: Path, more: list[str], says: str) -> None:
    log = tmp_path / "1107.csv"
    log.write_text(as_csv(GOOD.log()))
    with open_book(book, "quayside") as store:
        before = store.head().size
    done = run(book, log, *(["--cycle", "wrapped 134"] if "--cycle" not in more else []), *more)
    assert done.exception is not None
    assert says in str(done.exception)
    with open_book(book, "quayside") as store:
        assert store.head().size == before


def test_the_same_log_is_written_once(book: Path, tmp_path: Path) -> None:
    log = tmp_path / "1107.csv"
    log.write_text(as_csv(GOOD.log()))
    assert run(book, log, "--cycle", "wrapped 134").exit_code == 0
    assert "in the book already" in str(run(book, log, "--cycle", "wrapped 134").exception)


@given(
    st.dictionaries(
        st.sampled_from(NAMES),
        st.integers(-10**6, 10**6),
    )
)  # fmt: skip
def test_values_come_back_from_readings_to_within_half_a_small_unit(values: dict[str, int]) -> None:
    told = {name: value if name in ("pulses", "dose_ml") else value / 1000 for name, value in values.items()}
    again = values_of(readings_of(told))
    assert set(again) == set(told)
    assert all(again[name] == pytest.approx(told[name], abs=0.000_51) for name in told)
    CycleRecorded(machine="m", cycle="c", said="passed", readings=readings_of(told))  # each name ends in a unit that the book knows
