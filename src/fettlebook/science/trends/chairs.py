"""Each chair by itself, given what the chairs share: the mode by Newton, then 5 x 5 Gauss-Hermite points about it.

All chairs and all points of what they share go at once: arrays of shape (points, chairs) and (points, results).
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from fettlebook.science.trends.levels import Data, Levels
from fettlebook.science.trends.likelihood import ETA

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
NODES: Final = 5
AT_A_TIME: Final = 8_000_000  # numbers in one table of points
MOST_KEPT: Final = 32_000_000  # numbers of tables kept from a first look to the second


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


class Look:
    """A first look at points by Laplace's evidence, and the full work at those that prove worth it.

    Tables and modes of the first look serve the second, unless they would fill too much memory.
    """

    def __init__(self, data: Data, hyper: Floats) -> None:
        self._data, self._hyper, self._parts = data, hyper, list(_parts(data, len(hyper)))
        keep = len(hyper) * data.table.shape[0] * ETA.size <= MOST_KEPT
        self._ready: list[_Modes | None] = []
        rough = []
        for part in self._parts:
            at = _modes(data, hyper[part])
            rough.append(_moments(data, hyper[part], 1, at).log_evidence)
            self._ready.append(at if keep else None)
        self.log_evidence: Floats = np.concatenate(rough)  # (points, chairs)

    def moments(self, chosen: Ints) -> Moments:
        """Return the moments under some of the points, by their places in rising order."""
        fine = []
        for part, at in zip(self._parts, self._ready, strict=True):
            rows = chosen[(chosen >= part.start) & (chosen < part.stop)]
            if rows.size:
                points = self._hyper[rows]
                fine.append(_moments(self._data, points, NODES, at.of(rows - part.start) if at is not None else _modes(self._data, points)))
        return _joined(fine)


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

    chair: Levels
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
    chair, middle = Levels(data, hyper), hyper.mean(axis=0, keepdims=True)
    a, b, *_ = Levels(data, middle).mode(middle, (middle[:, 0:1], middle[:, 1:2]))
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
    a, b, h_aa, h_ab, h_bb = at.a, at.b, at.h_aa, at.h_ab, at.h_bb
    # L of the inverse of [[h_aa, h_ab], [h_ab, h_bb]]: points are mode + sqrt(2) L z
    det = h_aa * h_bb - h_ab**2
    l11 = np.sqrt(h_bb / det)
    l21 = -h_ab / np.sqrt(h_bb * det)
    l22 = 1.0 / np.sqrt(h_bb)
    z_a, z_b, log_weight = _rule(nodes)
    log = at.chair.log_likelihood((a, b), (math.sqrt(2.0) * l11, math.sqrt(2.0) * l21), math.sqrt(2.0) * l22, (z_a, z_b))
    pa = a + math.sqrt(2.0) * l11 * z_a[:, None, None]
    pb = b + math.sqrt(2.0) * (l21 * z_a[:, None, None] + l22 * z_b[:, None, None])
    log += log_weight[:, None, None] - 0.5 * ((pa - mu) / sa) ** 2 - 0.5 * ((pb - beta) / sb) ** 2
    top = log.max(axis=0)
    share = np.exp(log - top)
    total = share.sum(axis=0)
    # normal density constants: 2 det(L) from the change of variables over 2 pi s_a s_b
    evidence = top + np.log(total) + np.log(l11 * l22 / (math.pi * sa * sb))
    s = data.sampled
    whole.log_evidence[:, s] = evidence
    if nodes == 1:
        return whole
    share /= total
    mean_a, mean_b = (share * pa).sum(axis=0), (share * pb).sum(axis=0)
    pa -= mean_a
    pb -= mean_b
    for array, value in (
        (whole.a, mean_a),
        (whole.b, mean_b),
        (whole.var_a, (share * pa * pa).sum(axis=0)),
        (whole.var_b, (share * pb * pb).sum(axis=0)),
        (whole.cov, (share * pa * pb).sum(axis=0)),
    ):
        array[:, s] = value
    return whole


@cache
def _rule(nodes: int) -> tuple[Floats, Floats, Floats]:
    """Return nodes in two directions, and the log of their weights with exp(z^2) given back."""
    z, weight = np.polynomial.hermite.hermgauss(nodes)
    z_a, z_b = np.repeat(z, nodes), np.tile(z, nodes)
    return z_a, z_b, np.log(np.outer(weight, weight)).reshape(-1) + z_a**2 + z_b**2
