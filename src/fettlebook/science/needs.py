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
from numpy.typing import NDArray

from fettlebook.science.series import CELLS, SMALLEST_SHARE, Real, Rows, Series, seconds_of
from fettlebook.science.washout import volume_changes

Reading = Literal["mixed", "coherent", "bound"]
Carried = Literal["solute", "cells", "between", "anything"]
READINGS: Final[tuple[Reading, ...]] = ("mixed", "coherent", "bound")
CARRIED: Final[tuple[Carried, ...]] = ("solute", "cells", "between", "anything")
SCREEN_CELLS: Final = 20  # steps of the lattice that tells whether a finer one is needed at all
_MIXED: Final = READINGS.index("mixed")
_COHERENT: Final = READINGS.index("coherent")
_CELLS: Final = CARRIED.index("cells")
_BETWEEN: Final = CARRIED.index("between")


class Left(NamedTuple):
    """Shares that may be left, 0 to 1: old water after a flush, strength missing after a fill, product after a rinse."""

    flush: float
    fill: float
    rinse: float


@dataclass(frozen=True, slots=True)
class Needs:
    """What each outlet needs: `seconds` of flush, fill and rinse, shape (outlets, 3).

    `fill_outlet_s` and `fill_held_s` make the fill; `reading` (outlets, 3) and `carried` are places in READINGS and CARRIED.
    """

    seconds: Real
    fill_outlet_s: Real
    fill_held_s: Real
    reading: Rows
    carried: Rows


def exact_needs(series: Series, left: Left, *, cells: int = CELLS, mixed: NDArray[np.bool_] | None = None) -> Needs:
    """Return what each path needs by the solved wash-out, in the longer of both joint readings.

    Parameters
    ----------
    series
        The paths, each of at least one part.
    left
        Shares that may be left.
    cells
        Steps of the lattice.
    mixed
        Which paths are worth a lattice for mixed joints, as `worth_mixing` tells; left out: found here.
    """
    joined = series.coherent()
    smooth = _four(joined, left, cells)
    own = np.where((joined.parts < series.parts)[:, None], 0.0, smooth)
    rows = np.flatnonzero(worth_mixing(series, left) if mixed is None else mixed)
    if rows.size:
        own[rows] = _four(series.at(rows), left, cells)
    longer = np.maximum(own, smooth)
    reading = np.where(smooth > own, _COHERENT, _MIXED)[:, :3]
    reading[:, 1] = np.where(smooth[:, 1::2].max(axis=1) > own[:, 1::2].max(axis=1), _COHERENT, _MIXED)
    # The mean over a path alone would let a short clean hose hide a slow feed, and a longer hose would need less time.
    held = np.maximum(longer[:, 3], series.part_seconds(left.fill, 1).max(axis=1))
    seconds = np.column_stack([longer[:, 0], np.maximum(longer[:, 1], held), longer[:, 2]])
    carried = np.zeros(own.shape[0], np.int64)
    for tried, slow_s, how, what in _old_water(series, joined, left.flush, cells):
        more = slow_s > seconds[tried, 0]
        rows = tried[more]
        seconds[rows, 0], reading[rows, 0], carried[rows] = slow_s[more], np.where(series.parts[rows] > 1, how, _MIXED), what
    return Needs(seconds, longer[:, 1], held, reading, carried)


def bounded_needs(series: Series, left: Left) -> Needs:
    """Return what each path needs by the safe bound: never less than any line and any solute does."""
    vessels = np.where(series.stirred, series.residence_s, 0.0)
    outlet = series.bound(left.fill, 0)
    # Each part by itself; the tubes' own bound is in that of the path.
    held = np.maximum(series.bound(left.fill, 1), -math.log(left.fill) * vessels.max(axis=1))
    seconds = np.column_stack([series.bound(left.flush, 0), np.maximum(outlet, held), series.bound(left.rinse, 0)])
    reading = np.full(seconds.shape, READINGS.index("bound"))
    return Needs(seconds, outlet, held, reading, np.full(outlet.size, CARRIED.index("anything")))


