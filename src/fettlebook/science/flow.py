"""The flow of an outlet from cup and clock, with how far it can be relied on.

Sources
-------
[G] JCGM 100:2008 (GUM): repeated readings (4.2), bounds (4.3.7), resolution (F.2.2.1), combination (5.1.2, G.4). memory
[W] NIST SP 960-12, Stopwatch and Timer Calibrations: a hand on the watch is out by tens or hundreds of milliseconds; the
    0.3 s for start and stop together are our choice within that. secondary
[C] Measuring cups may be out by about one of their own graduations. practice
[R] Flow of one outlet repeats to a few per cent, and the usual way is three cups and their mean. practice
[B] Of n readings the worst lies beyond a bound of 5 %/n each in at most 5 % of cases (Bonferroni's inequality). computed
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import ndtri

from fettlebook.errors import Finding, Mendable
from fettlebook.said import said
from fettlebook.science.spread_of_readings import Cause, Combined, combine, grubbs_critical, mean_and_spread, rectangular, resolution
from fettlebook.science.water import density_kg_m3

PRESS_S: Final = 0.3  # [W] start and stop together lie within +- this
ASSUMED_SCATTER: Final = 0.05  # [R] of a single reading
ASSUMED_DOF: Final = 2.0  # [G] G.4.2: an assumption that may be half wrong
FEW_SCATTER: Final = 0.03  # [R] standard deviation of one reading: for planning, and for what an outlet does by itself
FALSE_LOOKS: Final = 0.05  # [B] so often, at most, good cups are called odd
VOLUME_ML: Final = (0.0, 20_000.0)
SECONDS: Final = (0.0, 3_600.0)
MISTYPED: Final = 1.7  # times as much as the others, or as little: a digit or half a minute
ENOUGH: Final = 3  # readings from which on their scatter says something
RUNS_S: Final = (30.0, 60.0, 90.0, 120.0, 180.0, 240.0, 300.0)


@dataclass(frozen=True, slots=True)
class Reading:
    """One cup: the water caught [mL] and how long it ran [s]."""

    volume_ml: float
    seconds: float

    @property
    def flow_ml_min(self) -> float:
        """Flow of this reading [mL/min]."""
        return 60.0 * self.volume_ml / self.seconds


@dataclass(frozen=True, slots=True)
class Tools:
    """What was measured with.

    `step_ml` is the distance of the cup's lines, or the last digit of the scale. `cup_ml` is how far the cup itself may be
    out; left out: as much as one line [C]. `watch_s` is the clock's step.
    """

    step_ml: float = 1.0
    cup_ml: float | None = None
    watch_s: float = 1.0
    press_s: float = PRESS_S

    @property
    def out_ml(self) -> float:
        """How far the cup itself may be out [mL]."""
        return self.step_ml if self.cup_ml is None else self.cup_ml


@dataclass(frozen=True, slots=True)
class Flow:
    """A measured flow [mL/min]: mean, uncertainty at 95 %, what it is made of, and what looks odd."""

    flow_ml_min: float
    uncertainty: Combined  # [mL/min]
    causes: tuple[Cause, ...]
    readings: tuple[Reading, ...]
    scatter_share: float | None  # standard deviation of one reading over the mean; None from one reading
    odd: tuple[Finding, ...] = ()

    @property
    def low_ml_min(self) -> float:
        """Lower end of the 95 % range, not below 0."""
        return max(0.0, self.flow_ml_min - self.uncertainty.expanded)

    @property
    def high_ml_min(self) -> float:
        """Upper end of the 95 % range."""
        return self.flow_ml_min + self.uncertainty.expanded

    @property
    def expanded_share(self) -> float:
        """Half the 95 % range over the flow."""
        return self.uncertainty.expanded / self.flow_ml_min

    def differs_from(self, flow_ml_min: float) -> bool:
        """Whether another value lies outside the 95 % range."""
        return not self.low_ml_min <= flow_ml_min <= self.high_ml_min


@dataclass(frozen=True, slots=True)
class CupPlan:
    """How often and how long to measure: seconds a cup, cups, and the water that a cup must take [mL]."""

    seconds: float
    cups: int
    volume_ml: float


def volume_ml(mass_g: float, water_c: float) -> float:
    """Return the volume of weighed water [mL]; the buoyancy of air (0.1 %) is left out."""
    return mass_g / float(density_kg_m3(water_c)) * 1000.0


def measure_flow(readings: Sequence[Reading], tools: Tools | None = None) -> Flow:
    """Return an outlet's flow from repeated cups, with its uncertainty.

    Parameters
    ----------
    readings
        At least one; volumes above 0 to 20,000 mL, times above 0 to 3,600 s.
    tools
        The cup's graduation and error, the watch's step, the hand's. Left out: lines of 1 mL, whole seconds.

    Returns
    -------
    Flow
        Mean of the readings' flows; standard uncertainty, effective degrees of freedom and +- at 95 %; in `odd` what
        should be looked at: a single reading, one that lies farther off than can be explained, a likely misreading.

    Raises
    ------
    Mendable
        No reading, or a volume, time or tool that can't be; carries every finding.

    Notes
    -----
    Type A: s/sqrt(n) with n - 1 degrees of freedom. Type B, as bounds: the cup's line and the watch's step (0.29 of it),
    the cup's own error and the hand (rectangular) [G, C, W]. The bounds are not divided by sqrt(n): they are alike in every
    cup. From one reading the scatter is not known; 5 % is assumed then, as a guess that may be half wrong [R].

    Cups that differ are no fault: their mean is the flow, and their scatter widens the range by itself (type A). One is called odd only
    where it lies farther from the mean of the others than reading cup and watch and the outlet's own few per cent [R] explain, at 95 %
    for the worst of all cups [B]: 9 % of three cups of a minute. By cup and watch alone, good cups 3 % apart were called odd.
    """
    tools = tools or Tools()
    _refuse(readings, tools)
    flows = [r.flow_ml_min for r in readings]
    mean, spread = mean_and_spread(flows)
    count = len(flows)
    if count > 1:
        repeats = Cause("scatter of the readings", spread / math.sqrt(count), count - 1)
    else:
        repeats = Cause("scatter, assumed", ASSUMED_SCATTER * mean, ASSUMED_DOF)
    per_ml, per_s = _slopes(readings)
    causes = (
        repeats,
        Cause("reading the cup", per_ml * resolution(tools.step_ml)),
        Cause("the cup itself", per_ml * rectangular(tools.out_ml)),
        Cause("step of the watch", per_s * resolution(tools.watch_s)),
        Cause("start and stop by hand", per_s * rectangular(tools.press_s)),
    )
    scatter = spread / mean if count > 1 else None
    return Flow(mean, combine(causes), causes, tuple(readings), scatter, tuple(_odd(readings, flows, tools)))


def cups_needed(target_share: float, *, flow_ml_min: float, seconds: float, scatter_share: float, tools: Tools) -> int | None:
    """Return how many cups of `seconds` bring the 95 % range to +-`target_share` of the flow; None where 12 don't.

    Parameters
    ----------
    target_share
        Half the range aimed at over the flow, for example 0.05.
    flow_ml_min
        About what flows [mL/min].
    seconds
        How long each cup is filled [s].
    scatter_share
        Standard deviation of one reading over the flow.
    tools
        What is measured with.
    """
    cup = Reading(flow_ml_min * seconds / 60.0, seconds)
    per_ml, per_s = _slopes([cup])
    fixed = [
        Cause("cup", per_ml * math.hypot(resolution(tools.step_ml), rectangular(tools.out_ml))),
        Cause("watch", per_s * math.hypot(resolution(tools.watch_s), rectangular(tools.press_s))),
    ]
    for count in range(2, 13):
        repeats = Cause("scatter", scatter_share * flow_ml_min / math.sqrt(count), count - 1)
        if combine([repeats, *fixed]).expanded <= target_share * flow_ml_min:
            return count
    return None


def way_to_measure(
    target_share: float, *, flow_ml_min: float, tools: Tools | None = None, scatter_share: float = FEW_SCATTER
) -> CupPlan | None:
    """Return the quickest way to a 95 % range of +-`target_share`, or None where this cup and watch can't reach it.

    Notes
    -----
    Tried: cups of 30 s to 5 min, 2 to 12 of them, those with at least 3 cups preferred: the scatter of two says little.
    """
    tools = tools or Tools()
    found: list[CupPlan] = []
    for seconds in RUNS_S:
        cups = cups_needed(target_share, flow_ml_min=flow_ml_min, seconds=seconds, scatter_share=scatter_share, tools=tools)
        if cups is not None:
            found.append(CupPlan(seconds, max(cups, ENOUGH), flow_ml_min * seconds / 60.0))
    return min(found, key=lambda w: (w.seconds * w.cups, w.cups), default=None)


def _slopes(readings: Sequence[Reading]) -> tuple[float, float]:
    """Return how the mean flow moves with one mL in every cup, and with one second [mL/min per mL, per s]."""
    volume, seconds = np.array([[r.volume_ml, r.seconds] for r in readings]).T
    return float(np.mean(60.0 / seconds)), float(np.mean(60.0 * volume / seconds**2))


def _odd(readings: Sequence[Reading], flows: Sequence[float], tools: Tools) -> list[Finding]:
    count = len(flows)
    if count == 1:
        alone = said(
            "only one reading: how well it repeats is not known, so the range rests on cup, watch and an assumed scatter, and is wide"
        )
        return [Finding(alone, "readings", said("Fill at least {enough} cups.", enough=ENOUGH), "warning")]
    odd: list[Finding] = []
    worst, apart, explained = 0, 0.0, 1.0
    bound = float(ndtri(1.0 - FALSE_LOOKS / 2.0 / (count if count > 2 else 1)))  # two cups are equally far from each other
    for number, flow in enumerate(flows):
        others = (math.fsum(flows) - flow) / (count - 1)
        may = bound * math.hypot(_read_share(readings[number], tools), FEW_SCATTER) * math.sqrt(1.0 + 1.0 / (count - 1))
        if abs(flow / others - 1.0) / may > apart / explained:
            worst, apart, explained = number, abs(flow / others - 1.0), may
    if apart > explained:
        others = (math.fsum(flows) - flows[worst]) / (count - 1)
        mean, spread = mean_and_spread(flows)
        chance = count < ENOUGH or abs(flows[worst] - mean) <= grubbs_critical(count) * spread
        slip = flows[worst] / others > MISTYPED or others / flows[worst] > MISTYPED
        if slip:
            mend = said("Was a volume or a time mistyped, or the outlet not fully open? Correct it, or fill another cup.")
        elif chance:
            mend = said("The flow itself wanders, or one cup was misread. More cups narrow the range; hold the outlet fully open.")
        else:
            mend = said("Chance alone rarely does that: likely a misreading. Fill another cup; leave one out only if you know why.")
        told = said(
            "reading {number} gives {flow:.3g} mL/min, {apart:.0f} % off the mean of the others;"
            " cup, watch and an outlet's own wander explain {explained:.0f} %",
            number=worst + 1, flow=flows[worst], apart=100.0 * apart, explained=100.0 * explained,
        )  # fmt: skip
        odd.append(Finding(told, said("reading {number}", number=worst + 1), mend, "warning"))
    return odd


def _read_share(reading: Reading, tools: Tools) -> float:
    """Return what reading the cup and the watch does to one reading, as a share; the cup's own error is alike in all."""
    watch = math.hypot(resolution(tools.watch_s), rectangular(tools.press_s))
    return math.hypot(resolution(tools.step_ml) / reading.volume_ml, watch / reading.seconds)


def _refuse(readings: Sequence[Reading], tools: Tools) -> None:
    found: list[Finding] = []
    if not readings:
        found.append(Finding("there is no reading", "readings", "Fill a cup, and give its mL and seconds."))
    for number, reading in enumerate(readings, start=1):
        checks = (
            ("volume", reading.volume_ml, VOLUME_ML, "mL", "Give the mL in the cup."),
            ("time", reading.seconds, SECONDS, "s", "Give the seconds that it ran."),
        )
        for what, value, (low, high), unit, mend in checks:
            if not low < value <= high:  # a NaN is refused as well
                seen = f"a {what} of {value:g} {unit} is not above {low:g} and up to {high:,.0f} {unit}"
                found.append(Finding(seen, f"reading {number}", mend))
    for name, value in (("step_ml", tools.step_ml), ("cup_ml", tools.out_ml), ("watch_s", tools.watch_s), ("press_s", tools.press_s)):
        if not (math.isfinite(value) and 0.0 <= value <= 1000.0) or (name == "step_ml" and value == 0.0):
            found.append(Finding(f"{value:g} is no step or error of a cup or watch", name, "Give the distance of two lines or digits."))
    if found:
        raise Mendable.of(found)
