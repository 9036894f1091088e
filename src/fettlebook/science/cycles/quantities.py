"""Which unit a log is in: conversions, and which units would make its temperature and pressure belong together.

A wrong unit shows at once: the hottest steam is then 8 K and more away from what its pressure says. Nothing is converted in silence:
what was not told and fits in one way only is told beside the verdict; what fits in none, or only otherwise than told, is asked for.

Sources
-------
[U] 1 bar = 100 kPa, 1 psi = 6.894757 kPa, 1 mmHg = 0.133322 kPa; F = 1.8 C + 32: units. read
[S] Differences of 8 K and more between highest temperature and saturation point at a unit. practice
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from fettlebook.science.cycles.log import Real
from fettlebook.science.cycles.phases import AMBIENT_KPA
from fettlebook.science.cycles.smoothing import middle
from fettlebook.science.steam import LEAST_KPA, MOST_KPA, saturation_temperature_c

PRESSURE_KPA: Final = {
    "kPa": 1.0,
    "bar": 100.0,
    "mbar": 0.1,
    "hPa": 0.1,
    "Pa": 0.001,
    "MPa": 1000.0,
    "psi": 6.894757,
    "mmHg": 0.133322,
}  # [U]
TEMPERATURE: Final = ("C", "F", "K")
WRONG_K: Final = 8.0  # [S]
Reference = Literal["absolute", "gauge"]
REFERENCES: Final[tuple[Reference, ...]] = ("absolute", "gauge")


@dataclass(frozen=True, slots=True)
class Units:
    """Units of a log's temperature and pressure."""

    temperature: str
    pressure: str
    reference: Reference

    def __str__(self) -> str:
        sign = {"C": "degC", "F": "degF", "K": "kelvin"}[self.temperature]
        return f"{sign} and {self.pressure} {self.reference}"


def to_celsius(values: Real, unit: str) -> Real:
    """Return temperatures in degC; `unit` is one of TEMPERATURE [U]."""
    return (values - 32.0) / 1.8 if unit == "F" else values - 273.15 if unit == "K" else values


def to_kpa(values: Real, unit: str, reference: Reference, ambient_kpa: float) -> Real:
    """Return absolute pressures in kPa; `unit` is a key of PRESSURE_KPA [U]; the air's pressure is added to a gauge reading."""
    return values * PRESSURE_KPA[unit] + (ambient_kpa if reference == "gauge" else 0.0)


def hottest_pair(temperature: Real, pressure: Real) -> tuple[float, float, float]:
    """Return the pressure at the log's start, and temperature and pressure at its hottest readings (medians), as logged."""
    both = np.isfinite(temperature) & np.isfinite(pressure)
    t, p = temperature[both], pressure[both]
    if t.size == 0:
        return np.nan, np.nan, np.nan
    hot = np.argpartition(t, -min(t.size, 30))[-min(t.size, 30) :]
    return middle(p[:5]), middle(t[hot]), middle(p[hot])


def fitting_units(start: float, hot_temperature: float, hot_pressure: float, ambient_kpa: float) -> Iterator[tuple[Units, bool]]:
    """Yield the units in which the hottest reading is saturated steam within 8 K, and whether the start is the air's pressure in them.

    `ambient_kpa` is the air's pressure as told, or a usual one: it only serves to recognise a unit.
    """
    for temperature in TEMPERATURE:
        hot_c = float(to_celsius(np.asarray(hot_temperature), temperature))
        if not 100.0 <= hot_c <= 150.0:
            continue
        for pressure in ("kPa", "bar", "mbar", "psi", "MPa", "mmHg"):
            for reference in REFERENCES:
                plus = ambient_kpa if reference == "gauge" else 0.0
                kpa = hot_pressure * PRESSURE_KPA[pressure] + plus
                if not LEAST_KPA <= kpa <= MOST_KPA or abs(hot_c - saturation_temperature_c(kpa)) > WRONG_K:
                    continue
                begin = start * PRESSURE_KPA[pressure]
                fits = AMBIENT_KPA[0] <= begin <= AMBIENT_KPA[1] if reference == "absolute" else abs(begin) <= 5.0
                yield Units(temperature, pressure, reference), fits
