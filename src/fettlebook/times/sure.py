"""What each outlet needs although bore, length and flow are not known exactly: best estimate, 95 %, safe bound.

The time that counts is the one that holds in 95 of 100 cases. One reckoning serves flush, fill and rinse of a chair and is
kept, since several duties ask for the same line.
"""

import json
import math
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist
from typing import Any, Final, Literal

from fettlebook.errors import Mendable
from fettlebook.practice.model import Chair, Outlet
from fettlebook.science.circuits import RINSE_SHARE, Method, OutletSeconds, outlet_seconds
from fettlebook.science.needs import Reading
from fettlebook.science.uncertainty import Input, Spread, SureSeconds, sure_seconds
from fettlebook.times.label import Gap
from fettlebook.times.line import circuit_of, line_gap

Aim = Literal["flush", "fill", "rinse"]
AIMS: Final[tuple[Aim, ...]] = ("flush", "fill", "rinse")
BORE_MM: Final = 0.1  # a bore read off a hose, or from its maker's tolerance
LENGTH_SHARE: Final = 0.10
FLOW_SHARE: Final = 0.15  # a flow that was typed in
MEASURED_SHARE: Final = 0.10  # cup and clock, range not told: three cups of a minute reach 5 to 6 %, the days add their own
DAY_SHARE: Final = 0.05  # pressure and filter from day to day, beside the cups' own range; assumed
CONFIDENCE: Final = 0.95
# The diffusion coefficient is within 15 %; the far tail of a rinse goes as its cube root, and no other aim as much.
DIFFUSION_LOG: Final = -math.log(1.0 - 0.15) / 3.0


@dataclass(frozen=True, slots=True)
class Aims:
    """How much may be left, 0 to 1: old water after a flush, feed strength missing after a fill, product after a rinse."""

    flush: float
    fill_missing: float
    rinse: float = RINSE_SHARE


@dataclass(frozen=True, slots=True)
class LineNeed:
    """One outlet's needs: by best estimate (`best`), in 95 of 100 cases, and by the safe bound (best estimate of the inputs)."""

    best: OutletSeconds
    sure_s: tuple[float, float, float]  # flush, fill, rinse
    bound: OutletSeconds
    measure_first: Input
    strips_s: tuple[float, float, float] | None = None  # what strips at this outlet ask for; None: no strips

    def sure(self, aim: Aim) -> float:
        """Return the seconds that hold in 95 of 100 cases, no less than strips ask for."""
        return max(self.sure_s[AIMS.index(aim)], self.strips(aim) or 0.0)

    def strips(self, aim: Aim) -> float | None:
        """Return the seconds that strips at this outlet ask for; None: no strips."""
        return None if self.strips_s is None else self.strips_s[AIMS.index(aim)]

    def nominal(self, aim: Aim) -> float:
        """Return the seconds by best estimate."""
        return _seconds(self.best, aim)

    def bound_s(self, aim: Aim) -> float:
        """Return the seconds of the safe bound, whatever dissolves in the water."""
        return _seconds(self.bound, aim)

    def reading(self, aim: Aim) -> Reading:
        """Return which reading of the joints set the time."""
        return {"flush": self.best.flush_reading, "fill": self.best.fill_reading, "rinse": self.best.rinse_reading}[aim]


def sure_needs(
    chair: Chair,
    groups: tuple[tuple[Outlet, ...], ...],
    aims: Aims,
    *,
    water_c: float,
    last_hose_only: bool,
    method: Method,
) -> tuple[LineNeed, ...] | Gap:
    """Return what each outlet needs, in the order of `groups`, or why it can't be said.

    Parameters
    ----------
    chair
        The chair with its line.
    groups
        Its outlets as they are opened, one group after the other.
    aims
        The shares that may be left.
    water_c
        Water temperature [degC].
    last_hose_only
        Reckon from the last straight piece before each outlet only.
    method
        "exact" or "safe bound".
    """
    circuit = circuit_of(chair, groups, water_c=water_c, last_hose_only=last_hose_only)
    measured = tuple((o.id, flow_share(o)) for g in groups for o in g)
    try:
        return _reckoned(json.dumps(circuit, sort_keys=True), measured, aims, method)
    except Mendable as error:
        return line_gap(error)


def flow_share(outlet: Outlet) -> float:
    """Return how far an outlet's flow may be out, as a share of it: as measured, else as assumed."""
    if outlet.measured_on is None:
        return FLOW_SHARE
    return MEASURED_SHARE if outlet.flow_within_pct is None else math.hypot(outlet.flow_within_pct / 100.0, DAY_SHARE)


@lru_cache(maxsize=1024)
def _reckoned(circuit_text: str, flows: tuple[tuple[str, float], ...], aims: Aims, method: Method) -> tuple[LineNeed, ...]:
    circuit: dict[str, Any] = json.loads(circuit_text)
    shares = {"flush_share": aims.flush, "fill_share": 1.0 - aims.fill_missing, "rinse_share": aims.rinse}
    spread = Spread(BORE_MM, FLOW_SHARE, LENGTH_SHARE, dict(flows))
    sure = sure_seconds(circuit, spread=spread, confidence=CONFIDENCE, method=method, **shares)
    bound = outlet_seconds(circuit, method="safe bound", **shares)
    return tuple(
        LineNeed(s.best, (s.flush_s, s.fill_s, _with_diffusion(s, method)), most, s.measure_first)
        for s, most in zip(sure, bound, strict=True)
    )


def _with_diffusion(sure: SureSeconds, method: Method) -> float:
    """Return the rinse with the spread of the diffusion coefficient added to that of bore, length and flow."""
    if method != "exact":
        return sure.rinse_s  # the bound holds whatever diffuses
    scale = NormalDist().inv_cdf(CONFIDENCE) / NormalDist().inv_cdf(0.975)
    span = math.hypot(math.log(sure.rinse_s / sure.best.rinse_s), scale * DIFFUSION_LOG)
    return sure.best.rinse_s * math.exp(span)


def _seconds(outlet: OutletSeconds, aim: Aim) -> float:
    return {"flush": outlet.flush_s, "fill": outlet.fill_s, "rinse": outlet.rinse_s}[aim]
