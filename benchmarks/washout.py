"""Running times of invented chairs against EPANET (through wntr) on the same chairs in the same run; accuracy beside speed.

Run: `python benchmarks/washout.py [chairs]`. Prints the machine, the versions, and ratios. EPANET knows plug flow only; it
is the peer for speed because a water engineer would take it for such a tree, and for the plug-flow delay, where both agree.
"""

import contextlib
import json
import os
import platform
import random
import sys
import tempfile
import time
import warnings
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import scipy
import wntr

from fettlebook.science.circuits import outlet_seconds
from fettlebook.science.uncertainty import sure_seconds, sure_seconds_of_all
from fettlebook.science.washout import residual_fraction, volume_changes

CHECKS = Path(__file__).parents[1] / "tests" / "science" / "line_checks.json"
LONGER = 100  # EPANET's quality step is whole seconds: longer lines, times divided again


def chair(seed: int, outlets: int = 5) -> dict[str, Any]:
    """Return an invented chair: feed, block, and a hose for each outlet, all of random size."""
    draw = random.Random(seed)
    parts: list[dict[str, Any]] = [
        {"id": "feed", "from": None, "kind": "tube", "length_m": draw.uniform(0.5, 2), "bore_mm": draw.uniform(3, 5)},
        {"id": "block", "from": "feed", "kind": "tube", "length_m": draw.uniform(0.2, 0.5), "bore_mm": draw.uniform(2.5, 3.5)},
    ]
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


def best_of(times: int, call: Callable[[], object]) -> float:
    """Return the shortest of several runs [s]: on a shared machine the least disturbed one."""
    seen = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        seen.append(time.perf_counter() - start)
    return min(seen)


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


def _processor() -> str:
    cpuinfo = Path("/proc/cpuinfo")
    lines = cpuinfo.read_text().splitlines() if cpuinfo.exists() else []
    return next((line.split(":")[1].strip() for line in lines if line.startswith("model name")), platform.machine())


def main() -> int:
    """Measure and print."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    warnings.simplefilter("ignore")
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")
    print(f"{_processor()}, {os.cpu_count()} cores, load {load:.1f}, {platform.system()}, Python {platform.python_version()},")
    print(f"numpy {np.__version__}, scipy {scipy.__version__}, wntr {wntr.__version__} (EPANET 2.2)")
    accuracy()
    sure_seconds(chair(-1))  # the table and the curves over tau_D for these shares are read once per process
    chairs = [chair(seed) for seed in range(count)]
    ours = best_of(1, lambda: [outlet_seconds(c, method="exact") for c in chairs]) / count
    single = best_of(1, lambda: [sure_seconds(c) for c in chairs]) / count
    sure = best_of(3, lambda: sure_seconds_of_all(chairs)) / count
    with tempfile.TemporaryDirectory() as folder:
        nets = [network(c) for c in chairs[:8]]
        with quiet():
            whole = best_of(2, lambda: [wntr.sim.EpanetSimulator(net).run_sim(file_prefix=f"{folder}/run") for net in nets]) / len(nets)
        paths = []
        for i, net in enumerate(nets):
            paths.append(f"{folder}/chair{i}.inp")
            wntr.network.write_inpfile(net, paths[-1])
        with quiet():
            alone = best_of(3, lambda: toolkit(paths, folder)) / len(paths)
    print(
        f"one chair, 5 outlets, flush + fill + rinse, both joint readings: {ours * 1e3:.2f} ms; with the 95 % answer {single * 1e3:.2f} ms"
    )
    print(f"all {count} chairs at once with the 95 % answer: {sure * 1e3:.2f} ms a chair")
    print(f"EPANET: wntr's whole run {whole * 1e3:.2f} ms, toolkit call alone {alone * 1e3:.2f} ms")
    print(f"ratio to the whole run {ours / whole:.3f} (goal 1.0, stretch 0.2); whole run over 95 % answer {whole / sure:.1f} x")
    print(
        f"toolkit call over times {alone / ours:.1f} x, over all chairs at once with 95 % answer {alone / sure:.1f} x (goal 5, stretch 20)"
    )
    theta, tau = np.random.default_rng(1).uniform(0.5, 8, 100_000), 0.01
    grid = np.linspace(0.5, 8, 4096)
    values = residual_fraction(grid, tau)
    table = best_of(3, lambda: np.interp(theta, grid, values))
    own = best_of(3, lambda: residual_fraction(theta, tau))
    print(f"one W in an array of 100,000: {own * 1e4:.1f} ns, plain table look-up {table * 1e4:.1f} ns, ratio {own / table:.1f}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
