"""Logs that come in by themselves: written once and whole, with the load that waited for them; or put aside whole, with reasons."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from arriving_book import NOW, ArrivingBook, arriving_book
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fettlebook.book.kinds import CycleJudged, CycleRecorded
from fettlebook.demo.heat import as_csv, make_log
from fettlebook.exchange.arrivals.folder import Waiting, look_into, stands_still
from fettlebook.exchange.arrivals.spool import spool
from fettlebook.exchange.cycle_kept import judge_kept

pytestmark = pytest.mark.invented


@pytest.fixture
def book(tmp_path: Path) -> Iterator[ArrivingBook]:
    with arriving_book(tmp_path) as found:
        yield found


def good(seed: int = 1) -> bytes:
    return as_csv(make_log("good", seed)).encode()


def test_a_good_log_goes_to_the_load_that_waits_and_releases_nothing(book: ArrivingBook) -> None:
    found = book.take(good())
    assert (found.became, found.line) == ("kept", "sterilizer 1, wrapped 134: fit (load L1)")
    recorded, judged = (book.store.get(one) for one in found.entries)
    assert recorded is not None
    assert judged is not None
    assert isinstance(recorded.entry.data, CycleRecorded)
    assert isinstance(judged.entry.data, CycleJudged)
    assert (recorded.entry.data.load, recorded.entry.data.said, recorded.entry.by) == ("L1", "nothing", "program")
    held = recorded.entry.data.log
    assert held is not None
    assert book.store.file(held.digest) == good()  # the raw file, as it came
    assert "released by a person who may" in {c.what for c in _load(book) if c.verdict != "fit"}


def _load(book: ArrivingBook):
    from fettlebook.standing.load import load_conditions

    return load_conditions(book.keeping.look(NOW), "L1")


def test_the_same_file_again_changes_nothing(book: ArrivingBook) -> None:
    book.take(good())
    size = book.size()
    assert book.take(good(), name="copy of log.csv").became == "known"
    assert book.size() == size


def test_a_failed_cycle_is_written_too(book: ArrivingBook) -> None:
    assert "unfit" in book.take(as_csv(make_log("short hold", 5)).encode()).line


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "the file is empty"),
        (b"time;chamber\n", "no reading"),
        (b"\x00\x01\x02\x03" * 100, "no text"),
        (b"PK\x03\x04" + b"\0" * 100, "a packed archive"),
        (b"time_s,chamber_c,pressure_kpa\n0,20,0.1\n60,134,0.3\n", "pressure_kpa"),
    ],
)
def test_what_can_t_be_read_is_put_aside_whole_and_nothing_is_written(book: ArrivingBook, content: bytes, said: str) -> None:
    size = book.size()
    found = book.take(content, name="../../etc/passwd")
    assert found.became == "put aside"
    assert said in " ".join(str(one) for one in found.findings)
    assert book.size() == size
    kept, why = book.put_aside()
    assert (book.aside / kept).read_bytes() == content
    assert said in (book.aside / why).read_text("utf-8")
    assert book.take(content, name="../../etc/passwd").became == "put aside"
    assert len(book.put_aside()) == 2  # the same file again makes no second copy


def test_an_unknown_machine_and_a_date_in_the_future_are_told(book: ArrivingBook) -> None:
    assert 'no machine is called "oven"' in book.take(good(), source="oven").line
    assert "dated after now" in book.take(good(), ago_min=-5).line


def test_two_logs_of_one_cycle_are_not_two_cycles(book: ArrivingBook) -> None:
    assert book.take(good()).became == "kept"
    other = book.take(good() + b"\n\n", name="exported-again.csv")  # another file of the same run
    assert other.became == "put aside"
    assert "another cycle of sterilizer 1 ran at that time" in other.line


def test_a_log_of_its_own_form_is_read_as_the_practice_file_says_and_judged_alike_later(tmp_path: Path) -> None:
    lines = good().decode().splitlines()
    assert lines[1] == "time_s,chamber_c,drain_c,load_c,pressure_kpa"
    cells = (row.split(",") for row in lines[2:])
    rows = (";".join((one[0], one[1], one[4])).replace(".", ",") for one in cells)
    strange = "\n".join(["Zeit;Fuehler A;Druck", *rows]).encode()
    columns, units = '{ time = "Zeit", chamber = "Fuehler A", pressure = "Druck" }', '{ pressure = "kPa" }'
    form = f'log = {{ columns = {columns}, units = {units}, reference = "absolute", decimal = "," }}'

    def with_form(text: str) -> str:
        before, sign, after = text.partition('id = "sterilizer 1"')
        assert sign
        return f"{before}{sign}\n{form}{after}"

    with arriving_book(tmp_path, with_form) as book:
        found = book.take(strange)
        assert (found.became, found.line) == ("kept", "sterilizer 1, wrapped 134: fit (load L1)"), found
        recorded = book.store.get(found.entries[0])
        assert recorded is not None
        assert isinstance(recorded.entry.data, CycleRecorded)
        again = judge_kept(book.keeping.look(NOW), recorded.entry.data, NOW, strange, "steam-134-b")
        assert again.judgement.verdict == "fit"


@given(st.text(max_size=60), st.text(max_size=60), st.binary(max_size=40))
@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_name_leads_out_of_the_folder(tmp_path: Path, source: str, name: str, content: bytes) -> None:
    from fettlebook.errors import Mendable

    folder = tmp_path / "in"
    try:
        path = spool(folder, source, name, content, NOW)
    except Mendable as error:
        assert "source" in error.where  # noqa: PT017 - both ways are right
        return
    assert path.resolve().is_relative_to(folder.resolve())
    assert path.parent.parent == folder
    assert path.read_bytes() == content
    assert spool(folder, source, name, content, NOW) == path


def test_a_file_is_taken_once_it_stands_still_and_links_are_not_followed(tmp_path: Path) -> None:
    folder = tmp_path / "sterilizer 1"
    folder.mkdir()
    log = folder / "a.csv"
    log.write_bytes(b"x")
    (folder / "b.csv").symlink_to("/etc/hostname")
    (folder / ".half.csv").write_bytes(b"y")
    first = look_into(tmp_path)
    assert list(first) == [log]
    assert stands_still(first, {}, {}) == []
    log.write_bytes(b"xx")
    second = look_into(tmp_path)
    assert stands_still(second, first, {}) == []
    assert stands_still(look_into(tmp_path), second, {}) == [log]
    assert stands_still(second, second, {log: Waiting("sterilizer 1", 2, second[log].written_ns)}) == []
