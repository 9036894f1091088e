"""A made-up steam cycle for tests: pressure by corner points, temperatures that follow saturation with a lag, noise. Invented.

It serves to show how the judge behaves; what it may say of real cycles is the affair of the simulator, which shares no code with it.
"""

from dataclasses import dataclass, field

import numpy as np

from fettlebook.science.cycles.log import CycleLog
from fettlebook.science.steam import saturation_pressure_kpa, saturation_temperature_c


@dataclass(frozen=True)
class Made:
    """Knobs of a made cycle; a good one as it stands."""

    seed: int = 1
    interval_s: float = 1.0
    ambient_kpa: float = 101.0
    hold_c: float = 135.4
    hold_s: float = 240.0
    lows_kpa: tuple[float, ...] = (12.0, 12.0, 14.0)
    drying_s: float = 600.0
    drying_kpa: float = 6.0
    standby_s: float = 60.0
    noise_k: float = 0.05
    noise_kpa: float = 0.3
    offset_c: dict[str, float] = field(default_factory=dict)  # channel -> what it reads too much
    pressure_plus_kpa: float = 0.0
    lag_s: dict[str, float] = field(default_factory=lambda: {"chamber": 2.0, "drain": 3.5})
    tail_s: float = 60.0

    def log(self) -> CycleLog:
        """Return the log."""
        draw = np.random.default_rng(self.seed)
        hot = float(saturation_pressure_kpa(self.hold_c))
        corners = [(0.0, self.ambient_kpa), (self.standby_s, self.ambient_kpa)]
        for low in self.lows_kpa:
            corners += [(80.0, low), (8.0, low), (50.0, 165.0), (5.0, 165.0)]
        corners += [(220.0, hot), (self.hold_s + 12.0, hot), (75.0, self.ambient_kpa), (100.0, self.drying_kpa + 4)]
        corners += [(self.drying_s, self.drying_kpa), (30.0, self.ambient_kpa), (self.tail_s, self.ambient_kpa)]
        at = np.cumsum([c[0] for c in corners])
        t = np.arange(0.0, at[-1], self.interval_s)
        fine = np.arange(0.0, at[-1] + 1.0, 0.5)
        p_fine = np.interp(fine, at, [c[1] for c in corners])
        steam = saturation_temperature_c(p_fine)
        after = fine > at[len(corners) - 5]
        wall = np.where(after, np.maximum(steam, 100.0 - (fine - at[len(corners) - 5]) / 60.0), steam)
        temps = {}
        for channel, lag in self.lag_s.items():
            y = np.empty_like(wall)
            y[0] = 60.0
            k = 1.0 - np.exp(-0.5 / lag)
            for i in range(1, wall.size):
                y[i] = y[i - 1] + k * (wall[i] - y[i - 1])
            noise = draw.normal(0.0, self.noise_k, t.size)
            temps[channel] = np.round(np.interp(t, fine, y) + noise + self.offset_c.get(channel, 0.0), 2)
        p = np.round(np.interp(t, fine, p_fine) + draw.normal(0.0, self.noise_kpa, t.size) + self.pressure_plus_kpa, 2)
        return CycleLog(t, temps, np.maximum(p, 0.5))


def as_csv(log: CycleLog, heads: tuple[str, ...] = ()) -> str:
    """Return a log as CSV with the plain heads time_s, chamber_c, ..., pressure_kpa, or with others."""
    columns = [log.time_s, *log.temperatures_c.values(), *([] if log.pressure_kpa is None else [log.pressure_kpa])]
    plain = ["time_s", *(f"{c}_c" for c in log.temperatures_c), *([] if log.pressure_kpa is None else ["pressure_kpa"])]
    lines = [",".join(heads or plain), *(",".join(f"{x:.7g}" for x in row) for row in zip(*columns, strict=True))]
    return "\n".join(lines) + "\n"
