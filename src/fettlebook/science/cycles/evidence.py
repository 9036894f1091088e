"""Is the evidence evidence? Pressure there, units believable, clock running, sensors alive, the whole of one cycle in the log."""

from typing import Final

import numpy as np

from fettlebook.science.cycles.log import CycleLog, Real
from fettlebook.science.cycles.outcome import Outcome, evidence, times
from fettlebook.science.cycles.phases import SteamPhases
from fettlebook.science.cycles.quantities import WRONG_K, fitting_units, hottest_pair
from fettlebook.science.cycles.readings import Readings
from fettlebook.science.steam import MOST_KPA, saturation_temperature_c

FROZEN_S: Final = 60.0  # so long exactly the same reading while the other quantity moves, and it is frozen
MOVES_K: Final = 3.0
FINE_K, FINE_KPA = 0.021, 0.11  # a sensor with such fine steps never shows one value for a minute in live steam
AT_LEAST_KPA: Final = 5.0  # so far above the air's pressure it is steam that fills the chamber
DEEP_KPA: Final = 30.0  # below it a pump's end pressure may well stay the same


def of_file(log: CycleLog) -> tuple[list[Outcome], list[str]]:
    """Return what reading the file found: errors as outcomes, warnings as remarks."""
    errors = [f for f in log.findings if f.weight == "error"]
    out = [evidence("reading", "log can be read", f"{f.where}: {f.what}. {f.mend}") for f in errors]
    return out, [f"{f.where}: {f.what}. {f.mend}" for f in log.findings if f.weight == "warning"]


def of_units(r: Readings) -> Outcome | None:
    """Return an outcome where temperature and pressure only belong together in other units than taken; else None."""
    if r.pressure_kpa is None or r.t.size == 0:
        return None
    hottest = r.temps.max(axis=0)
    at = int(hottest.argmax())
    if _belong(float(hottest[at]), float(r.pressure_kpa[at])):
        return None  # most logs: no need to look at more than one reading
    start, hot, pressure = hottest_pair(hottest, r.pressure_kpa)
    if _belong(hot, pressure):
        return None
    pressure_ok = 1.0 <= pressure <= MOST_KPA
    found = [str(units) for units, fits in fitting_units(start, hot, pressure, 101.3) if fits]
    sensible = 20.0 <= hot <= 145.0 and 60.0 <= start <= 115.0 and pressure_ok
    if sensible and not found:
        return None  # a fault of the steam, not of the unit: the criteria tell it
    hint = f"It would fit as {' or '.join(found)}: say so if it is. " if found else ""
    why = f"{hot:.0f} degC at {pressure:.0f} kPa do not belong together. {hint}Say which units it has; nothing was guessed"
    return evidence("units", "units are believable", why)


def _belong(hot_c: float, pressure_kpa: float) -> bool:
    return 1.0 <= pressure_kpa <= MOST_KPA and abs(hot_c - saturation_temperature_c(pressure_kpa)) <= WRONG_K


def of_clock(r: Readings, from_s: float, to_s: float) -> tuple[list[Outcome], list[str]]:
    """Return what the clock did within the cycle as outcomes, before and after it as remarks."""
    back = [s for s in r.clock.back_s if from_s <= s <= to_s]
    twice = [s for s in r.clock.twice_s if from_s <= s <= to_s]
    out: list[Outcome] = []
    if r.clock.shuffled:
        out.append(evidence("clock", "clock runs", "the rows are out of order of time; they were put in order to look at, not to prove"))
    elif back:
        out.append(
            evidence(
                "clock", "clock runs", f"the clock was set back, at {back[0]:.0f} s: how long the hold was can't be told", moment_s=back[0]
            )
        )
    if twice:
        many = f"times stand in it twice ({len(twice)}, the first at {twice[0]:.0f} s): the clock stood still"
        out.append(evidence("clock_twice", "each time once", many, moment_s=twice[0], count=float(len(twice))))
    before = (len(r.clock.back_s) - len(back)) + (len(r.clock.twice_s) - len(twice))
    remarks = [f"The clock stood still or went back {times(before)} outside the cycle."] if before and not r.clock.shuffled else []
    return out, remarks


