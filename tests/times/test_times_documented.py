"""The page for the assistant names every key, column and word that the program puts out."""

from datetime import date
from pathlib import Path
from typing import get_args

import pytest
from times_practice import NO_PRODUCT, ONE_HOSE, read_small, rulebook, step

from fettlebook.rules.model import Computed
from fettlebook.times.listing import COLUMNS, as_data
from fettlebook.times.model import SetBy
from fettlebook.times.running import running_times
from fettlebook.times.targets import FILL_MISSING, FLUSH_LAST_HOSE, FLUSH_WHOLE
from fettlebook.times.totals import duty_totals

PAGE = (Path(__file__).parents[2] / "docs/assistant/running-times.md").read_text("utf-8")


def keys_of(data: object) -> set[str]:
    if isinstance(data, dict):
        return set(data) | {k for v in data.values() for k in keys_of(v)}
    return {k for v in data for k in keys_of(v)} if isinstance(data, list) else set()


@pytest.mark.invented
def test_every_key_of_the_json_form_stands_on_the_page():
    practice = read_small(ONE_HOSE, NO_PRODUCT, '[[measured]]\nstep = "lost"\nminutes = 1.0\n')
    book = rulebook(step(Computed.FLUSH, 120), step(Computed.FILL))
    times = running_times(practice, book)
    keys = keys_of(as_data(practice, book, times, duty_totals(times), on=date(2026, 11, 25)))
    assert {k for k in keys if f"`{k}`" not in PAGE} == set()


@pytest.mark.invented
def test_every_column_set_by_word_and_share_stands_on_the_page():
    words = {*COLUMNS, *get_args(SetBy), FLUSH_WHOLE, FLUSH_LAST_HOSE, FILL_MISSING}
    assert {w for w in words if f"`{w}`" not in PAGE} == set()
