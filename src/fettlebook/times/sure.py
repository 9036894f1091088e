"""What each outlet needs although bore, length and flow are not known exactly: best estimate, 95 %, safe bound.

The time that counts is the one that holds in 95 of 100 cases. One reckoning serves flush, fill and rinse of a chair and is
kept, since several duties ask for the same line.
"""

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Any, Final, Literal, NamedTuple

from fettlebook.errors import Mendable
from fettlebook.practice.model import Chair, Outlet
from fettlebook.science.circuits import RINSE_SHARE, Method, OutletSeconds, outlet_seconds_of_all
from fettlebook.science.needs import Reading
from fettlebook.science.uncertainty import Input, Spread, SureSeconds, sure_seconds_of_all
from fettlebook.times.label import Gap
from fettlebook.times.line import circuit_of, line_gap

Aim = Literal["flush", "fill", "rinse"]
AIMS: Final[tuple[Aim, ...]] = ("flush", "fill", "rinse")
BORE_MM: Final = 0.1  # a bore read off a hose, or from its maker's tolerance
LENGTH_SHARE: Final = 0.10
FLOW_SHARE: Final = 0.15  # a flow that was typed in
# Typical values that nobody measured here: wide enough for the hoses and outlets of most chairs; our own choice, no source.
TYPICAL_BORE_MM: Final = 0.3
TYPICAL_LENGTH_SHARE: Final = 0.30
TYPICAL_FLOW_SHARE: Final = 0.40
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


class NotYet(Exception):  # noqa: N818  # no error: the answer comes with the next lot
    """A line has been asked about while lines are gathered; once `Lines.reckon` has run, ask again."""


class Asked(NamedTuple):
    """One line as it is asked about: its circuit as text, each outlet's flow and how far it may be out, the aims, the method."""

    circuit: str
    flows: tuple[tuple[str, float], ...]
    aims: Aims
    method: Method
    typical: bool = False  # whether bores or lengths are typical ones


class Lines:
    """Lines that the steps of a practice ask about, gathered and reckoned together: many at once take a tenth of the time.

    What was reckoned is kept for the next call, since several duties, pages and commands ask for the same line.
    """

    def __init__(self) -> None:
        self._waiting: dict[Asked, None] = {}

    def needs(self, asked: Asked) -> tuple[LineNeed, ...]:
        """Return what each outlet of a line needs.

        Raises
        ------
        NotYet
            It is not reckoned yet.
        Mendable
            It can't be reckoned.
        """
        found = _KEPT.get(asked)
        if found is None:
            self._waiting[asked] = None
            raise NotYet
        if isinstance(found, Mendable):
            raise found
        return found

    def reckon(self) -> None:
        """Reckon all that was asked about and is not known, those with the same aims at once."""
        lots: dict[tuple[Aims, Method], list[Asked]] = {}
        for asked in self._waiting:
            lots.setdefault((asked.aims, asked.method), []).append(asked)
        self._waiting.clear()
        for lot in lots.values():
            if len(_KEPT) + len(lot) > MOST_KEPT:
                _KEPT.clear()
            try:
                _KEPT.update(zip(lot, _reckoned(lot), strict=True))
            except Mendable:  # one of them can't be reckoned; find out which
                _KEPT.update((asked, _reckoned_or_why(asked)) for asked in lot)


MOST_KEPT: Final = 4096
_KEPT: dict[Asked, tuple[LineNeed, ...] | Mendable] = {}


def sure_needs(
    lines: Lines,
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
    lines
        Where lines are gathered.
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

    Raises
    ------
    NotYet
        The line is not reckoned yet.
    """
    circuit = circuit_of(chair, groups, water_c=water_c, last_hose_only=last_hose_only)
    measured = tuple((o.id, flow_share(o)) for g in groups for o in g)
    try:
        return lines.needs(Asked(json.dumps(circuit, sort_keys=True), measured, aims, method, typical_line(chair)))
    except Mendable as error:
        return line_gap(error)


def typical_line(chair: Chair) -> bool:
    """Tell whether a bore or length of the chair's lines is a typical one: all of its line is then taken to be as unsure."""
    return any(part.typical for part in chair.segments)


def bore_and_length(chair: Chair) -> tuple[float, float]:
    """Return how far bores [mm] and lengths [share] of a chair's lines may be out."""
    return (TYPICAL_BORE_MM, TYPICAL_LENGTH_SHARE) if typical_line(chair) else (BORE_MM, LENGTH_SHARE)


def flow_share(outlet: Outlet) -> float:
    """Return how far an outlet's flow may be out, as a share of it: as measured, else as assumed."""
    if outlet.measured_on is None:
        return TYPICAL_FLOW_SHARE if outlet.typical else FLOW_SHARE
    return MEASURED_SHARE if outlet.flow_within_pct is None else math.hypot(outlet.flow_within_pct / 100.0, DAY_SHARE)


def _reckoned(lot: Sequence[Asked]) -> list[tuple[LineNeed, ...]]:
    """Return the needs of lines with the same aims and method."""
    aims, method = lot[0].aims, lot[0].method
    circuits: list[dict[str, Any]] = [json.loads(asked.circuit) for asked in lot]
    spreads = [
        Spread(TYPICAL_BORE_MM, TYPICAL_FLOW_SHARE, TYPICAL_LENGTH_SHARE, dict(asked.flows))
        if asked.typical
        else Spread(BORE_MM, FLOW_SHARE, LENGTH_SHARE, dict(asked.flows))
        for asked in lot
    ]
    shares = {"flush_share": aims.flush, "fill_share": 1.0 - aims.fill_missing, "rinse_share": aims.rinse}
    sure = sure_seconds_of_all(circuits, spreads=spreads, confidence=CONFIDENCE, method=method, **shares)
    bound = outlet_seconds_of_all(circuits, method="safe bound", **shares)
    return [
        tuple(
            LineNeed(s.best, (s.flush_s, s.fill_s, _with_diffusion(s, method)), most, s.measure_first)
            for s, most in zip(*rows, strict=True)
        )
        for rows in zip(sure, bound, strict=True)
    ]


def _reckoned_or_why(asked: Asked) -> tuple[LineNeed, ...] | Mendable:
    try:
        return _reckoned([asked])[0]
    except Mendable as error:
        return error


def _with_diffusion(sure: SureSeconds, method: Method) -> float:
    """Return the rinse with the spread of the diffusion coefficient added to that of bore, length and flow."""
    if method != "exact":
        return sure.rinse_s  # the bound holds whatever diffuses
    scale = NormalDist().inv_cdf(CONFIDENCE) / NormalDist().inv_cdf(0.975)
    span = math.hypot(math.log(sure.rinse_s / sure.best.rinse_s), scale * DIFFUSION_LOG)
    return sure.best.rinse_s * math.exp(span)


def _seconds(outlet: OutletSeconds, aim: Aim) -> float:
    return {"flush": outlet.flush_s, "fill": outlet.fill_s, "rinse": outlet.rinse_s}[aim]
