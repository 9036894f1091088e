"""Drying: how long and how deep the vacuum was after the exhaust, and whether water may still boil. Dry itself a log can't show.

Sources
-------
[B] Water that is left boils at the pressure's boiling point and holds load and pressure there: IF97 (`steam`) and physics. practice
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from fettlebook.science.cycles.criteria import Criteria
from fettlebook.science.cycles.log import Sensors
from fettlebook.science.cycles.outcome import Outcome, evidence, weigh
from fettlebook.science.cycles.phases import SteamPhases
from fettlebook.science.cycles.readings import Readings
from fettlebook.science.cycles.smoothing import middle
from fettlebook.science.steam import saturation_temperature_c

WET_K: Final = 2.0  # a load no hotter than this above the boiling point may still be boiling [B]
SHALLOWER_KPA: Final = 10.0  # the pump went deeper before: now something feeds the vacuum, most likely water


@dataclass(frozen=True, slots=True)
class Drying:
    """Seconds under vacuum, its lowest pressure [kPa], and what follows."""

    drying_s: float
    lowest_kpa: float
    outcomes: tuple[Outcome, ...]


def judge_drying(r: Readings, ph: SteamPhases, criteria: Criteria, s: Sensors) -> Drying | None:
    """Return the drying; None where the criteria ask for none, or there is no pressure or no exhaust to see it by."""
    if r.pressure_kpa is None or not criteria.has("drying_s") or not criteria.has("drying_below_kpa") or ph.hot_to < ph.hot_from:
        return None
    limit, below = criteria.limits["drying_s"], criteria.number("drying_below_kpa")
    t, p = r.t[ph.exhausted :], ph.smooth_kpa[ph.exhausted :]
    spans = t[1:] - t[:-1]
    both = np.maximum(p[:-1], p[1:])
    counted, within = ~r.long_gap[ph.exhausted + 1 :], s.pressure_within_kpa(below)
    dried = float(spans[(both <= below) & counted].sum())
    low = float(spans[(both <= below - within) & counted].sum())
    high = float(spans[both <= below + within].sum())
    short = ph.cut_off or not ph.ends
    slack = s.time_within_s(dried)
    out = [weigh(limit, dried, max(0.0, low - slack), high + slack, moment_s=float(t[0]), why="too short", may_change=short)]
    if p.size == 0:
        return Drying(dried, float("nan"), tuple(out))
    lowest = float(p.min())
    if criteria.has("drying_depth_kpa"):
        w = s.pressure_within_kpa(lowest)
        depth = criteria.limits["drying_depth_kpa"]
        out.append(
            weigh(depth, lowest, lowest - w, lowest + w, moment_s=float(t[int(np.argmin(p))]), why="not deep enough", may_change=short)
        )
    out += [] if short else _wet(r, ph, below, lowest)
    return Drying(dried, lowest, tuple(out))


def _wet(r: Readings, ph: SteamPhases, below: float, lowest: float) -> list[Outcome]:
    deep = (ph.smooth_kpa[ph.exhausted :] <= below).nonzero()[0]
    deepest = min((e.low_kpa for e in ph.evacuations), default=np.inf)
    why, moment = "", None
    if lowest > deepest + SHALLOWER_KPA:
        moment = float(r.t[ph.exhausted])
        why = f"the vacuum reached {lowest:.1f} kPa, before the plateau {deepest:.1f} kPa: water still boils off, or air leaks in"
    elif deep.size and "load" in r.channels:
        end = ph.exhausted + int(deep[-1])
        tail = slice(max(ph.exhausted, end - 4), end + 1)
        load = middle(r.temps[r.channels.index("load"), tail])
        boils = float(saturation_temperature_c(max(0.7, middle(ph.smooth_kpa[tail]))))
        if load <= boils + WET_K:
            moment = float(r.t[end])
            why = f"the load is at {load:.0f} degC at the end of the drying, where water boils ({boils:.0f} degC): it may be wet"
    return [evidence("wet", "no sign of water after the drying", why, moment_s=moment)]
