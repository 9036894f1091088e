"""The criteria that a cycle is judged by, as data: each limit with its value, unit, source and how sure that is.

No number of the trade stands here: they come from a criteria file or a rulebook. What each one means stands in `meaning`.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from fettlebook.errors import Mendable
from fettlebook.science.cycles.log import Sensors
from fettlebook.science.cycles.meaning import MEANING, PAIRS

Sure = Literal["read", "secondary", "memory", "practice", "computed"]
Kind = Literal["steam", "air-removal test", "leak test", "washer"]

NEEDED: Final[Mapping[Kind, tuple[str, ...]]] = {
    "steam": ("band_c", "hold_s", "equilibration_s", "saturation_k", "reading_interval_s"),
    "air-removal test": ("band_c", "hold_s", "equilibration_s", "saturation_k", "reading_interval_s"),
    "leak test": ("leak_kpa_min", "leak_settle_s", "leak_measure_s", "leak_start_kpa", "leak_temperature_k"),
    "washer": ("a0_s", "disinfection_c", "reading_interval_s"),
}
SENSORS: Final = ("sensor_temperature_k", "sensor_pressure_share", "sensor_pressure_kpa", "sensor_time_share")


@dataclass(frozen=True, slots=True)
class Limit:
    """One number, or a pair, with where it comes from. `sure` "memory" shows as unchecked."""

    id: str
    value: tuple[float, ...]
    source: str
    sure: Sure
    note: str = ""

    @property
    def name(self) -> str:
        """What is held against it, in words."""
        return MEANING[self.id][0]

    @property
    def unit(self) -> str:
        """Its unit; empty for a count or a share."""
        return MEANING[self.id][1]


@dataclass(frozen=True, slots=True)
class Criteria:
    """What one kind of cycle must reach.

    Raises
    ------
    Mendable
        A limit that its kind can't do without is missing, has too few numbers, or is none that the judge knows.
    """

    id: str
    name: str
    kind: Kind
    limits: Mapping[str, Limit]
    cycle_type: Literal["B", "N", "S", ""] = ""  # as in EN 13060; empty where it is not one of them

    def __post_init__(self) -> None:
        for key, limit in self.limits.items():
            if key not in MEANING or key != limit.id:
                raise Mendable(f'"{key}" is no limit', where=f"criteria {self.id}", mend=f"There are: {', '.join(MEANING)}.")
            if len(limit.value) != (2 if key in PAIRS else 1):
                need = "a pair [lower, upper]" if key in PAIRS else "one number"
                raise Mendable(f"{key} has {len(limit.value)} numbers", where=f"criteria {self.id}, {key}", mend=f"Give {need}.")
        missing = [key for key in (*NEEDED[self.kind], *SENSORS) if key not in self.limits]
        if missing:
            raise Mendable(
                f"without {', '.join(missing)} a {self.kind} cycle can't be judged",
                where=f"criteria {self.id}",
                mend="Add these limits, or take over those of bundled criteria with based_on.",
            )

    def has(self, key: str) -> bool:
        """Return whether there is such a limit."""
        return key in self.limits

    def number(self, key: str) -> float:
        """Return the number of a limit that is there."""
        return self.limits[key].value[0]

    @property
    def band_c(self) -> tuple[float, float]:
        """The band [degC]."""
        low, high = self.limits["band_c"].value
        return low, high

    def sensors(self) -> Sensors:
        """Return the sensors' bounds that these criteria take for granted where no calibration says better."""
        short, long = self.limits["sensor_time_share"].value
        source = self.limits["sensor_temperature_k"]
        return Sensors(
            self.number("sensor_temperature_k"),
            self.number("sensor_pressure_share"),
            self.number("sensor_pressure_kpa"),
            (short, long),
            source=f"{source.source}{' (unchecked)' if source.sure == 'memory' else ''}",
        )
