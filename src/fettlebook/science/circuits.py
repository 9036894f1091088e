"""How long each outlet of a chair must run until it is flushed, filled and rinsed.

`outlet_seconds` is the entry: a circuit as plain data and the shares that are aimed at, seconds per outlet out. Outlets
that are opened one after another are each reckoned from lines full of old content: what an earlier group has already
carried out of the common parts is not credited, so no time is too short for it.
"""

from collections.abc import Mapping, Sequence
from itertools import islice
from typing import Any, Final, Literal, NamedTuple

from fettlebook.errors import Mendable
from fettlebook.science.needs import CARRIED, READINGS, Carried, Left, Needs, Reading, bounded_needs, exact_needs
from fettlebook.science.paths import PathPart, cautions_of, paths_of
from fettlebook.science.second_feed import shares_asked
from fettlebook.science.tree import Tree, read_tree
from fettlebook.science.ways import Ways, ways_of

Method = Literal["exact", "safe bound"]
Shares = tuple[float, float, float]  # of flush, fill and rinse
FLUSH_SHARE: Final = 0.05
FILL_SHARE: Final = 0.95
RINSE_SHARE: Final = 1.0 / 3000.0


class OutletSeconds(NamedTuple):
    """What one outlet needs, from the moment its group is opened; not rounded.

    `nominal_s` is one volume change, V/Q summed over the path. `fill_s` is the longer of `fill_outlet_s` (the outlet
    carries the share of feed strength) and `fill_held_s` (so does what the path holds, on average). The readings tell
    which joint model set the time, `flush_carried` which part of the old water: cells, solute or the worst between.
    """

    outlet: str
    group: int
    flow_ml_min: float
    nominal_s: float
    flush_s: float
    fill_s: float
    rinse_s: float
    fill_outlet_s: float
    fill_held_s: float
    flush_reading: Reading
    fill_reading: Reading
    rinse_reading: Reading
    path: tuple[PathPart, ...]
    cautions: tuple[str, ...] = ()
    flush_carried: Carried = "anything"


def outlet_seconds(
    circuit: Mapping[str, Any],
    *,
    flush_share: float = FLUSH_SHARE,
    fill_share: float = FILL_SHARE,
    rinse_share: float = RINSE_SHARE,
    method: Method = "exact",
) -> tuple[OutletSeconds, ...]:
    """Return the seconds that each outlet must run to be flushed, filled and rinsed.

    Parameters
    ----------
    circuit
        Plain data: `parts` [{id, from, kind "tube" with length_m, bore_mm
        and perhaps shape "coiled", or kind "stirred" with volume_ml}],
        `outlets` [{part, flow_ml_min, and id where two hang on one part}], perhaps `second_feeds` [{part, flow_ml_min, id, at}],
        `mode` "together" or "alone" or `groups`
        [[outlet, ...], ...] opened one after another, `diffusivity_m2_s` (left out: hydrogen peroxide), `temperature_c`
        (left out: 20).
    flush_share
        Share of old water that may still come out after a flush, 0 to 1.
    fill_share
        Share of the feed strength that must come out after a fill and be held by the path, 0 to 1.
    rinse_share
        Share of the strength that may still come out after a rinse, 0 to 1: the limit in mg/L over the strength in mg/L.
    method
        "exact": the solved wash-out of this solute, in the longer of the two joint readings; "safe bound": never less than
        any line and any solute needs, several times longer for a rinse.

    Returns
    -------
    tuple of OutletSeconds
        One for each outlet, in the order of the data.

    Raises
    ------
    Mendable
        The data or a share can't be used, or a second feed keeps a share from ever being reached; every finding
        names part and field.
    """
    return outlet_seconds_of_all([circuit], flush_share=flush_share, fill_share=fill_share, rinse_share=rinse_share, method=method)[0]


