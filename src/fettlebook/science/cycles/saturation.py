"""The plateau held against saturated steam: each thermometer against the temperature that belongs to the pressure.

Colder means air or gas in the steam, or a wrong instrument; hotter means superheat, or a wrong instrument. Which of them it is, one log
doesn't say: the candidates are named. Only mixed air shows, and only from about 6 % at 2 K; a pocket in a hollow load never does.

Sources
-------
[W] Sides and candidates as the test engineers' guidance reasons: both sensors off alike point at the steam or the gauge, one at the
    sensor. practice
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fettlebook.science.cycles.criteria import Criteria
from fettlebook.science.cycles.log import Real, Sensors
from fettlebook.science.cycles.outcome import Outcome, evidence, weigh
from fettlebook.science.cycles.plateau import Plateau
from fettlebook.science.cycles.readings import Readings
from fettlebook.science.cycles.smoothing import mean3, median3, middle
from fettlebook.science.steam import LEAST_KPA, MOST_KPA, air_share, saturation_temperature_c

DRIFT_REMARK_K_MIN: Final = 0.15  # so fast a drift against saturation is worth a remark [W]


@dataclass(frozen=True, slots=True)
class AgainstSteam:
    """Distances from saturation in the plateau [kelvin], each of three readings' mean; `within_k` is what the instruments can say."""

    lowest_k: float
    highest_k: float
    mean_k: float
    drift_k_min: float
    within_k: float
    air_share: float  # share of mixed air that would explain the coldest of it; 0 where nothing is colder
    outcomes: tuple[Outcome, ...]
    remarks: tuple[str, ...]


def against_steam(r: Readings, pl: Plateau, criteria: Criteria, s: Sensors) -> AgainstSteam | None:
    """Return the plateau against saturation; None without a pressure or without readings after the equilibration time."""
    begin, end = pl.settled, pl.end
    if r.pressure_kpa is None or begin < 0 or end - begin < 2:
        return None
    t, temps = r.t, median3(r.temps[:, begin : end + 1])
    p = np.clip(median3(r.pressure_kpa[begin : end + 1]), 1.0, MOST_KPA)
    apart = mean3(temps - saturation_temperature_c(p))
    level = middle(p)
    pressure_k = saturation_temperature_c(level) - saturation_temperature_c(
        max(LEAST_KPA, level - s.pressure_within_kpa(level))
    )  # the steeper side
    within = np.sqrt(r.within_k**2 + pressure_k**2)
    limit = criteria.limits["saturation_k"]
    out: list[Outcome] = []
    for sign, most, key in ((-1.0, apart.argmin(), "below_saturation_k"), (1.0, apart.argmax(), "above_saturation_k")):
        who, at = divmod(int(most), apart.shape[1])
        value, w = max(0.0, sign * float(apart[who, at])), float(within[who])
        why = ""
        if value + w > limit.value[0]:
            why = _alone(r.channels, who, sign * apart.mean(axis=1), limit.value[0]) if value > limit.value[0] else ""
            why = why or _candidates(sign, r.channels[who], float(temps[who, at + 1]), float(p[at + 1]))
        side = "colder than saturated steam" if sign < 0 else "hotter than saturated steam"
        o = weigh(limit, value, max(0.0, value - w), value + w, moment_s=float(t[begin + at + 1]), why=why)
        out.append(replace(o, id=key, name=side))
    drift = _slope_min(t[begin + 1 : begin + 1 + apart.shape[1]], apart.mean(axis=0))
    total = abs(drift) * float(t[end] - t[begin]) / 60.0
    moved = float(within.max())
    why = (
        f"sensors and pressure drift apart by {total:.2f} K in the hold, more than their uncertainty of {moved:.2f} K"
        if total > moved
        else ""
    )
    out.append(evidence("saturation_drift", "instruments agree throughout", why, moment_s=float(t[begin])))
    remarks = (
        (f"Drifts against saturation by {drift:+.2f} K a minute: an instrument, or gas that gathers.",)
        if abs(drift) > DRIFT_REMARK_K_MIN and not why
        else ()
    )
    coldest = float(np.clip(middle(temps.min(axis=0)), 1.0, 373.0))
    return AgainstSteam(
        float(apart.min()), float(apart.max()), float(apart.mean()), drift, moved, float(air_share(coldest, level)), tuple(out), remarks
    )


def _slope_min(t: Real, y: Real) -> float:
    """Return the slope of a straight line through readings, per minute."""
    if t.size < 3:
        return 0.0
    x = t - t.mean()
    return float(np.dot(x, y) / np.dot(x, x)) * 60.0


def _alone(channels: tuple[str, ...], who: int, means: Real, limit: float) -> str:
    others = np.delete(means, who)
    if others.size and float(others.max()) < 0.5 * limit:
        return f"only {channels[who]} is off: look at that sensor and what is around it first"
    return ""


def _candidates(sign: float, name: str, temperature_c: float, pressure_kpa: float) -> str:
    if sign > 0:
        return f"{name} is superheated, or it reads too high, or the pressure reads too low: check both against a reference"
    share = float(air_share(float(np.clip(temperature_c, 1.0, 373.0)), pressure_kpa))
    return (
        f"{name}: air or gas in the steam (about {100 * share:.1f} % if mixed), or it reads too low, or the pressure reads too high: "
        "leak test and air-removal test, then both instruments against a reference"
    )
