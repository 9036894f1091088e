"""Totals, the JSON form and the table file: nothing unknown becomes a zero, nothing in a cell is run as a formula."""

import csv
import io
import json
from datetime import date

import pytest
from times_practice import NO_PRODUCT, ONE_HOSE, PEROXIDE, read_small, rulebook, step

from fettlebook.rules.model import Computed
from fettlebook.times.findings import stray_measurements
from fettlebook.times.listing import COLUMNS, as_csv, as_data
from fettlebook.times.running import running_times
from fettlebook.times.totals import duty_totals

BOOK = rulebook(
    step(None, 90, id="duty.by_hand", attended=True),
    step(Computed.FLUSH, 120),
    step(Computed.FILL),
    step(Computed.CONTACT),
    step(Computed.RINSE, 120),
)


@pytest.mark.invented
def test_totals_keep_attended_and_unattended_seconds_apart():
    times = running_times(read_small(ONE_HOSE, PEROXIDE), BOOK)
    (total,) = duty_totals(times)
    assert total.complete
    assert total.attended_s == 90
    assert total.unattended_s == sum(t.seconds for t in times) - 90


@pytest.mark.invented
def test_a_total_names_the_steps_that_it_could_not_count():
    (total,) = duty_totals(running_times(read_small(ONE_HOSE, NO_PRODUCT), BOOK))
    assert not total.complete
    assert total.missing == ("duty.fill", "duty.contact", "duty.rinse")
    assert total.unattended_s == 120  # the flush alone: a lower bound


@pytest.mark.invented
def test_the_json_form_comes_back_from_text_as_it_went_in():
    practice = read_small(ONE_HOSE, NO_PRODUCT)
    times = running_times(practice, BOOK)
    data = as_data(practice, BOOK, times, duty_totals(times), on=date(2026, 11, 25))
    assert json.loads(json.dumps(data)) == data
    assert data["complete"] is False
    assert [t["seconds"] for t in data["times"]] == [90, 120, None, None, None]
    assert all(t["missing"] for t in data["times"] if t["seconds"] is None)
    flush = data["times"][1]
    assert flush["set_by"] == "rule"
    assert {c["set_by"]: c["origin"]["checked"] for c in flush["candidates"]} == {"rule": True, "line": True}
    assert flush["outlets"][0]["flow_measured"] is True


@pytest.mark.invented
def test_the_table_file_reads_back_and_leaves_an_unknown_time_empty():
    times = running_times(read_small(ONE_HOSE, NO_PRODUCT), BOOK)
    rows = list(csv.DictReader(io.StringIO(as_csv(times), newline="")))
    assert tuple(rows[0]) == COLUMNS
    assert [r["seconds"] for r in rows] == ["90", "120", "", "", ""]
    assert rows[1]["time"] == "2:00"
    assert rows[1]["rule_s"] == "120"
    assert "in_use.line_intensive" in rows[2]["missing"]


@pytest.mark.invented
@pytest.mark.parametrize("name", ["=1+1", "+1", "-1", "@A1", "\tx", "\rx"])
def test_no_cell_starts_like_a_formula(name):
    times = running_times(read_small(ONE_HOSE, PEROXIDE), rulebook(step(Computed.FLUSH, 120, name=name)))
    text = as_csv(times)
    (row,) = csv.DictReader(io.StringIO(text, newline=""))
    assert row["step"] == f"'{name}"
    cells = [cell for cell in row.values() if cell]
    assert not [cell for cell in cells if cell[0] in "=+-@\t\r"]


@pytest.mark.invented
def test_minutes_measured_for_a_step_that_no_rule_has_are_reported_with_the_nearest_name():
    practice = read_small(ONE_HOSE, PEROXIDE, '[[measured]]\nstep = "duty.byhand"\nminutes = 2.0\n')
    (finding,) = stray_measurements(practice, BOOK)
    assert '"duty.byhand"' in finding.what
    assert '"duty.by_hand"' in finding.mend
