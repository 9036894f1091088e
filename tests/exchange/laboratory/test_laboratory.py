"""Laboratories' ways of writing: read right, or named with row and field; never a silent zero."""

from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fettlebook.errors import Mendable
from fettlebook.exchange.laboratory import Reading, SheetWays, decimal_of, read_count, read_sheet

TODAY = date(2026, 11, 25)
HEAD = "chair,sampled_on,result CFU/mL,volume_ml\n"


def sheet(text: str, **ways: Any) -> Any:
    return read_sheet(text.encode(), "lab.csv", SheetWays(**ways), TODAY)


@pytest.mark.practice_fact
@pytest.mark.parametrize(
    ("text", "expect"),
    [
        ("<1", Reading("below", 1.0, strict=True)),
        ("< 10", Reading("below", 10.0, strict=True)),
        ("≤10", Reading("below", 10.0)),
        (">300", Reading("above", 300.0, strict=True)),
        (">5.7x10^3", Reading("above", 5700.0, strict=True)),
        ("5,7 × 10³", Reading("count", 5700.0)),
        ("TNTC", Reading("above", None)),
        ("TNTC (>300)", Reading("above", 300.0)),
        ("nil", Reading("count", 0.0)),
        ("1.2E3", Reading("count", 1200.0)),
        ("1,2e3", Reading("count", 1200.0)),
        ("1 200", Reading("count", 1200.0)),
        ("1'200", Reading("count", 1200.0)),
        ("~40", Reading("count", 40.0, estimated=True)),
        ("40 est", Reading("count", 40.0, estimated=True)),
        ("0", Reading("count", 0.0)),
    ],
)
def test_the_usual_notations(text: str, expect: Reading) -> None:
    assert read_count(text, None) == expect


@pytest.mark.parametrize(
    "text", ["", "n.d.", "ND", "-", "abc", "-3", "1 20", "1,200", "1.200", "1.2.3", "(40)", "1e99", "4;5", "x" * 61, "٣"]
)
def test_what_can_t_be_told_is_named_and_never_zero(text: str) -> None:
    assert isinstance(read_count(text, None), str) or text == "٣"


def test_the_file_decides_between_decimal_and_thousands() -> None:
    assert decimal_of(["1,2e3", "40"]) == "comma"
    assert decimal_of(["0.1", "1,200"]) == "point"
    assert decimal_of(["1,200", "40"]) is None
    assert read_count("1,200", "point") == Reading("count", 1200.0)
    assert read_count("1.200", "comma") == Reading("count", 1200.0)
    assert isinstance(read_count("1.2", "comma"), str)


@given(st.text(max_size=30), st.sampled_from([None, "comma", "point"]))
def test_any_text_gives_a_reading_or_words(text: str, decimal: Any) -> None:
    found = read_count(text, decimal)
    assert found if isinstance(found, str) else found.value is None or found.value >= 0


@given(st.integers(0, 999_999))
def test_a_whole_number_is_itself_however_it_is_grouped(number: int) -> None:
    for text, way in (
        (str(number), None),
        (f"{number:,}", "point"),
        (f"{number:,}".replace(",", "."), "comma"),
        (f"{number:,}".replace(",", " "), None),
    ):
        assert read_count(text, way) == Reading("count", float(number))  # type: ignore[arg-type]


def test_colonies_follow_from_count_and_volume() -> None:
    rows = sheet(HEAD + "A,2026-11-01,120,0.1\nA,2026-11-02,<10,0.1\nA,2026-11-03,>3000,0.1\nA,2026-11-04,<1,1\nA,2026-11-05,<100,1\n").rows
    assert [(r.kind, r.colonies) for r in rows] == [("count", 12), ("below", 0), ("above", 301), ("below", 0), ("below", 99)]


def test_other_units_are_divided_and_said() -> None:
    found = sheet("Unit;Date;Result (KBE/100 ml);Volumen\n1;25.11.2026;1,2e3;0,5\n")
    assert (found.rows[0].colonies, found.rows[0].volume_ml) == (6, 0.5)
    assert "counts are per 100 mL and were divided by it" in found.read_as
    assert "decimal commas" in found.read_as
    assert sheet("chair,date,result CFU/L,volume\nA,2026-11-01,12000,1\n").rows[0].colonies == 12


