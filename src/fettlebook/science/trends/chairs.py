"""Each chair by itself, given what the chairs share: the mode by Newton, then 5 x 5 Gauss-Hermite points about it.

All chairs and all points of what they share go at once: arrays of shape (points, chairs) and (points, results).
"""

import math
from collections.abc import Callable, Iterator, Sequence
from copy import copy
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from fettlebook.science.trends.likelihood import ETA, LOG_S, STEP

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Singles = NDArray[np.float32]
Bools = NDArray[np.bool_]
NODES: Final = 5
MOST_STEPS: Final = 40
CLOSE: Final = 1e-3  # log10 CFU/mL; the nodes take care of the rest
LONGEST_STEP: Final = 1.0
AT_A_TIME: Final = 8_000_000  # numbers in one table of points
MOST_KEPT: Final = 32_000_000  # numbers of tables kept from a first look to the second


@dataclass(frozen=True, slots=True)
class Data:
    """Results sorted by chair. `starts` are the first results of those chairs that have any (`sampled`)."""

    table: Floats  # (distinct, ETA, LOG_S)
    which: Ints  # (results,) into the table
    x: Floats  # (results,)
    of: Ints  # (results,) the chair
    chairs: int

    @property
    def starts(self) -> Ints:
        """First result of each sampled chair."""
        return np.flatnonzero(np.r_[True, np.diff(self.of) > 0]) if self.of.size else np.zeros(0, np.intp)

    @property
    def sampled(self) -> Ints:
        """The chairs that have results."""
        return self.of[self.starts] if self.of.size else np.zeros(0, np.intp)


@dataclass(frozen=True, slots=True)
class Moments:
    """Of each chair's a and b under each point: shape (points, chairs). `log_evidence` of the chair's results."""

    log_evidence: Floats
    a: Floats
    b: Floats
    var_a: Floats
    var_b: Floats
    cov: Floats


def moments(data: Data, hyper: Floats, nodes: int = NODES) -> Moments:
    """Return each chair's moments under each row (mu, beta, ln s_a, ln s_b, ln s) of `hyper`.

    With one node only `log_evidence` is of use: it is Laplace's, at a fraction of the work.
    """
    return _joined([_moments(data, hyper[part], nodes, _modes(data, hyper[part])) for part in _parts(data, len(hyper))])


def moments_of_heavy(data: Data, hyper: Floats, heavy: Callable[[Floats], Bools]) -> tuple[Bools, Moments]:
    """Return which points are worth the full work, by `heavy` of Laplace's log evidence (points, chairs), and the moments under these.

    Tables and modes of the first look serve the second, unless they would fill too much memory.
    """
    parts = list(_parts(data, len(hyper)))
    keep = len(hyper) * data.table.shape[0] * ETA.size <= MOST_KEPT
    ready = [_modes(data, hyper[part]) if keep else None for part in parts]
    rough = [_moments(data, hyper[part], 1, at or _modes(data, hyper[part])).log_evidence for part, at in zip(parts, ready, strict=True)]
    chosen = heavy(np.concatenate(rough))
    fine = []
    for part, at in zip(parts, ready, strict=True):
        rows = np.flatnonzero(chosen[part])
        if rows.size:
            points = hyper[part][rows]
            fine.append(_moments(data, points, NODES, at.of(rows) if at is not None else _modes(data, points)))
    return chosen, _joined(fine)