def worth_mixing(series: Series, left: Left) -> NDArray[np.bool_]:
    """Return on which paths mixed joints might take longer than the coherent reading.

    A lattice errs long, the coarser the longer. So a path that even a coarse one shows below every share at the coherent
    reading's times is below them, and needs no finer one.
    """
    joined = series.coherent()
    worth = joined.parts < series.parts
    screened = np.flatnonzero(worth & (joined.parts == 1) & (min(left) >= SMALLEST_SHARE))
    smooth = _four(joined.at(screened, 1), left, SCREEN_CELLS)
    for lot, some in series.at(screened).alike():
        rows, times = screened[lot], smooth[lot]
        end = times.max(axis=1) * (SCREEN_CELLS / (SCREEN_CELLS - 1.0))
        residual, held = some.lattice(end, SCREEN_CELLS)
        place = times * (SCREEN_CELLS / end)[:, None]
        longer = np.zeros(rows.size, np.bool_)
        for column, (share, values, offset) in enumerate(
            ((left.flush, residual, 0.5), (left.fill, residual, 0.5), (left.rinse, residual, 0.5), (left.fill, held, 0.0))
        ):
            longer |= _read(values, place[:, column] - offset) > share
        worth[rows] = longer
    return worth


def _read(values: Real, place: Real) -> Real:
    """Return falling `values` at places along them, read between two steps on a log scale."""
    at, here = np.maximum(place, 0.0), np.arange(values.shape[0])
    left = np.minimum(at.astype(np.int64), values.shape[1] - 2)
    low, high = (np.log(np.maximum(values[here, i], 1e-300)) for i in (left, left + 1))
    return np.asarray(np.exp(low + (at - left) * (high - low)))


def _four(series: Series, left: Left, cells: int) -> Real:
    """Return seconds to flush, fill and rinse at the outlet, and to fill by what is held."""
    return np.column_stack(seconds_of(series, left, (left.fill,), cells=cells))


def _old_water(series: Series, joined: Series, share: float, cells: int) -> Iterator[tuple[Rows, Real, int, int]]:
    """Return the flush of what else old water holds beside the solute: cells, which don't diffuse, and whatever lies between.

    In a path of tubes the slowest of these in one coherent tube outlasts every one of them with mixed joints, and has a
    closed form; with stirred volumes on the path they are tried one by one. Each lot: paths, seconds, reading, what.
    """
    whole = series.tau_d.sum(axis=1)
    worst, alone = worst_tau_d(share), 0.5 / math.sqrt(share)
    between = slowest_changes(share, worst)
    tubes = (joined.parts == 1) & ~joined.stirred[:, 0]
    for rows, changes, what in (
        (np.flatnonzero(tubes), alone, _CELLS),
        (np.flatnonzero(tubes & (whole > worst)), between, _BETWEEN),  # up to the worst tau_D the solute is the slowest
    ):
        yield rows, changes * joined.residence_s[rows, 0], _COHERENT, what
    rows = np.flatnonzero(~tubes & (whole > 0.0))
    # A stirred volume shifts the worst one; three tries are within 1 % of a fine search on random chairs.
    for factor in (0.0, 0.25, 1.0, 4.0):
        slower = factor * worst / np.maximum(whole[rows], 1e-300)
        some = rows[slower < 1.0]
        tried = series.at(some).diffusing(slower[slower < 1.0])
        for reading, paths in ((_MIXED, tried), (_COHERENT, tried.coherent())):
            differ = np.flatnonzero((paths.parts < tried.parts) | (reading == _MIXED))
            slow_s = seconds_of(paths.at(differ), (share,), cells=cells)[0][:, 0]
            yield some[differ], slow_s, reading, _BETWEEN if factor else _CELLS


@lru_cache(maxsize=64)
def worst_tau_d(share: float) -> float:
    """Return the tau_D at which one tube needs most volume changes down to `share`."""
    grid = np.geomspace(1e-7, 0.3, 260)
    return float(grid[int(np.argmax(volume_changes(share, grid)))])


@lru_cache(maxsize=1024)
def slowest_changes(share: float, tau_d: float) -> float:
    """Return the most volume changes that one tube needs for anything that diffuses no faster than `tau_d`."""
    return max(0.5 / math.sqrt(share), float(volume_changes(share, min(tau_d, worst_tau_d(share)))))
