"""A line held against strip readings: does the computed wash-out hold at this outlet, and when is it down to the limit?

The computed curve of the line is given two freedoms: everything may take `stretch` times as long (flow or volume is not
what the practice file says), and a mixing volume may stand behind the line (valves, quick connects, fittings), as a share
of the line's content. A strip tells no number but a stretch between two colours, and that is how it is used.

Sources
-------
[L] Likelihood of readings known to lie in an interval; profile range by chi-square with 1 degree of freedom (Wilks 1938). memory
[B] Test of the fit by data simulated from the fitted line (parametric bootstrap, Efron and Tibshirani 1993). memory
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from fettlebook.errors import Finding, Mendable
from fettlebook.science.stretched import MIXINGS, STRETCHES, LineCurve
from fettlebook.science.strips import Strip, StripReading, faults_of_readings, faults_of_strip, intervals, log_chances

Floats = NDArray[np.float64]
CHI2_95: Final = 3.841  # [L]
MISFIT_BELOW: Final = 0.05
ENOUGH: Final = 4
SHALLOW: Final = 0.1  # the largest share that a running time asks for


@dataclass(frozen=True, slots=True)
class Calibration:
    """What strip readings say of a line.

    `limit_s` is the likeliest time to the limit, `low_s` to `high_s` its 95 % range (None: the readings set no such end).
    `hold_s` is the time to keep to: the upper end of the range, but no less than the computed time unless enough
    readings that fit bear out less; never less than `floor_s`. With `mixing` behind the line, the whole curve from 10 % down to
    the limit takes `slower_from` to `slower_to` times as long as computed (95 %), and never less than the last strip over the
    limit asks for; `stretch` is the likeliest. Only where `borne_out` do the strips themselves say that this
    is long enough; else it is the least that is known. `over_s` is the last time at which a strip was over the limit (0:
    never). `reasons` says in words what decided it.
    """

    stretch: float
    mixing: float
    limit_s: float
    low_s: float | None
    high_s: float | None
    computed_s: float
    hold_s: float
    fit_p: float | None  # share of simulated data sets of this line that fit no better; None: not tested
    fits: bool
    enough: bool
    borne_out: bool
    over_s: float
    reasons: tuple[str, ...]
    expected_mg_l: tuple[float, ...]  # of the fitted line, at each reading
    slower_from: float
    slower_to: float


def calibrate(
    readings: Sequence[StripReading],
    curve: LineCurve,
    *,
    strip: Strip,
    strength_mg_l: float,
    limit_mg_l: float,
    computed_s: float,
    floor_s: float = 0.0,
    simulations: int = 199,
    seed: int = 1,
) -> Calibration:
    """Return how the line's computed wash-out stands against strip readings, and the time to the limit with its range.

    Parameters
    ----------
    readings
        Strips at one outlet at known times after it was opened, of one run or several.
    curve
        The line's computed curve, from `line_curve`.
    strip
        The strip's colours and its reading error.
    strength_mg_l
        What the line was filled with [mg/L].
    limit_mg_l
        What may be left [mg/L], below the strength.
    computed_s
        Time to the limit by the computed curve, with whatever margin the program adds [s].
    floor_s
        What rule and label ask at least [s].
    simulations
        Data sets simulated for the test of the fit; 0 leaves the test out, and then nothing shorter is borne out.
    seed
        Of the simulation: the same readings give the same answer.

    Returns
    -------
    Calibration
        Fit, 95 % range, test and the time to keep to.

    Raises
    ------
    Mendable
        A reading, colour, strength, limit or time can't be; carries every finding.

    Notes
    -----
    Each reading lies in an interval; the eye's error is normal on a log scale. Likelihood over a lattice of stretch and
    mixing; the range of the time to the limit is that of all pairs with 2 (best - log likelihood) <= 3.841 [L]. The test
    holds the deviance against that of data sets simulated from the best pair and fitted anew [B].
    """
    found = [*faults_of_strip(strip), *faults_of_readings(readings, strip)]
    if not (math.isfinite(strength_mg_l) and 0.0 < limit_mg_l < strength_mg_l):
        seen = f"a limit of {limit_mg_l:g} mg/L and a strength of {strength_mg_l:g} mg/L"
        found.append(Finding(seen, "limit, strength", "Give both in mg/L; the limit lies above 0 and under the strength."))
    if not (0.0 < computed_s < math.inf and 0.0 <= floor_s < math.inf):
        found.append(Finding(f"computed {computed_s:g} s, floor {floor_s:g} s", "computed_s, floor_s", "Give seconds."))
    if found:
        raise Mendable.of(found)
    edges, chosen = intervals(readings, strip)
    log_c = np.array([math.log(strength_mg_l) + curve.log_left_at(r.seconds) for r in readings]).reshape(len(readings), -1)
    table = [log_chances(log_c[i], edges[i], strip.read_error) for i in range(len(readings))]  # each (intervals, pairs)
    likelihood = sum(table[i][chosen[i]] for i in range(len(readings)))
    best = int(np.argmax(likelihood))
    at_limit = curve.seconds_to(limit_mg_l / strength_mg_l).ravel()
    inside = 2.0 * (likelihood[best] - likelihood) <= CHI2_95
    mixing_at, stretch_at = np.divmod(np.arange(at_limit.size), STRETCHES.size)
    step = float(STRETCHES[1] / STRETCHES[0])  # the range is widened by one step of the lattice, so that it is never cut short
    high = _end(at_limit, inside, np.max, (stretch_at == STRETCHES.size - 1) | (mixing_at == MIXINGS.size - 1))
    low = _end(at_limit, inside, np.min, stretch_at == 0)
    fit_p = _fit_p(table, chosen, best, simulations, seed) if simulations else None
    fits = fit_p is not None and bool(fit_p >= MISFIT_BELOW)
    informative = sum(0 < k < len(e) - 2 for k, e in zip(chosen, edges, strict=True))
    enough = len({r.seconds for r in readings}) >= ENOUGH and informative >= 2
    high_s = None if high is None else high * step
    lows = [float(e[k]) for e, k in zip(edges, chosen, strict=True)]
    highs = [float(e[k + 1]) for e, k in zip(edges, chosen, strict=True)]
    over_s = max((r.seconds for r, low in zip(readings, lows, strict=True) if low >= limit_mg_l), default=0.0)
    clear = any(high <= limit_mg_l for high in highs)
    borne_out = enough and fits and clear and high_s is not None
    slower_from, slower_to = _slower(curve, limit_mg_l / strength_mg_l, int(mixing_at[best]), inside, over_s)
    hold_s, reasons = _keep_to(
        limit=limit_mg_l,
        computed_s=computed_s,
        floor_s=floor_s,
        high_s=high_s,
        over_s=over_s,
        clear=clear,
        fit_p=fit_p,
        enough=enough,
        borne_out=borne_out,
    )
    return Calibration(
        stretch=float(STRETCHES[stretch_at[best]]),
        mixing=float(MIXINGS[mixing_at[best]]),
        limit_s=float(at_limit[best]),
        low_s=None if low is None else low / step,
        high_s=high_s,
        computed_s=computed_s,
        hold_s=hold_s,
        fit_p=fit_p,
        fits=fits,
        enough=enough,
        borne_out=borne_out,
        over_s=over_s,
        reasons=(*_blind(strip, limit_mg_l), *reasons),
        expected_mg_l=tuple(float(math.exp(v)) for v in log_c[:, best]),
        slower_from=slower_from / step,
        slower_to=slower_to * step,
    )


def _keep_to(
    *,
    limit: float,
    computed_s: float,
    floor_s: float,
    high_s: float | None,
    over_s: float,
    clear: bool,
    fit_p: float | None,
    enough: bool,
    borne_out: bool,
) -> tuple[float, tuple[str, ...]]:
    """Return the time to keep to, and why: shorter than computed only where fit, number and a clear strip bear it out."""
    reasons: list[str] = []
    if not enough:
        reasons.append(
            f"too few readings: at least {ENOUGH} times, two of them where the strip shows a colour between its lowest and its highest"
        )
    if fit_p is not None and fit_p < MISFIT_BELOW:
        reasons.append(
            f"the readings do not fit this line, whatever its flow and mixing (by chance in {fit_p * 100:.0f} of 100): "
            "look for a dead leg, outlets opened otherwise, the wrong strip or strength"
        )
    if not clear:
        reasons.append(f"no strip was surely at or under the limit of {limit:g} mg/L")
    if high_s is None:
        reasons.append("the readings set no upper end of the time to the limit: go on longer, until the strip is clear")
    if borne_out and high_s is not None:
        keep = max(high_s, over_s, floor_s)
        shorter = "shorter" if max(high_s, over_s) < computed_s else "no shorter"
        reasons.append(f"the strips ask for the upper end of the 95 % range, {shorter} than computed")
    else:
        keep = max(computed_s, over_s, floor_s, high_s or 0.0)
        if keep == over_s:
            reasons.append("a strip was over the limit as late as that")
        elif keep == computed_s:
            reasons.append("so the computed time stays")
    if keep == floor_s > max(high_s or 0.0, over_s):
        reasons.append("rule or label ask for more, and that stays")
    return keep, tuple(reasons)


def _blind(strip: Strip, limit: float) -> tuple[str, ...]:
    lowest = strip.colours_mg_l[0]
    return (f"this strip can't show the limit of {limit:g} mg/L: its lowest colour is {lowest:g}",) if lowest > limit else ()


def _slower(curve: LineCurve, limit: float, mixing: int, inside: NDArray[np.bool_], over_s: float) -> tuple[float, float]:
    """Return how many times as long as computed with this one mixing the line can take, over all pairs in the range and all depths.

    Stretch and mixing make up for each other: a pair of the range may be faster at one depth and slower at another, so every
    depth that a running time asks for counts.
    """
    lows, highs = [], []
    for share in np.geomspace(max(SHALLOW, limit), limit, 7):
        seconds = curve.seconds_to(float(share))
        own_s = seconds[mixing, 0] / STRETCHES[0]
        lows.append(float(np.min(seconds.ravel()[inside]) / own_s))
        highs.append(float(np.max(seconds.ravel()[inside]) / own_s))
    highs.append(over_s / own_s)
    return min(lows), max(highs)


def _end(times: Floats, inside: NDArray[np.bool_], pick: Callable[[Floats], np.float64], edge: NDArray[np.bool_]) -> float | None:
    """Return an end of the range, or None where it lies on the edge of the lattice: the readings don't set it."""
    value = float(pick(times[inside]))
    return None if bool(np.any(edge[inside & (times == value)])) else value


def _fit_p(table: Sequence[Floats], chosen: Sequence[int], best: int, simulations: int, seed: int) -> float:
    """Return the share of data sets simulated from the best pair that fit their own best pair no better than the real ones."""
    rng = np.random.default_rng(seed)
    # the best any strength could do for an interval: a reading "above the highest colour" can't misfit by itself
    peak = [np.max(t, axis=1) for t in table]
    every_other = np.arange(0, table[0].shape[1], 2)
    seen = -2.0 * sum(t[k, best] - p[k] for t, k, p in zip(table, chosen, peak, strict=True))
    drawn = np.empty((len(table), simulations), np.int64)
    for i, t in enumerate(table):
        chance = np.exp(t[:, best])
        drawn[i] = rng.choice(chance.size, size=simulations, p=chance / chance.sum())
    worse = 0
    for draw in drawn.T:
        fitted = np.max(sum(t[k, every_other] for t, k in zip(table, draw, strict=True)))
        deviance = -2.0 * (fitted - sum(p[k] for p, k in zip(peak, draw, strict=True)))
        worse += deviance >= seen - 1e-9
    return float((1 + worse) / (1 + simulations))
