"""Saturation temperature against iapws and CoolProp; judging cycle logs against reading the same CSVs with polars. Ratios in one run.

`python benchmarks/heat.py [--logs 10000] [--files 200] [--rows 3600] [--workers 2]`. So many different files are written once and read
again and again until `--logs` are judged: 10,000 files of 90 kB would measure the disk. CPU time, best of several for the short ones.
"""

import argparse
import os
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

os.environ["POLARS_MAX_THREADS"] = "1"  # before polars is loaded: one log at a time on one core, as the judge

import numpy as np
import polars as pl
from CoolProp.CoolProp import PropsSI
from iapws.iapws97 import _TSat_P

from fettlebook.exchange.logs import read_log
from fettlebook.rules.cycle_criteria import criteria_of, find_criteria
from fettlebook.science.cycles.judge import judge_cycle
from fettlebook.science.cycles.log import CycleLog
from fettlebook.science.steam import if97_temperature_c, saturation_pressure_kpa, saturation_temperature_c
from machine import machine

COLUMNS = ("time_s", "chamber_c", "load_c", "pressure_kpa")
CRITERIA = criteria_of(find_criteria("steam-134-b"))


def cpu_s(call: Callable[[], object], times: int = 5) -> float:
    """Return the least CPU time of several calls."""
    best = float("inf")
    for _ in range(times):
        begin = time.process_time()
        call()
        best = min(best, time.process_time() - begin)
    return best


def steam() -> None:
    """Print what a saturation temperature costs here and with the peers, and how far it is from IF97."""
    p = np.random.default_rng(1).uniform(5.0, 330.0, 1_000_000)
    few = (p[:100_000] / 1e3).tolist()
    ours = cpu_s(lambda: saturation_temperature_c(p), 9) * 1e3
    plain = cpu_s(lambda: if97_temperature_c(p)) * 1e3
    scalar = cpu_s(lambda: [_TSat_P(x) for x in few], 3) * 1e4
    vector = cpu_s(lambda: PropsSI("T", "P", p * 1e3, "Q", 0, "IF97::Water"), 3) * 1e3
    every = np.exp(np.linspace(np.log(5.0), np.log(400.0), 2_000_001))
    off = float(np.abs(saturation_temperature_c(every) - if97_temperature_c(every)).max())
    print(f"T(p), 1 M random pressures 5-330 kPa, ns of CPU each: ours {ours:.1f}, the equation in plain numpy {plain:.1f},")
    print(f"  iapws (scalar) {scalar:.0f}, CoolProp IF97 (vector) {vector:.0f}")
    print(f"  ratio: {scalar / ours:.0f} x iapws (goal 60), {vector / ours:.0f} x CoolProp's IF97 vector call (goal 12)")
    print(f"  farthest from the equation in 5-400 kPa, 2 M pressures: {off:.1e} K (goal 1e-6)")


def made_log(seed: int, rows: int) -> CycleLog:
    """Return a made-up cycle of so many readings, a second apart: pulses, plateau, drying; noise."""
    draw = np.random.default_rng(seed)
    t = np.arange(float(rows))
    hot, k = float(saturation_pressure_kpa(135.0 + draw.uniform(0, 1))), rows / 3600.0
    at = np.array([0, 120, 300, 320, 460, 640, 660, 800, 980, 1000, 1400, 1720, 1860, 2060, 3400, 3460, 3600]) * k
    kpa = [101, 101, 10, 10, 160, 10, 10, 160, 12, 12, hot, hot, 101, 8, 5, 101, 101]
    p = np.interp(t, at, kpa)
    steam_c = saturation_temperature_c(p)
    wall = np.where(t > at[12], np.maximum(steam_c, 90.0), steam_c)
    chamber, load = (wall + draw.normal(0, 0.05, rows) for _ in range(2))
    return CycleLog(t, {"chamber": np.round(chamber, 2), "load": np.round(load, 2)}, np.round(p + draw.normal(0, 0.2, rows), 2))


def write(log: CycleLog, path: Path) -> None:
    """Write a log as CSV."""
    table = np.column_stack([log.time_s, *log.temperatures_c.values(), log.pressure_kpa])  # type: ignore[list-item] # it has a pressure
    np.savetxt(path, table, fmt="%.2f", delimiter=",", header=",".join(COLUMNS), comments="")


def arrays(path: Path) -> CycleLog:
    """Return the log of a CSV, read with polars."""
    table = pl.read_csv(path)
    t, chamber, load, p = (table[c].to_numpy() for c in COLUMNS)
    return CycleLog(t, {"chamber": chamber, "load": load}, p)


def both(paths: list[Path]) -> tuple[float, float, int]:
    """Read and judge each path; return CPU time of the two, and how many were fit."""
    reading = judging = 0.0
    fit = 0
    for path in paths:
        begin = time.process_time()
        log = arrays(path)
        read = time.process_time()
        fit += judge_cycle(log, CRITERIA).verdict == "fit"
        reading += read - begin
        judging += time.process_time() - read
    return reading, judging, fit


def judging(logs: int, files: int, rows: int, workers: int) -> None:
    """Print what judging costs beside reading."""
    with tempfile.TemporaryDirectory() as folder:
        paths = [Path(folder) / f"{n}.csv" for n in range(files)]
        for n, path in enumerate(paths):
            write(made_log(n, rows), path)
        size = paths[0].stat().st_size
        print(f"\n{logs} logs of {rows} readings, {len(COLUMNS)} columns, {size / 1e3:.0f} kB; {files} different files")
        both(paths[:20])
        reading, judged, fit = both(paths * max(1, min(5, logs // files)))
        n = len(paths) * max(1, min(5, logs // files))
        own = cpu_s(lambda: [read_log(path.read_bytes(), path.name) for path in paths[:20]], 3) / 20
        print(f"  CPU ms a log, one process: reading with polars {reading / n * 1e3:.2f}, judging {judged / n * 1e3:.2f}; {fit} of {n} fit")
        print(f"  ratio judging to reading: {judged / reading:.2f} (goal at most 1); our own careful reader {own * 1e3:.1f} ms a log")
        shares = [[paths[i % files] for i in range(w, logs, workers)] for w in range(workers)]
        with ProcessPoolExecutor(workers, get_context("spawn")) as pool:  # a fork would lose polars' threads
            list(pool.map(both, [paths[:20]] * workers))  # the start of the processes is not what is measured
            begin = time.perf_counter()
            done = list(pool.map(both, shares))
            wall = time.perf_counter() - begin
        total = sum(d[0] + d[1] for d in done)
        print(f"  all {logs}, {workers} processes, reading and judging: {wall:.1f} s by the clock, {total:.1f} s of CPU (goal 20 s)")


def main() -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    for name, usual in (("logs", 10_000), ("files", 200), ("rows", 3_600), ("workers", 2)):
        parser.add_argument(f"--{name}", type=int, default=usual)
    told = parser.parse_args()
    print(machine("numpy", "iapws", "coolprop", "polars"))
    steam()
    judging(told.logs, min(told.files, told.logs), told.rows, told.workers)
    return 0


if __name__ == "__main__":
    sys.exit(main())
