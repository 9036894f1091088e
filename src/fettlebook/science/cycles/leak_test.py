"""The leak test: how fast the pressure rises in a closed, empty, dry chamber under vacuum, corrected for temperature.

Sources
-------
[G] Gas law at constant volume: p is proportional to the absolute temperature; 10 K change a sealed 4 kPa by 0.128 kPa at 313 K. computed
[T] Begin of settling is the first reading near the lowest pressure, means at both ends, end before the air is let in: steam.md of this
    project's references, section 5. practice
"""

import math
from typing import Final

import numpy as np

from fettlebook.science.cycles.criteria import Criteria
from fettlebook.science.cycles.evidence import of_clock, of_file
from fettlebook.science.cycles.log import CycleLog, Real, Sensors
from fettlebook.science.cycles.outcome import Judgement, Outcome, Phase, evidence, in_doubt, weigh
from fettlebook.science.cycles.readings import Readings, usable_readings
from fettlebook.science.cycles.smoothing import median3, noise
from fettlebook.science.steam import KELVIN

END_S: Final = 10.0  # readings of so long are averaged at either end [T]
FALLS_KPA_MIN: Final = 0.02  # a closed chamber's pressure does not fall by more than this
LET_IN_KPA: Final = 5.0  # so much above the hold's own end the air is being let in
CANNOT_SHOW: Final = (
    "A passed leak test says that little air leaks in. It does not say that steam reaches everywhere: that is the air-removal test.",
    "Water left in the chamber boils off and looks like a leak: chamber empty and dry.",
)


def leak_rate_kpa_min(
    first_kpa: float, last_kpa: float, span_s: float, *, first_c: float | None = None, last_c: float | None = None
) -> float:
    """Return the pressure rise a minute between two moments; with both temperatures, less what warming of the closed gas makes [G].

    Parameters
    ----------
    first_kpa, last_kpa
        Absolute pressures [kPa]; `span_s` apart [s], above 0.
    first_c, last_c
        Temperatures at the two moments [degC].
    """
    factor = 1.0 if first_c is None or last_c is None else (first_c + KELVIN) / (last_c + KELVIN)
    return (last_kpa * factor - first_kpa) / span_s * 60.0


def judge_leak_test(log: CycleLog, criteria: Criteria, sensors: Sensors | None = None) -> Judgement:
    """Judge a leak test from its log; parameters as in `judge_steam`.

    Returns
    -------
    Judgement
        `unproven` where the log has no temperature, the hold is too short to settle and measure, or the temperature moved too much.
    """
    s = sensors or criteria.sensors()
    r = usable_readings(log, criteria, s)
    outcomes, remarks = of_file(log)
    doubt = bool(outcomes)
    if r.pressure_kpa is None or r.t.size < 20:
        what = "no pressure in it" if r.pressure_kpa is None else f"only {r.t.size} usable readings"
        outcomes.append(evidence("readings", "enough readings", what))
        return Judgement(criteria.id, criteria.name, in_doubt(outcomes), {}, (), tuple(remarks), CANNOT_SHOW)
    begin, end = _closed(r.t, median3(r.pressure_kpa))
    clock, told = of_clock(r, float(r.t[begin]), float(r.t[end]))
    outcomes, remarks = outcomes + clock, remarks + told
    values, phases, judged = _measured(r, (begin, end), criteria, s)
    outcomes += judged
    if phases:
        remarks += _shape(r.t, r.pressure_kpa, phases[-1])
    return Judgement(
        criteria.id, criteria.name, in_doubt(outcomes) if doubt else tuple(outcomes), values, phases, tuple(remarks), CANNOT_SHOW
    )


def _closed(t: Real, p: Real) -> tuple[int, int]:
    """Return first and last index of the closed chamber: from the first reading near the lowest pressure to before the air comes in [T]."""
    low = int(np.argmin(p))
    ripple = max(0.1, 3.0 * noise(p[max(0, low - 20) : low + 20]))
    begin = int((p <= p[low] + ripple).nonzero()[0][0])
    after = p[begin:]
    steps = np.diff(after) / np.diff(t[begin:])
    jump = ((steps > 0.5) & (after[1:] > p[low] + LET_IN_KPA)).nonzero()[0]  # 30 kPa a minute: a valve, no leak
    end = begin + int(jump[0]) if jump.size else p.size - 1
    while end > begin + 1 and (p[end] - p[end - 1]) / (t[end] - t[end - 1]) > 0.1:
        end -= 1
    return begin, end


