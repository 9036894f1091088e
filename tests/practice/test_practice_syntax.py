"""Text that is not TOML: the line, the column, and what the writer was after."""

from pathlib import Path

import pytest

from fettlebook.errors import Mendable
from fettlebook.practice.load import load_practice, read_practice, read_practice_file
from fettlebook.practice.syntax import SIZE_LIMIT


@pytest.mark.parametrize(
    ("text", "where", "what", "mend"),
    [
        ("from = 08:30", "line 1, column 8", "08:30 is a time without seconds", "Write 08:30:00."),
        ("a = 1\nfrom = 8:30\n", "line 2, column 8", "8:30 is a time without seconds", "Write 08:30:00."),
        ("a = [[12:30, 13:00]]", "line 1, column 7", "12:30 is a time without seconds", "Write 12:30:00."),
        ("bore_mm = 4,0", "line 1, column 11", "4,0 has a decimal comma", "Write 4.0."),
        ("s = [{ bore_mm = 4,0, length_m = 1 }]", "line 1, column 18", "4,0 has a decimal comma", "Write 4.0."),
        (
            "a = { bore_mm = 4.0 length_m = 2 }",
            "line 1, column 20",
            "nothing parts length_m from what stands before it",
            "Begin a new line before length_m; in a table in braces { }, put a comma before it.",
        ),
        (
            "id = 1 name = 2",
            "line 1, column 7",
            "nothing parts name from what stands before it",
            "Begin a new line before name; in a table in braces { }, put a comma before it.",
        ),
        ("bore_mm = 4.0 mm", "line 1, column 11", "4.0 mm is a number with a unit", "Write 4.0: the unit stands in the key's name."),
        ("owned = 014", "line 1", "014 begins with a zero", "Write 14."),
        ("length_m = .5", "line 1, column 12", ".5 has no digit before the point", "Write 0.5."),
        ("length_m = 2.", "line 1", "2. has no digit after the point", "Write 2.0."),
        ("date = 02.11.2026", "line 1", "02.11.2026 is not a date that can be read", "Write year-month-day, for example 2026-11-02."),
        ("date = 2026-02-30", "line 1, column 8", "this is no date or time", "Write a date as 2026-11-02 and a time as 08:30:00."),
        ("amalgam = yes", "line 1, column 11", "yes is not a value", "Write true."),
        ("amalgam = False", "line 1, column 11", "False is not a value", "Write false."),
        ("name = Quayside Rooms", "line 1, column 8", "Quayside Rooms is text without quotation marks", 'Write "Quayside Rooms".'),
        ("name = “Quayside”", "line 1, column 8", "“ is a typeset quotation mark", 'Use the straight one, ", on both sides.'),
        ('name = "Quayside\nid = 1', "line 1, column 17", "the text is not closed", "Close it with a quotation mark on the same line."),
        ('name = "C:\\quay"', "line 1", "a backslash stands in the text", "Write it twice, or put the text in single quotation marks."),
        ('name "Quayside"', "line 1, column 6", "no = after the key", "Write key = value."),
        ("a = 1\na = 2\nb = 3\n", "line 2", "a is written twice", "Keep one of the two."),
        (
            "[in_use]\n[in_use]\n",
            "line 2",
            "the table [in_use] is written twice",
            "Keep one of the two; entries of a list begin with double brackets, [[...]].",
        ),
        ("[practice\nid = 1", "line 1", "the table's name is not closed", "Write [name], or [[name]] for an entry of a list."),
        ('a = [\n  "x",\n[b]\nc = 1\n', "line 3, column 2", "a list further up is not closed", "Add the missing ] above this line."),
        ("supply = { kind = 1, }", "line 1", "a comma stands before }", "Take the comma out."),
        (
            "supply = { kind = 1,\n bottle_ml = 2 }",
            "line 1",
            "a key is missing or has a sign that keys can't have",
            "Write key = value. A table in braces { } stands on one line, without a comma before }.",
        ),
        ("owned = ", "line 1", "there is no value that can be read", 'Write a number, "text", true, false, a date or a list.'),
    ],
)
def test_a_slip_of_writing_is_named_with_its_line_and_how_to_mend_it(text: str, where: str, what: str, mend: str):
    loaded = read_practice(text.encode(), "practice.toml")
    (finding,) = loaded.findings
    assert finding.where.startswith(f"practice.toml {where}")
    assert (finding.what, finding.mend) == (what, mend)
    assert loaded.practice is None
    assert not loaded.readable


