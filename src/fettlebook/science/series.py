"""Many paths at once as arrays: a row for each path, a column for each part in series on it.

What `chains` says of one path, said of many; no object for each part, so that forty chairs cost array work only.

Sources
-------
[R] Residence times of parts in series convolve; a stirred vessel has W = exp(-theta), textbook. memory
[O] One coherent tube with summed residence time and tau_D; exact if tau_D/tbar is the same all along. computed
[L] Levenspiel 1999, Chemical Reaction Engineering, pp. 343-344: no diffusion, W = 1/(4 theta^2), H = 1/(4 theta). secondary
"""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft
from scipy.interpolate import CubicSpline

from fettlebook.science.bound import held_bound_s, residual_bound_s
from fettlebook.science.laws import held_rows
from fettlebook.science.washout import held_volume_changes, volume_changes

Real = NDArray[np.float64]
Rows = NDArray[np.int64]
Mask = NDArray[np.bool_]
CELLS: Final = 240  # steps of the lattice over the time looked at; the error of a time is about (step/tbar)^2/4
COARSE: Final = 0.156  # a time within this share of the lattice is looked at again on a lattice of its own
MARGIN: Final = 1.04  # how far past one coherent tube's time a lattice first looks
CURVED_TO: Final = 0.5  # larger shares are found one by one
SMALLEST_SHARE: Final = 1e-9  # below, the lattice sinks into rounding and the safe bound is given instead
AT_ONCE: Final = 32_000  # paths times steps in one piece of array work: fits the processor's cache
_CURVE_TAU: Final = (1e-6, 10.0)


