"""What a small steam sterilizer is told to do, and what its chamber, steam and sensors are like."""

from dataclasses import dataclass, field
from typing import Final


@dataclass(frozen=True, slots=True)
class Program:
    """A cycle: evacuations to `lows_kpa`, steam to `highs_kpa` between them, hold at `set_c` for `hold_s`, drying under vacuum."""

    name: str
    set_c: float
    hold_s: float
    lows_kpa: tuple[float, ...]
    highs_kpa: tuple[float, ...]
    dry_s: float = 480.0
    dry_kpa: float = 6.0


@dataclass(frozen=True, slots=True)
class Machine:
    """The chamber on one day. `load_lag_s` is how far the load's innermost sensor lags, `gas_share` non-condensable gas in the steam."""

    ambient_kpa: float = 101.3
    pump_s: float = 38.0  # time constant of the vacuum pump
    steam_kpa_min: float = 95.0  # pressure rise with a cold load
    wall_c: float = 118.0
    load_lag_s: float = 4.0
    superheat_k: float = 0.0
    gas_share: float = 0.0  # share of the total pressure that is gas, reached slowly over the hold
    standby_s: float = 20.0
    ripple_k: float = 0.25
    steam_lost: tuple[float, float] = (0.0, 0.0)  # from, for so long, seconds of the hold


@dataclass(frozen=True, slots=True)
class Sensing:
    """What the sensors and the recorder do: noise, steps of the readings, and errors by column."""

    noise_k: float = 0.03
    noise_kpa: float = 0.2
    step_k: float = 0.1
    step_kpa: float = 0.1
    every_s: float = 1.0
    offset_k: dict[str, float] = field(default_factory=dict)


PROGRAMS: Final = {
    "134": Program("134", 135.3, 225.0, (13.0, 12.0, 12.0, 11.0), (170.0, 175.0, 180.0)),
    "121": Program("121", 122.3, 960.0, (13.0, 12.0, 12.0, 11.0), (150.0, 150.0, 150.0)),
}
