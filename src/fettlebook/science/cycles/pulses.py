"""Vacuum pulses: turning points of the pressure, and the air that is left after them if it mixes well.

Sources
-------
[A] Each evacuation from p_high to p_low leaves p_low/p_high of the gas; steam let in afterwards mixes with it. Dalton. memory
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from fettlebook.science.cycles.log import Real

HYSTERESIS_KPA: Final = 5.0  # a turn counts once the pressure has come back by so much: noise and ripple make none


@dataclass(frozen=True, slots=True)
class Pulse:
    """One evacuation: from how high, down to what, and the index of its lowest reading."""

    from_kpa: float
    low_kpa: float
    at: int


def pulses(pressure_kpa: Real) -> tuple[Pulse, ...]:
    """Return the evacuations of a stretch of pressure, in order.

    Parameters
    ----------
    pressure_kpa
        Absolute pressure from before the first evacuation to the plateau, shape (n,) [kPa], smoothed.

    Returns
    -------
    tuple of Pulse
        Each fall by more than 5 kPa that is followed by a rise of more than 5 kPa.
    """
    if pressure_kpa.size < 3:
        return ()
    steps = pressure_kpa[1:] - pressure_kpa[:-1]
    moving = steps.nonzero()[0]
    if moving.size == 0:
        return ()
    rising = steps[moving] > 0.0
    turns = moving[(rising[1:] != rising[:-1]).nonzero()[0]] + 1  # the last of a level stretch: where it turns
    at = [0, *turns.tolist(), pressure_kpa.size - 1]
    p = pressure_kpa[at].tolist()
    found: list[Pulse] = []
    high = low = p[0]
    low_at, falling = 0, False
    for index, value in zip(at[1:], p[1:], strict=True):
        if not falling:
            high = max(high, value)
            if high - value > HYSTERESIS_KPA:
                falling, low, low_at = True, value, index
        elif value < low:
            low, low_at = value, index
        elif value - low > HYSTERESIS_KPA:
            found.append(Pulse(high, low, low_at))
            falling, high = False, value
    return tuple(found)


def air_left_share(evacuations: Sequence[Pulse], *, within_kpa: float = 0.0) -> float:
    """Return the share of the air that is left after the evacuations, each mixed well with the steam let in after it [A]; 1 without any.

    `within_kpa`: each low pressure taken as so much higher. A pocket that steam doesn't reach is not in it.
    """
    share = 1.0
    for pulse in evacuations:
        share *= min(1.0, (pulse.low_kpa + within_kpa) / pulse.from_kpa)
    return share
