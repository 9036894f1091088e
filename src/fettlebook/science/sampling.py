"""What a sampling plan can tell: how often a bad chair passes, and the least that finds it.

Between samples of one chair the log10 of the count scatters normally with SD s. A chair at m times the limit then passes a single
sample with probability Phi(-log10(m)/s): a good result proves little, and the plan must say how little.

Sources
-------
[C] Two-class plan: accept with binomial P(X <= c); few chairs: hypergeometric. textbook, memory
[I] Bray, Lyon, Burr 1973; ICMSF: three-class plan, accept = sum over i <= c of C(n, i) p_m^i (1 - p_m - p_M)^(n - i). memory
[W] E. B. Wilson, J Am Stat Assoc 22 (1927) 209: interval of a share. memory
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import bdtr, comb, ndtr, ndtri

from fettlebook.errors import Mendable
from fettlebook.said import said

MOST_SAMPLES: Final = 400
MOST_POOLED: Final = 12
NODES: Final = 64


def pass_probability(limit_multiple: float, sd_log10: float, samples: int = 1) -> float:
    """Return how likely all `samples` of a chair lie within the limit, when its geometric mean is `limit_multiple` times it."""
    _positive("limit_multiple", limit_multiple)
    _positive("sd_log10", sd_log10)
    return float(ndtr(-math.log10(limit_multiple) / sd_log10)) ** samples


def accept_probability(n: int, c: int, p: float) -> float:
    """Return the chance that a two-class plan accepts: at most `c` of `n` samples over the limit, each with chance `p` [C]."""
    if not 0 <= c <= n <= MOST_SAMPLES or n == 0 or not 0.0 <= p <= 1.0:
        raise Mendable(
            f"n = {n}, c = {c}, p = {p}", where="plan: n, c, p", mend=f"Give 1 to {MOST_SAMPLES} samples, c from 0 to n, p from 0 to 1."
        )
    return float(bdtr(c, n, p))


def accept_of_few(n: int, c: int, bad: int, chairs: int) -> float:
    """Return the chance to see at most `c` bad chairs among `n` chosen from `chairs` of which `bad` are bad [C]."""
    if not (0 <= c <= n <= chairs and 0 <= bad <= chairs and n > 0):
        raise Mendable(f"n = {n}, c = {c} of {chairs} chairs, {bad} bad", where="plan: n, c", mend="Choose from 1 to all of the chairs.")
    ways = comb(chairs, n, exact=True)
    return float(sum(comb(bad, i, exact=True) * comb(chairs - bad, n - i, exact=True) for i in range(min(c, bad) + 1)) / ways)


def accept_three_class(n: int, c: int, p_marginal: float, p_bad: float) -> float:
    """Return the chance that a three-class plan accepts: none over M, at most `c` of `n` between m and M [I]."""
    if p_marginal < 0.0 or p_bad < 0.0 or p_marginal + p_bad > 1.0:
        raise Mendable(f"p_m = {p_marginal}, p_M = {p_bad}", where="plan: shares", mend="Give shares from 0 to 1 that add up to at most 1.")
    accept_probability(n, c, p_marginal)  # the same limits of n and c
    good = 1.0 - p_marginal - p_bad
    return float(sum(math.comb(n, i) * p_marginal**i * good ** (n - i) for i in range(c + 1)))


def share_above(limit_cfu_ml: float, level_log10: float, sd_log10: float) -> float:
    """Return the share of samples above a limit, of a chair with this level."""
    _positive("limit", limit_cfu_ml)
    _positive("sd_log10", sd_log10)
    return float(ndtr((level_log10 - math.log10(limit_cfu_ml)) / sd_log10))


@dataclass(frozen=True, slots=True)
class Plan:
    """Each chair sampled `rounds` times in the time looked at, `pooled` chairs to a bottle, judged against `bottle_limit_cfu_ml`.

    `finds`: the chance that a bad chair is found; `false_alarm`: that a good bottle is over in any round; `bottles` for the laboratory.
    """

    rounds: int
    pooled: int
    bottle_limit_cfu_ml: float
    finds: float
    false_alarm: float
    bottles: int


def plan(*, rounds: int, pooled: int, chairs: int, limit_cfu_ml: float, bad_multiple: float, sd_log10: float, usual_log10: float) -> Plan:
    """Return what a plan can tell.

    Parameters
    ----------
    rounds, pooled, chairs
        As in `Plan`. A pool is judged against the limit over its number of chairs: whatever it hides is then within the limit.
    limit_cfu_ml, bad_multiple
        The limit for one chair, and how many times over it the chair is that must be found.
    sd_log10, usual_log10
        Scatter between samples of a chair, and the level of the other chairs [log10 CFU/mL].
    """
    _positive("limit", limit_cfu_ml)
    _positive("bad_multiple", bad_multiple)
    _positive("sd_log10", sd_log10)
    if rounds < 1 or rounds > MOST_SAMPLES or not 1 <= pooled <= min(chairs, MOST_POOLED):
        raise Mendable(
            f"{rounds} rounds, {pooled} chairs a bottle", where="plan", mend=f"Give 1 to {MOST_SAMPLES} rounds, 1 to {MOST_POOLED} chairs."
        )
    bad = math.log10(limit_cfu_ml * bad_multiple)
    level = limit_cfu_ml / pooled
    found = _over(level * pooled, [bad], [usual_log10] * (pooled - 1), sd_log10)
    false = _over(level * pooled, [], [usual_log10] * pooled, sd_log10)
    bottles = rounds * math.ceil(chairs / pooled)
    return Plan(rounds, pooled, level, 1.0 - (1.0 - found) ** rounds, 1.0 - (1.0 - false) ** rounds, bottles)


def _over(total_cfu: float, bad: list[float], usual: list[float], sd: float) -> float:
    """Return the chance that the sum of log-normal counts is over `total_cfu`.

    The one that decides (the bad chair, else one of the usual) is summed over exactly; the rest of the sum is a log-normal with the
    same mean and variance (Fenton 1960, IRE Trans. 8:57; memory).
    """
    head, *rest = [*bad, *usual]
    if not rest:
        return float(ndtr((head - math.log10(total_cfu)) / sd))
    spread = (sd * math.log(10.0)) ** 2
    means = 10.0 ** np.asarray(rest) * math.exp(spread / 2.0)
    mean, var = float(means.sum()), float((means**2).sum() * math.expm1(spread))
    rest_sd = math.sqrt(math.log1p(var / mean**2))
    rest_mu = math.log(mean) - rest_sd**2 / 2.0
    z, w = np.polynomial.hermite_e.hermegauss(NODES)
    left = total_cfu - np.exp(rest_mu + rest_sd * z)
    over = np.where(left > 0.0, ndtr((head - np.log10(np.maximum(left, 1e-300))) / sd), 1.0)
    return float((w * over).sum() / w.sum())


def cheapest_plan(
    *, power: float, chairs: int, limit_cfu_ml: float, bad_multiple: float, sd_log10: float, usual_log10: float, most_false: float = 1.0
) -> Plan:
    """Return the plan with fewest bottles that finds a bad chair with chance `power`, false alarms at most `most_false`.

    Raises
    ------
    Mendable
        No plan of at most `MOST_SAMPLES` rounds reaches it.
    """
    if not 0.0 < power < 1.0:
        raise Mendable(f"power {power}", where="plan: power", mend="Give a chance between 0 and 1, such as 0.9.")
    best: Plan | None = None
    for pooled in range(1, min(chairs, MOST_POOLED) + 1):
        setting = {"pooled": pooled, "chairs": chairs, "limit_cfu_ml": limit_cfu_ml, "bad_multiple": bad_multiple}
        once = plan(rounds=1, sd_log10=sd_log10, usual_log10=usual_log10, **setting)  # type: ignore[arg-type]
        rounds = _rounds(once.finds, power)
        if rounds > MOST_SAMPLES:
            continue
        whole = plan(rounds=rounds, sd_log10=sd_log10, usual_log10=usual_log10, **setting)  # type: ignore[arg-type]
        if whole.false_alarm <= most_false and (best is None or (whole.bottles, whole.rounds) < (best.bottles, best.rounds)):
            best = whole
    if best is None:
        raise Mendable(
            said("no plan finds a chair at {multiple:g} times the limit with chance {power:g}", multiple=bad_multiple, power=power),
            where="plan: power",
            mend=said("Ask for less, or accept more false alarms: the chairs' usual level is too near the limit for pools."),
        )
    return best


def _rounds(once: float, power: float) -> int:
    if once <= 0.0:
        return MOST_SAMPLES + 1
    return 1 if once >= power else math.ceil(math.log1p(-power) / math.log1p(-once) - 1e-12)


def wilson_interval(found: int, of: int, level: float = 0.95) -> tuple[float, float]:
    """Return the interval of a share by Wilson's score [W]: `found` of `of` (at least one) checks."""
    if not 0 <= found <= of or of == 0 or not 0.0 < level < 1.0:
        raise Mendable(f"{found} of {of} at level {level}", where="wilson_interval", mend="Give 0 to all of at least one check.")
    z = float(ndtri(0.5 + level / 2.0))
    share, scale = found / of, 1.0 + z * z / of
    middle = (share + z * z / (2.0 * of)) / scale
    half = z * math.sqrt(share * (1.0 - share) / of + z * z / (4.0 * of * of)) / scale
    return max(0.0, middle - half), min(1.0, middle + half)


def _positive(name: str, value: float) -> None:
    if not (math.isfinite(value) and value > 0.0):
        raise Mendable(f"{name} {value}", where=f"plan: {name}", mend="Give a number above zero.")
