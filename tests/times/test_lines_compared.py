"""The page that compares twelve lines is what its script says, and what it says of the usual times agrees with others."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs/carry-on/lines-compared.md"


def row(name: str, which: int) -> list[str]:
    lines = [line for line in PAGE.read_text("utf-8").splitlines() if line.startswith(f"| {name} |")]
    return [cell.strip() for cell in lines[which].strip("|").split("|")][1:]


@pytest.mark.invented
def test_the_page_is_made_by_its_script():
    made = subprocess.run([sys.executable, str(ROOT / "scripts/compare_lines.py")], capture_output=True, text=True, check=True)
    assert made.stdout == PAGE.read_text("utf-8"), "make it anew: python scripts/compare_lines.py > docs/carry-on/lines-compared.md"
    assert len(re.findall(r"^\| (?!line|---)", made.stdout, re.MULTILINE)) == 24


@pytest.mark.published(
    source="own solution by Laplace transform of the single hose: 5 % after 13.0 s, 1/3000 after 26.7 s at 25 degC, V/Q 4.83 s",
    sure="computed",
)
def test_the_single_hose_takes_what_another_solution_says_and_a_little_more_in_cold_water():
    change, flush, _, rinse, *_ = row("one hose, 2 m x 1.6 mm, 50 mL/min", 0)
    assert float(change) == pytest.approx(4.83, abs=0.05)
    assert 13.0 <= float(flush.split(" / ")[0]) <= 13.5  # the slowest of all that old water carries
    assert 26.7 <= float(rinse.split(" / ")[0]) <= 26.7 * (1.4 / 0.97) ** (1 / 3) * 1.02  # far tail: seconds go as D^(-1/3)


@pytest.mark.published(
    source="own solution: slowest plausible hose, 3 m x 2.5 mm, 30 mL/min: 57 % at 20 s, 29 % at 30 s (25 degC)", sure="computed"
)
def test_the_usual_seconds_leave_on_a_wide_slow_hose_what_another_solution_says():
    at_20, at_30, *_ = row("one wide slow hose, 3 m x 2.5 mm, 30 mL/min", 1)
    assert float(at_20.split(" ")[0]) == pytest.approx(57, abs=2)
    assert float(at_30.split(" ")[0]) == pytest.approx(29, abs=2)
