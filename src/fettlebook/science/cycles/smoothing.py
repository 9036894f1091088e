"""Medians of a few readings: they forgive a lone wild one without rounding off an edge, as a mean would."""

import numpy as np

from fettlebook.science.cycles.log import Real


def median3(x: Real) -> Real:
    """Return the median of each reading and its two neighbours, along the last axis, same shape; the ends stay as they are."""
    out = x.copy()
    if x.shape[-1] >= 3:
        a, b, c = x[..., :-2], x[..., 1:-1], x[..., 2:]
        out[..., 1:-1] = np.maximum(np.minimum(a, b), np.minimum(np.maximum(a, b), c))
    return out


def median5(x: Real) -> Real:
    """Return the median of each reading and two neighbours on either side, along the last axis, same shape; the ends as in `median3`."""
    out = median3(x)
    if x.shape[-1] >= 5:
        a, b, c, d, e = (x[..., i : x.shape[-1] - 4 + i] for i in range(5))
        low, high = np.maximum(np.minimum(a, b), np.minimum(c, d)), np.minimum(np.maximum(a, b), np.maximum(c, d))
        out[..., 2:-2] = np.maximum(np.minimum(low, high), np.minimum(np.maximum(low, high), e))
    return out


def mean3(x: Real) -> Real:
    """Return the mean of each three readings that follow each other, along the last axis, two fewer; fewer than three: their mean."""
    if x.shape[-1] < 3:
        return np.asarray(x.mean(axis=-1, keepdims=True))
    return np.asarray((x[..., :-2] + x[..., 1:-1] + x[..., 2:]) / 3.0)


def middle(x: Real) -> float:
    """Return the median of readings, shape (n,), n >= 1; of an even number the upper of the middle two: one partition, no more."""
    half = x.size // 2
    y = x.copy()
    y.partition(half)
    return float(y[half])


def noise(x: Real) -> float:
    """Return the standard deviation of a reading about its neighbours, from the median step; 0 with fewer than three."""
    return middle(np.abs(x[1:] - x[:-1])) * 1.4826 / 1.41421356 if x.size > 2 else 0.0
