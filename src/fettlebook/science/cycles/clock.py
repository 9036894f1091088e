"""The log's clock: where it stands still, runs back, jumps or pauses. Such time is never counted as hold."""

from dataclasses import dataclass

import numpy as np

from fettlebook.science.cycles.log import Flags, Indices, Real

SHUFFLED = 3  # so many steps back and the rows are out of order rather than the clock set


@dataclass(frozen=True, slots=True)
class Clock:
    """A log's rows in an order in which time increases.

    `rows` are the indices kept; `time_s` is strictly increasing and equals the log's own time up to the first step back; `broken` says
    for each kept row that the time before it is not known. `back_s` and `twice_s` are the moments of faults in `time_s`.
    """

    rows: Indices
    time_s: Real
    broken: Flags
    back_s: tuple[float, ...]
    twice_s: tuple[float, ...]
    shuffled: bool


def read_clock(time_s: Real, usable: Flags) -> Clock:
    """Return the clock of the usable rows.

    Parameters
    ----------
    time_s
        Times as logged, shape (n,) [s].
    usable
        Rows that have all readings, shape (n,); the others are left out, and their time is a pause.

    Returns
    -------
    Clock
        Where time steps back it goes on by one usual interval, whose true length is not known; three steps back or more: the rows are put
        in order of time instead. Of rows with one time the first is kept.
    """
    rows = (usable & np.isfinite(time_s)).nonzero()[0]
    t = time_s[rows]
    steps = t[1:] - t[:-1]
    if t.size < 2 or float(steps.min()) > 0.0:
        return Clock(rows, t, np.zeros(t.size, np.bool_), (), (), shuffled=False)
    back = np.concatenate(([False], steps < 0.0))
    shuffled = int(back.sum()) >= SHUFFLED
    if shuffled:
        order = np.argsort(t, kind="stable")
        rows, t = rows[order], t[order]
        back = np.zeros(t.size, np.bool_)
    else:
        usual = float(np.median(steps[steps > 0.0])) if (steps > 0.0).any() else 1.0
        t = t[0] + np.concatenate(([0.0], np.cumsum(np.where(steps < 0.0, usual, steps))))
    new = np.ones(t.size, np.bool_)
    new[1:] = t[1:] > t[:-1]
    twice = t[~new]
    return Clock(rows[new], t[new], back[new], tuple(t[back].tolist()), tuple(twice.tolist()), shuffled)
