"""Judging a steam cycle, in the order in which a test engineer would: file, clock, units, sensors, phases, plateau, steam, drying.

Sources
-------
[O] Order and traps: steam.md of this project's references, section 5. practice
"""

from itertools import pairwise
from typing import Final

import numpy as np

from fettlebook.science.cycles.criteria import Criteria
from fettlebook.science.cycles.drying import judge_drying
from fettlebook.science.cycles.evidence import of_ambient, of_clock, of_file, of_frozen, of_units, of_whole
from fettlebook.science.cycles.load_types import LoadForm, of_load
from fettlebook.science.cycles.log import CycleLog, Sensors
from fettlebook.science.cycles.outcome import Judgement, Outcome, Phase, evidence, in_doubt, weigh
from fettlebook.science.cycles.phases import SteamPhases, find_phases, without_pressure
from fettlebook.science.cycles.plateau import Plateau, find_plateau, plateau_outcomes
from fettlebook.science.cycles.pulses import air_left_share
from fettlebook.science.cycles.readings import Readings, usable_readings
from fettlebook.science.cycles.saturation import AgainstSteam, against_steam
from fettlebook.science.lethality import f_pieces_min
from fettlebook.science.steam import saturation_pressure_kpa

STANDBY_S: Final = 3600.0  # longer waiting before a cycle is worth a word
FEWEST: Final = 20  # fewer usable readings are no cycle's log
CANNOT_SHOW: Final = (
    "Readings of a chamber never prove that air was removed: mixed air shows only from about 6 %, a pocket in a hollow load not at all. "
    "That is what the air-removal test is for.",
    "F0 is shown, not judged: it never makes up for a short hold.",
    "A log does not show that packs are dry, whole and rightly loaded: look at them.",
)


def judge_steam(log: CycleLog, criteria: Criteria, sensors: Sensors | None = None, load: LoadForm | None = None) -> Judgement:
    """Judge one steam cycle from its log.

    Parameters
    ----------
    log
        The log as read.
    criteria
        What the cycle must reach, kind "steam" or "air-removal test".
    sensors
        How far the sensors may be out, from their calibration; left out: what the criteria take for granted.
    load
        What lay in it, where known: a wrapped or hollow load in an N cycle is unfit.

    Returns
    -------
    Judgement
        Never `fit` unless every criterion is met by more than the sensors' uncertainty, in a log whose clock, units and sensors hold up.
    """
    s = sensors or criteria.sensors()
    r = usable_readings(log, criteria, s)
    outcomes, remarks = of_file(log)
    doubt = bool(outcomes)
    outcomes += of_load(criteria, load)
    if not r.channels or r.t.size < FEWEST:
        what = "no temperature in it" if not r.channels else f"only {r.t.size} usable readings"
        outcomes.append(evidence("readings", "enough readings", what, count=float(r.t.size)))
        return _judgement(criteria, in_doubt(outcomes), {}, (), remarks)
    units = of_units(r)
    if units is not None:  # in wrong units every other criterion would only add noise
        return _judgement(criteria, (*in_doubt(outcomes), units), {}, (), remarks)
    if r.pressure_kpa is None:
        why = "without it neither air nor superheat nor the end of the hold can be told"
        outcomes.append(evidence("pressure", "pressure is in the log", why))
        ph = without_pressure(r.t.size)
    else:
        ph = find_phases(r.t, r.pressure_kpa, r.usual_s, log.ambient_kpa, float(saturation_pressure_kpa(criteria.band_c[0])))
    clock, told = of_clock(r, float(r.t[ph.start]), float(r.t[-1]))
    remarks += told
    outcomes += clock
    if r.pressure_kpa is not None:
        frozen = of_frozen(r, ph)
        doubt = doubt or bool(frozen) or bool(ph.others_s)
        outcomes += [*of_ambient(ph, log.ambient_kpa), *of_whole(r, ph), *frozen, *_air_removal(r, ph, criteria, s)]
    pl = find_plateau(r, ph, criteria)
    outcomes += plateau_outcomes(r, ph, pl, criteria, s)
    steam = against_steam(r, pl, criteria, s)
    if steam is not None:
        outcomes += steam.outcomes
        remarks += steam.remarks
    drying = judge_drying(r, ph, criteria, s)
    if drying is not None:
        outcomes += drying.outcomes
    if ph.start and (waited := float(r.t[ph.start] - r.t[0])) > STANDBY_S:
        remarks.append(f"{waited / 3600.0:.1f} h of standby before the cycle were left aside.")
    if r.left_out:
        remarks.append(f"{r.left_out} rows lack a reading and were left out; their time counts as a pause.")
    if pl.wild:
        remarks.append(f"{pl.wild} lone wild readings in the plateau, forgiven as such.")
    values = _values(r, ph, pl, steam)
    if drying is not None:
        values |= {"drying_s": drying.drying_s, "drying_lowest_kpa": drying.lowest_kpa}
    if doubt:
        outcomes = list(in_doubt(outcomes))
    return _judgement(criteria, tuple(outcomes), values, _phases(r, ph, pl), remarks)


