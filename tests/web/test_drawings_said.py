"""Drawings speak the reader's language: every word of them passes through the catalogs, and names stay escaped in each."""

import re
import sys
import xml.etree.ElementTree as ET
from datetime import date
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from test_languages_pages import Turned

from fettlebook.exchange.control_chart import Point, control_chart
from fettlebook.exchange.share_chart import share_chart
from fettlebook.exchange.stock_chart import stock_chart
from fettlebook.said import speak
from fettlebook.standing.stock import StockSays
from fettlebook.standing.surfaces import Share
from fettlebook.web.languages.tongue import tongue_of

pytestmark = pytest.mark.invented
NAME = 'light <handle> & "tray"'


def _stock() -> StockSays:
    return StockSays(
        "wipes", NAME, None, 2, None, 1, 3.0, None, "packages", None, (date(2026, 12, 1), date(2026, 12, 9), None), date(2026, 11, 28), "",
        (), (),
    )  # fmt: skip


DRAWINGS = {
    "shares": share_chart([Share(NAME, "mark", "R7", 3, 4, 0.3, 0.95, 0), Share(NAME, "ATP", None, 1, 2, 0.1, 0.9, 0)]),
    "stock": stock_chart([_stock()], date(2026, 11, 25)),
    "machine": control_chart(
        [Point(134.2, "fit", "24 Nov 08:10"), Point(131.0, "unfit", NAME)], "hold temperature", "degC", (133.0, 134.0, 135.0)
    ),
    "machine, few runs": control_chart([Point(134.2, "unproven", "24 Nov 08:10")], "exhaust time", "s", None),
}
KEPT = ("light", "handle", "tray", "wipes", "R7", "ATP", "degC", "Nov", "s")


def words(svg: str) -> list[str]:
    root = ET.fromstring(svg)  # it also shows that nothing put in broke the drawing
    return [text for text in (*root.itertext(), root.get("aria-label") or "") if text.strip()]


@pytest.mark.parametrize("name", DRAWINGS)
def test_no_word_of_a_drawing_stays_english_but_names_and_units(name: str) -> None:
    said = " ".join(words(speak(DRAWINGS[name], Turned("xx", "en_GB"))))
    left = set(re.findall(r"[A-Za-z]+", said)) - set(KEPT)
    assert left <= {"ATP", "R"}, left


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("shares", "Anteil sauber befundener Stellen, mit 95-%-Intervall"),
        ("stock", "heute"),
        ("machine", "Haltetemperatur, degC"),
        ("machine", "zuletzt 131; gewöhnlich 133 bis 135"),
        ("machine, few runs", "134,2"),
    ],
)
def test_in_german_it_says(name: str, told: str) -> None:
    assert any(told in text for text in words(speak(DRAWINGS[name], tongue_of("de"))))


def test_in_english_it_stays_as_it_was() -> None:
    assert "Share of spots found clean, with 95 % interval" in words(DRAWINGS["shares"])
    assert "last 131; usually 133 to 135" in words(DRAWINGS["machine"])
    assert f"{NAME}: 2026-12-01 to later than can be told" in words(DRAWINGS["stock"])