@dataclass(frozen=True, slots=True)
class Series:
    """Paths through parts. Arrays of parts, shape (parts + 1,), end with none: a tube of no length.

    `on_way`, shape (paths, most parts on one), names the parts of each path, filled up with none; `count` how many it has.
    Paths that share a part share its law too. `tau_d` of a stirred volume is 0.
    """

    residence_s: Real
    tau_d: Real
    stirred: Mask
    on_way: Rows
    count: Rows

    @classmethod
    def of(cls, residence_s: Real, tau_d: Real, stirred: Mask, count: Rows) -> "Series":
        """Return paths that share no part, from arrays of shape (paths, most parts on one)."""
        paths, width = residence_s.shape
        on_way = np.arange(paths * width).reshape(paths, width)
        on_way[np.arange(width) >= count[:, None]] = paths * width
        return cls(np.append(residence_s, 0.0), np.append(tau_d, 0.0), np.append(stirred, np.False_), on_way, count)

    def at(self, rows: Rows | Mask, parts: int | None = None) -> "Series":
        """Return some of the paths, perhaps only the first parts of them."""
        return Series(self.residence_s, self.tau_d, self.stirred, self.on_way[rows, :parts], self.count[rows])

    def and_below(self, others: Sequence["Series"]) -> "Series":
        """Return these paths and, below them, those of others of the same width."""
        every = (self, *others)
        begin = np.cumsum([0, *(s.residence_s.size for s in every[:-1])])
        return Series(
            np.concatenate([s.residence_s for s in every]),
            np.concatenate([s.tau_d for s in every]),
            np.concatenate([s.stirred for s in every]),
            np.concatenate([s.on_way + first for s, first in zip(every, begin, strict=True)]),
            np.concatenate([s.count for s in every]),
        )

    def diffusing(self, times: Real) -> "Series":
        """Return the same paths for a solute that diffuses so many times as fast, shape (paths,)."""
        way = self.on_way
        return Series.of(self.residence_s[way], self.tau_d[way] * times[:, None], self.stirred[way], self.count)

    def coherent(self) -> "Series":
        """Return the paths with every run of tubes joined into one tube [O]; stirred volumes stay and separate the runs."""
        residence, tau, vessel = self.residence_s[self.on_way], self.tau_d[self.on_way], self.stirred[self.on_way]
        paths, width = vessel.shape
        if not vessel.any():
            one = np.ones(paths, np.int64)
            return Series.of(residence.sum(axis=1)[:, None], tau.sum(axis=1)[:, None], np.zeros((paths, 1), np.bool_), one)
        begins = np.ones((paths, width), np.int64)
        begins[:, 1:] = vessel[:, 1:] | vessel[:, :-1]
        runs = np.cumsum(begins, axis=1) - 1
        place = runs + np.arange(paths)[:, None] * width
        joined = [
            np.asarray(np.bincount(place.ravel(), each.ravel(), paths * width), np.float64).reshape(paths, width)
            for each in (residence, tau)
        ]
        stirred = np.zeros(paths * width, np.bool_)
        stirred[place[vessel]] = True
        count = runs[np.arange(paths), self.count - 1] + 1
        most = int(count.max(initial=1))
        return Series.of(joined[0][:, :most], joined[1][:, :most], stirred.reshape(paths, width)[:, :most], count)

    def whole_tau_d(self) -> Real:
        """Return tau_D of all tubes on each path together."""
        return np.asarray(self.tau_d[self.on_way].sum(axis=1))

    def with_vessels(self) -> Mask:
        """Return which paths have a stirred volume."""
        return np.asarray(self.stirred[self.on_way].any(axis=1))

    def bound(self, share: float, which: int) -> Real:
        """Return the safe bound of every path [s] for a residual (0) or a held share (1)."""
        tubes, vessels = self._apart()
        return (held_bound_s if which else residual_bound_s)(share, tubes.sum(axis=1), vessels)

    def part_seconds(self, share: float, which: int) -> Real:
        """Return when the slowest part of each path by itself is down to a residual (0) or a held share (1) [s]."""
        alone = np.where(self.stirred, -math.log(share), changes(share, which, self.tau_d))
        return np.asarray((self.residence_s * alone)[self.on_way].max(axis=1))

    def first_end(self, share: float, which: int) -> Real:
        """Return a first guess of the time to look at [s]: all tubes as one coherent tube, and the vessels' mean and spread."""
        tubes, vessels = self._apart()
        found = MARGIN * changes(share, which, self.whole_tau_d()) * tubes.sum(axis=1)
        return np.asarray(found + vessels.sum(axis=1) - math.log(share) * np.sqrt((vessels**2).sum(axis=1)))

    def _apart(self) -> tuple[Real, Real]:
        residence, vessel = self.residence_s[self.on_way], self.stirred[self.on_way]
        return np.where(vessel, 0.0, residence), np.where(vessel, residence, 0.0)

    def alike(self, cells: int) -> Iterator[tuple[Rows, "Series"]]:
        """Return the paths in lots of the same number of parts, each small enough for the processor's cache."""
        at_once = AT_ONCE // cells + 1
        for parts in np.unique(self.count).tolist():
            rows = np.flatnonzero(self.count == parts)
            for start in range(0, rows.size, at_once):
                some = rows[start : start + at_once]
                yield some, self.at(some, parts)

    def lattice(self, end_s: Real, cells: int) -> tuple[Real, Real]:
        """Return residual and held share of paths of the same number of parts, each on its own lattice from 0 to its end.

        Parameters
        ----------
        end_s
            Last time looked at, shape (paths,) [s]. Paths with the same end reckon the parts that they share once.
        cells
            Steps of each lattice.

        Returns
        -------
        tuple of ndarray
            Residual at the middle of each step, shape (paths, cells), and held share at each edge, (paths, cells + 1).

        Notes
        -----
        Each delay's law is put on the lattice so that its mean is kept and its spread grows by about step^2/6, never shrinks;
        the transforms are multiplied [R]. Mass balance holds to rounding: the integral of the residual is the mean delay.
        """
        parts = self.on_way.shape[1]
        ends, which = np.unique(end_s, return_inverse=True)
        pairs, place = np.unique(which[:, None] * self.residence_s.size + self.on_way, return_inverse=True)
        place, part = place.reshape(self.on_way.shape), pairs % self.residence_s.size
        step = end_s / cells
        own_step = ends[pairs // self.residence_s.size] / cells / self.residence_s[part]  # in volume changes of the part
        theta = own_step[:, None] * np.arange(cells + 1.0)
        held = held_rows(self.tau_d[part], theta, self.stirred[part])
        if parts == 1:
            return (-np.diff(held) / theta[:, 1:2])[place[:, 0]], held[place[:, 0]]
        # In units of the step, so that the second differences are the shares of each step.
        held /= theta[:, 1:2]
        falls = np.empty_like(held)
        falls[:, 0] = 1.0
        np.subtract(held[:, :-1], held[:, 1:], out=falls[:, 1:])
        length = next_fast_len(cells * parts, real=True)
        spectra = rfft(falls[:, :-1] - falls[:, 1:], length, axis=1)
        product = spectra[place[:, 0]]
        for column in range(1, parts):
            product *= spectra[place[:, column]]
        residual = 1.0 - np.cumsum(irfft(product, length, axis=1)[:, :cells], axis=1)
        inside = np.ones((step.size, cells + 1))
        np.cumsum(residual, axis=1, out=inside[:, 1:])
        inside[:, 1:] *= -(step / self.residence_s[self.on_way].sum(axis=1))[:, None]
        inside[:, 1:] += 1.0
        return residual, inside


def seconds_of(
    series: Series, residuals: Sequence[float], held: Sequence[float] = (), *, cells: int = CELLS, look_to_s: Real | None = None
) -> tuple[Real, Real]:
    """Return when each path's outlet is down to each residual, and when the path is down to each held share.

    Parameters
    ----------
    series
        The paths, each of at least one part.
    residuals
        Shares of old content that may come out, each between 0 and 1, the same for every path.
    held
        Shares of the path's content that may be old, each between 0 and 1.
    cells
        Steps of the lattice.
    look_to_s
        Where each path's lattice may end at first, shape (paths,) [s]; left out: found here.

    Returns
    -------
    tuple of ndarray
        Seconds, shapes (paths, residuals) and (paths, held). Shares below 1e-9 get the safe bound.
    """
    paths = series.count.size
    at_outlet, inside = np.empty((paths, len(residuals))), np.empty((paths, len(held)))
    for rows, some in series.alike(cells):
        if some.on_way.shape[1] == 1:
            at_outlet[rows], inside[rows] = _one_part(some, residuals, held)
        else:
            end_s = np.zeros(rows.size) if look_to_s is None else look_to_s[rows]
            at_outlet[rows], inside[rows] = _several(some, residuals, held, end_s, cells)
    return at_outlet, inside


def changes(share: float, which: int, tau_d: Real) -> Real:
    """Return the volume changes of one tube down to a residual (0) or a held share (1), read from a curve over tau_D."""
    inverse = held_volume_changes if which else volume_changes
    if share > CURVED_TO:
        return inverse(share, tau_d)
    over = np.log(np.clip(tau_d, *_CURVE_TAU))
    found = np.where(tau_d > 0.0, _changes_curve(share, which)(over), 0.25 / share if which else 0.5 / math.sqrt(share))  # [L]
    outside = ((tau_d < _CURVE_TAU[0]) & (tau_d > 0.0)) | (tau_d > _CURVE_TAU[1])
    if outside.any():
        found[outside] = inverse(share, tau_d[outside])
    return np.asarray(found)


@lru_cache(maxsize=64)
def _changes_curve(share: float, which: int) -> CubicSpline:
    grid = np.linspace(math.log(_CURVE_TAU[0]), math.log(_CURVE_TAU[1]), 260)
    return CubicSpline(grid, (held_volume_changes if which else volume_changes)(share, np.exp(grid)))


def _one_part(series: Series, residuals: Sequence[float], held: Sequence[float]) -> tuple[Real, Real]:
    """Return the seconds of paths of one part: in closed form, without a lattice."""

    def own(share: float, which: int) -> Real:
        bound = series.bound(share, which)
        return np.minimum(bound, series.part_seconds(share, which)) if share >= SMALLEST_SHARE else bound

    return _columns(own, residuals, series, 0), _columns(own, held, series, 1)


def _columns(own: Callable[[float, int], Real], shares: Sequence[float], series: Series, which: int) -> Real:
    return np.column_stack([own(share, which) for share in shares]) if shares else np.empty((series.count.size, 0))


def _several(series: Series, residuals: Sequence[float], held: Sequence[float], end: Real, cells: int) -> tuple[Real, Real]:
    """Return the seconds of paths with the same number of parts, from their lattices; the first ends at `end` or, at 0, is guessed."""
    paths = series.count.size
    wanted = sorted([(share, 0, i) for i, share in enumerate(residuals)] + [(share, 1, i) for i, share in enumerate(held)])
    shares = np.array([share for share, _, _ in wanted])
    bounds = np.column_stack([series.bound(share, which) for share, which, _ in wanted])
    found = bounds.copy()
    pending = np.tile(shares >= SMALLEST_SHARE, (paths, 1))
    while pending.any():  # the smallest share first: its lattice serves the others too unless they lie in its first steps
        rows = np.flatnonzero(pending.any(axis=1))
        first = pending[rows].argmax(axis=1)
        for j in np.unique(first).tolist():
            mine = rows[(first == j) & (end[rows] == 0.0)]
            end[mine] = series.at(mine).first_end(wanted[j][0], wanted[j][1])
        look = series.at(rows).lattice(end[rows], cells)
        lowest = np.where([[which == 0 for _, which, _ in wanted]], look[0][:, -1:], look[1][:, -1:])
        here = np.arange(rows.size)
        further = (lowest[here, first] > shares[first]) & (end[rows] < 1.5 * bounds[rows, first])
        for j, (share, which, _) in enumerate(wanted):
            crossed = crossings(look[which], share, 0.5 if which == 0 else 0.0) * (end[rows] / cells)
            smallest = first == j
            seen = np.isfinite(crossed) & (smallest | (crossed >= COARSE * end[rows]) | (crossed * 2.0 >= end[rows]))
            done = pending[rows, j] & ~further & seen
            # Reading between steps may pass the bound by a millionth. What not even the bound's own lattice shows keeps it.
            found[rows[done], j] = np.minimum(found[rows[done], j], crossed[done])
            pending[rows[done | (smallest & ~further)], j] = False
        end[rows] = np.where(further, 1.25 * end[rows], 0.0)
    at_outlet, inside = np.empty((paths, len(residuals))), np.empty((paths, len(held)))
    for j, (_, which, i) in enumerate(wanted):
        (at_outlet, inside)[which][:, i] = found[:, j]
    return at_outlet, inside


def crossings(values: Real, share: float, offset: float) -> Real:
    """Return at which step falling `values` first reach `share`, read between two steps on a log scale; infinite if never."""
    below = (values <= share).argmax(axis=1)
    here = np.arange(values.shape[0])
    at = values[here, below]
    above, low = values[here, np.maximum(below - 1, 0)], np.maximum(at, 1e-300)
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.log(above / share) / np.log(above / low)
    return np.where(at > share, np.inf, offset + np.where(below == 0, 0.0, below - 1 + part))
