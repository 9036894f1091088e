"""Each chair's results at levels that go with a and b: tables at each point's own s, and the mode by a damped Newton.

All chairs and all points of what they share go at once: arrays of shape (points, chairs) and (points, results).
"""

from copy import copy
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from fettlebook.science.trends.likelihood import ETA, LOG_S, STEP

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Singles = NDArray[np.float32]
MOST_STEPS: Final = 40
CLOSE: Final = 0.01  # log10 CFU/mL; the step that ends there still counts, and the nodes take care of the rest
LONGEST_STEP: Final = 1.0
FIRST, LAST = 1.0, float(np.nextafter(np.float32(ETA.size - 2), np.float32(0.0)))  # places that have two neighbours on either side


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


class Levels:
    """The tables at each point's own s, and what they give at levels of the sampled chairs."""

    def __init__(self, data: Data, hyper: Floats) -> None:
        self._x, self._x32 = data.x, data.x.astype(np.float32)
        self._starts = data.starts
        counts = np.diff(np.r_[self._starts, data.of.size])
        self._seat = np.repeat(np.arange(self._starts.size), counts)  # (results,) into the sampled chairs
        # a point's whole table lies together, and the four neighbours of a level side by side: few misses of the cache
        blend = _weights(hyper[:, 4]).T.astype(np.float32)
        self._flat: Singles = (blend @ data.table.reshape(-1, LOG_S.size).T).reshape(-1).astype(np.float32, copy=False)
        self._points = len(hyper)
        self._first = (np.arange(self._points) * (data.table.shape[0] * ETA.size))[:, None] + (data.which * ETA.size - 1)[None, :]

    def of(self, rows: Ints) -> "Levels":
        """Return the same at some of the points; the tables are shared."""
        some = copy(self)
        some._points, some._first = rows.size, self._first[rows]
        return some

    def _place(self, a: Floats, b: Floats) -> Singles:
        """Return a + b x of each result in steps of the table, as they are (levels less the first level, or their changes)."""
        # single precision holds a step of the table to 3e-5: far finer than what the cubic between its points leaves
        place = b.astype(np.float32).take(self._seat, axis=1)
        place *= self._x32
        place += a.astype(np.float32).take(self._seat, axis=1)
        place *= np.float32(1.0 / STEP)
        return place

    def _four(self, place: Singles) -> tuple[Singles, Singles, Singles, Singles, Singles, Singles | None]:
        """Return the four neighbours, the place between the second and third, and how far beyond the table it lies (None: nowhere)."""
        beyond: Singles | None = None
        if place.min(initial=FIRST) < FIRST or place.max(initial=FIRST) >= LAST:
            whole = place
            place = np.clip(whole, FIRST, LAST)
            beyond = whole - place
        base = place.astype(np.intp)
        np.minimum(base, ETA.size - 3, out=base)
        t = place - base.astype(np.float32)
        base += self._first
        around = [self._flat.take(base)]
        for _ in range(3):
            base += 1
            around.append(self._flat.take(base))
        return around[0], around[1], around[2], around[3], t, beyond

    def log_likelihood(self, mode: tuple[Floats, Floats], along: tuple[Floats, Floats], across: Floats, z: tuple[Floats, Floats]) -> Floats:
        """Return the sum over each chair's results at nodes about its mode: (nodes, points, sampled chairs).

        A node lies z[0] times `along` (in a and b) and z[1] times `across` (in b alone) from the mode; all of these are
        (points, sampled chairs), and a result's level goes with them in straight lines.
        """
        middle = self._place(mode[0] - ETA[0], mode[1])
        one, other = self._place(*along), self._place(np.zeros_like(across), across)
        found = np.empty((z[0].size, self._points, self._starts.size))
        for node, (by, aside) in enumerate(zip(z[0].astype(np.float32), z[1].astype(np.float32), strict=True)):
            f0, f1, f2, f3, t, beyond = self._four(middle + by * one + aside * other)
            c1, c2, c3 = _cubic(f0, f1, f2, f3)
            if beyond is not None:
                f1 += beyond * (c1 + t * (np.float32(2.0) * c2 + np.float32(3.0) * t * c3))
            c3 *= t
            c3 += c2
            c3 *= t
            c3 += c1
            c3 *= t
            c3 += f1
            np.add.reduceat(c3, self._starts, axis=1, out=found[node])
        return found

    def mode(self, hyper: Floats, start: tuple[Floats, Floats]) -> tuple[Floats, Floats, Floats, Floats, Floats]:
        """Return a, b at the mode and the curvatures there (aa, ab, bb), by a damped Newton from `start`.

        Points whose modes are found are left alone as soon as they are half of those that still move.
        """
        shape = (self._points, self._starts.size)
        a, b = np.broadcast_to(start[0], shape).copy(), np.broadcast_to(start[1], shape).copy()
        h_aa, h_ab, h_bb = np.empty(shape), np.empty(shape), np.empty(shape)
        reach = float(self._x.max(initial=1.0)) + 1.0
        rows, some = np.arange(self._points), self
        for step in range(MOST_STEPS):
            bends, (d_a, d_b) = some._newton(hyper[rows], a[rows], b[rows])
            size = np.abs(d_a) + np.abs(d_b) * reach
            short = np.minimum(1.0, LONGEST_STEP / np.maximum(size, 1e-300)) * (1.0 if step < MOST_STEPS // 2 else 0.5)
            a[rows] += short * d_a
            b[rows] += short * d_b
            h_aa[rows], h_ab[rows], h_bb[rows] = bends
            moving = size.max(axis=1) >= CLOSE
            if not moving.any():
                break
            if 2 * int(moving.sum()) <= rows.size:
                rows = rows[moving]
                some = self.of(rows)
        return a, b, h_aa, h_ab, h_bb

    def _newton(self, hyper: Floats, a: Floats, b: Floats) -> tuple[tuple[Floats, Floats, Floats], tuple[Floats, Floats]]:
        """Return the curvatures (aa, ab, bb) at levels a and rises b, and Newton's step from there."""
        mu, beta, over_a, over_b = hyper[:, 0:1], hyper[:, 1:2], np.exp(-2.0 * hyper[:, 2:3]), np.exp(-2.0 * hyper[:, 3:4])
        f0, f1, f2, f3, t, _ = self._four(self._place(a - ETA[0], b))
        c1, c2, c3 = _cubic(f0, f1, f2, f3)
        c3 *= t
        bend = c3 * np.float32(-6.0)
        c2 += c2
        bend -= c2
        bend *= np.float32(STEP**-2)
        np.maximum(bend, np.float32(0.0), out=bend)
        c3 *= np.float32(3.0)
        c3 += c2
        c3 *= t
        c3 += c1
        c3 *= np.float32(1.0 / STEP)

        def of_chairs(values: Singles) -> Floats:
            return np.add.reduceat(values, self._starts, axis=1, dtype=np.float64)

        g_a = of_chairs(c3) - (a - mu) * over_a
        c3 *= self._x32
        g_b = of_chairs(c3) - (b - beta) * over_b
        h_aa = of_chairs(bend) + over_a
        bend *= self._x32
        h_ab = of_chairs(bend)
        bend *= self._x32
        h_bb = of_chairs(bend) + over_b
        det = h_aa * h_bb - h_ab**2
        return (h_aa, h_ab, h_bb), ((h_bb * g_a - h_ab * g_b) / det, (h_aa * g_b - h_ab * g_a) / det)


def _cubic(f0: Singles, f1: Singles, f2: Singles, f3: Singles) -> tuple[Singles, Singles, Singles]:
    """Return the coefficients c1, c2, c3 of the cubic through four neighbours, in t from the second to the third."""
    c3 = (f3 - f0) * np.float32(1 / 6) + (f1 - f2) * np.float32(0.5)
    c2 = (f0 + f2) * np.float32(0.5) - f1
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