def of_whole(r: Readings, ph: SteamPhases) -> list[Outcome]:
    """Return whether the log shows one whole cycle, from the air's pressure before it to the air let in after it."""
    out: list[Outcome] = []
    first, last = float(r.t[0]), float(r.t[-1])
    if not ph.begins:
        p = float(ph.smooth_kpa[0])
        out.append(
            evidence(
                "begins", "log begins before the air removal", f"it begins at {p:.0f} kPa: what went before is not in it", moment_s=first
            )
        )
    if ph.cut_off:
        out.append(evidence("whole", "log shows the whole cycle", "it ends in the plateau", moment_s=last))
    elif not ph.ends:
        p = float(ph.smooth_kpa[-1])
        out.append(evidence("whole", "log shows the whole cycle", f"it ends at {p:.0f} kPa, before the air is let in", moment_s=last))
    if ph.others_s:
        at = ", ".join(f"{s:.0f} s" for s in ph.others_s)
        why = f"another one begins at {at}: cut out the one to judge"
        out.append(evidence("one_cycle", "one cycle in the log", why, moment_s=ph.others_s[0], count=float(1 + len(ph.others_s))))
    return out


def of_ambient(ph: SteamPhases, told_kpa: float | None) -> list[Outcome]:
    """Return whether the air's pressure as told is that of the log."""
    if told_kpa is None or ph.ambient_kpa is None or not ph.begins or abs(told_kpa - ph.ambient_kpa) <= 3.0:
        return []
    why = f"told {told_kpa:.1f} kPa, but the log begins at {ph.ambient_kpa:.1f} kPa: the gauge, or what was told, is wrong"
    return [evidence("ambient", "the air's pressure", why)]


def of_frozen(r: Readings, ph: SteamPhases) -> list[Outcome]:
    """Return each sensor that shows exactly one value for a minute while the steam moves, or in a plateau although its steps are fine."""
    if r.pressure_kpa is None or ph.exhausted <= ph.start:
        return []
    part = r.part(ph.start, ph.exhausted)
    pressure = part.pressure_kpa if part.pressure_kpa is not None else np.zeros(0)
    out: list[Outcome] = []
    for name, values, fine in (*((c, part.temps[i], FINE_K) for i, c in enumerate(part.channels)), ("pressure", pressure, FINE_KPA)):
        for begin, end in _level(part, values):
            if name == "pressure":
                other = part.temps[:, begin : end + 1]
                open_to_air = ph.ambient_kpa is not None and abs(values[begin] - ph.ambient_kpa) <= 3.0 and float(other.max()) <= 105.0
                moved = values[begin] > DEEP_KPA and not open_to_air and float(np.ptp(other, axis=1).max()) > MOVES_K
            else:
                moved = _steam_moves(ph, ph.start + begin, ph.start + end)
            live = ph.start + begin >= ph.hot_from and ph.start + end <= ph.hot_to + 5
            steps = np.abs(values[1:] - values[:-1])
            finest = float(steps[steps > 0].min()) if (steps > 0).any() else np.inf
            if moved or (live and finest <= fine):
                why = f"{name} shows {values[begin]:.6g} for {part.t[end] - part.t[begin]:.0f} s on end: it is frozen"
                out.append(evidence(f"frozen_{name}", "sensors are alive", why, moment_s=float(part.t[begin])))
                break
    return out


def _steam_moves(ph: SteamPhases, begin: int, end: int) -> bool:
    """Return whether steam above the air's pressure changes its temperature: in a vacuum, or in cold air, a thermometer may well rest."""
    base = ph.ambient_kpa if ph.ambient_kpa is not None else 101.3
    p = ph.smooth_kpa[begin : end + 1]
    p = np.minimum(p[p > base + AT_LEAST_KPA], MOST_KPA)
    return p.size > 1 and saturation_temperature_c(float(p.max())) - saturation_temperature_c(float(p.min())) > MOVES_K


def _level(r: Readings, values: Real) -> list[tuple[int, int]]:
    """Return the stretches of a minute and more in which a reading is exactly the same."""
    t = r.t
    edges = np.concatenate(([0], ((values[1:] != values[:-1]) | r.long_gap[1:]).nonzero()[0] + 1, [values.size]))  # a gap shows nothing
    begin, end = edges[:-1], edges[1:] - 1
    return (
        [(int(a), int(b)) for a, b in zip(begin, end, strict=True) if t[b] - t[a] >= FROZEN_S]
        if (t[end] - t[begin] >= FROZEN_S).any()
        else []
    )
