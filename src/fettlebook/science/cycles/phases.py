"""A steam cycle's phases, found from its pressure: standby, air removal, heating, plateau, exhaust, drying, air in.

The plateau is where the pressure stays: the level that is exceeded for a minute in all. It ends where the pressure falls, not where a
lagging thermometer leaves the band: else the last seconds count as hold and look like superheat. The air's pressure is read before
the air removal begins. None of these figures is a limit of the trade: they only say what belongs to which phase.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from fettlebook.science.cycles.log import Real
from fettlebook.science.cycles.pulses import Pulse, pulses
from fettlebook.science.cycles.smoothing import median3, middle, noise
from fettlebook.science.cycles.stretches import stretches

AMBIENT_KPA: Final = (70.0, 108.0)  # from 3,000 m above the sea to a strong high at its level
LEAVES_KPA: Final = 8.0  # so far from the air's pressure, and the cycle has begun
AT_AMBIENT_KPA: Final = 3.0
RESTED_S: Final = 60.0  # so long at the air's pressure within an air removal, and it begins anew
SECOND_KPA: Final = 20.0  # so far above the air's pressure after the exhaust, and another cycle runs
_PLAIN_S: Final = 120.0  # so long, and it is a plateau although far below the band: another program
_SHORT_S: Final = 20.0  # a stretch of pressure shorter than this is no plateau beside a longer one


@dataclass(frozen=True, slots=True)
class SteamPhases:
    """Where the phases begin and end, as indices of the readings given; `smooth_kpa` is the pressure with lone readings forgiven.

    `begins`: the log shows the air's pressure before the cycle; `ends`: and again after it. `others_s`: moments at which another cycle
    begins in the same log. `heat_from` is the last turn before the plateau. Without a plateau `hot_to` < `hot_from`.
    """

    smooth_kpa: Real
    ambient_kpa: float | None
    begins: bool
    ends: bool
    start: int
    heat_from: int
    hot_from: int
    hot_to: int
    exhausted: int
    evacuations: tuple[Pulse, ...]
    others_s: tuple[float, ...]
    cut_off: bool  # the log ends while the plateau runs


def find_phases(time_s: Real, pressure_kpa: Real, usual_s: float, told_ambient_kpa: float | None, band_kpa: float) -> SteamPhases:
    """Return the phases of a steam cycle.

    Parameters
    ----------
    time_s, pressure_kpa
        Strictly increasing times [s] and absolute pressure [kPa], shape (n,), n >= 1, all finite.
    usual_s
        Usual time between readings [s].
    told_ambient_kpa
        The air's pressure where somebody told it [kPa].
    band_kpa
        Saturation pressure of the band's lower end [kPa]: well below it nothing is another cycle's plateau.
    """
    p = median3(pressure_kpa)
    last = p.size - 1
    start, ambient, begins = _before(time_s, p)
    ambient = ambient if begins else told_ambient_kpa
    base = ambient if ambient is not None else 101.3  # only to tell phases apart where it isn't known; no verdict rests on it
    hot_from, hot_to, high, plateaus = _plateau(time_s, p, usual_s, base, 0.9 * band_kpa)
    cut_off = hot_to >= hot_from and float(p[hot_to:].min()) > 0.85 * high
    if hot_to >= hot_from and not cut_off:
        hot_to = _where_it_falls(time_s, p, hot_from, hot_to, high)
    others = list(plateaus)
    first = hot_from if hot_to >= hot_from else last
    rest = _rested(time_s, p, start, first, base) if begins else None
    if rest is not None:
        others.append(float(time_s[start]))
        start = rest
    evacuations = tuple(Pulse(e.from_kpa, e.low_kpa, e.at + start) for e in pulses(p[start : first + 1]))
    after = p[hot_to + 1 :] if hot_to >= hot_from else p[last + 1 :]
    low = (after <= base + 5.0).nonzero()[0]
    exhausted = hot_to + 1 + int(low[0]) if low.size else last
    if low.size and (again := (p[exhausted:] > base + SECOND_KPA).nonzero()[0]).size:
        others.append(float(time_s[exhausted + int(again[0])]))
    final = middle(p[-3:])
    back = AMBIENT_KPA[0] <= final <= AMBIENT_KPA[1] if ambient is None else abs(final - ambient) <= LEAVES_KPA
    ends = back and (hot_to < hot_from or low.size > 0)
    heat_from = evacuations[-1].at if evacuations else start
    return SteamPhases(p, ambient, begins, ends, start, heat_from, hot_from, hot_to, exhausted, evacuations, tuple(sorted(others)), cut_off)


def without_pressure(readings: int) -> SteamPhases:
    """Return what is left to say of a log without a pressure: nothing of its phases."""
    return SteamPhases(np.zeros(readings), None, False, False, 0, 0, 0, -1, readings - 1, (), (), False)


def _before(t: Real, p: Real) -> tuple[int, float | None, bool]:
    """Return where the cycle begins, the air's pressure just before it, and whether the log shows it."""
    base = middle(p[:5])
    if not AMBIENT_KPA[0] <= base <= AMBIENT_KPA[1]:
        return 0, None, False
    left = (np.abs(p - base) > LEAVES_KPA).nonzero()[0]
    if left.size == 0:
        return p.size - 1, base, True
    end = int(left[0])
    back = (np.abs(p[:end] - base) <= AT_AMBIENT_KPA).nonzero()[0]
    start = int(back[-1]) if back.size else 0
    since = int(np.searchsorted(t, t[start] - 60.0))
    return start, middle(p[since : start + 1]), True


