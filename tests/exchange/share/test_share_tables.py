"""The book as tables: every entry once, corrections in it, nothing that a spreadsheet would reckon with."""

import csv
from datetime import date
from io import BytesIO, StringIO
from pathlib import Path
from zoneinfo import ZoneInfo

import polars
import pytest
from hypothesis import given
from hypothesis import strategies as st
from share_book import BEGAN, written

from fettlebook.exchange.csv_table import STARTS_A_FORMULA, csv_of
from fettlebook.exchange.share.tables import tables
from fettlebook.exchange.share.tables import written as as_file

pytestmark = pytest.mark.invented
LONDON = ZoneInfo("Europe/London")


def test_each_entry_stands_once_as_it_holds_now(tmp_path: Path) -> None:
    found = tables(written(tmp_path), LONDON)
    assert {kind: len(rows) for kind, rows in found.items()} == {
        "cycle.judged": 1, "cycle.recorded": 1, "load.packed": 1, "outlet.temperature": 1, "sample.result": 2,
    }  # fmt: skip
    mended, gone = found["sample.result"]
    assert (mended["holds"], mended["value"], mended["decimals"]) == ("corrected", 230, 1)
    assert (gone["holds"], gone["value"], gone["mark"]) == ("withdrawn", 1, "below")
    cycle = found["cycle.recorded"][0]
    assert (cycle["readings.hold_ms"], cycle["began_ms"], cycle["began"]) == (210_000, BEGAN, "2026-11-25T09:46:40+00:00")


def test_days_and_kinds_narrow_what_is_given(tmp_path: Path) -> None:
    entries = written(tmp_path)
    day = date(2026, 11, 25)
    assert set(tables(entries, LONDON, kinds=["load.packed"])) == {"load.packed"}
    assert sum(map(len, tables(entries, LONDON, first=day, last=day).values())) == 6
    assert tables(entries, LONDON, last=day.replace(day=24)) == {}


def test_a_table_reads_back_the_same_from_csv_and_from_parquet(tmp_path: Path) -> None:
    rows = tables(written(tmp_path, "=cmd", "a;b, 'c' \"d\"\nnext", "Ü 😀"), LONDON)["fault.reported"]
    told = list(csv.DictReader(StringIO(as_file(rows, "csv").decode("utf-8-sig"))))
    assert [one["what"] for one in told] == ["'=cmd", "a;b, 'c' \"d\"\nnext", "Ü 😀"]
    again = polars.read_parquet(BytesIO(as_file(rows, "parquet"))).to_dicts()
    assert again == rows


@given(st.lists(st.dictionaries(st.just("a"), st.text() | st.integers() | st.floats(allow_nan=False), min_size=1), max_size=5))
def test_no_text_begins_as_a_formula_does_and_numbers_stay(rows: list[dict[str, object]]) -> None:
    told = list(csv.DictReader(StringIO(csv_of(rows), newline="")))
    assert len(told) == len(rows)
    for row, line in zip(rows, told, strict=True):
        if isinstance(row["a"], str):
            assert not line["a"].startswith(STARTS_A_FORMULA)
            assert line["a"].removeprefix("'" if row["a"].startswith(STARTS_A_FORMULA) else "") == row["a"]
        else:
            assert line["a"] == str(row["a"])