@pytest.mark.parametrize(
    ("text", "what"),
    [
        (b"", "the file is empty"),
        (b" \n\t\r\n", "the file is empty"),
        (b"\xef\xbb\xbf", "the file is empty"),
        ("schema = 1".encode("utf-16"), "the file is saved as UTF-16"),
        (b'a = 1\nname = "Z\xfcrich"\n', "byte 0xfc is not UTF-8"),
        (b"a = " + b"[" * 100_000, "tables or lists are nested too deep"),
        (b"a = " + b"[" * 30 + b"]" * 30, "tables or lists are nested too deep"),
        (b"a = " + b"{a=" * 50_000, "tables or lists are nested too deep"),
        (b"a" + b".a" * 100_000 + b" = 1", "tables or lists are nested too deep"),
        (b"[a" + b' . "a"' * 100_000 + b"]", "tables or lists are nested too deep"),
        (b"a = " + b"9" * 10_000, "a number has too many digits"),
        (b"x" * (SIZE_LIMIT + 1), "the file is larger than 5 MB, the most that is read"),
    ],
    ids=range(12),
)
def test_what_is_no_text_of_a_practice_file_is_said_in_one_line(text: bytes, what: str):
    (finding,) = read_practice(text, "practice.toml").findings
    assert finding.what == what
    assert finding.mend


def test_the_line_of_a_byte_that_is_not_utf_8_is_named():
    (finding,) = read_practice(b'a = 1\nname = "Z\xfcrich"\n', "practice.toml").findings
    assert finding.where == "practice.toml line 2"


def test_a_byte_order_mark_and_windows_line_ends_are_read(small: str):
    loaded = read_practice(b"\xef\xbb\xbf" + small.replace("\n", "\r\n").encode(), "practice.toml")
    assert loaded.practice is not None
    assert loaded.line(("practice", "id")) == 4


def test_control_signs_of_a_file_never_reach_the_terminal(small: str):
    loaded = read_practice(small.replace('id = "small"', '"a\\u001b[31mb" = "\\u001b[2J"').encode(), "practice.toml")
    assert loaded.errors
    assert all("\x1b" not in str(finding) for finding in loaded.findings)


def test_no_file_a_directory_and_a_name_that_can_be_none_are_told_apart(tmp_path: Path):
    for path, what in ((tmp_path / "none.toml", "there is no such file"), (tmp_path, "this is a directory, not a file")):
        with pytest.raises(Mendable) as caught:
            load_practice(path)
        assert caught.value.what == what
        assert caught.value.where == str(path)
    with pytest.raises(Mendable, match="the file can't be opened"):
        load_practice(Path("a\0b.toml"))


def test_of_a_huge_file_no_more_than_the_limit_is_read(tmp_path: Path):
    huge = tmp_path / "huge.toml"
    with huge.open("wb") as stream:
        stream.truncate(100_000_000)  # sparse: takes no room
    (finding,) = read_practice_file(huge).findings
    assert finding.what == "the file is larger than 5 MB, the most that is read"


def test_load_practice_raises_every_error_at_once(tmp_path: Path, small: str):
    path = tmp_path / "practice.toml"
    path.write_text(small.replace("bore_mm = 4.0", "bore_mm = 40").replace("owned = 4", "owned = -4"))
    with pytest.raises(Mendable) as caught:
        load_practice(path)
    assert [finding.what for finding in caught.value.findings] == ["40 is outside 0.5 to 10", "-4 is outside 0 to 500"]