def _plateau(t: Real, p: Real, usual_s: float, base: float, near_band: float) -> tuple[int, int, float, tuple[float, ...]]:
    """Return first and last index of the plateau, its level, and the moments at which other plateaus begin."""
    count = min(p.size, max(1, round(60.0 / usual_s)))
    level = float(np.partition(p, p.size - count)[p.size - count])
    if level < base + SECOND_KPA:
        return 0, -1, level, ()
    hot = stretches(p >= 0.9 * level)
    long = [s for s in hot if t[s[1]] - t[s[0]] >= _SHORT_S] or hot[-1:]
    joined = [long[0]]
    for begin, end in long[1:]:
        if float(p[joined[-1][1] : begin].min()) < max(base + SECOND_KPA, 0.5 * level):
            joined.append((begin, end))
        else:
            joined[-1] = (joined[-1][0], end)  # a dip, however deep, is still one plateau: the hold tells
    longest = max(joined, key=lambda s: t[s[1]] - t[s[0]])
    if level < near_band and t[longest[1]] - t[longest[0]] < _PLAIN_S:
        return 0, -1, level, ()  # the tops of steam pulses, no plateau
    return *longest, level, tuple(float(t[s[0]]) for s in joined if s != longest)


def _where_it_falls(t: Real, p: Real, hot_from: int, hot_to: int, level: float) -> int:
    """Return the last reading of the plateau before the pressure falls for good: back up the slope from where it is plainly lower."""
    steady = p[hot_from : hot_to + 1]
    ripple = noise(steady)
    there = steady[steady >= 0.97 * level]  # the rise to the plateau left out
    there = there if there.size else steady
    tenth = there.size // 10
    floor = float(np.partition(there, tenth)[tenth]) * 0.995 - 2.0 * ripple
    above = (steady >= floor).nonzero()[0]
    at = hot_from + int(above[-1]) if above.size else hot_to
    while at > hot_from and p[at - 1] - p[at] > 0.25 * (t[at] - t[at - 1]) + 2.0 * ripple:
        at -= 1
    return at


def _rested(t: Real, p: Real, start: int, end: int, base: float) -> int | None:
    """Return the end of the last long rest at the air's pressure within the air removal, or None: there the air came back in."""
    near = np.abs(p[start:end] - base) <= AT_AMBIENT_KPA
    last = end - start - 1 if end == p.size - 1 else end  # a rest that the log ends in is the end, not another beginning
    rests = [s for s in stretches(near) if s[0] > 0 and s[1] < last and t[start + s[1]] - t[start + s[0]] >= RESTED_S]
    return start + rests[-1][1] if rests else None
