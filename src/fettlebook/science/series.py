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
CELLS: Final = 240  # steps of the lattice over the time looked at; the error of a time is about (step/tbar)^2/4
COARSE: Final = 0.156  # a time within this share of the lattice is looked at again on a lattice of its own
MARGIN: Final = 1.04  # how far past one coherent tube's time a lattice first looks
CURVED_TO: Final = 0.5  # larger shares are found one by one
SMALLEST_SHARE: Final = 1e-9  # below, the lattice sinks into rounding and the safe bound is given instead
AT_ONCE: Final = 128  # paths in one piece of array work: fits the processor's cache
_CURVE_TAU: Final = (1e-6, 10.0)


@dataclass(frozen=True, slots=True)
class Series:
    """Paths as arrays of shape (paths, parts). A path with fewer parts is padded behind with tubes of no length.

    `tau_d` of a stirred volume is 0; `parts` counts each path's own parts.
    """

    residence_s: Real
    tau_d: Real
    stirred: NDArray[np.bool_]
    parts: Rows

    def at(self, rows: Rows, parts: int | None = None) -> "Series":
        """Return some of the paths, perhaps only the first parts of them."""
        return Series(self.residence_s[rows, :parts], self.tau_d[rows, :parts], self.stirred[rows, :parts], self.parts[rows])

    def and_below(self, others: Sequence["Series"]) -> "Series":
        """Return these paths and, below them, those of others of the same width."""
        every = (self, *others)
        return Series(
            np.concatenate([s.residence_s for s in every]),
            np.concatenate([s.tau_d for s in every]),
            np.concatenate([s.stirred for s in every]),
            np.concatenate([s.parts for s in every]),
        )

    def diffusing(self, times: Real) -> "Series":
        """Return the same paths for a solute that diffuses so many times as fast, shape (paths,)."""
        return Series(self.residence_s, self.tau_d * times[:, None], self.stirred, self.parts)

    def coherent(self) -> "Series":
        """Return the paths with every run of tubes joined into one tube [O]; stirred volumes stay and separate the runs."""
        count, width = self.residence_s.shape
        if not self.stirred.any():
            one = np.ones(count, np.int64)
            return Series(self.residence_s.sum(axis=1)[:, None], self.tau_d.sum(axis=1)[:, None], np.zeros((count, 1), np.bool_), one)
        begins = np.ones((count, width), np.int64)
        begins[:, 1:] = self.stirred[:, 1:] | self.stirred[:, :-1]
        runs = np.cumsum(begins, axis=1) - 1
        place = runs + np.arange(count)[:, None] * width
        residence, tau = (
            np.asarray(np.bincount(place.ravel(), each.ravel(), count * width), np.float64).reshape(count, width)
            for each in (self.residence_s, self.tau_d)
        )
        stirred = np.zeros(count * width, np.bool_)
        stirred[place[self.stirred]] = True
        parts = runs[np.arange(count), self.parts - 1] + 1
        most = int(parts.max(initial=1))
        return Series(residence[:, :most], tau[:, :most], stirred.reshape(count, width)[:, :most], parts)

    def bound(self, share: float, which: int) -> Real:
        """Return the safe bound of every path [s] for a residual (0) or a held share (1)."""
        bounds = held_bound_s if which else residual_bound_s
        return bounds(share, np.where(self.stirred, 0.0, self.residence_s).sum(axis=1), np.where(self.stirred, self.residence_s, 0.0))

    def part_seconds(self, share: float, which: int) -> Real:
        """Return the seconds in which each part by itself is down to a residual (0) or a held share (1), shape (paths, parts)."""
        return np.asarray(self.residence_s * np.where(self.stirred, -math.log(share), changes(share, which, self.tau_d)))

    def first_end(self, share: float, which: int) -> Real:
        """Return a first guess of the time to look at [s]: all tubes as one coherent tube, and the vessels' mean and spread."""
        tubes, vessels = np.where(self.stirred, 0.0, self.residence_s), np.where(self.stirred, self.residence_s, 0.0)
        found = MARGIN * changes(share, which, self.tau_d.sum(axis=1)) * tubes.sum(axis=1)
        return np.asarray(found + vessels.sum(axis=1) - math.log(share) * np.sqrt((vessels**2).sum(axis=1)))

    def alike(self) -> Iterator[tuple[Rows, "Series"]]:
        """Return the paths in lots of the same number of parts, each small enough for the processor's cache."""
        for parts in np.unique(self.parts).tolist():
            rows = np.flatnonzero(self.parts == parts)
            for start in range(0, rows.size, AT_ONCE):
                some = rows[start : start + AT_ONCE]
                yield some, self.at(some, parts)

    def lattice(self, end_s: Real, cells: int) -> tuple[Real, Real]:
        """Return residual and held share of paths of the same number of parts, each on its own lattice from 0 to its end.

        Parameters
        ----------
        end_s
            Last time looked at, shape (paths,) [s].
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
        paths, parts = self.residence_s.shape
        step = end_s / cells
        theta = (step[:, None] / self.residence_s)[:, :, None] * np.arange(cells + 1.0)
        held = held_rows(self.tau_d.ravel(), theta.reshape(paths * parts, -1), self.stirred.ravel()).reshape(theta.shape)
        if parts == 1:
            return -np.diff(held[:, 0]) / theta[:, 0, 1:2], held[:, 0]
        # In units of the step, so that the second differences are the shares of each step.
        held /= theta[:, :, 1:2]
        falls = np.empty((paths, parts, cells + 1))
        falls[:, :, 0] = 1.0
        np.subtract(held[:, :, :-1], held[:, :, 1:], out=falls[:, :, 1:])
        length = next_fast_len(cells * parts, real=True)
        product = np.multiply.reduce(rfft(falls[:, :, :-1] - falls[:, :, 1:], length, axis=2), axis=1)
        residual = 1.0 - np.cumsum(irfft(product, length, axis=1)[:, :cells], axis=1)
        inside = np.ones((paths, cells + 1))
        np.cumsum(residual, axis=1, out=inside[:, 1:])
        inside[:, 1:] *= -(step / self.residence_s.sum(axis=1))[:, None]
        inside[:, 1:] += 1.0
        return residual, inside


def seconds_of(series: Series, residuals: Sequence[float], held: Sequence[float] = (), *, cells: int = CELLS) -> tuple[Real, Real]:
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

    Returns
    -------
    tuple of ndarray
        Seconds, shapes (paths, residuals) and (paths, held). Shares below 1e-9 get the safe bound.
    """
    paths = series.parts.size
    at_outlet, inside = np.empty((paths, len(residuals))), np.empty((paths, len(held)))
    for rows, some in series.alike():
        at_outlet[rows], inside[rows] = (_one_part if some.residence_s.shape[1] == 1 else _several)(some, residuals, held, cells)
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


