"""The plateau: when all sensors are at temperature, how long they stay in the band, how far apart they are, how much each swings.

A hold is proven where every sensor, with its bound taken off, stays in the band between readings that are close enough together; it is
ruled out where even the most favourable reading of the sensors leaves it too short. In between it is unproven.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fettlebook.science.cycles.criteria import Criteria
from fettlebook.science.cycles.log import Real, Sensors
from fettlebook.science.cycles.outcome import Outcome, Verdict, evidence, times, weigh
from fettlebook.science.cycles.phases import SteamPhases
from fettlebook.science.cycles.readings import Readings
from fettlebook.science.cycles.smoothing import median3, median5, middle
from fettlebook.science.lethality import longest_stretch

WILD_K: Final = 1.5  # so far from the median of three, and it is a lone wild reading: forgiven, but counted
WILD_SHARE: Final = 0.02  # more of them than this, and the sensor itself is in doubt


@dataclass(frozen=True, slots=True)
class Plateau:
    """Readings of the plateau; indices count from the log's first usable row.

    `reached` is the first reading with all sensors at temperature, `settled` the first one after the equilibration time allowed,
    `end` the last one before the pressure falls; -1 where there is none. `hold` is first and last index of the longest stretch.
    """

    reached: int
    settled: int
    end: int
    equilibration_s: float | None
    equilibration_within_s: float
    hold_s: float
    hold_sure_s: float
    hold_at_most_s: float
    hold: tuple[int, int]
    lowest_c: float
    hottest_c: float
    hottest_at: int
    left_band: int  # how often any sensor left the band between `reached` and `end`
    left_at: int
    wild: int


def find_plateau(r: Readings, ph: SteamPhases, criteria: Criteria) -> Plateau:
    """Return the plateau of a cycle."""
    t, temps = r.t, r.temps
    low, high = criteria.band_c
    begin = ph.heat_from
    end = ph.hot_to if ph.hot_to >= ph.hot_from else t.size - 1
    within = r.within_k[:, np.newaxis]
    part = temps[:, begin : end + 1]
    calm = median3(part)
    coldest, hottest = calm.min(axis=0), calm.max(axis=0)
    calmer = median5(part)
    inside = (coldest >= low) & (hottest <= high)
    sure = inside & ((calmer - within).min(axis=0) >= low) & ((calmer + within).max(axis=0) <= high)
    maybe = ((calm + within).min(axis=0) >= low) & ((calm - within).max(axis=0) <= high)
    at, breaks = t[begin : end + 1], r.gap[begin : end + 1]
    held, first, last = longest_stretch(at, inside, breaks)
    held_sure = longest_stretch(at, sure, breaks)[0]
    held_at_most = longest_stretch(at, maybe, np.zeros(at.size, np.bool_))[0]
    hot_any, hot_all = (hottest >= low).nonzero()[0], (coldest >= low).nonzero()[0]
    if hot_all.size == 0:
        top = int(np.argmax(coldest))
        return Plateau(
            -1, -1, begin + end - begin, None, 0.0, held, 0.0, held_at_most, (begin, begin - 1),
            float(coldest[top]), float(hottest.max()), begin + int(np.argmax(hottest)), 0, -1, 0,
        )  # fmt: skip
    one, all_ = int(hot_any[0]), int(hot_all[0])
    allowed = int(np.searchsorted(at, at[one] + criteria.number("equilibration_s")))
    settled = min(max(all_, allowed), at.size - 1)
    after = coldest[all_:]
    away = ~inside[all_:]
    left = (away[1:] & ~away[:-1]).nonzero()[0]
    return Plateau(
        reached=begin + all_,
        settled=begin + settled,
        end=end,
        equilibration_s=float(at[all_] - at[one]) if len(r.channels) > 1 else None,
        equilibration_within_s=_equilibration_within(at, calm, all_, settled) if len(r.channels) > 1 else 0.0,
        hold_s=held,
        hold_sure_s=held_sure,
        hold_at_most_s=held_at_most,
        hold=(begin + first, begin + last),
        lowest_c=float(after.min()),
        hottest_c=float(hottest[all_:].max()),
        hottest_at=begin + all_ + int(np.argmax(hottest[all_:])),
        left_band=int(left.size),
        left_at=begin + all_ + int(left[0]) + 1 if left.size else -1,
        wild=int(np.count_nonzero(np.abs(part - calm)[:, all_:] > WILD_K)),
    )


def _equilibration_within(at: Real, calm: Real, reached: int, settled: int) -> float:
    """Return how far the equilibration time may be out [s]: an interval, and what the sensors' steady difference makes of it."""
    late = calm[:, settled:]
    apart = float(np.ptp(late[:, late.shape[1] // 2 :].mean(axis=1)))
    before = max(0, int(np.searchsorted(at, at[reached] - 10.0)))
    span = float(at[reached] - at[before])
    rise = float(calm.min(axis=0)[reached] - calm.min(axis=0)[before])
    interval = float(at[reached] - at[reached - 1]) if reached else 0.0
    return interval + (apart * span / rise if rise > 0.0 else 0.0)


def plateau_outcomes(r: Readings, ph: SteamPhases, pl: Plateau, criteria: Criteria, s: Sensors) -> list[Outcome]:
    """Return what the plateau says to band, hold, equilibration, spread, swing and reading interval."""
    t, temps = r.t, r.temps
    out: list[Outcome] = []
    out.append(_held(r, ph, pl, criteria, s))
    if pl.reached < 0 or r.pressure_kpa is None:
        return out  # nothing else can be told without a plateau, and without a pressure its end isn't known
    if criteria.has("hold_most_s"):
        most = criteria.limits["hold_most_s"]
        slack = s.time_within_s(pl.hold_s)
        why = "a longer hold hides air that was left"
        out.append(weigh(most, pl.hold_s, pl.hold_sure_s - slack, pl.hold_s + slack, moment_s=float(t[pl.hold[1]]), why=why))
    out.append(_too_hot(r, pl, criteria))
    left = f"a sensor left the band {times(pl.left_band)} before the pressure fell: its control lost it" if pl.left_band else ""
    out.append(evidence("left_band", "stays in the band", left, moment_s=float(t[pl.left_at]) if left else None, count=float(pl.left_band)))
    out += _at_once(r, pl, criteria)
    out.append(_interval(t, pl, criteria))
    if pl.wild:
        share = pl.wild / max(1, temps[:, pl.reached : pl.end + 1].size)
        why = f"{pl.wild} lone readings are far off: the sensor or its plug" if share > WILD_SHARE else ""
        out.append(evidence("wild_readings", "few wild readings", why, moment_s=float(t[pl.reached]), count=float(pl.wild)))
    return out


def _held(r: Readings, ph: SteamPhases, pl: Plateau, criteria: Criteria, s: Sensors) -> Outcome:
    """Return the hold: what is proven of it, and what the most favourable reading of the sensors would allow."""
    limit = criteria.limits["hold_s"]
    slack = s.time_within_s(pl.hold_s)
    sure = max(0.0, min(pl.hold_sure_s, pl.hold_s) - slack)
    moment = float(r.t[pl.hold[0]]) if pl.hold[1] >= pl.hold[0] else float(r.t[pl.hottest_at])
    short = ph.cut_off or r.pressure_kpa is None  # what is missing may have followed
    o = weigh(limit, pl.hold_s, sure, max(pl.hold_at_most_s, pl.hold_s) + slack, moment_s=moment, may_change=ph.cut_off)
    if o.verdict == "fit":
        return o
    asked = f"asked: {limit.value[0]:.0f} s"
    if pl.reached < 0:
        why = f"not all sensors together reached the band from {criteria.band_c[0]:g} degC; the coldest came to {pl.lowest_c:.1f} degC"
    elif o.verdict == "unfit" or (short and pl.hold_s < limit.value[0]):
        why = f"{pl.hold_s:.0f} s, {asked}{_broken(r, pl)}"
    else:
        why = f"{pl.hold_s:.0f} s by the readings, but {sure:.0f} s are proven, {asked}{_broken(r, pl) or _margin(r, pl, criteria)}"
    return replace(o, why=f"{why}; the log ends in the plateau" if ph.cut_off else why)


def _broken(r: Readings, pl: Plateau) -> str:
    gaps = r.gap[pl.reached + 1 : pl.end + 1].nonzero()[0]
    if gaps.size:
        at = pl.reached + 1 + int(gaps[0])
        return f"; no readings from {r.t[at - 1]:.0f} to {r.t[at]:.0f} s: a gap earns no hold"
    return f"; out of the band at {r.t[pl.left_at]:.0f} s: the hold starts again there" if pl.left_band else ""


def _margin(r: Readings, pl: Plateau, criteria: Criteria) -> str:
    low, high = criteria.band_c
    within = float(r.within_k.max())
    steady = r.temps[:, pl.settled : pl.end + 1].mean(axis=1) if pl.end >= pl.settled else np.array([pl.lowest_c])
    if float(steady.min()) - within < low + 0.3:
        coldest = r.channels[int(np.argmin(steady))]
        return f": {coldest} at {steady.min():.2f} degC is not surely above {low:g} degC, it may be {within:.2g} K out"
    if float(steady.max()) + within > high - 0.3:
        hottest = r.channels[int(np.argmax(steady))]
        return f": {hottest} at {steady.max():.2f} degC is not surely below {high:g} degC, it may be {within:.2g} K out"
    return ": the clock or a sensor may be that much out"


def _too_hot(r: Readings, pl: Plateau, criteria: Criteria) -> Outcome:
    high = criteria.band_c[1]
    limit = criteria.limits["band_c"]
    within = float(r.within_k.max())
    over = pl.hottest_c - high
    verdict: Verdict = "fit" if over <= -within else "unfit" if over > within else "unproven"
    why = "" if verdict == "fit" else f"{pl.hottest_c:.2f} degC, the band ends at {high:g} degC (± {within:.2g} K)"
    return Outcome(
        "band_c", limit.name, "degC", verdict, pl.hottest_c, high, "<=", -over, within, limit.source, limit.sure,
        float(r.t[pl.hottest_at]), why,
    )  # fmt: skip


def _at_once(r: Readings, pl: Plateau, criteria: Criteria) -> list[Outcome]:
    """Equilibration, spread at one moment, swing of each sensor: what several sensors, or one over time, say."""
    t, temps, channels = r.t, r.temps, r.channels
    out: list[Outcome] = []
    if pl.equilibration_s is not None:
        limit, e = criteria.limits["equilibration_s"], pl.equilibration_s
        w = pl.equilibration_within_s
        out.append(weigh(limit, e, max(0.0, e - w), e + w, moment_s=float(t[pl.reached]), why="the last sensor comes late"))
    calm = median3(temps[:, pl.settled : pl.end + 1])
    if calm.shape[1] == 0:
        return out
    if len(channels) > 1 and criteria.has("spread_k"):
        apart = calm.max(axis=0) - calm.min(axis=0)
        at = int(np.argmax(apart))
        value = float(apart[at])
        two = np.sort(r.within_k)[-2:]
        w = float(np.hypot(two[0], two[1]))
        cold, hot = channels[int(np.argmin(calm[:, at]))], channels[int(np.argmax(calm[:, at]))]
        why = f"{cold} is {value:.2f} K colder than {hot}: air or water at {cold}, or one of the two sensors is wrong"
        out.append(weigh(criteria.limits["spread_k"], value, max(0.0, value - w), value + w, moment_s=float(t[pl.settled + at]), why=why))
    if criteria.has("fluctuation_k"):
        calmer = median5(temps[:, pl.settled : pl.end + 1])
        skipped = _still_rising(calmer)
        calmer = calmer[:, skipped:]
        swing = np.abs(calmer - calmer.mean(axis=1, keepdims=True))
        who, when = np.unravel_index(int(np.argmax(swing)), swing.shape)
        value = float(swing[who, when])
        step = 0.1  # a sensor's offset is the same all along; what remains is the last digit
        limit = criteria.limits["fluctuation_k"]
        why = f"{channels[int(who)]} swings about its mean"
        out.append(weigh(limit, value, max(0.0, value - step), value + step, moment_s=float(t[pl.settled + skipped + int(when)]), why=why))
    return out


def _still_rising(calm: Real) -> int:
    """Return how many readings at first are still on the way up to the level: no swing yet; at most a third of the hold is let pass so."""
    half = calm.shape[1] // 2
    level = np.partition(calm, half, axis=1)[:, half : half + 1]
    there = np.all(calm >= level - 0.5, axis=0).nonzero()[0]
    return min(int(there[0]) if there.size else 0, int(calm.shape[1]) // 3)


def _interval(t: Real, pl: Plateau, criteria: Criteria) -> Outcome:
    limit = criteria.limits["reading_interval_s"]
    part = t[pl.reached : pl.end + 1]
    value = middle(part[1:] - part[:-1]) if part.size > 1 else 0.0
    why = f"readings {value:.3g} s apart, asked: at most {limit.value[0]:g} s; a dip between two of them is not seen"
    verdict: Verdict = "fit" if value <= limit.value[0] else "unproven"
    return Outcome(
        limit.id, limit.name, "s", verdict, value, limit.value[0], "<=", limit.value[0] - value, 0.0, limit.source, limit.sure,
        float(t[pl.reached]), "" if verdict == "fit" else why,
    )  # fmt: skip
