"""Running times that hold although bore, length and flow are not known exactly, and the input worth measuring first.

Sources
-------
[G] GUM (JCGM 100:2008), 5.1: independent inputs, effects added as the root of the sum of squares. memory
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from statistics import NormalDist
from typing import Any, Final, Literal, NamedTuple

import numpy as np

from fettlebook.errors import Mendable
from fettlebook.science.circuits import FILL_SHARE, FLUSH_SHARE, RINSE_SHARE, Method, OutletSeconds, left_of, lots_of, outlet_rows
from fettlebook.science.needs import BEST, Left, Needs, Steps, bounded_needs, exact_needs
from fettlebook.science.second_feed import shares_asked, with_feeds_times
from fettlebook.science.series import Real, Series
from fettlebook.science.tree import Tree, read_tree
from fettlebook.science.ways import Ways, ways_of

Input = Literal["flow", "bore", "length"]
INPUTS: Final[tuple[Input, ...]] = ("flow", "bore", "length")
LIMIT: Final = Steps(96, 160)  # steps of the lattices where an input is at its limit
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


class SureSeconds(NamedTuple):
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
    left_of(flush_share, fill_share, rinse_share, method)
    usual_shares = flush_share, fill_share, rinse_share
    asks = [shares_asked(_slower(t, s), *usual_shares) if t.feeds else usual_shares for t, s in zip(trees, spreads, strict=True)]
    scale = NormalDist().inv_cdf(confidence) / _LIMIT_SIGMA
    found: dict[int, tuple[SureSeconds, ...]] = {}
    for asked, lot in lots_of(asks).items():
        own = [trees[i] for i in lot]
        left = left_of(*asked, method)
        rows = _sure(_Lot(own, [spreads[i] for i in lot], ways_of(own), left, method), scale)
        found.update(zip(lot, rows, strict=True))
    return [found[i] for i in range(len(trees))]


@dataclass(frozen=True, slots=True)
class _Lot:
    """Circuits that ask for the same shares, and their ways."""

    trees: Sequence[Tree]
    spreads: Sequence[Spread]
    ways: Ways
    left: Left
    method: Method

    def needs(self, series: Series, steps: Steps = BEST, mixed_most_s: Real | None = None) -> Needs:
        if self.method == "safe bound":
            return bounded_needs(series, self.left)
        return exact_needs(series, self.left, steps=steps, mixed_most_s=mixed_most_s)


def _sure(lot: _Lot, scale: float) -> list[tuple[SureSeconds, ...]]:
    best = lot.ways.series()
    needs = lot.needs(best)
    squares = _effects(lot, best, needs) ** 2
    totals = squares.sum(axis=1)
    times = needs.seconds * np.exp(scale * np.sqrt(totals))
    here, most = np.arange(best.count.size), totals.argmax(axis=1)
    shares = squares[here, :, most] / np.maximum(totals[here, most], 1e-300)[:, None]
    rows = outlet_rows(lot.trees, lot.ways, needs)
    columns = zip([o for row in rows for o in row], times.tolist(), shares.argmax(axis=1).tolist(), shares.tolist(), strict=True)
    found = iter(
        [
            SureSeconds(o.outlet, o, flush_s, fill_s, rinse_s, INPUTS[first], {"flow": flow, "bore": bore, "length": length})
            for o, (flush_s, fill_s, rinse_s), first, (flow, bore, length) in columns
        ]
    )
    return [tuple(islice(found, len(row))) for row in rows]


def _effects(lot: _Lot, best: Series, needs: Needs) -> Real:
    """Return by how much each input's limit lengthens each time: logarithms, shape (outlets, inputs, flush fill rinse).

    The times at the limits come from a coarser lattice than the best estimate, so they err longer.
    """
    ways, spreads = lot.ways, lot.spreads
    of_part, of_outlet = ways.of_part, ways.of_outlet
    flow_share, length_share, bore_mm = np.array([(s.flow_share, s.length_share, s.bore_mm) for s in spreads]).T
    own_share = flow_share[of_outlet]
    if any(s.flow_by_outlet for s in spreads):
        outlets = [(o.id, spread) for tree, spread in zip(lot.trees, spreads, strict=True) for o in tree.outlets]
        own_share = np.array([(spread.flow_by_outlet or {}).get(name, spread.flow_share) for name, spread in outlets])
    slower = ways.series(outlet_ml_min=ways.flow_ml_min * (1.0 - own_share), feeds=(1.0 + flow_share)[of_part])
    wider = ways.series(wider_mm=bore_mm[of_part])
    # In a path of tubes alone a flow slower by a factor and a length longer by it change tbar and tau_D alike: the very same
    # times; and between two near factors the logarithm of the time runs straight.
    alike = np.array([not (t.feeds or s.flow_by_outlet) and s.flow_share >= 1e-3 for t, s in zip(lot.trees, spreads, strict=True)])
    apart = np.flatnonzero(~alike[of_outlet] | best.with_vessels())
    longer = ways.series(longer=(1.0 + length_share)[of_part]).at(apart)
    limits = slower.and_below([wider, longer])
    most = np.concatenate([_most_s(best, needs, slower), _most_s(best, needs, wider), np.full((apart.size, 4), np.inf)])
    logs = np.log(lot.needs(limits, LIMIT, most).seconds)
    count, own = best.count.size, np.log(needs.seconds)
    effects = np.empty((count, len(INPUTS), 3))
    effects[:, 0], effects[:, 1] = logs[:count] - own, logs[count : 2 * count] - own
    per_flow = np.log(1.0 + length_share) / np.maximum(-np.log(1.0 - flow_share), 1e-300)
    effects[:, 2] = effects[:, 0] * per_flow[of_outlet][:, None]
    effects[apart, 2] = logs[2 * count :] - own[apart]
    return effects


def _most_s(best: Series, needs: Needs, limit: Series) -> Real:
    """Return what mixed joints take at most at a limit, from what they take at most by best estimate.

    No time grows more than its slowest part does. More diffusion lengthens a time at most as its fifth root (0.184 is the
    largest exponent of one tube at any share up to one half; tested), and larger shares are never known by a coarse lattice.
    """
    with np.errstate(invalid="ignore"):
        slower, diffuses = limit.residence_s / best.residence_s, limit.tau_d / best.tau_d
    grows = np.where(slower > 0.0, slower, 1.0) * np.where(diffuses > 1.0, diffuses, 1.0) ** 0.2
    return np.asarray(needs.mixed_most_s * grows[best.on_way].max(axis=1)[:, None])


def _slower(tree: Tree, spread: Spread) -> Tree:
    own = spread.flow_by_outlet or {}
    outlets = tuple(o._replace(flow_ml_min=o.flow_ml_min * (1.0 - own.get(o.id, spread.flow_share))) for o in tree.outlets)
    return with_feeds_times(replace(tree, outlets=outlets), 1.0 + spread.flow_share)


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