def _one_part(series: Series, residuals: Sequence[float], held: Sequence[float], cells: int) -> tuple[Real, Real]:
    """Return the seconds of paths of one part: in closed form, without a lattice."""

    def own(share: float, which: int) -> Real:
        bound = series.bound(share, which)
        return np.minimum(bound, series.part_seconds(share, which)[:, 0]) if share >= SMALLEST_SHARE else bound

    return _columns(own, residuals, series, 0), _columns(own, held, series, 1)


def _columns(own: Callable[[float, int], Real], shares: Sequence[float], series: Series, which: int) -> Real:
    return np.column_stack([own(share, which) for share in shares]) if shares else np.empty((series.parts.size, 0))


def _several(series: Series, residuals: Sequence[float], held: Sequence[float], cells: int) -> tuple[Real, Real]:
    """Return the seconds of paths with the same number of parts, from their lattices."""
    paths = series.parts.size
    wanted = sorted([(share, 0, i) for i, share in enumerate(residuals)] + [(share, 1, i) for i, share in enumerate(held)])
    shares = np.array([share for share, _, _ in wanted])
    bounds = np.column_stack([series.bound(share, which) for share, which, _ in wanted])
    found = bounds.copy()
    pending = np.tile(shares >= SMALLEST_SHARE, (paths, 1))
    end = np.zeros(paths)
    while pending.any():  # the smallest share first: its lattice serves the others too unless they lie in its first steps
        rows = np.flatnonzero(pending.any(axis=1))
        first = pending[rows].argmax(axis=1)
        for j in np.unique(first).tolist():
            mine = rows[first == j]
            end[mine] = np.maximum(end[mine], series.at(mine).first_end(wanted[j][0], wanted[j][1]))
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
