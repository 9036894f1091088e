"""Running times that hold although bore, length and flow are not known exactly, and the input worth measuring first.

Sources
-------
[G] GUM (JCGM 100:2008), 5.1: independent inputs, effects added as the root of the sum of squares. memory
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import Any, Final, Literal

from fettlebook.errors import Mendable
from fettlebook.science.circuits import (
    FILL_SHARE,
    FLUSH_SHARE,
    RATIO_CELLS,
    RINSE_SHARE,
    Method,
    OutletSeconds,
    exact_times,
    trees_seconds,
)
from fettlebook.science.second_feed import undiluted_share, with_feeds_times
from fettlebook.science.tree import Tree, read_tree, tube

Input = Literal["flow", "bore", "length"]
Ratios = dict[Input, list[float]]  # logarithms, for flush, fill and rinse
_LIMIT_SIGMA: Final = NormalDist().inv_cdf(0.975)  # the stated +- holds in 95 % of cases


@dataclass(frozen=True, slots=True)
class Spread:
    """Within what the inputs lie, 95 times in 100: bore +- mm, flow and length +- share of themselves.

    `flow_by_outlet` replaces the flow's share where an outlet was measured.
    """

    bore_mm: float = 0.1
    flow_share: float = 0.15
    length_share: float = 0.10
    flow_by_outlet: Mapping[str, float] | None = None


@dataclass(frozen=True, slots=True)
class SureSeconds:
    """An outlet's times that hold with the confidence asked for, beside the best estimate.

    `measure_first` is the input whose error lengthens the rinse, the fill or the flush most; `shares` is how much of the
    spread each input brings, in the worst of the three times.
    """

    outlet: str
    best: OutletSeconds
    flush_s: float
    fill_s: float
    rinse_s: float
    measure_first: Input
    shares: Mapping[Input, float]


def sure_seconds(
    circuit: Mapping[str, Any],
    *,
    spread: Spread | None = None,
    confidence: float = 0.95,
    flush_share: float = FLUSH_SHARE,
    fill_share: float = FILL_SHARE,
    rinse_share: float = RINSE_SHARE,
    method: Method = "exact",
) -> tuple[SureSeconds, ...]:
    """Return each outlet's seconds that hold with `confidence`, and which input to measure first.

    Parameters
    ----------
    circuit
        Plain data as for `outlet_seconds`.
    spread
        How far the inputs may be out; left out: bore 0.1 mm, flow 15 %, length 10 %.
    confidence
        One-sided, 0.5 to 0.999.
    flush_share, fill_share, rinse_share, method
        As for `outlet_seconds`.

    Returns
    -------
    tuple of SureSeconds
        One for each outlet, in the order of the data; never below the best estimate.

    Raises
    ------
    Mendable
        The circuit, a share, the spread or the confidence can't be used.

    Notes
    -----
    Each input is set to the limit that lengthens the time (wider, longer, slower), for all parts at once since one person
    with one tape is wrong the same way everywhere; the logarithms of the three ratios are added as root of sum of squares
    and scaled from the limit's 1.96 sigma to the confidence asked for [G]. What the model leaves out is not in it.
    """
    spreads = None if spread is None else [spread]
    return sure_seconds_of_all(
        [circuit],
        spreads=spreads,
        confidence=confidence,
        flush_share=flush_share,
        fill_share=fill_share,
        rinse_share=rinse_share,
        method=method,
    )[0]


def sure_seconds_of_all(
    circuits: Sequence[Mapping[str, Any]],
    *,
    spreads: Sequence[Spread] | None = None,
    confidence: float = 0.95,
    flush_share: float = FLUSH_SHARE,
    fill_share: float = FILL_SHARE,
    rinse_share: float = RINSE_SHARE,
    method: Method = "exact",
) -> list[tuple[SureSeconds, ...]]:
    """Return the same as `sure_seconds` for many circuits, ten times faster than one by one.

    Parameters
    ----------
    circuits
        Plain data as for `outlet_seconds`.
    spreads
        One for each circuit; left out: the usual one for all.
    confidence, flush_share, fill_share, rinse_share, method
        As for `sure_seconds`.

    Returns
    -------
    list of tuple of SureSeconds
        One for each circuit, in their order.

    Raises
    ------
    Mendable
        As `sure_seconds`; the first circuit with a finding is reported.
    """
    usual = Spread()
    spreads = [usual] * len(circuits) if spreads is None else spreads
    for spread in spreads:
        _check(spread, confidence)
    trees = [read_tree(circuit) for circuit in circuits]
    if any(tree.feeds for tree in trees):
        if len(trees) > 1:  # each asks for another share of its own end
            shares = {"flush_share": flush_share, "fill_share": fill_share, "rinse_share": rinse_share}
            pairs = zip(circuits, spreads, strict=True)
            return [sure_seconds(c, spread=s, confidence=confidence, method=method, **shares) for c, s in pairs]
        fill_share = undiluted_share(_slower(trees[0], spreads[0]), fill_share)
    best = trees_seconds(trees, flush_share=flush_share, fill_share=fill_share, rinse_share=rinse_share, method=method)
    ratios = _ratios(trees, spreads, (flush_share, 1.0 - fill_share, rinse_share), method)
    scale = NormalDist().inv_cdf(confidence) / _LIMIT_SIGMA
    return [tuple(_sure(o, r, scale) for o, r in zip(*rows, strict=True)) for rows in zip(best, ratios, strict=True)]


def _ratios(trees: Sequence[Tree], spreads: Sequence[Spread], left: tuple[float, float, float], method: Method) -> list[list[Ratios]]:
    """Return for every outlet the logarithm of how much each input's limit lengthens flush, fill and rinse."""
    same = [_slower_is_longer(tree, spread) for tree, spread in zip(trees, spreads, strict=True)]
    changed: list[Tree] = list(trees)
    for change in (_slower, _wider):
        changed += [change(tree, spread) for tree, spread in zip(trees, spreads, strict=True)]
    apart = [i for i, share in enumerate(same) if not share]
    changed += [_longer(trees[i], spreads[i]) for i in apart]
    times = _times(changed, left, method)
    count = len(trees)
    best, slower, wider = times[:count], times[count : 2 * count], times[2 * count : 3 * count]
    longer = dict(zip(apart, times[3 * count :], strict=True))
    found: list[list[Ratios]] = []
    for i in range(count):
        rows: list[Ratios] = []
        for j, own in enumerate(best[i]):
            flow, bore = _log_ratios(slower[i][j], own), _log_ratios(wider[i][j], own)
            length = _log_ratios(longer[i][j], own) if i in longer else [effect * same[i] for effect in flow]
            rows.append({"flow": flow, "bore": bore, "length": length})
        found.append(rows)
    return found


