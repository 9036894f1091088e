"""A cycle's log as arrays, and how far its sensors may be out."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fettlebook.errors import Finding

Real = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class CycleLog:
    """What a machine or an independent logger wrote during a cycle, in SI units as the trade uses them; nothing mended, nothing left out.

    Parameters
    ----------
    time_s
        Times, shape (n,) [s]; NaN where unreadable; may stand still or run back: the judge names it.
    temperatures_c
        Channel (chamber, drain, load, ...) to temperatures, shape (n,) [degC]; NaN where missing.
    pressure_kpa
        Absolute chamber pressure, shape (n,) [kPa]; None where the log has none.
    ambient_kpa
        The air's pressure where somebody told it [kPa]; None: taken from the log before the air removal begins.
    dose_ml
        Detergent or disinfectant dosed so far, shape (n,) [mL]; None where the log has none.
    findings
        What reading the file found: an error puts the whole log in doubt, a warning is told beside the verdict.
    """

    time_s: Real
    temperatures_c: Mapping[str, Real]
    pressure_kpa: Real | None = None
    ambient_kpa: float | None = None
    dose_ml: Real | None = None
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class Calibration:
    """What a calibration says of one temperature sensor: subtract `offset_k`; then it is right within `within_k` [kelvin]."""

    offset_k: float = 0.0
    within_k: float = 0.5


@dataclass(frozen=True, slots=True)
class Sensors:
    """How far readings may be out, as bounds (about 95 of 100).

    Parameters
    ----------
    temperature_k
        Of each temperature that no calibration names [kelvin].
    pressure_share, pressure_kpa
        Of the pressure: share of the reading, but at least so much [kPa].
    time_share
        Of a time span: share of it up to 300 s, and above.
    calibrated
        Channel to its own calibration.
    pressure_offset_kpa
        What the pressure's calibration says it shows too much [kPa].
    source
        Where these figures come from, for people.
    """

    temperature_k: float
    pressure_share: float
    pressure_kpa: float
    time_share: tuple[float, float]
    calibrated: Mapping[str, Calibration] = field(default_factory=dict)
    pressure_offset_kpa: float = 0.0
    source: str = ""

    def temperature_within_k(self, channels: tuple[str, ...]) -> Real:
        """Return the bound of each channel's temperature, shape (k,) [kelvin]."""
        return np.array([self.calibrated[c].within_k if c in self.calibrated else self.temperature_k for c in channels])

    def pressure_within_kpa(self, pressure_kpa: float) -> float:
        """Return the bound of a pressure [kPa]."""
        return max(self.pressure_share * abs(pressure_kpa), self.pressure_kpa)

    def time_within_s(self, span_s: float) -> float:
        """Return the bound of a time span [s]."""
        return span_s * self.time_share[0 if span_s <= 300.0 else 1]