@pytest.mark.parametrize(
    ("line", "field", "what"),
    [
        ("A,2026-11-31,4,1", "sampled_on", "no date"),
        ("A,2026-12-24,4,1", "sampled_on", "after 2026-11-25"),
        (",2026-11-01,4,1", "chair", "no chair"),
        ("A,2026-11-01,n.d.,1", "result", "may be"),
        ("A,2026-11-01,,1", "result", "nothing"),
        ("A,2026-11-01,TNTC,1", "result", "too many"),
        ("A,2026-11-01,4,", "volume_ml", "no volume"),
        ("A,2026-11-01,4,0", "volume_ml", "volume"),
        ("A,2026-11-01,four,1", "result", "no number"),
        ("A,2026-11-01", "volume_ml", "no volume"),
    ],
)
def test_a_row_that_can_t_be_used_is_set_aside_by_line_and_field(line: str, field: str, what: str) -> None:
    found = sheet(HEAD + "B,2026-11-01,4,1\n" + line + "\n", volume_ml=None)
    assert [r.chair for r in found.rows] == ["B"]
    (finding,) = found.findings
    assert finding.where == f"lab.csv line 3, {field}"
    assert what in finding.what
    assert finding.mend


def test_a_result_before_its_sample_and_a_sample_marked_invalid() -> None:
    head = "chair,sampled_on,colonies,volume_ml,reported_on,valid\n"
    found = sheet(head + "".join(f"A,2026-11-05,4,1,2026-11-{rest}\n" for rest in ("01,", "09,no", "09,yes")))
    assert [r.line for r in found.rows] == [4]
    assert [f.where for f in found.findings] == ["lab.csv line 2, reported_on", "lab.csv line 3, valid"]


def test_a_report_twice_counts_once_and_two_results_under_one_number_not_at_all() -> None:
    head = "report,chair,sampled_on,colonies,volume_ml\n"
    twice = sheet(head + "7,A,2026-11-05,4,1\n7,A,2026-11-05,4,1\n8,A,2026-11-05,4,1\n")
    assert [r.report for r in twice.rows] == ["7", "8"]
    two = sheet(head + "7,A,2026-11-05,4,1\n7,A,2026-11-05,400,1\n8,B,2026-11-05,1,1\n")
    assert [r.report for r in two.rows] == ["8"]
    assert "another result" in two.findings[0].what


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("", "no line"),
        (HEAD, "headings"),
        ("when,what\n1,2\n", "no column for the chair"),
        ("chair,sampled_on,volume_ml\nA,2026-11-01,1\n", "counts"),
        ("chair,unit,sampled_on,colonies\nA,B,2026-11-01,1\n", "2 columns"),
        ("chair,sampled_on,result,volume_ml\nA,2026-11-01,1,1\n", "no unit"),
        ("chair,sampled_on,colonies,volume_ml\nA,03/04/2026,1,1\n", "day or month"),
        ('chair,sampled_on,colonies,volume_ml\nA,"2026-11-01,1,1\n', "CSV"),
    ],
)
def test_a_table_that_can_t_be_read_says_why(text: str, what: str) -> None:
    with pytest.raises(Mendable, match=what) as caught:
        sheet(text)
    assert caught.value.where.startswith("lab.csv")
    assert caught.value.mend


def test_bytes_of_other_programs() -> None:
    text = "Stuhl;Datum;Ergebnis KBE/ml;Volumen\nStuhl für Kinder;01.11.2026;4;1\n"
    for data in (text.encode("cp1252"), text.encode("utf-8-sig"), text.encode("utf-16")):
        assert read_sheet(data, "lab.csv").rows[0].chair == "Stuhl für Kinder"
    with pytest.raises(Mendable, match="no text"):
        read_sheet(b"PK\x03\x04\x00\xff\x00", "book.xlsx")


def test_dates_with_slashes_are_read_when_the_table_shows_how() -> None:
    head = "chair,sampled_on,colonies,volume_ml\n"
    assert sheet(head + "A,03/04/2026,1,1\nA,25/04/2026,1,1\n").rows[0].sampled_on == date(2026, 4, 3)
    assert sheet(head + "A,03/04/2026,1,1\n", dates="month first").rows[0].sampled_on == date(2026, 3, 4)


@given(st.binary(max_size=300))
def test_any_bytes_are_read_or_refused_with_a_way_to_mend(data: bytes) -> None:
    try:
        found = read_sheet(HEAD.encode() + data, "lab.csv").findings
    except Mendable as error:
        found = error.findings
    assert all(finding.mend for finding in found)
