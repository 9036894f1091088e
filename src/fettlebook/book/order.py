"""Which rows of a book stand out of their sealed order: the fewest that explain what is seen."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

RUNS_MOST: Final = 1000  # beyond that a book is in disorder as a whole, and time grows with the square


@dataclass(slots=True)
class Run:
    """Rows that follow each other both here and as sealed."""

    start: int  # the seq that was sealed
    length: int
    row: int  # where it stands here

    @property
    def end(self) -> int:
        """The last seq."""
        return self.start + self.length - 1


def longest_order(runs: Sequence[Run]) -> tuple[list[tuple[int, int]], list[Run]]:
    """Return the seqs of the rows that stand in order (the most that can), as ranges, and the runs that don't.

    The few rows that were moved are then named, not the many between.
    """
    best: list[tuple[int, int]] = []  # weight of the rows in order up to and with this run; the run before
    for j, run in enumerate(runs):
        # In halves, so that of two equal explanations the one wins whose rows stand where they were sealed.
        own = 2 * run.length + (run.start == run.row)
        most, before = own, -1
        for i in range(j):
            overlap = max(0, runs[i].end - run.start + 1)
            if runs[i].start < run.start and overlap < run.length and best[i][0] - 2 * overlap + own > most:
                most, before = best[i][0] - 2 * overlap + own, i
        best.append((most, before))
    chain: list[int] = []
    at = max(range(len(runs)), key=lambda j: best[j][0], default=-1)
    while at >= 0:
        chain.append(at)
        at = best[at][1]
    ranges: list[tuple[int, int]] = []
    inside = set(chain)
    outside = [run for j, run in enumerate(runs) if j not in inside]
    for j in reversed(chain):
        covered = ranges[-1][1] if ranges else 0
        doubled = covered - runs[j].start + 1
        if doubled > 0:
            outside.append(Run(runs[j].start, doubled, runs[j].row))
        ranges.append((max(runs[j].start, covered + 1), runs[j].end))
    return ranges, outside


def gaps_in(ranges: Sequence[tuple[int, int]], size: int) -> list[tuple[int, int]]:
    """Return what the ranges (in order) leave out of 1 to `size`."""
    gaps, at = [], 1
    for start, end in ranges:
        if start > at:
            gaps.append((at, min(start - 1, size)))
        at = max(at, end + 1)
    return [*gaps, (at, size)] if at <= size else gaps


def overlap_of(one: tuple[int, int], other: tuple[int, int]) -> tuple[int, int] | None:
    """Return the range that two ranges share."""
    first, last = max(one[0], other[0]), min(one[1], other[1])
    return (first, last) if first <= last else None