def outlet_seconds_of_all(
    circuits: Sequence[Mapping[str, Any]],
    *,
    flush_share: float = FLUSH_SHARE,
    fill_share: float = FILL_SHARE,
    rinse_share: float = RINSE_SHARE,
    method: Method = "exact",
) -> list[tuple[OutletSeconds, ...]]:
    """Return the same as `outlet_seconds` for many circuits, much faster than one by one.

    Parameters
    ----------
    circuits
        Plain data as for `outlet_seconds`.
    flush_share, fill_share, rinse_share, method
        As for `outlet_seconds`.

    Returns
    -------
    list of tuple of OutletSeconds
        One for each circuit, in their order.

    Raises
    ------
    Mendable
        As `outlet_seconds`; the first circuit with a finding is reported.
    """
    trees = [read_tree(circuit) for circuit in circuits]
    left_of(flush_share, fill_share, rinse_share, method)
    found: dict[int, tuple[OutletSeconds, ...]] = {}
    for asked, lot in lots_of([shares_asked(tree, flush_share, fill_share, rinse_share) for tree in trees]).items():
        found.update(zip(lot, _trees_seconds([trees[i] for i in lot], left_of(*asked, method), method), strict=True))
    return [found[i] for i in range(len(trees))]


def lots_of(asked: Sequence[Shares]) -> dict[Shares, list[int]]:
    """Return which circuits ask for the same shares; a second feed asks for shares of its own."""
    lots: dict[Shares, list[int]] = {}
    for i, shares in enumerate(asked):
        lots.setdefault(shares, []).append(i)
    return lots


def tree_seconds(tree: Tree, *, flush_share: float, fill_share: float, rinse_share: float, method: Method) -> tuple[OutletSeconds, ...]:
    """Return the same as `outlet_seconds` for a circuit that is already checked, its outlets asked for these shares of their own ends."""
    return _trees_seconds([tree], left_of(flush_share, fill_share, rinse_share, method), method)[0]


def _trees_seconds(trees: Sequence[Tree], left: Left, method: Method) -> list[tuple[OutletSeconds, ...]]:
    ways = ways_of(trees)
    series = ways.series()
    return outlet_rows(trees, ways, exact_needs(series, left) if method == "exact" else bounded_needs(series, left))


def left_of(flush_share: float, fill_share: float, rinse_share: float, method: Method) -> Left:
    """Return the shares that may be left.

    Raises
    ------
    Mendable
        A share or the method can't be used.
    """
    for name, share in (("flush_share", flush_share), ("fill_share", fill_share), ("rinse_share", rinse_share)):
        if not 0.0 < share < 1.0:
            mend = "Give a share above 0 and below 1: 0.05 for 5 %. Nothing is ever flushed to 0 or filled to 1."
            raise Mendable(f"{share!r} is not between 0 and 1", where=name, mend=mend)
    if method not in ("exact", "safe bound"):
        raise Mendable(f"method is {method!r}", where="method", mend="Use exact or safe bound.")
    return Left(flush_share, 1.0 - fill_share, rinse_share)


def outlet_rows(trees: Sequence[Tree], ways: Ways, needs: Needs) -> list[tuple[OutletSeconds, ...]]:
    """Return what was reckoned for all outlets of many circuits, circuit by circuit and outlet by outlet."""
    columns = zip(
        [outlet for tree in trees for outlet in tree.outlets],
        paths_of(ways),
        ways.nominal_s().tolist(),
        needs.seconds.tolist(),
        needs.fill_outlet_s.tolist(),
        needs.fill_held_s.tolist(),
        needs.reading.tolist(),
        needs.carried.tolist(),
        [tree for tree in trees for _ in tree.outlets],
        strict=True,
    )
    rows = iter(
        [
            OutletSeconds(  # by place, since thousands are made at once
                o.id,
                o.group,
                o.flow_ml_min,
                nominal_s,
                flush_s,
                fill_s,
                rinse_s,
                outlet_s,
                held_s,
                READINGS[flush],
                READINGS[fill],
                READINGS[rinse],
                path,
                cautions_of(tree, path),
                CARRIED[carried],
            )
            for o, path, nominal_s, (flush_s, fill_s, rinse_s), outlet_s, held_s, (flush, fill, rinse), carried, tree in columns
        ]
    )
    return [tuple(islice(rows, len(tree.outlets))) for tree in trees]
