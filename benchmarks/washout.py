"""Running times of invented chairs against EPANET (through wntr) on the same chairs in the same run; accuracy beside speed.

Run: `python benchmarks/washout.py [chairs]`. Prints the machine, the versions, and ratios. EPANET knows plug flow only; it
is the peer for speed because a water engineer would take it for such a tree, and for the plug-flow delay, where both agree.
"""

import contextlib
import json
import math
import os
import random
import sys
import tempfile
import time
import warnings
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import wntr

from fettlebook.science.circuits import outlet_seconds
from fettlebook.science.needs import BEST, Left, Steps, exact_needs
from fettlebook.science.tree import read_tree
from fettlebook.science.uncertainty import sure_seconds, sure_seconds_of_all
from fettlebook.science.washout import residual_fraction, volume_changes
from fettlebook.science.ways import ways_of
from machine import machine

CHECKS = Path(__file__).parents[1] / "tests" / "science" / "line_checks.json"
LONGER = 100  # EPANET's quality step is whole seconds: longer lines, times divided again


def chair(seed: int, outlets: int = 5, filter_ml: float = 0.0) -> dict[str, Any]:
    """Return an invented chair: feed, perhaps a filter, block, and a hose for each outlet, all of random size."""
    draw = random.Random(seed)
    parts: list[dict[str, Any]] = [
        {"id": "feed", "from": None, "kind": "tube", "length_m": draw.uniform(0.5, 2), "bore_mm": draw.uniform(3, 5)},
        {"id": "block", "from": "feed", "kind": "tube", "length_m": draw.uniform(0.2, 0.5), "bore_mm": draw.uniform(2.5, 3.5)},
    ]
    if filter_ml:
        parts.insert(1, {"id": "filter", "from": "feed", "kind": "stirred", "volume_ml": filter_ml})
        parts[2]["from"] = "filter"
    for i in range(outlets):
        hose = {"id": f"hose{i}", "from": "block", "kind": "tube"}
        parts.append({**hose, "length_m": draw.uniform(1.2, 2.6), "bore_mm": draw.uniform(1.3, 2.2)})
    open_at = [{"part": f"hose{i}", "flow_ml_min": draw.uniform(30, 80)} for i in range(outlets)]
    return {"parts": parts, "outlets": open_at, "mode": "together", "temperature_c": 20.0}


def network(plain: Mapping[str, Any]) -> wntr.network.WaterNetworkModel:
    """Return the same chair as an EPANET model with water age."""
    net = wntr.network.WaterNetworkModel()
    net.add_reservoir("supply", base_head=1000.0)
    demand = {o["part"]: o["flow_ml_min"] / 6e7 for o in plain["outlets"]}
    for part in plain["parts"]:
        net.add_junction(part["id"], base_demand=demand.get(part["id"], 0.0))
    for part in plain["parts"]:
        above = part["from"] or "supply"
        net.add_pipe(
            "to-" + part["id"], above, part["id"], length=part["length_m"] * LONGER, diameter=part["bore_mm"] / 1e3, roughness=1e-6
        )
    net.options.hydraulic.headloss = "D-W"
    net.options.quality.parameter = "AGE"
    net.options.time.duration = 3600
    net.options.time.hydraulic_timestep = net.options.time.report_timestep = 3600
    net.options.time.quality_timestep = 10
    return net


def toolkit(paths: Sequence[str], folder: str) -> None:
    """Run EPANET's toolkit alone on each file: open, hydraulics, quality, close."""
    for path in paths:
        engine = wntr.epanet.toolkit.ENepanet()
        engine.ENopen(path, f"{folder}/a.rpt", f"{folder}/a.bin")
        engine.ENsolveH()
        engine.ENsolveQ()
        engine.ENclose()


@contextlib.contextmanager
def quiet() -> Iterator[None]:
    """Keep EPANET's own progress lines off the screen: it writes them to the process's standard output."""
    sys.stdout.flush()
    kept, nowhere = os.dup(1), os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    try:
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)


def best_of(rounds: int, **calls: Callable[[], object]) -> dict[str, float]:
    """Return each call's shortest processor time [s] over rounds in which all take turns: other work on the machine slows all alike."""
    seen: dict[str, float] = {}
    for _ in range(rounds):
        for name, call in calls.items():
            start = time.process_time()
            call()
            seen[name] = min(seen.get(name, math.inf), time.process_time() - start)
    return seen