def _air_removal(r: Readings, ph: SteamPhases, criteria: Criteria, s: Sensors) -> list[Outcome]:
    out: list[Outcome] = []
    short = not ph.begins
    first, at = float(r.t[ph.start]), ph.evacuations
    breaks = r.long_gap[ph.start + 1 : ph.heat_from + 1].nonzero()[0]
    after = ph.start + 1 + int(breaks[-1]) if breaks.size else 0
    if criteria.has("pulses"):
        limit = criteria.limits["pulses"]
        sure = sum(1 for e in at if e.at >= after)  # what went before a gap may have been undone in it
        why = f"{len(at) - sure} of them before a gap in the readings" if sure < len(at) else "too few"
        out.append(
            weigh(limit, float(len(at)), float(sure), float(len(at)), moment_s=first, why=why, may_change=short or bool(breaks.size))
        )
    if criteria.has("pulse_depth_kpa") and at:
        deep = sorted(e.low_kpa for e in at)
        asked = int(criteria.number("pulses")) if criteria.has("pulses") else len(deep)
        low = deep[min(asked, len(deep)) - 1]
        w = s.pressure_within_kpa(low)
        where = next(e for e in at if e.low_kpa == low)
        limit, moment = criteria.limits["pulse_depth_kpa"], float(r.t[where.at])
        out.append(weigh(limit, low, low - w, low + w, moment_s=moment, why="not deep enough", may_change=short))
    if criteria.has("air_left_share"):
        left, w = air_left_share(at), s.pressure_within_kpa(10.0)
        high, low = air_left_share(at, within_kpa=w), air_left_share(at, within_kpa=-w)
        limit = criteria.limits["air_left_share"]
        out.append(weigh(limit, left, max(0.0, low), high, moment_s=first, why="pulses too few or too shallow", may_change=short))
    if criteria.has("heat_up_s") and ph.hot_to >= ph.hot_from:
        took = float(r.t[ph.hot_from] - r.t[ph.heat_from])
        w = s.time_within_s(took)
        out.append(
            weigh(
                criteria.limits["heat_up_s"], took, took - w, took + w, moment_s=float(r.t[ph.heat_from]), why="slow: load, steam or leak"
            )
        )
    return out


def _values(r: Readings, ph: SteamPhases, pl: Plateau, steam: AgainstSteam | None) -> dict[str, float]:
    coldest = r.temps.min(axis=0)
    earned = f_pieces_min(r.t, coldest, 121.1, 10.0)
    values = {
        "f0_min": float(earned[~r.long_gap[1:]].sum()),
        "hold_s": pl.hold_s,
        "hold_proven_s": pl.hold_sure_s,
        "hottest_c": pl.hottest_c,
        "pulses": float(len(ph.evacuations)),
        "reading_interval_s": r.usual_s,
    }
    if ph.ambient_kpa is not None and r.pressure_kpa is not None:
        values["ambient_kpa"] = ph.ambient_kpa
    if ph.evacuations:
        values |= {
            "deepest_pulse_kpa": min(e.low_kpa for e in ph.evacuations),
            "shallowest_pulse_kpa": max(e.low_kpa for e in ph.evacuations),
            "air_left_share": air_left_share(ph.evacuations),
        }
    if pl.reached >= 0:
        hold = slice(pl.settled, pl.end + 1)
        values |= {
            "plateau_lowest_c": pl.lowest_c,
            "plateau_mean_c": float(coldest[hold].mean()),
            "heat_up_s": float(r.t[pl.reached] - r.t[ph.heat_from]),
        }
        if r.pressure_kpa is not None:
            values["plateau_mean_kpa"] = float(r.pressure_kpa[hold].mean())
        if len(r.channels) > 1:
            values["spread_k"] = float(np.ptp(r.temps[:, hold].mean(axis=1)))
            values["equilibration_s"] = pl.equilibration_s or 0.0
    if steam is not None:
        values |= {
            "below_saturation_k": max(0.0, -steam.lowest_k),
            "above_saturation_k": max(0.0, steam.highest_k),
            "saturation_offset_k": steam.mean_k,
            "saturation_drift_k_min": steam.drift_k_min,
            "saturation_within_k": steam.within_k,
            "air_if_mixed_share": steam.air_share,
        }
    if ph.hot_to >= ph.hot_from and ph.exhausted > ph.hot_to:
        values["exhaust_s"] = float(r.t[ph.exhausted] - r.t[ph.hot_to])
    return values


def _phases(r: Readings, ph: SteamPhases, pl: Plateau) -> tuple[Phase, ...]:
    """Return the phases in order, those of no length left out."""
    if r.pressure_kpa is None:
        return ()
    t, last = r.t, r.t.size - 1
    if ph.hot_to < ph.hot_from:
        marks = [("standby", 0), ("air removal", ph.start), ("heating", ph.heat_from if ph.evacuations else last), ("", last)]
    else:
        plateau = pl.reached if pl.reached >= 0 else ph.hot_from
        below = (ph.smooth_kpa[ph.exhausted :] < 50.0).nonzero()[0]
        dried = ph.exhausted + int(below[-1]) if below.size else ph.exhausted
        marks = [
            ("standby", 0), ("air removal", ph.start), ("heating", ph.heat_from), ("plateau", plateau), ("exhaust", ph.hot_to),
            ("drying", ph.exhausted), ("air in", dried), ("", last),
        ]  # fmt: skip
    return tuple(Phase(name, float(t[at]), float(t[min(to, last)])) for (name, at), (_, to) in pairwise(marks) if to > at)


def _judgement(
    criteria: Criteria, outcomes: tuple[Outcome, ...], values: dict[str, float], phases: tuple[Phase, ...], remarks: list[str]
) -> Judgement:
    return Judgement(criteria.id, criteria.name, outcomes, values, phases, tuple(remarks), CANNOT_SHOW)
