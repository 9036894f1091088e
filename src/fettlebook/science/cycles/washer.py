"""A washer's disinfection by its log: A0 of the wet step at the coldest sensor, and the product dosed.

A0 counts in water only. When the water is drained the sensors fall, then hot air dries: what comes after the first fall by 5 K from the
hold counts for nothing certain, and above boiling nothing is water.

Sources
-------
[B] EN ISO 15883-1, annex B and 4.3.1, as quoted: A0, reached on all surfaces, so the coldest sensor counts. secondary
[W] Wet step only, not hot-air drying; z and D hold for moist heat. memory
[F] How the end of the wet step is found: a fall by 5 K, or above 100 degC. practice
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from fettlebook.science.cycles.criteria import Criteria
from fettlebook.science.cycles.evidence import of_clock, of_file
from fettlebook.science.cycles.log import CycleLog, Real, Sensors
from fettlebook.science.cycles.outcome import Judgement, Outcome, Phase, evidence, in_doubt, weigh
from fettlebook.science.cycles.readings import Readings, usable_readings
from fettlebook.science.cycles.smoothing import median3
from fettlebook.science.cycles.stretches import stretches
from fettlebook.science.lethality import A0_FLOOR_C, a0_s

FALL_K: Final = 5.0  # [F]
BOILS_C: Final = 100.0  # [F]
COOL_C, COOL_S = 45.0, 60.0  # cooler for so long between two hot steps: the second one belongs to another cycle [F]
CANNOT_SHOW: Final = (
    "A0 says that heat would have disinfected what is clean. It says nothing on cleaning: look at the instruments, test for protein.",
    "The log shows the sensors' places, not the inside of a hollow handpiece.",
)


@dataclass(frozen=True, slots=True)
class Step:
    """A hot stretch, as indices: from 65 degC up, the hold's begin, the end of what is surely wet, the end of the stretch."""

    begin: int
    hold_from: int
    wet_to: int
    end: int


def judge_washer(log: CycleLog, criteria: Criteria, sensors: Sensors | None = None) -> Judgement:
    """Judge a washer's cycle from its log; parameters as in `judge_steam`.

    Returns
    -------
    Judgement
        `values` tell ramp, hold and fall of A0 apart. `unproven` where only what may be hot air would make it enough.
    """
    s = sensors or criteria.sensors()
    r = usable_readings(log, criteria, s, pressure=False)
    outcomes, remarks = of_file(log)
    doubt = bool(outcomes)
    if not r.channels or r.t.size < 5:
        what = "no temperature in it" if not r.channels else f"only {r.t.size} usable readings"
        outcomes.append(evidence("readings", "enough readings", what))
        return Judgement(criteria.id, criteria.name, in_doubt(outcomes), {}, (), tuple(remarks), CANNOT_SHOW)
    coldest = median3(r.temps).min(axis=0)
    if float(coldest.max()) > 145.0:
        why = f"{coldest.max():.0f} is no washer's temperature in degC: Fahrenheit? Say the unit"
        outcomes.append(evidence("units", "units are believable", why))
        doubt = True
    step, again = _step(r.t, coldest, criteria.number("disinfection_c"))
    clock, told = of_clock(r, float(r.t[step.begin]) if step else float(r.t[0]), float(r.t[step.end]) if step else float(r.t[-1]))
    outcomes, remarks = outcomes + clock, remarks + told
    values: dict[str, float] = {"hottest_c": float(coldest.max())}
    phases: tuple[Phase, ...] = ()
    short = bool(coldest[-1] >= A0_FLOOR_C)
    if short:
        outcomes.append(evidence("whole", "log shows the whole cycle", f"it ends at {coldest[-1]:.0f} degC", moment_s=float(r.t[-1])))
    if again is not None:
        other = float(coldest[step.end + 1 : again].min()) < COOL_C if step else False
        at = float(r.t[again])
        if other:
            outcomes.append(
                evidence("one_cycle", "one cycle in the log", f"another one is hot at {at:.0f} s: cut out the one to judge", moment_s=at)
            )
            doubt = True
        else:
            remarks.append(f"Hot again at {at:.0f} s: taken as drying air, not counted.")
    dose, more = _a0(r, coldest, step, criteria, short=short)
    outcomes.append(dose)
    values |= more
    if step is not None:
        phases = (
            Phase("heating", float(r.t[step.begin]), float(r.t[step.hold_from])),
            Phase("wet hold", float(r.t[step.hold_from]), float(r.t[step.wet_to])),
            Phase("draining or drying", float(r.t[step.wet_to]), float(r.t[step.end])),
        )
    outcomes += _dosed(log, criteria, values)
    return Judgement(
        criteria.id, criteria.name, in_doubt(outcomes) if doubt else tuple(outcomes), values, phases, tuple(remarks), CANNOT_SHOW
    )