def _times(trees: Sequence[Tree], left: tuple[float, float, float], method: Method) -> list[list[tuple[float, float, float]]]:
    if method == "exact":
        # Ratios of times on coarse lattices of the same shape: their errors are alike and drop out.
        return [[t[:3] for t in row] for row in exact_times(trees, *left, cells=RATIO_CELLS)]
    rows = trees_seconds(trees, flush_share=left[0], fill_share=1.0 - left[1], rinse_share=left[2], method=method)
    return [[(o.flush_s, o.fill_s, o.rinse_s) for o in row] for row in rows]


def _log_ratios(at_limit: tuple[float, float, float], best: tuple[float, float, float]) -> list[float]:
    return [math.log(limit / own) for limit, own in zip(at_limit, best, strict=True)]


def _sure(best: OutletSeconds, ratios: Ratios, scale: float) -> SureSeconds:
    squares = [(flow**2, bore**2, length**2) for flow, bore, length in zip(ratios["flow"], ratios["bore"], ratios["length"], strict=True)]
    totals = [sum(each) for each in squares]
    most = max(totals)
    flow, bore, length = (square / max(most, 1e-300) for square in squares[totals.index(most)])
    shares: dict[Input, float] = {"flow": flow, "bore": bore, "length": length}
    flush_s, fill_s, rinse_s = (
        t * math.exp(scale * math.sqrt(total)) for t, total in zip((best.flush_s, best.fill_s, best.rinse_s), totals, strict=True)
    )
    return SureSeconds(best.outlet, best, flush_s, fill_s, rinse_s, max(shares, key=lambda name: shares[name]), shares)


def _slower_is_longer(tree: Tree, spread: Spread) -> float:
    """Return the effect of the length's limit as a share of the flow's (logarithms), or 0.0 if it has to be reckoned.

    In a path of tubes alone, a flow slower by a factor and a length longer by it change tbar and tau_D alike, so they give
    the very same times, and between two near factors the logarithm of the time runs straight.
    """
    if tree.feeds or spread.flow_by_outlet or spread.flow_share < 1e-3 or any(part.kind == "stirred" for part in tree.parts.values()):
        return 0.0
    return math.log(1.0 + spread.length_share) / -math.log(1.0 - spread.flow_share)


def _slower(tree: Tree, spread: Spread) -> Tree:
    own = spread.flow_by_outlet or {}
    outlets = tuple(replace(o, flow_ml_min=o.flow_ml_min * (1.0 - own.get(o.id, spread.flow_share))) for o in tree.outlets)
    return with_feeds_times(replace(tree, outlets=outlets), 1.0 + spread.flow_share)


def _wider(tree: Tree, spread: Spread) -> Tree:
    parts = {
        name: tube(part.id, part.length_m, part.bore_mm + spread.bore_mm, part.shape) if part.kind == "tube" else part
        for name, part in tree.parts.items()
    }
    return replace(tree, parts=parts)


def _longer(tree: Tree, spread: Spread) -> Tree:
    parts = {
        name: tube(part.id, part.length_m * (1.0 + spread.length_share), part.bore_mm, part.shape) if part.kind == "tube" else part
        for name, part in tree.parts.items()
    }
    return replace(tree, parts=parts)


def _check(spread: Spread, confidence: float) -> None:
    if not 0.5 <= confidence <= 0.999:
        raise Mendable(f"{confidence!r} is outside 0.5 to 0.999", where="confidence", mend="Give 0.95 for 95 %.")
    if not 0.0 <= spread.bore_mm <= 2.0:
        raise Mendable(f"{spread.bore_mm!r} is outside 0 to 2 mm", where="spread, bore_mm", mend="Give how far a bore may be out, in mm.")
    for name, share in (
        ("flow_share", spread.flow_share),
        ("length_share", spread.length_share),
        *(("flow_by_outlet", share) for share in (spread.flow_by_outlet or {}).values()),
    ):
        if not 0.0 <= share <= 0.9:
            raise Mendable(f"{share!r} is outside 0 to 0.9", where=f"spread, {name}", mend="Give a share: 0.15 for 15 %.")
