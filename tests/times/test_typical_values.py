"""Typical values that nobody measured here: said so by the check and beside the time, and never a shorter time."""

from datetime import date

import pytest

from fettlebook.demo import practice_text
from fettlebook.practice.edit import outlet_path, set_flow, with_flow
from fettlebook.practice.load import read_practice
from fettlebook.practice.model import Practice
from fettlebook.rules.load import load_rulebook
from fettlebook.times.model import RunningTime
from fettlebook.times.running import running_times

pytestmark = pytest.mark.invented
TEXT = practice_text()
LINES, FLOW = b'{ id = "block", from = "feed", bore_mm = 3.0, length_m = 0.3 }', b"flow_ml_min = 60.0 }"


def _read(text: bytes) -> tuple[Practice, list[str]]:
    loaded = read_practice(text, "practice.toml")
    assert loaded.practice is not None
    return loaded.practice, [f.what for f in loaded.warnings]


def _times(practice: Practice) -> dict[tuple[str, str], RunningTime]:
    return {(t.chair, t.step_id): t for t in running_times(practice, load_rulebook(practice, on=date(2026, 11, 25)))}


def test_a_typical_hose_is_told_and_lengthens_what_its_line_needs_on_that_chair_alone() -> None:
    practice, warned = _read(TEXT.replace(LINES, LINES.replace(b" }", b", typical = true }"), 1))
    assert "bore and length are typical values, not measured: block" in warned
    usual, longer = _times(_read(TEXT)[0]), _times(practice)
    lines = [key for key, time in usual.items() if time.p95_s is not None]
    assert {key[0] for key in lines if longer[key].p95_s != usual[key].p95_s} == {"chair 1"}
    for key in lines:
        before, after = usual[key], longer[key]
        assert before.seconds is not None
        assert after.seconds is not None
        assert before.p95_s is not None
        assert after.p95_s is not None
        assert after.nominal_s == before.nominal_s
        assert after.p95_s >= before.p95_s
        assert after.seconds >= before.seconds
    told = longer["chair 1", "first.flush"]
    assert "bores and lengths are typical ones, not measured" in told.notes
    assert any("bore ±0.3 mm, length ±30 %" in words for words in told.derivation)


def test_a_typical_flow_is_told_and_a_measured_day_ends_it() -> None:
    text = TEXT.replace(FLOW, FLOW.replace(b" }", b", typical = true }"), 1)
    practice, warned = _read(text)
    assert "the flow of 60 mL/min is a typical value, not measured" in warned
    step = ("chair 2", "first.flush")
    before, after = _times(_read(TEXT)[0])[step].p95_s, _times(practice)[step].p95_s
    assert before is not None
    assert after is not None
    assert after > before
    path = outlet_path(practice, "chair 2", "motor")
    measured = set_flow(text, path, 58.0, date(2026, 11, 25), 6.0)
    again, _ = _read(measured)
    assert again == with_flow(practice, path, 58.0, date(2026, 11, 25), 6.0)
    assert again.chairs[1].outlets[1].typical is False
