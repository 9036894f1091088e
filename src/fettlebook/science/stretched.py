"""A line's computed wash-out with two freedoms: it may take longer or shorter, and a mixing volume may stand behind it.

Sources
-------
[S] A stirred volume behind a line: y' = (W - y)/tau, mass balance, textbook. memory
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from fettlebook.errors import Mendable

Floats = NDArray[np.float64]
LEAST: Final = 1e-9  # below this share the curve is taken as this; no strip sees it
STRETCHES: Final = np.exp(np.linspace(math.log(0.25), math.log(6.0), 531))
MIXINGS: Final = np.array([0.0, 0.02, 0.04, 0.07, 0.1, 0.14, 0.18, 0.23, 0.28, 0.34, 0.4, 0.5, 0.6, 0.7, 0.85, 1.0, 1.2, 1.5])
_THETA: Final = np.concatenate([np.linspace(0.0, 8.0, 1601), np.geomspace(8.01, 300.0, 500)])


@dataclass(frozen=True, slots=True)
class LineCurve:
    """The computed wash-out of a line with every mixing volume behind it: log of what is left over volume changes."""

    nominal_s: float
    log_left: Floats  # shape (mixings, thetas)

    def log_left_at(self, seconds: float) -> Floats:
        """Return log of the share left at a time, shape (mixings, stretches)."""
        theta: Floats = seconds / (self.nominal_s * STRETCHES)
        return np.array([np.interp(theta, _THETA, row) for row in self.log_left])

    def seconds_to(self, share: float) -> Floats:
        """Return when the share left is down to `share`, shape (mixings, stretches) [s]."""
        goal = math.log(share)
        theta = np.array([np.interp(-goal, -row, _THETA) for row in np.minimum.accumulate(self.log_left, axis=1)])
        return np.asarray(theta[:, None] * STRETCHES * self.nominal_s)


def line_curve(left: Callable[[Floats], Floats], nominal_s: float) -> LineCurve:
    """Return a line's computed curve, made ready for calibration.

    Parameters
    ----------
    left
        Share of old content that leaves the line after so many volume changes; arrays in, arrays out; 1 at the start, falling.
    nominal_s
        One volume change [s], above 0.

    Notes
    -----
    The mixing volume [S] is added exactly for a curve that is straight between the points of a fixed lattice.
    """
    if not (nominal_s > 0.0 and math.isfinite(nominal_s)):
        raise Mendable(f"one volume change of {nominal_s!r} s", where="nominal_s", mend="Give the line's volume over its flow, in seconds.")
    w = np.clip(np.asarray(left(_THETA), np.float64), 0.0, 1.0)
    rows = np.empty((MIXINGS.size, _THETA.size))
    rows[0] = w
    tau = MIXINGS[1:]
    y = np.ones(tau.size)
    rows[1:, 0] = y
    for i in range(1, _THETA.size):
        a = (_THETA[i] - _THETA[i - 1]) / tau
        gone = -np.expm1(-a)
        y = y * np.exp(-a) + w[i - 1] * gone + (w[i] - w[i - 1]) * (1.0 - gone / a)
        rows[1:, i] = y
    return LineCurve(nominal_s, np.log(np.maximum(rows, LEAST)))