def accuracy() -> None:
    """Print how far times and residuals are from the solved values."""
    checks = json.loads(CHECKS.read_text())
    off = [float(volume_changes(row["W"], row["tauD"])) / row["theta"] - 1 for row in checks["theta"]]
    print(f"volume changes, {len(off)} solved values: {min(off):+.1e} to {max(off):+.1e} (goal: -2e-3 to 5e-3)")
    apart = [float(residual_fraction(row["theta"], row["tauD"])) / row["W"] - 1 for row in checks["W"]]
    print(f"residual, {len(apart)} solved values: {min(apart):+.1e} to {max(apart):+.1e} (goal 1e-3; smaller ones: test_washout.py)")
    mixed = [(row, share) for row in checks["circuits"] for share in ("fill95_s", "fill99_s", "rinse_1in3000_s")]
    below, above = 0.0, 0.0
    shares = {"fill95_s": 0.05, "fill99_s": 0.01, "rinse_1in3000_s": 1 / 3000}
    for row, key in mixed:
        for outlet in outlet_seconds(row, rinse_share=shares[key], method="exact"):
            ratio = outlet.rinse_s / row["expect"][outlet.outlet][key] - 1
            below, above = min(below, ratio), max(above, ratio)
    print(f"shown times of {len(checks['circuits'])} solved circuits: {below:+.1e} to {above:+.1%} (solved for mixed joints)")


def batch_accuracy(name: str, chairs: Sequence[Mapping[str, Any]]) -> None:
    """Print how far the batch is from chairs taken one by one, and its best estimates from lattices of ten times the steps."""
    batch, alone = sure_seconds_of_all(chairs), [sure_seconds(c) for c in chairs]
    pairs = [pair for rows in zip(batch, alone, strict=True) for pair in zip(*rows, strict=True)]
    apart = max(abs(getattr(one, time) / getattr(other, time) - 1) for one, other in pairs for time in ("flush_s", "fill_s", "rinse_s"))
    series = ways_of([read_tree(c) for c in chairs]).series()
    left = Left(0.05, 0.05, 1 / 3000)
    off = exact_needs(series, left).seconds / exact_needs(series, left, steps=Steps(10 * BEST.tubes, 10 * BEST.stirred)).seconds - 1
    print(f"{name}: at once against one by one {apart:.0e}, best estimate against ten times the steps {off.min():+.1e} to {off.max():+.1e}")


def main() -> int:
    """Measure and print."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    warnings.simplefilter("ignore")
    print(machine("numpy", "scipy", "wntr"), "(EPANET 2.2); processor time, shortest of the rounds")
    accuracy()
    chairs = [chair(seed) for seed in range(count)]
    filtered = [chair(seed, filter_ml=15.0) for seed in range(count)]
    batch_accuracy("tubes alone", chairs)
    batch_accuracy("with a filter", filtered)
    with tempfile.TemporaryDirectory() as folder, quiet():
        nets = [network(c) for c in chairs[:8]]
        paths = [f"{folder}/chair{i}.inp" for i in range(len(nets))]
        for net, path in zip(nets, paths, strict=True):
            wntr.network.write_inpfile(net, path)
        took = best_of(
            9,
            toolkit=lambda: toolkit(paths, folder),
            whole=lambda: [wntr.sim.EpanetSimulator(net).run_sim(file_prefix=f"{folder}/run") for net in nets[:2]],
            single=lambda: [sure_seconds(c) for c in chairs[:8]],
            sure=lambda: sure_seconds_of_all(chairs),
            filtered=lambda: sure_seconds_of_all(filtered),
        )
    per = {"toolkit": len(nets), "whole": 2, "single": 8, "sure": count, "filtered": count}
    ms = {name: 1e3 * seconds / per[name] for name, seconds in took.items()}
    print(f"one chair of 5 outlets, flush, fill and rinse with the 95 % answer: {ms['single']:.2f} ms")
    print(f"all {count} chairs at once: {ms['sure']:.3f} ms a chair; with a filter in each, {ms['filtered']:.2f} ms")
    print(f"EPANET, plug flow only: toolkit call alone {ms['toolkit']:.2f} ms, wntr's whole run {ms['whole']:.2f} ms")
    print(
        f"toolkit call over all chairs at once with the 95 % answer: {ms['toolkit'] / ms['sure']:.1f} x (goal 5, stretch 20); "
        f"with a filter {ms['toolkit'] / ms['filtered']:.1f} x; over one chair alone {ms['toolkit'] / ms['single']:.1f} x"
    )
    print(f"whole run over all chairs at once: {ms['whole'] / ms['sure']:.0f} x")
    theta, tau = np.random.default_rng(1).uniform(0.5, 8, 100_000), 0.01
    grid = np.linspace(0.5, 8, 4096)
    values = residual_fraction(grid, tau)
    took = best_of(5, table=lambda: np.interp(theta, grid, values), own=lambda: residual_fraction(theta, tau))
    table, own = took["table"] * 1e4, took["own"] * 1e4
    print(f"one W in an array of 100,000: {own:.1f} ns, plain table look-up {table:.1f} ns, ratio {own / table:.1f}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
