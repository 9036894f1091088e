"""Flush, fill and rinse of many outlets at once, as arrays: the longer of both joint readings, and what set it.

A flush carries out what is dissolved and what floats: cells that hardly diffuse, the solute, and all between (viruses,
proteins). Neither end is the slowest: with a little diffusion the wall feeds the stream longest. So a flush is reckoned for
no diffusion, for the solute and for the worst between them, and the longest counts; a fill and a rinse for the solute.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Literal, NamedTuple

import numpy as np

from fettlebook.science.series import CELLS, SMALLEST_SHARE, Real, Rows, Series, crossings, seconds_of
from fettlebook.science.washout import volume_changes

Reading = Literal["mixed", "coherent", "bound"]
Carried = Literal["solute", "cells", "between", "anything"]
READINGS: Final[tuple[Reading, ...]] = ("mixed", "coherent", "bound")
CARRIED: Final[tuple[Carried, ...]] = ("solute", "cells", "between", "anything")
SCREEN_CELLS: Final = 16  # steps of the lattice that tells whether a finer one is needed at all
LARGEST_SHARE: Final = 0.2  # no coarse lattice for larger ones
_MIXED: Final = READINGS.index("mixed")
_COHERENT: Final = READINGS.index("coherent")
_CELLS: Final = CARRIED.index("cells")
_BETWEEN: Final = CARRIED.index("between")


class Left(NamedTuple):
    """Shares that may be left, 0 to 1: old water after a flush, strength missing after a fill, product after a rinse."""

    flush: float
    fill: float
    rinse: float


class Steps(NamedTuple):
    """Steps of the lattices: on paths of tubes, and on those with stirred volumes, whose flush lies in the lattice's first part."""

    tubes: int
    stirred: int


BEST: Final = Steps(160, CELLS)


@dataclass(frozen=True, slots=True)
class Needs:
    """What each outlet needs: `seconds` of flush, fill and rinse, shape (outlets, 3).

    `fill_outlet_s` and `fill_held_s` make the fill; `reading` (outlets, 3) and `carried` are places in READINGS and CARRIED.
    `mixed_most_s`, shape (outlets, 4), is what mixed joints take at most to flush, fill, rinse, and fill by what is held.
    """

    seconds: Real
    fill_outlet_s: Real
    fill_held_s: Real
    reading: Rows
    carried: Rows
    mixed_most_s: Real


def exact_needs(series: Series, left: Left, *, steps: Steps = BEST, mixed_most_s: Real | None = None) -> Needs:
    """Return what each path needs by the solved wash-out, in the longer of both joint readings.

    Parameters
    ----------
    series
        The paths, each of at least one part.
    left
        Shares that may be left.
    steps
        Steps of the lattices.
    mixed_most_s
        What mixed joints are known to take at most, as in `Needs`; left out: nothing is known.
    """
    joined = series.coherent()
    smooth = _four(joined, left, steps.stirred)
    joins = joined.count < series.count
    own = np.where(joins[:, None], 0.0, smooth)
    most = np.where(joins[:, None], np.inf, smooth) if mixed_most_s is None else mixed_most_s
    rows = np.flatnonzero(joins & (most > smooth).any(axis=1))
    look_to, most[rows] = _coarse(series.at(rows), joined.at(rows), smooth[rows], left)
    worth = (most[rows] > smooth[rows]).any(axis=1)
    rows = rows[worth]
    for some, cells in ((joined.count[rows] == 1, steps.tubes), (joined.count[rows] > 1, steps.stirred)):
        own[rows[some]] = most[rows[some]] = _four(series.at(rows[some]), left, cells, look_to[worth][some])
    longer = np.maximum(own, smooth)
    reading = np.where(smooth > own, _COHERENT, _MIXED)[:, :3]
    reading[:, 1] = np.where(smooth[:, 1::2].max(axis=1) > own[:, 1::2].max(axis=1), _COHERENT, _MIXED)
    # The mean over a path alone would let a short clean hose hide a slow feed, and a longer hose would need less time.
    held = np.maximum(longer[:, 3], series.part_seconds(left.fill, 1))
    seconds = np.column_stack([longer[:, 0], np.maximum(longer[:, 1], held), longer[:, 2]])
    carried = np.zeros(own.shape[0], np.int64)
    for rows, slow_s, how, what in _old_water(series, joined, left.flush, steps.stirred, seconds[:, 0]):
        seconds[rows, 0], reading[rows, 0], carried[rows] = slow_s, np.where(series.count[rows] > 1, how, _MIXED), what
    return Needs(seconds, longer[:, 1], held, reading, carried, most)


def bounded_needs(series: Series, left: Left) -> Needs:
    """Return what each path needs by the safe bound: never less than any line and any solute does."""
    vessels = np.where(series.stirred, series.residence_s, 0.0)[series.on_way]
    outlet = series.bound(left.fill, 0)
    # Each part by itself; the tubes' own bound is in that of the path.
    held = np.maximum(series.bound(left.fill, 1), -math.log(left.fill) * vessels.max(axis=1))
    seconds = np.column_stack([series.bound(left.flush, 0), np.maximum(outlet, held), series.bound(left.rinse, 0)])
    reading = np.full(seconds.shape, READINGS.index("bound"))
    return Needs(seconds, outlet, held, reading, np.full(outlet.size, CARRIED.index("anything")), np.full((outlet.size, 4), np.inf))