def _parts(data: Data, points: int) -> Iterator[slice]:
    size = max(1, AT_A_TIME // max(1, data.table.shape[0] * ETA.size))
    return (slice(i, i + size) for i in range(0, points, size))


def _joined(parts: Sequence[Moments]) -> Moments:
    if len(parts) == 1:
        return parts[0]
    return Moments(*(np.concatenate([getattr(p, name) for p in parts]) for name in Moments.__slots__))


@dataclass(frozen=True, slots=True)
class _Modes:
    """The tables at each point, and where the sampled chairs' modes lie, with the curvatures there."""

    chair: "_Chairs"
    a: Floats
    b: Floats
    h_aa: Floats
    h_ab: Floats
    h_bb: Floats

    def of(self, rows: Ints) -> "_Modes":
        """Return the same of some of the points."""
        return _Modes(self.chair.of(rows), self.a[rows], self.b[rows], self.h_aa[rows], self.h_ab[rows], self.h_bb[rows])


def _modes(data: Data, hyper: Floats) -> _Modes | None:
    """Return the modes under each point; None where no chair has a result."""
    if data.of.size == 0:
        return None
    chair, middle = _Chairs(data, hyper), hyper.mean(axis=0, keepdims=True)
    a, b, *_ = _Chairs(data, middle).mode(middle, (middle[:, 0:1], middle[:, 1:2]))
    return _Modes(chair, *chair.mode(hyper, (a, b)))  # the modes of one point in the middle are a good start for all


def _moments(data: Data, hyper: Floats, nodes: int, at: _Modes | None) -> Moments:
    mu, beta = hyper[:, 0:1], hyper[:, 1:2]
    sa, sb = np.exp(hyper[:, 2:3]), np.exp(hyper[:, 3:4])
    shape = (len(hyper), data.chairs)
    whole = Moments(
        np.zeros(shape),
        np.broadcast_to(mu, shape).copy(),
        np.broadcast_to(beta, shape).copy(),
        np.broadcast_to(sa**2, shape).copy(),
        np.broadcast_to(sb**2, shape).copy(),
        np.zeros(shape),
    )
    if at is None:
        return whole
    chair, a, b, h_aa, h_ab, h_bb = at.chair, at.a, at.b, at.h_aa, at.h_ab, at.h_bb
    # L of the inverse of [[h_aa, h_ab], [h_ab, h_bb]]: points are mode + sqrt(2) L z
    det = h_aa * h_bb - h_ab**2
    l11 = np.sqrt(h_bb / det)
    l21 = -h_ab / np.sqrt(h_bb * det)
    l22 = 1.0 / np.sqrt(h_bb)
    z, weight = np.polynomial.hermite.hermgauss(nodes)
    logs, at_a, at_b = [], [], []
    for i in range(nodes):
        for j in range(nodes):
            pa = a + math.sqrt(2.0) * l11 * z[i]
            pb = b + math.sqrt(2.0) * (l21 * z[i] + l22 * z[j])
            log = chair.log_likelihood(pa, pb) - 0.5 * ((pa - mu) / sa) ** 2 - 0.5 * ((pb - beta) / sb) ** 2
            logs.append(log + math.log(weight[i] * weight[j]) + z[i] ** 2 + z[j] ** 2)
            at_a.append(pa)
            at_b.append(pb)
    log = np.stack(logs)
    top = log.max(axis=0)
    share = np.exp(log - top)
    total = share.sum(axis=0)
    share /= total
    pa, pb = np.stack(at_a), np.stack(at_b)
    mean_a, mean_b = (share * pa).sum(axis=0), (share * pb).sum(axis=0)
    da, db = pa - mean_a, pb - mean_b
    # normal density constants: 2 det(L) from the change of variables over 2 pi s_a s_b
    evidence = top + np.log(total) + np.log(l11 * l22 / (math.pi * sa * sb))
    s = data.sampled
    for array, value in (
        (whole.log_evidence, evidence),
        (whole.a, mean_a),
        (whole.b, mean_b),
        (whole.var_a, (share * da * da).sum(axis=0)),
        (whole.var_b, (share * db * db).sum(axis=0)),
        (whole.cov, (share * da * db).sum(axis=0)),
    ):
        array[:, s] = value
    return whole


class _Chairs:
    """The tables at each point's own s, and what they give at levels of the sampled chairs."""

    def __init__(self, data: Data, hyper: Floats) -> None:
        self._x, self._x32 = data.x, data.x.astype(np.float32)
        self._starts = data.starts
        counts = np.diff(np.r_[self._starts, data.of.size])
        self._seat = np.repeat(np.arange(self._starts.size), counts)  # (results,) into the sampled chairs
        # a point's whole table lies together, and the four neighbours of a level side by side: few misses of the cache
        blend = _weights(hyper[:, 4]).T.astype(np.float32)
        self._flat = (blend @ data.table.reshape(-1, LOG_S.size).T).reshape(-1)
        self._points = len(hyper)
        self._first = (np.arange(self._points) * (data.table.shape[0] * ETA.size))[:, None] + (data.which * ETA.size)[None, :]

    def of(self, rows: Ints) -> "_Chairs":
        """Return the same at some of the points; the tables are shared."""
        some = copy(self)
        some._points, some._first = rows.size, self._first[rows]
        return some

    def _four(self, a: Floats, b: Floats) -> tuple[Floats, Floats, Floats, Floats, Singles, Singles]:
        # single precision holds a step of the table to 3e-5: far finer than what the cubic between its points leaves
        place = b.astype(np.float32).take(self._seat, axis=1)
        place *= self._x32
        place += a.astype(np.float32).take(self._seat, axis=1)
        place -= np.float32(ETA[0])
        place *= np.float32(1.0 / STEP)
        base = place.astype(np.intp)
        np.clip(base, 1, ETA.size - 3, out=base)
        place -= base
        base += self._first
        base -= 1
        around = [self._flat.take(base)]
        for _ in range(3):
            base += 1
            around.append(self._flat.take(base))
        inside = np.clip(place, np.float32(0.0), np.float32(1.0))
        place -= inside
        return around[0], around[1], around[2], around[3], inside, place

    def log_likelihood(self, a: Floats, b: Floats) -> Floats:
        """Return the sum over each chair's results at levels a and rises b, (points, sampled chairs)."""
        f0, f1, f2, f3, t, beyond = self._four(a, b)
        c1, c2, c3 = _cubic(f0, f1, f2, f3)
        value = f1 + t * (c1 + t * (c2 + t * c3)) + beyond * (c1 + t * (2.0 * c2 + 3.0 * t * c3))
        return np.asarray(np.add.reduceat(value, self._starts, axis=1))

    def mode(self, hyper: Floats, start: tuple[Floats, Floats]) -> tuple[Floats, Floats, Floats, Floats, Floats]:
        """Return a, b at the mode and the curvatures there (aa, ab, bb), by a damped Newton from `start`."""
        mu, beta, sa, sb = hyper[:, 0:1], hyper[:, 1:2], np.exp(hyper[:, 2:3]), np.exp(hyper[:, 3:4])
        shape = (self._points, self._starts.size)
        a, b = np.broadcast_to(start[0], shape).copy(), np.broadcast_to(start[1], shape).copy()
        reach = float(self._x.max(initial=1.0)) + 1.0
        for step in range(MOST_STEPS):
            f0, f1, f2, f3, t, _ = self._four(a, b)
            c1, c2, c3 = _cubic(f0, f1, f2, f3)
            slope = (c1 + t * (2.0 * c2 + 3.0 * t * c3)) / STEP
            bend = np.maximum(-(2.0 * c2 + 6.0 * t * c3) / STEP**2, 0.0)
            g_a = np.add.reduceat(slope, self._starts, axis=1) - (a - mu) / sa**2
            g_b = np.add.reduceat(slope * self._x, self._starts, axis=1) - (b - beta) / sb**2
            h_aa = np.add.reduceat(bend, self._starts, axis=1) + 1.0 / sa**2
            h_ab = np.add.reduceat(bend * self._x, self._starts, axis=1)
            h_bb = np.add.reduceat(bend * self._x**2, self._starts, axis=1) + 1.0 / sb**2
            det = h_aa * h_bb - h_ab**2
            d_a, d_b = (h_bb * g_a - h_ab * g_b) / det, (h_aa * g_b - h_ab * g_a) / det
            size = np.abs(d_a) + np.abs(d_b) * reach
            short = np.minimum(1.0, LONGEST_STEP / np.maximum(size, 1e-300)) * (1.0 if step < MOST_STEPS // 2 else 0.5)
            a, b = a + short * d_a, b + short * d_b
            if float(size.max()) < CLOSE:
                break
        return a, b, h_aa, h_ab, h_bb


def _cubic(f0: Floats, f1: Floats, f2: Floats, f3: Floats) -> tuple[Floats, Floats, Floats]:
    """Return the coefficients c1, c2, c3 of the cubic through four neighbours, in t from the second to the third."""
    c3 = (f3 - f0) / 6.0 + (f1 - f2) / 2.0
    c2 = (f0 + f2) / 2.0 - f1
    return f2 - f1 - c2 - c3, c2, c3


def _weights(log_s: Floats) -> Floats:
    """Return for each ln s the weights of the four neighbours in `LOG_S`: shape (LOG_S, points)."""
    gap = LOG_S[1] - LOG_S[0]
    place = np.clip((log_s - LOG_S[0]) / gap, 0.0, LOG_S.size - 1.0)
    cell = np.clip(place.astype(np.intp), 1, LOG_S.size - 3)
    t = place - cell
    weights = np.zeros((LOG_S.size, log_s.size))
    column = np.arange(log_s.size)
    weights[cell - 1, column] = -t * (t - 1.0) * (t - 2.0) / 6.0
    weights[cell, column] = (t + 1.0) * (t - 1.0) * (t - 2.0) / 2.0
    weights[cell + 1, column] = -(t + 1.0) * t * (t - 2.0) / 2.0
    weights[cell + 2, column] = (t + 1.0) * t * (t - 1.0) / 6.0
    return weights
