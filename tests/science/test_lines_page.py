"""The table of docs/carry-on/lines.md is what the program says today, and its sentence about plug flow is true."""

import json
import re
from pathlib import Path

import pytest

from fettlebook.science.chains import coherent, curve
from fettlebook.science.circuits import outlet_seconds
from fettlebook.science.paths import delays_of
from fettlebook.science.tree import read_tree
from fettlebook.science.ways import diffusivity_of

PAGE = (Path(__file__).parents[2] / "docs" / "carry-on" / "lines.md").read_text()
TYPICAL = json.loads((Path(__file__).parent / "typical_chairs.json").read_text())["circuits"]


def left_at(circuit, outlet, times_s):
    """Worst share of old water still coming out, in both joint readings, of what diffuses and of what does not."""
    tree, worst = read_tree(circuit), []
    for time_s in times_s:
        shares = [
            float(curve(series, 10 * max(time_s, outlet.nominal_s), 4000).residual_at(time_s))
            for diffusivity in (0.0, diffusivity_of(tree))
            for series in (delays_of(tree, outlet.path, diffusivity), coherent(delays_of(tree, outlet.path, diffusivity)))
        ]
        worst.append(100 * max(shares))
    return worst


@pytest.mark.invented
@pytest.mark.parametrize("circuit", TYPICAL, ids=lambda circuit: circuit["name"])
def test_the_table_of_typical_circuits_is_what_the_program_says(circuit):
    line = next(line for line in PAGE.splitlines() if line.startswith(f"| {circuit['name']} |"))
    printed = [float(cell) for cell in re.findall(r"(?<=\| )[\d.]+(?= |$)", line)]
    slowest = max(outlet_seconds(circuit), key=lambda outlet: outlet.nominal_s)
    strong = next(o for o in outlet_seconds(circuit, fill_share=0.99) if o.outlet == slowest.outlet)
    now = [slowest.nominal_s, slowest.flush_s, slowest.fill_s, strong.fill_s, slowest.rinse_s, *left_at(circuit, slowest, (20, 30, 120))]
    assert printed == pytest.approx(now, rel=0.02, abs=0.06)


@pytest.mark.invented
def test_plug_flow_is_never_enough():
    for circuit in TYPICAL:
        for outlet in outlet_seconds(circuit):
            assert outlet.flush_s > 2 * outlet.nominal_s
            assert outlet.rinse_s > 4 * outlet.nominal_s
