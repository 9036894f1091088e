"""The three constraint builders that every model of ours is made of: chain, one at a time, at most.

They take the solver's model as it is and know nothing of chairs or visits, so that published job-shop optima check the
very functions that plan the day.
"""

from collections.abc import Sequence
from typing import Any


def chain(model: Any, starts: Sequence[Any], lengths: Sequence[int], gaps: Sequence[int] | None = None) -> None:
    """Let each start only after the one before has run its length and its gap; waiting between is allowed."""
    gaps = gaps or [0] * len(starts)
    for i in range(len(starts) - 1):
        model.add(starts[i + 1] >= starts[i] + lengths[i] + gaps[i])


def one_at_a_time(model: Any, intervals: Sequence[Any]) -> None:
    """Let no two of the intervals overlap: a machine, a chair, a named person."""
    if len(intervals) > 1:
        model.add_no_overlap(intervals)


def at_most(model: Any, intervals: Sequence[Any], demands: Sequence[int], capacity: int) -> None:
    """Never let more than `capacity` be in use at once: people of a kind, sets of a type, equal machines."""
    if sum(demands) > capacity:
        model.add_cumulative(intervals, demands, capacity)
