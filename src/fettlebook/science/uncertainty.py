"""Running times that hold although bore, length and flow are not known exactly, and the input worth measuring first.

Sources
-------
[G] GUM (JCGM 100:2008), 5.1: independent inputs, effects added as the root of the sum of squares. memory
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import Any, Final, Literal

from fettlebook.errors import Mendable
from fettlebook.science.circuits import FILL_SHARE, FLUSH_SHARE, RINSE_SHARE, Method, OutletSeconds, tree_seconds
from fettlebook.science.tree import Tree, read_tree, tube

Input = Literal["flow", "bore", "length"]
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
    spread = Spread() if spread is None else spread
    _check(spread, confidence)
    tree = read_tree(circuit)
    limits: dict[Input, Tree] = {"flow": _slower(tree, spread), "bore": _wider(tree, spread), "length": _longer(tree, spread)}

    def reckon(at: Tree) -> tuple[OutletSeconds, ...]:
        return tree_seconds(at, flush_share=flush_share, fill_share=fill_share, rinse_share=rinse_share, method=method)

    best = reckon(tree)
    same = _slower_is_longer(tree, spread)
    off = {name: reckon(limit) for name, limit in limits.items() if name != "length" or not same}
    scale = NormalDist().inv_cdf(confidence) / _LIMIT_SIGMA
    sure: list[SureSeconds] = []
    for row, outlet in enumerate(best):
        at_limit = {name: _times(off[name][row]) for name in off}
        ratios: list[dict[Input, float]] = [{name: math.log(at_limit[name][i] / t) for name in off} for i, t in enumerate(_times(outlet))]
        if same:
            for ratio in ratios:
                ratio["length"] = ratio["flow"] * same
        spans = [math.sqrt(sum(ratio**2 for ratio in each.values())) for each in ratios]
        worst = ratios[spans.index(max(spans))]
        total = max(sum(ratio**2 for ratio in worst.values()), 1e-300)
        flush_s, fill_s, rinse_s = (t * math.exp(scale * span) for t, span in zip(_times(outlet), spans, strict=True))
        by_share: dict[Input, float] = {"flow": 0.0, "bore": 0.0, "length": 0.0}
        for name in by_share:
            by_share[name] = worst[name] ** 2 / total
        sure.append(SureSeconds(outlet.outlet, outlet, flush_s, fill_s, rinse_s, max(by_share, key=lambda n: by_share[n]), by_share))
    return tuple(sure)


def _times(outlet: OutletSeconds) -> tuple[float, float, float]:
    return outlet.flush_s, outlet.fill_s, outlet.rinse_s


def _slower_is_longer(tree: Tree, spread: Spread) -> float:
    """Return the effect of the length's limit as a share of the flow's (logarithms), or 0.0 if it has to be reckoned.

    In a path of tubes alone, a flow slower by a factor and a length longer by it change tbar and tau_D alike, so they give
    the very same times, and between two near factors the logarithm of the time runs straight.
    """
    if spread.flow_by_outlet or spread.flow_share == 0.0 or any(part.kind == "stirred" for part in tree.parts.values()):
        return 0.0
    return math.log(1.0 + spread.length_share) / -math.log(1.0 - spread.flow_share)


def _slower(tree: Tree, spread: Spread) -> Tree:
    own = spread.flow_by_outlet or {}
    outlets = tuple(replace(o, flow_ml_min=o.flow_ml_min * (1.0 - own.get(o.id, spread.flow_share))) for o in tree.outlets)
    return replace(tree, outlets=outlets)


def _wider(tree: Tree, spread: Spread) -> Tree:
    parts = {
        name: tube(part.id, part.length_m, part.bore_mm + spread.bore_mm) if part.kind == "tube" else part
        for name, part in tree.parts.items()
    }
    return replace(tree, parts=parts)


def _longer(tree: Tree, spread: Spread) -> Tree:
    parts = {
        name: tube(part.id, part.length_m * (1.0 + spread.length_share), part.bore_mm) if part.kind == "tube" else part
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
