"""Putting a measured flow into a practice file: two values change, every other byte stays, and nothing is ever half written."""

import os
import stat
import threading
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fettlebook.demo import practice_text
from fettlebook.errors import Mendable
from fettlebook.practice.edit import outlet_path, replace_practice_file, set_flow, with_flow
from fettlebook.practice.load import read_practice

DAY = date(2026, 11, 25)


def changed(text: bytes, chair: str, outlet: str, flow: float = 51.4) -> bytes:
    loaded = read_practice(text, "practice.toml")
    assert loaded.practice is not None, loaded.errors
    path = outlet_path(loaded.practice, chair, outlet)
    after = set_flow(text, path, flow, DAY)
    assert read_practice(after, "practice.toml").practice == with_flow(loaded.practice, path, flow, DAY)
    return after


def differing(before: bytes, after: bytes) -> list[tuple[bytes, bytes]]:
    old, new = before.split(b"\n"), after.split(b"\n")
    assert len(old) == len(new)
    return [(a, b) for a, b in zip(old, new, strict=True) if a != b]


def test_only_flow_and_day_of_that_outlet_change():
    ((old, new),) = differing(practice_text(), changed(practice_text(), "chair 1", "scaler"))
    assert b"flow_ml_min = 35.0, measured_on = 2026-11-02" in old
    assert new == old.replace(b"35.0", b"51.4").replace(b"2026-11-02", b"2026-11-25")


def test_a_day_that_was_not_there_stands_behind_the_flow():
    ((_, new),) = differing(practice_text(), changed(practice_text(), "chair 2", "motor"))
    assert b"flow_ml_min = 51.4, measured_on = 2026-11-25 }" in new


@pytest.mark.parametrize("form", ["one line", "tables"])
def test_the_range_of_the_flow_is_written_beside_it_and_replaced_the_next_time(form):
    text = practice_text() if form == "one line" else in_tables()
    chair, outlet = ("chair 2", "motor") if form == "one line" else ("chair 3", "cup")
    loaded = read_practice(text, "practice.toml")
    path = outlet_path(loaded.practice, chair, outlet)
    first = set_flow(text, path, 51.4, DAY, 3.1)
    assert read_practice(first, "practice.toml").practice == with_flow(loaded.practice, path, 51.4, DAY, 3.1)
    again = set_flow(first, path, 50.0, DAY, 2.0)
    assert again == first.replace(b"51.4", b"50.0").replace(b"flow_within_pct = 3.1", b"flow_within_pct = 2.0")
    ((_, new),) = differing(again, set_flow(again, path, 49.0, DAY))  # without a range: what stands there stays
    assert b"flow_ml_min = 49.0" in new
    assert b"flow_within_pct = 2.0" in set_flow(again, path, 49.0, DAY)


TABLES = b"""
[[chairs.outlets]]
id = "cup" # by the window
kind = "cup filler"
from = "feed"
  flow_ml_min = 900 # typed in, not measured
"""


def in_tables() -> bytes:
    text = practice_text()
    start = text.index(b'[[chairs]]\nid = "chair 3"')
    end = text.index(b"[[chairs]]", start + 10)
    chair = text[start:end]
    first, last = chair.index(b"outlets = ["), chair.index(b"]\nsuction")
    head, after = chair[:first], chair[last + 2 :]
    hang = b'[[chairs.outlets]]\nid = "syringe"\nkind = "syringe"\nfrom = "syringe hose"\nflow_ml_min = 120.0\nmeasured_on = 2026-11-02\n'
    scaler = b'[[chairs.outlets]]\nid = "scaler"\nkind = "scaler"\nfrom = "scaler hose"\nflow_ml_min = 40.0\nmeasured_on = 2026-11-02\n'
    return text[:start] + head + after + scaler + hang + TABLES + text[end:]


@pytest.mark.parametrize("newline", [b"\n", b"\r\n"])
def test_an_outlet_written_as_a_table_gets_its_day_on_a_line_of_its_own_and_keeps_its_comment(newline):
    text = in_tables().replace(b"\n", newline)
    after = changed(text, "chair 3", "cup", 912.0)
    place = b"  flow_ml_min = 912.0 # typed in, not measured" + newline + b"  measured_on = 2026-11-25" + newline
    assert after == text.replace(b"  flow_ml_min = 900 # typed in, not measured" + newline, place)


def test_a_byte_order_mark_and_strange_bytes_in_comments_stay():
    text = b"\xef\xbb\xbf" + practice_text() + "# Größe, 日本\t".encode()
    after = changed(text, "chair 4", "cup filler", 880.0)
    assert after == text.replace(b"flow_ml_min = 900.0, measured_on = 2026-11-02", b"flow_ml_min = 880.0, measured_on = 2026-11-25")