def _step(t: Real, coldest: Real, recognised_c: float) -> tuple[Step | None, int | None]:
    """Return the first hot stretch that reaches the disinfection's temperature, and where it is that hot again, if ever."""
    found: list[tuple[int, int]] = []
    for begin, end in stretches(coldest >= A0_FLOOR_C):
        if float(coldest[begin : end + 1].max()) >= recognised_c:
            found.append((begin, end))
    if not found:
        return None, None
    begin, end = found[0]
    part = coldest[begin : end + 1]
    boiling = (part > BOILS_C).nonzero()[0]
    water = int(boiling[0]) - 1 if boiling.size else part.size - 1
    highest = np.maximum.accumulate(part)
    fallen = ((part < highest - FALL_K) & (highest >= recognised_c)).nonzero()[0]
    wet_to = min(water, int(fallen[0]) - 1 if fallen.size else part.size - 1)
    hold_from = int((part >= float(part[: wet_to + 1].max()) - 1.0).nonzero()[0][0]) if wet_to >= 0 else 0
    return Step(begin, begin + hold_from, begin + max(wet_to, 0), end), found[1][0] if len(found) > 1 else None


def _a0(r: Readings, coldest: Real, step: Step | None, criteria: Criteria, *, short: bool) -> tuple[Outcome, dict[str, float]]:
    limit, gap = criteria.limits["a0_s"], criteria.number("reading_interval_s")
    within = float(r.within_k.max())
    if step is None:
        wet = np.minimum(coldest, BOILS_C)
        value, high = a0_s(r.t, wet), a0_s(r.t, wet + within)
        why = f"never at {criteria.number('disinfection_c'):g} degC; hottest {coldest.max():.1f} degC"
        return weigh(limit, value, 0.0, high, moment_s=float(r.t[int(np.argmax(coldest))]), why=why, may_change=short), {"a0_s": value}
    before = max(0, step.begin - 1)  # the ramp counts from where it crosses 65 degC
    parts = {
        "a0_ramp_s": (before, step.hold_from), "a0_hold_s": (step.hold_from, step.wet_to),
        "a0_after_s": (step.wet_to, min(step.end + 1, r.t.size - 1)),
    }  # fmt: skip
    wet = np.minimum(coldest, BOILS_C)
    told = {key: a0_s(r.t[a : b + 1], wet[a : b + 1], longest_gap_s=gap) for key, (a, b) in parts.items()}
    whole = slice(before, min(step.end + 1, r.t.size - 1) + 1)
    sure = slice(before, step.wet_to + 1)
    low = a0_s(r.t[sure], coldest[sure] - within, longest_gap_s=gap)
    high = a0_s(r.t[sure], wet[sure] + within)
    after = a0_s(r.t[whole], wet[whole] + within)  # gaps and what may be hot air given all the credit that there is
    value = told["a0_ramp_s"] + told["a0_hold_s"]
    why = f"ramp {told['a0_ramp_s']:.0f}, hold {told['a0_hold_s']:.0f}"
    if told["a0_after_s"] > 0.05 * value:
        why += f"; after the fall {told['a0_after_s']:.0f}, which may be hot air and does not count"
    gaps = int(np.count_nonzero(r.gap[step.begin + 1 : step.wet_to + 1]))
    why += f"; {gaps} gaps earn nothing" if gaps else ""
    outcome = weigh(
        limit, value, low, max(high, value), moment_s=float(r.t[step.hold_from]), why=why, may_change=short or after >= limit.value[0],
        as_far_as="the log does not show all of it" if short else "only what is not sure to be wet would make it enough",
    )  # fmt: skip
    return outcome, {"a0_s": value, **told, "wet_hold_s": float(r.t[step.wet_to] - r.t[step.hold_from])}


def _dosed(log: CycleLog, criteria: Criteria, values: dict[str, float]) -> list[Outcome]:
    if log.dose_ml is not None and np.isfinite(log.dose_ml).any():
        values["dose_ml"] = float(np.nanmax(log.dose_ml) - np.nanmin(log.dose_ml))
    if not criteria.has("dose_ml"):
        return []
    if "dose_ml" not in values:
        return [evidence("dose_ml", "product dosed", "the log has no dose: look at the machine's own record")]
    return [weigh(criteria.limits["dose_ml"], values["dose_ml"], values["dose_ml"], values["dose_ml"], why="too little dosed")]
