"""The chamber second by second: pressure, how much of it is air, and what the steam's temperature is.

Air is mixed with the steam: a pump takes both in their shares, steam comes in without air. Steam has the temperature that
belongs to its own part of the pressure (Dalton), so air left behind makes it colder than the pressure says. Under vacuum the
gas warms at the walls. The load condenses steam, so pressure rises more slowly while it is cold.
"""

from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from fettlebook.demo.heat.program import Machine, Program
from fettlebook.science.steam import saturation_pressure_kpa, saturation_temperature_c

Floats = NDArray[np.float64]
STEP_S: Final = 0.5
LEAST_KPA: Final = 0.8
MOST_S: Final = 7_200.0  # no phase takes longer
RIPPLE_S: Final = 42.0

_P = np.linspace(LEAST_KPA, 500.0, 8_000)
_T = saturation_temperature_c(_P)


def boiling_c(pressure_kpa: float) -> float:
    """Return the saturation temperature from a fine table: this is asked for each half second."""
    return float(np.interp(pressure_kpa, _P, _T))


@dataclass
class Run:
    """A cycle as it happens: time, total pressure, temperature of the gas, and which phase."""

    program: Program
    machine: Machine
    time: list[float] = field(default_factory=list)
    pressure: list[float] = field(default_factory=list)
    gas: list[float] = field(default_factory=list)
    phase: list[str] = field(default_factory=list)
    p: float = 0.0
    air: float = 0.0
    warm: float = 45.0
    load: float = 25.0

    def __post_init__(self) -> None:
        self.p = self.air = self.machine.ambient_kpa
        self.warm = self.machine.wall_c - 55.0

    def whole(self, stop_in: str = "") -> "Run":
        """Run the program; with `stop_in` the power of the machine's mind fails in that phase, and air is let in."""
        m, program = self.machine, self.program
        self._rest("standby", m.standby_s)
        for i, low in enumerate(program.lows_kpa):
            self._evacuate("air removal", low)
            if i < len(program.highs_kpa):
                self._admit("air removal", program.highs_kpa[i])
        target = saturation_pressure_kpa(program.set_c) + self.air
        if stop_in == "heating":
            self._admit("heating", 0.55 * target)
            return self._give_up()
        self._admit("heating", target)
        hold = program.hold_s * (0.4 if stop_in == "plateau" else 1.0)
        self._hold(hold)
        if stop_in == "plateau":
            return self._give_up()
        self._exhaust("exhaust", m.ambient_kpa * 1.05)
        if stop_in == "drying":
            self._evacuate("drying", 30.0)
            return self._give_up()
        self._dry()
        self._let_air_in()
        self._rest("end", 20.0)
        return self

    def _give_up(self) -> "Run":
        self._exhaust("exhaust", self.machine.ambient_kpa)
        self._let_air_in()
        self._rest("end", 20.0)
        return self

    def _tell(self, phase: str, gas: float) -> None:
        self.time.append(len(self.time) * STEP_S)
        self.pressure.append(self.p)
        self.gas.append(gas)
        self.phase.append(phase)

    def _gas(self) -> float:
        """Return what the gas is like: steam at its own pressure, warmed by the walls the thinner it is."""
        steam = max(self.p - self.air, LEAST_KPA)
        boiling = boiling_c(steam)
        share = steam / self.p
        if share < 0.5:  # mostly air: it has the walls' warmth
            goal = self.warm
        else:
            thin = float(np.clip((90.0 - self.p) / 85.0, 0.0, 1.0))
            goal = boiling + 0.55 * thin * max(self.machine.wall_c - 25.0 - boiling, 0.0)
            self.load += (boiling - self.load) * STEP_S / 60.0
        self.warm += (goal - self.warm) * (STEP_S / (1.5 if share >= 0.5 and self.p > 60.0 else 12.0))
        return self.warm + (self.machine.superheat_k if share >= 0.5 and self.p > 150.0 else 0.0)

    def _rest(self, phase: str, seconds: float) -> None:
        for _ in range(int(seconds / STEP_S)):
            self._tell(phase, self._gas())

    def _evacuate(self, phase: str, low: float) -> None:
        deepest = 0.75 * low
        for _ in range(int(MOST_S / STEP_S)):
            if self.p <= low:
                return
            before = self.p
            self.p += (deepest - self.p) * STEP_S / self.machine.pump_s
            self.air *= self.p / before
            self._tell(phase, self._gas())

    def _admit(self, phase: str, high: float) -> None:
        for _ in range(int(MOST_S / STEP_S)):
            if self.p >= high:
                return
            cold = 0.45 if self.load < 90.0 else 1.0
            near = float(np.clip((high - self.p) / 25.0, 0.25, 1.0))
            self.p = min(high, self.p + self.machine.steam_kpa_min * cold * near * STEP_S / 60.0)
            self._tell(phase, self._gas())

    def _hold(self, seconds: float) -> None:
        m = self.machine
        start, lost = m.steam_lost
        air, sink = self.air, 0.0
        for i in range(int(seconds / STEP_S)):
            at = i * STEP_S
            sink = sink + 3.2 / 30.0 * STEP_S if start < at < start + lost else max(0.0, sink - 0.35 * STEP_S)
            steam = float(saturation_pressure_kpa(self.program.set_c + m.ripple_k * np.sin(2 * np.pi * at / RIPPLE_S) - sink))
            self.air = max(air, m.gas_share / (1.0 - m.gas_share) * steam * min(1.0, at / 40.0))
            # the machine regulates its pressure, so gas takes the place of steam
            goal = float(saturation_pressure_kpa(self.program.set_c)) + air - (float(saturation_pressure_kpa(self.program.set_c)) - steam)
            self.p += (goal - self.p) * STEP_S / 2.0
            self._tell("plateau", self._gas())

    def _exhaust(self, phase: str, end: float) -> None:
        for _ in range(int(MOST_S / STEP_S)):
            if self.p <= end:
                return
            before = self.p
            self.p += (0.9 * end - self.p) * STEP_S / 22.0
            self.air *= self.p / before
            self._tell(phase, self._gas())

    def _dry(self) -> None:
        start = len(self.time)
        if self.program.dry_s <= 0.0:
            return
        self._evacuate("drying", self.program.dry_kpa * 1.4)
        while (len(self.time) - start) * STEP_S < self.program.dry_s:
            before = self.p
            self.p += (self.program.dry_kpa - self.p) * STEP_S / self.machine.pump_s
            self.air *= self.p / before
            self._tell("drying", self._gas())

    def _let_air_in(self) -> None:
        while self.p < 0.99 * self.machine.ambient_kpa:
            before = self.p
            self.p += (self.machine.ambient_kpa - self.p) * STEP_S / 9.0
            self.air += self.p - before
            self._tell("air in", self._gas())
        self.p = self.machine.ambient_kpa


def lagging(signal: Floats, seconds: float) -> Floats:
    """Return what a sensor of first order makes of a signal given each `STEP_S`."""
    share = 1.0 - np.exp(-STEP_S / max(seconds, 1e-6))
    out = np.empty_like(signal)
    value = signal[0]
    for i, now in enumerate(signal):
        value += (now - value) * share
        out[i] = value
    return out
