"""This machine against its own past cycles: a point outside its usual range, or a slow drift, shows weeks before a criterion fails.

Remarks only: a cycle that meets its criteria is not failed by them.

Sources
-------
[S] Individuals chart (Shewhart): mean +- 2.66 times the mean moving range. memory
[E] Exponentially weighted moving average, weight 0.2: limits +- 3 sigma sqrt(0.2/1.8), sigma = mean moving range/1.128. memory
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

FEWEST: Final = 8  # fewer past cycles make no chart
WEIGHT: Final = 0.2  # [E]
# what is charted: in words, its unit, and the smallest change worth a word (below it a steady machine would cry wolf)
CHARTED: Final[Mapping[str, tuple[str, str, float]]] = {
    "plateau_mean_c": ("hold temperature", "degC", 0.2),
    "heat_up_s": ("heat-up time", "s", 10.0),
    "deepest_pulse_kpa": ("deepest pulse", "kPa", 0.5),
    "shallowest_pulse_kpa": ("shallowest pulse", "kPa", 0.5),
    "saturation_offset_k": ("distance from saturated steam", "K", 0.2),
    "drying_lowest_kpa": ("lowest pressure of the drying", "kPa", 0.5),
    "exhaust_s": ("exhaust time", "s", 5.0),
    "leak_kpa_min": ("pressure rise of the leak test", "kPa/min", 0.01),
    "a0_hold_s": ("A0 of the hold", "s", 50.0),
}


@dataclass(frozen=True, slots=True)
class Chart:
    """One quantity of this cycle on its control chart: usual mean and range, the moving average with this cycle, and what is odd."""

    key: str
    name: str
    unit: str
    value: float
    mean: float
    low: float
    high: float
    average: float
    average_low: float
    average_high: float
    past: tuple[float, ...]

    @property
    def odd(self) -> str:
        """What is odd, in words; empty where nothing is."""
        if not self.low <= self.value <= self.high:
            return f"{self.name} {self.value:.4g} {self.unit}, usually {self.low:.4g} to {self.high:.4g} ({len(self.past)} cycles)"
        if not self.average_low <= self.average <= self.average_high:
            way = "up" if self.average > self.mean else "down"
            return f"{self.name} drifts {way}: average of late {self.average:.4g} {self.unit}, before {self.mean:.4g}"
        return ""


def against_past(values: Mapping[str, float], past: Sequence[Mapping[str, float]]) -> tuple[Chart, ...]:
    """Return this cycle's charted quantities against past cycles, oldest first; none where fewer than 8 cycles tell of them.

    The centre and the range come from the first two thirds of the past (at least 8), so that a drift doesn't become the norm it is
    measured by; the moving average runs over all of it and this cycle.
    """
    charts = []
    for key, (name, unit, least) in CHARTED.items():
        seen = [p[key] for p in past if key in p and math.isfinite(p[key])]
        if key not in values or not math.isfinite(values[key]) or len(seen) < FEWEST:
            continue
        base = seen[: max(FEWEST, 2 * len(seen) // 3)]
        mean = math.fsum(base) / len(base)
        moving = math.fsum(abs(b - a) for a, b in pairwise(base)) / (len(base) - 1)
        reach = max(2.66 * moving, least)  # [S]
        average = mean
        for v in [*seen, values[key]]:
            average += WEIGHT * (v - average)
        slow = max(3.0 * moving / 1.128 * math.sqrt(WEIGHT / (2.0 - WEIGHT)), least / 2.0)  # [E]
        charts.append(Chart(key, name, unit, values[key], mean, mean - reach, mean + reach, average, mean - slow, mean + slow, tuple(seen)))
    return tuple(charts)
