"""The invented practice is in order, says that it is invented, and is written whole or not at all."""

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from fettlebook.cli.demo import demo
from fettlebook.demo import book_ics, practice_text
from fettlebook.demo.write import write_files
from fettlebook.errors import Mendable
from fettlebook.practice.load import read_practice


def run(*arguments: str) -> Result:
    return CliRunner().invoke(demo, arguments)


@pytest.mark.invented
def test_the_demo_practice_is_in_order_but_for_one_flow_that_is_not_measured():
    loaded = read_practice(practice_text(), "practice.toml")
    assert loaded.practice is not None
    assert loaded.practice.practice.invented
    (warning,) = loaded.findings
    assert warning.what == "the flow of 60 mL/min is not measured"
    assert 'chair "chair 2", outlet "motor"' in warning.where


def test_demo_writes_both_files_and_says_what_to_try_next(tmp_path: Path):
    done = run(str(tmp_path / "new" / "practice"))
    assert done.exit_code == 0
    assert (tmp_path / "new/practice/practice.toml").read_bytes() == practice_text()
    assert (tmp_path / "new/practice/book.ics").read_bytes() == book_ics()
    assert sorted(path.name for path in (tmp_path / "new/practice").iterdir()) == ["book.ics", "practice.toml"]
    assert "invented" in done.output
    assert "fettlebook check " in done.output
    assert run(str(tmp_path / "new" / "practice")).output.count("kept") == 2


def test_a_file_that_somebody_changed_is_kept_and_nothing_is_written(tmp_path: Path):
    (tmp_path / "book.ics").write_text("my own appointments")
    done = run(str(tmp_path))
    assert isinstance(done.exception, Mendable)
    assert done.exception.where == str(tmp_path / "book.ics")
    assert done.exception.mend == "Name another directory, or add --overwrite."
    assert [path.name for path in tmp_path.iterdir()] == ["book.ics"]
    assert (tmp_path / "book.ics").read_text() == "my own appointments"
    assert run(str(tmp_path), "--overwrite").exit_code == 0
    assert (tmp_path / "book.ics").read_bytes() == book_ics()


def test_a_place_that_can_t_be_written_leaves_nothing_half_done(tmp_path: Path):
    file = tmp_path / "file"
    file.write_text("x")
    for place in (file, file / "below"):
        with pytest.raises(Mendable, match="this is a file, not a directory"):
            write_files(place, {"a": b"1"})
    (tmp_path / "b").mkdir()
    with pytest.raises(Mendable, match="can't be written"):
        write_files(tmp_path, {"a": b"1", "b": b"2"})
    assert sorted(path.name for path in tmp_path.iterdir()) == ["b", "file"]