def _measured(
    r: Readings, closed: tuple[int, int], criteria: Criteria, s: Sensors
) -> tuple[dict[str, float], tuple[Phase, ...], list[Outcome]]:
    begin, end = closed
    t, p = r.t, r.pressure_kpa if r.pressure_kpa is not None else np.zeros(r.t.size)
    low = float(np.median(p[begin : begin + 5]))
    start = criteria.limits["leak_start_kpa"]
    w = s.pressure_within_kpa(low)
    out = [weigh(start, low, low - w, low + w, moment_s=float(t[begin]), why="not deep enough to test at")]
    settled_s = float(t[begin]) + criteria.number("leak_settle_s")
    measure = criteria.limits["leak_measure_s"]
    until_s = min(settled_s + measure.value[0], float(t[end]))
    span = max(0.0, float(t[end]) - settled_s)
    closed_s = min(span + 2.0, measure.value[0])  # a reading more or less at either end is no shorter test
    out.append(weigh(measure, closed_s, closed_s, closed_s, moment_s=float(t[end]), why="closed too short", may_change=True))
    values = {"start_kpa": low, "lowest_kpa": float(p[begin : end + 1].min())}
    if span < 60.0:
        return values, (), out
    ends = [(np.abs(t - at) <= END_S / 2.0).nonzero()[0] for at in (settled_s, until_s - END_S / 2.0)]
    if any(rows.size < 2 for rows in ends):
        return values, (), [*out, evidence("gap", "readings at both ends", "there is a gap where the pressure was to be read")]
    first, last = (float(p[rows].mean()) for rows in ends)
    apart = float(t[ends[1]].mean() - t[ends[0]].mean())
    values |= {"settled_kpa": first, "end_kpa": last, "measured_s": apart}
    rise = leak_rate_kpa_min(first, last, apart)
    ripple = noise(p[begin : end + 1])
    within = math.hypot(s.pressure_share * rise, ripple * math.hypot(*(1.0 / math.sqrt(rows.size) for rows in ends)) / apart * 60.0)
    values["uncorrected_kpa_min"] = rise
    if r.channels:
        warm = [float(r.temps[:, rows].mean()) for rows in ends]
        change = float(np.ptp(r.temps[:, ends[0][0] : ends[1][-1] + 1].mean(axis=0)))
        rise = leak_rate_kpa_min(first, last, apart, first_c=warm[0], last_c=warm[1])
        values |= {"temperature_change_k": warm[1] - warm[0], "leak_kpa_min": rise}
        steady = criteria.limits["leak_temperature_k"]
        out.append(weigh(steady, change, change, change, moment_s=settled_s, why="the temperature moved: repeat it cold", may_change=True))
        within = math.hypot(within, abs(rise - values["uncorrected_kpa_min"]) / 2.0)  # the gas is not everywhere as warm as the sensor
    else:
        why = "no temperature in the log: 10 K change a closed vacuum as much as a minute's leak may, so it can't be corrected"
        out.append(evidence("temperature", "temperature is in the log", why))
    fell = (
        f"it fell by {-rise:.3f} kPa/min: the pump still ran, or the chamber was not closed" if rise < -max(FALLS_KPA_MIN, within) else ""
    )
    out.append(evidence("closed", "the chamber was closed", fell, moment_s=settled_s))
    back = float(p[-3:].min()) > 50.0
    alive = "" if back else "the log ends before the air is let in: a gauge that froze would look as tight"
    out.append(evidence("whole", "log shows the whole test", alive, moment_s=float(t[-1])))
    out.append(weigh(criteria.limits["leak_kpa_min"], rise, rise - within, rise + within, moment_s=until_s, why="leaks"))
    phases = (
        Phase("evacuation", float(t[0]), float(t[begin])),
        Phase("settling", float(t[begin]), settled_s),
        Phase("measuring", settled_s, until_s),
    )
    return values, phases, out


def _shape(t: Real, p: Real, measuring: Phase) -> list[str]:
    at = (measuring.from_s, (measuring.from_s + measuring.to_s) / 2.0, measuring.to_s)
    first, middle, last = np.interp(at, t, p).tolist()
    if last - middle < 0.5 * (middle - first) and middle - first > 0.2:
        return ["The rise slows down: water that boils off rather than a leak. Dry the chamber and repeat."]
    return []
