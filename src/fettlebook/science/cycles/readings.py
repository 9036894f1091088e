"""The usable readings of a log: rows that have time, all temperatures and the pressure, in an order in which time increases."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fettlebook.science.cycles.clock import Clock, read_clock
from fettlebook.science.cycles.criteria import Criteria
from fettlebook.science.cycles.log import CycleLog, Flags, Real, Sensors
from fettlebook.science.cycles.smoothing import middle

USUAL_GAP: Final = 2.5  # so many usual intervals without a reading, and it is a gap outside the hold too


@dataclass(frozen=True, slots=True)
class Readings:
    """Usable rows of a log, calibrated.

    `t` (n,) strictly increasing [s]; `temps` (k, n) [degC] of `channels`; `pressure_kpa` (n,) absolute, or None; `within_k` (k,) bounds
    of the temperatures; `usual_s`: usual time between readings; `gap`: the time before a reading is too long for the hold, or not
    known; `long_gap`: also too long elsewhere.
    `left_out` rows lack a reading.
    """

    t: Real
    temps: Real
    channels: tuple[str, ...]
    pressure_kpa: Real | None
    within_k: Real
    usual_s: float
    gap: Flags
    long_gap: Flags
    clock: Clock
    left_out: int

    def part(self, begin: int, end: int) -> "Readings":
        """Return the readings from `begin` to `end`, both included."""
        cut = slice(begin, end + 1)
        pressure = None if self.pressure_kpa is None else self.pressure_kpa[cut]
        return replace(self, t=self.t[cut], temps=self.temps[:, cut], pressure_kpa=pressure, gap=self.gap[cut], long_gap=self.long_gap[cut])


def usable_readings(log: CycleLog, criteria: Criteria, sensors: Sensors, *, pressure: bool = True) -> Readings:
    """Return the usable readings of a log; channels without a single reading are left out, and so is a pressure that has none.

    `pressure`: whether the pressure is wanted; else a row counts without it.
    """
    channels = tuple(c for c, v in log.temperatures_c.items() if np.isfinite(v).any())
    p = log.pressure_kpa if pressure and log.pressure_kpa is not None and np.isfinite(log.pressure_kpa).any() else None
    n = log.time_s.size
    temps = np.array([log.temperatures_c[c] for c in channels], np.float64).reshape(len(channels), n)
    offsets = np.array([sensors.calibrated[c].offset_k if c in sensors.calibrated else 0.0 for c in channels])
    usable: Flags = np.asarray(np.isfinite(temps).all(axis=0), np.bool_)
    if p is not None:
        usable &= np.isfinite(p)
    clock = read_clock(log.time_s, usable)
    rows = clock.rows
    if rows.size < n or clock.shuffled:
        temps, p = temps[:, rows], None if p is None else p[rows]
    steps = clock.time_s[1:] - clock.time_s[:-1]
    usual = middle(steps) if steps.size else 1.0
    most = criteria.number("reading_interval_s") if criteria.has("reading_interval_s") else 0.0
    return Readings(
        t=clock.time_s,
        temps=temps - offsets[:, np.newaxis] if sensors.calibrated else temps,
        channels=channels,
        pressure_kpa=p if p is None or not sensors.pressure_offset_kpa else p - sensors.pressure_offset_kpa,
        within_k=sensors.temperature_within_k(channels),
        usual_s=usual,
        gap=_longer(steps, most, clock),
        long_gap=_longer(steps, max(most, USUAL_GAP * usual), clock),
        clock=clock,
        left_out=int(n - np.count_nonzero(usable & np.isfinite(log.time_s))),
    )


def _longer(steps: Real, most_s: float, clock: Clock) -> Flags:
    """Return of each reading whether the time before it is longer than allowed, or not known."""
    out = clock.broken.copy()
    if steps.size:
        out[1:] |= steps > most_s * 1.001
    return out