def _coarse(series: Series, joined: Series, smooth_s: Real, left: Left) -> tuple[Real, Real]:
    """Return how far a lattice for mixed joints has to look, and what mixed joints take at most by a coarse one.

    A lattice errs long, the coarser the longer. So a path that even a coarse one shows below the coherent reading is below
    it, and needs no finer one. Outlets of one group share the coarse lattice of what they share. 0: not known. A larger
    share than LARGEST_SHARE lies near the front, where a coarse lattice may err short: there every path gets its own.
    """
    look_to, most = np.zeros(series.count.size), np.full((series.count.size, 4), np.inf)
    if min(left) < SMALLEST_SHARE or max(left) > LARGEST_SHARE:
        return look_to, most
    for rows, some in series.alike(SCREEN_CELLS):
        if some.on_way.shape[1] == 1:
            continue
        ends = np.zeros(series.residence_s.size)
        np.maximum.at(ends, some.on_way[:, 0], smooth_s[rows].max(axis=1) * (SCREEN_CELLS / (SCREEN_CELLS - 1.0)))
        end = ends[some.on_way[:, 0]]
        residual, held = some.lattice(end, SCREEN_CELLS)
        for column, (share, values, offset) in enumerate(
            ((left.flush, residual, 0.5), (left.fill, residual, 0.5), (left.rinse, residual, 0.5), (left.fill, held, 0.0))
        ):
            steps = crossings(values, share, offset)
            most[rows, column] = steps * end / SCREEN_CELLS
            last, before = (np.maximum(values[:, k], 1e-300) for k in (-1, -2))
            beyond = SCREEN_CELLS + np.log(last / share) / np.maximum(np.log(before / last), 1e-3)
            look_to[rows] = np.maximum(look_to[rows], 1.02 * np.where(np.isinf(steps), beyond, steps) * end / SCREEN_CELLS)
    return look_to, most


def _four(series: Series, left: Left, cells: int, look_to_s: Real | None = None) -> Real:
    """Return seconds to flush, fill and rinse at the outlet, and to fill by what is held."""
    return np.column_stack(seconds_of(series, left, (left.fill,), cells=cells, look_to_s=look_to_s))


def _old_water(series: Series, joined: Series, share: float, cells: int, longest_s: Real) -> Iterator[tuple[Rows, Real, int, int]]:
    """Return the flush of what else old water holds beside the solute: cells, which don't diffuse, and whatever lies between.

    In a path of tubes the slowest of these in one coherent tube outlasts every one of them with mixed joints, and has a
    closed form; with stirred volumes on the path they are tried one by one. Each lot: paths where it is longer than
    `longest_s`, which the caller keeps up to date, seconds, reading, what.
    """
    whole = series.whole_tau_d()
    worst, alone = worst_tau_d(share), 0.5 / math.sqrt(share)
    tubes = ~series.with_vessels()
    # Up to the worst tau_D the solute is the slowest.
    for here, changes, what in ((tubes, alone, _CELLS), (tubes & (whole > worst), slowest_changes(share, worst), _BETWEEN)):
        slow_s = changes * joined.residence_s[joined.on_way[:, 0]]
        rows = np.flatnonzero(here & (slow_s > longest_s))
        yield rows, slow_s[rows], _COHERENT, what
    stirred = np.flatnonzero(~tubes & (whole > 0.0))
    # A stirred volume shifts the worst one; three tries are within 1 % of a fine search on random chairs.
    for factor in (1.0, 0.25, 4.0, 0.0) if stirred.size else ():
        slower = factor * worst / whole[stirred]
        some = stirred[slower < 1.0]
        tried = series.at(some).diffusing(slower[slower < 1.0])
        for reading, paths in ((_COHERENT, tried.coherent()), (_MIXED, tried)):
            kept = np.flatnonzero((paths.count < tried.count) | (reading == _MIXED))
            if share <= LARGEST_SHARE:  # a coarse lattice errs long: what it shows to be shorter needs no finer one
                coarse_s = seconds_of(paths.at(kept), (share,), cells=SCREEN_CELLS)[0][:, 0]
                kept = kept[coarse_s > longest_s[some[kept]]]
            # The flush alone ends its lattice, so that fewer steps serve as well.
            slow_s = seconds_of(paths.at(kept), (share,), cells=cells // 2)[0][:, 0]
            more = slow_s > longest_s[some[kept]]
            yield some[kept[more]], slow_s[more], reading, _BETWEEN if factor else _CELLS


@lru_cache(maxsize=64)
def worst_tau_d(share: float) -> float:
    """Return the tau_D at which one tube needs most volume changes down to `share`."""
    grid = np.geomspace(1e-7, 0.3, 260)
    return float(grid[int(np.argmax(volume_changes(share, grid)))])


@lru_cache(maxsize=1024)
def slowest_changes(share: float, tau_d: float) -> float:
    """Return the most volume changes that one tube needs for anything that diffuses no faster than `tau_d`."""
    return max(0.5 / math.sqrt(share), float(volume_changes(share, min(tau_d, worst_tau_d(share)))))
