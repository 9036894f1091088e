"""Unbroken runs of readings for which something holds."""

import numpy as np

from fettlebook.science.cycles.log import Flags


def stretches(holds: Flags) -> list[tuple[int, int]]:
    """Return first and last index of each unbroken run of true values, in order."""
    padded = np.zeros(holds.size + 2, np.bool_)
    padded[1:-1] = holds
    edges = (padded[1:] != padded[:-1]).nonzero()[0]
    return [(a, b - 1) for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)]
