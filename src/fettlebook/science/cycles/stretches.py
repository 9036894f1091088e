"""Unbroken runs of readings for which something holds."""

import numpy as np

from fettlebook.science.cycles.log import Flags


def stretches(holds: Flags) -> list[tuple[int, int]]:
    """Return first and last index of each unbroken run of true values, in order."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], holds, [False])).astype(np.int8)))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]
