"""What each limit of a criteria file means: in words, its unit, and how a value is held against it. No number of the trade stands here."""

from collections.abc import Mapping
from typing import Final, Literal

Compare = Literal[">=", "<=", "inside", "uses"]

# id -> (what is held against it, unit, how); "uses": no limit by itself, other criteria need it.
MEANING: Final[Mapping[str, tuple[str, str, Compare]]] = {
    "band_c": ("hottest reading in the plateau, against the band's upper end", "degC", "inside"),
    "hold_s": ("unbroken hold in the band", "s", ">="),
    "hold_most_s": ("hold, no longer than", "s", "<="),
    "equilibration_s": ("first point at temperature to last point", "s", "<="),
    "spread_k": ("spread of the sensors in the hold", "K", "<="),
    "saturation_k": ("distance from saturated steam in the hold", "K", "<="),
    "fluctuation_k": ("swing of one sensor about its mean in the hold", "K", "<="),
    "reading_interval_s": ("time between readings in the hold", "s", "<="),
    "pulses": ("vacuum pulses before the plateau", "", ">="),
    "pulse_depth_kpa": ("pressure that each pulse asked for goes down to", "kPa", "<="),
    "air_left_share": ("air left after the pulses, if well mixed", "", "<="),
    "heat_up_s": ("last pulse to the plateau", "s", "<="),
    "drying_s": ("drying under vacuum", "s", ">="),
    "drying_below_kpa": ("pressure under which drying counts", "kPa", "uses"),
    "drying_depth_kpa": ("lowest pressure of the drying", "kPa", "<="),
    "leak_kpa_min": ("pressure rise of the leak test", "kPa/min", "<="),
    "leak_settle_s": ("settling before the leak is measured", "s", "uses"),
    "leak_measure_s": ("time over which the leak is measured", "s", ">="),
    "leak_start_kpa": ("pressure at which the leak test begins", "kPa", "<="),
    "leak_temperature_k": ("change of temperature in the leak test", "K", "<="),
    "a0_s": ("A0 of the wet disinfection", "s", ">="),
    "disinfection_c": ("temperature at which the disinfection step is recognised", "degC", "uses"),
    "dose_ml": ("product dosed", "mL", ">="),
    "sensor_temperature_k": ("bound of a temperature reading", "K", "uses"),
    "sensor_pressure_share": ("bound of a pressure reading, share of it", "", "uses"),
    "sensor_pressure_kpa": ("bound of a pressure reading, at least", "kPa", "uses"),
    "sensor_time_share": ("bound of a time span: to 300 s, and above", "", "uses"),
}
PAIRS: Final = ("band_c", "sensor_time_share")
