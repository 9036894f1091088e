"""How likely a result is, given a chair's level and the scatter between samples: log p(y | eta, s), as tables.

p(y | eta, s) = integral of Poisson(y; v 10^u) N(u; eta, s) du. A count of thousands is narrow in u, so the first blur
(smallest s) is done on a fine grid; a blurred one is smooth, and each wider s is reached from it on the coarse grid,
because Gaussians add in squares. All are log-concave in eta.
"""

import math
from collections.abc import Sequence
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammainc, gammaincc, gammaln, ndtr

from fettlebook.science.trends.model import Kind, Sample

Floats = NDArray[np.float64]
FINE: Final = 0.01  # grid of the first blur
COARSE: Final = 0.04  # of the further ones
STEP: Final = 0.08  # of what is kept: a cubic between its points is out by 0.003 at s = 0.14, less at wider s
LOWEST, HIGHEST = -7.0, 9.0
ETA: Final = np.arange(LOWEST, HIGHEST + STEP / 2, STEP)
LOG_S: Final = math.log(0.4) + 0.4 * np.linspace(-4.0, 4.0, 14)  # four SD of the prior to either side
FEW_ENOUGH: Final = 3_000  # more colonies add under 1 % of the smallest s squared, and would be too narrow for the fine grid
NOTHING: Final = 1e-250  # below it a table goes on as a straight line

KEPT: Final = 1_000  # tables, 11 kB each: laboratories write the same few results again and again

Result = tuple[Kind, int, float]
_made: dict[Result, Floats] = {}


def results_of(samples: Sequence[Sample]) -> tuple[list[Result], NDArray[np.intp]]:
    """Return the distinct results and which of them each sample has."""
    place: dict[Result, int] = {}
    which = [place.setdefault((s.kind, s.colonies, s.volume_ml), len(place)) for s in samples]
    return list(place), np.asarray(which, dtype=np.intp)


def tables(results: Sequence[Result]) -> Floats:
    """Return log p of each result on `ETA` and `exp(LOG_S)`: shape (results, ETA, LOG_S). The latest made are kept."""
    missing = [result for result in results if result not in _made]
    if missing:
        while len(_made) + len(missing) > KEPT and _made:
            del _made[next(iter(_made))]
        missing = [result for result in results if result not in _made]
        first, others = _kernels()
        blurred = first @ np.stack([_poisson(*result) for result in missing], axis=1)
        every = np.stack([blurred, *(other @ blurred for other in others)], axis=-1)  # (coarse, results, LOG_S)
        kept = _log(every)[:: round(STEP / COARSE)]
        _made.update(zip(missing, np.ascontiguousarray(kept.transpose(1, 0, 2), dtype=np.float32), strict=True))
    return np.stack([_made[result] for result in results])


def _grid(step: float) -> Floats:
    return np.arange(LOWEST, HIGHEST + step / 2, step)


def _poisson(kind: Kind, colonies: int, volume_ml: float) -> Floats:
    scale = min(1.0, FEW_ENOUGH / max(colonies, 1))
    k = round(colonies * scale)
    mean = volume_ml * scale * 10.0 ** _grid(FINE)
    if kind == "below":
        return np.asarray(gammaincc(k + 1.0, mean))
    if kind == "above":
        return np.asarray(gammainc(float(k), mean))
    with np.errstate(under="ignore"):
        return np.asarray(np.exp(k * np.log(mean) - mean - gammaln(k + 1.0)))


@cache
def _kernels() -> tuple[Floats, tuple[Floats, ...]]:
    s, coarse = np.exp(LOG_S), _grid(COARSE)
    first = _blur(coarse, _grid(FINE), float(s[0]))
    return first, tuple(_blur(coarse, coarse, math.sqrt(float(wide) ** 2 - float(s[0]) ** 2)) for wide in s[1:])


def _blur(at: Floats, nodes: Floats, sd: float) -> Floats:
    """Return the weights of nodes for a Gaussian about each `at`; what falls beyond the ends lies on the end nodes."""
    step = nodes[1] - nodes[0]
    z = (nodes[None, :] - at[:, None]) / sd
    weights: Floats = np.exp(-0.5 * z * z) * (step / sd / math.sqrt(2.0 * math.pi))
    weights[:, 0] += ndtr(z[:, 0] - step / sd / 2.0)
    weights[:, -1] += ndtr(-z[:, -1] - step / sd / 2.0)
    return weights


def _log(density: Floats) -> Floats:
    """Return the logarithm along axis 0, gone on as straight lines where the density is next to nothing."""
    log: Floats = np.log(np.maximum(density, NOTHING))
    count = density.shape[0]
    good = density > NOTHING
    first, last = good.argmax(axis=0), count - 1 - good[::-1].argmax(axis=0)
    row = np.arange(count).reshape(-1, *([1] * (density.ndim - 1)))
    for end, inward in ((first, 1), (last, -1)):
        edge = np.take_along_axis(log, end[None], axis=0)
        slope = np.take_along_axis(log, end[None] + inward, axis=0) - edge
        outside = row < end if inward == 1 else row > end
        log = np.where(outside, edge + slope * (row - end) * inward, log)
    return log