@settings(max_examples=25, deadline=None)
@given(st.sampled_from([("chair 1", "turbine"), ("chair 2", "motor")]), st.integers(150, 2000))
def test_any_flow_that_may_stand_there_reads_back(place, tenths):
    changed(practice_text(), *place, flow=tenths / 10)


def test_an_unknown_chair_or_outlet_is_named_with_those_that_there_are():
    practice = read_practice(practice_text(), "practice.toml").practice
    with pytest.raises(Mendable, match="chair 1, chair 2"):
        outlet_path(practice, "chair 9", "motor")
    with pytest.raises(Mendable, match="turbine, motor, syringe"):
        outlet_path(practice, "chair 2", "scaler")


@pytest.fixture
def on_disk(tmp_path: Path):
    path = tmp_path / "practice.toml"
    path.write_bytes(practice_text())
    loaded = read_practice(practice_text(), path.name)
    at = outlet_path(loaded.practice, "chair 2", "motor")
    return path, loaded, at, set_flow(practice_text(), at, 51.4, DAY), with_flow(loaded.practice, at, 51.4, DAY)


def test_the_file_is_replaced_whole_with_its_rights_kept_and_nothing_left_beside_it(on_disk):
    path, loaded, _, after, meant = on_disk
    path.chmod(0o640)
    replace_practice_file(path, loaded, practice_text(), after, meant)
    assert path.read_bytes() == after
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert os.listdir(path.parent) == ["practice.toml"]


def test_a_link_stays_a_link_and_what_it_leads_to_is_replaced(on_disk):
    path, loaded, _, after, meant = on_disk
    link = path.parent / "link.toml"
    link.symlink_to(path)
    replace_practice_file(link, loaded, practice_text(), after, meant)
    assert link.is_symlink()
    assert path.read_bytes() == after


def test_a_file_that_was_saved_by_someone_else_in_the_meantime_is_left_alone(on_disk):
    path, loaded, _, after, meant = on_disk
    path.write_bytes(practice_text() + b"# saved in an editor\n")
    with pytest.raises(Mendable, match="changed by someone else"):
        replace_practice_file(path, loaded, practice_text(), after, meant)
    assert path.read_bytes() == practice_text() + b"# saved in an editor\n"
    assert os.listdir(path.parent) == ["practice.toml"]


def test_a_text_with_errors_or_with_another_meaning_is_never_put_in_place(on_disk):
    path, loaded, at, after, meant = on_disk
    with pytest.raises(Mendable, match="flow_ml_min"):
        replace_practice_file(path, loaded, practice_text(), after.replace(b"51.4", b"-1"), meant)
    other = set_flow(practice_text(), at, 99.0, DAY)
    with pytest.raises(Mendable, match="would not read as was meant"):
        replace_practice_file(path, loaded, practice_text(), other, meant)
    assert path.read_bytes() == practice_text()


def test_a_disk_that_fails_at_the_last_moment_leaves_the_file_as_it_was(on_disk, monkeypatch):
    path, loaded, _, after, meant = on_disk

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(Mendable, match="No space left"):
        replace_practice_file(path, loaded, practice_text(), after, meant)
    assert path.read_bytes() == practice_text()
    assert os.listdir(path.parent) == ["practice.toml"]


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may write everything")
def test_a_read_only_file_is_not_replaced_behind_its_owner_s_back(on_disk):
    path, loaded, _, after, meant = on_disk
    path.chmod(0o444)
    with pytest.raises(Mendable, match="read-only"):
        replace_practice_file(path, loaded, practice_text(), after, meant)


def test_of_writers_at_the_same_time_none_undoes_what_another_has_written(tmp_path):
    path = tmp_path / "practice.toml"
    path.write_bytes(practice_text())
    places = [("chair 1", "turbine"), ("chair 1", "motor"), ("chair 2", "turbine"), ("chair 3", "scaler")]
    start = threading.Barrier(len(places))
    written: list[tuple[tuple[str, str], float]] = []
    refused: list[str] = []

    def measure(number: int) -> None:
        start.wait()
        for turn in range(4):
            before = path.read_bytes()
            loaded = read_practice(before, path.name)
            at = outlet_path(loaded.practice, *places[number])
            flow = 40.0 + number + turn / 10
            try:
                replace_practice_file(path, loaded, before, set_flow(before, at, flow, DAY), with_flow(loaded.practice, at, flow, DAY))
                written.append((places[number], flow))
            except Mendable as error:
                refused.append(error.what)

    writers = [threading.Thread(target=measure, args=(n,)) for n in range(len(places))]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    practice = read_practice(path.read_bytes(), path.name).practice
    assert len(written) + len(refused) == 4 * len(places)
    assert written
    assert all("changed by someone else" in what for what in refused)
    for place, flow in dict(written).items():  # the last that each writer was told to be written
        _, chair, _, outlet = outlet_path(practice, *place)
        assert practice.chairs[chair].outlets[outlet].flow_ml_min == flow
    assert os.listdir(tmp_path) == ["practice.toml"]
