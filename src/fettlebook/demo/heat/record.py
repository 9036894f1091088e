"""What the recorder writes of a run: columns by sensor, sampled, with noise and steps; as arrays and as CSV."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from fettlebook.demo.heat.chamber import STEP_S, Run, lagging
from fettlebook.demo.heat.program import Sensing

Floats = NDArray[np.float64]
TEMPERATURES: Final = ("chamber_c", "drain_c", "load_c")


@dataclass(frozen=True, slots=True)
class MadeLog:
    """A log, and what was really done. `pressure_kpa` absolute; `header` as it stands above the columns of the CSV."""

    fault: str
    program: str
    seed: int
    time_s: Floats
    columns: dict[str, Floats]
    ambient_kpa: float
    phase: tuple[str, ...]
    header: tuple[str, ...] = ("time_s", *TEMPERATURES, "pressure_kpa")

    def keep(self, rows: NDArray[np.bool_] | NDArray[np.intp]) -> "MadeLog":
        """Return the log with these rows only."""
        at = np.arange(self.time_s.size)[rows]
        return replace(
            self, time_s=self.time_s[at], columns={n: c[at] for n, c in self.columns.items()}, phase=tuple(self.phase[i] for i in at)
        )

    def within(self, phase: str) -> NDArray[np.intp]:
        """Return the rows of a phase."""
        return np.flatnonzero(np.array([p == phase for p in self.phase]))


def recorded(run: Run, sensing: Sensing, rng: np.random.Generator, *, fault: str, seed: int) -> MadeLog:
    """Return what the recorder wrote of a run."""
    gas, pressure = np.array(run.gas), np.array(run.pressure)
    lag = run.machine.load_lag_s
    true = {"chamber_c": lagging(gas, 1.2), "drain_c": lagging(gas - 0.15, 2.5), "load_c": lagging(gas - 0.1, lag)}
    rows = np.arange(0, gas.size, max(1, round(sensing.every_s / STEP_S)))
    columns = {}
    for name in TEMPERATURES:
        value = true[name][rows] + sensing.offset_k.get(name, 0.0) + rng.normal(0.0, sensing.noise_k, rows.size)
        columns[name] = np.round(value / sensing.step_k) * sensing.step_k
    noisy = pressure[rows] + rng.normal(0.0, sensing.noise_kpa, rows.size)
    columns["pressure_kpa"] = np.round(noisy / sensing.step_kpa) * sensing.step_kpa
    phases = tuple(run.phase[i] for i in rows)
    return MadeLog(fault, run.program.name, seed, np.asarray(rows * STEP_S, dtype=np.float64), columns, run.machine.ambient_kpa, phases)


def as_csv(log: MadeLog) -> str:
    """Return the log as CSV. The first line says that it is invented."""
    lines = [f"# invented: program {log.program}, fault {log.fault}, seed {log.seed}", ",".join(log.header)]
    values = [log.columns[name] for name in (*TEMPERATURES, "pressure_kpa")]
    lines += [",".join([f"{t:g}", *(f"{column[i]:.3f}".rstrip("0").rstrip(".") for column in values)]) for i, t in enumerate(log.time_s)]
    return "\n".join(lines) + "\n"
