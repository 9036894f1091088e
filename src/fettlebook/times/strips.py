"""A chair's line made ready to be held against strip readings: its computed wash-out at one outlet, and what rule and label ask."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fettlebook.errors import Mendable
from fettlebook.practice.model import Chair, Practice, ProductUse
from fettlebook.rules.model import Computed, Rulebook
from fettlebook.said import said
from fettlebook.science.calibration import Calibration, calibrate
from fettlebook.science.chains import Delay, coherent, curve, seconds
from fettlebook.science.circuits import OutletSeconds
from fettlebook.science.hydraulics import M3_S_PER_ML_MIN
from fettlebook.science.stretched import LEAST, LineCurve, line_curve
from fettlebook.science.strips import Strip, StripReading
from fettlebook.science.washout import residual_fraction
from fettlebook.science.water import peroxide_diffusivity_m2_s
from fettlebook.times.label import Gap, feed_strength_mg_l, label_for
from fettlebook.times.line import line_needs, outlet_groups
from fettlebook.times.model import RunningTime
from fettlebook.times.running import running_times
from fettlebook.times.through import is_peroxide

_CELLS = 3_000  # steps of the lattice for a path of several parts; a time is then out by far less than a strip can tell


@dataclass(frozen=True, slots=True)
class LineUnderTest:
    """One outlet's computed wash-out, and the rinses that it takes part in."""

    chair: str
    outlet: str
    together: tuple[str, ...]
    curve: LineCurve
    strength_mg_l: float
    limit_mg_l: float
    flow_ml_min: float
    computed_s: float  # exact for peroxide, the safe bound for what diffuses as nobody knows; no margin for uncertain inputs
    floor_s: float  # what rule and label ask of this outlet's group
    rinses: tuple[tuple[RunningTime, int | None], ...]  # each rinse of the chair, and how long this outlet's group runs in it


def line_under_test(
    practice: Practice,
    rulebook: Rulebook,
    chair: Chair,
    outlet_id: str,
    *,
    strength_mg_l: float | None = None,
    limit_mg_l: float | None = None,
) -> LineUnderTest:
    """Return a line ready for `calibrate`.

    Parameters
    ----------
    practice
        The checked practice file.
    rulebook
        What is in force for it.
    chair
        The chair.
    outlet_id
        One of its outlets.
    strength_mg_l
        What the line was filled with [mg/L]; left out, the strength of the label in use.
    limit_mg_l
        What may be left [mg/L]; left out, the label's residual limit.

    Raises
    ------
    Mendable
        Strength or limit are not given and not on the label, the limit is not below the strength, or the line can't be followed.
    """
    label = label_for(practice, ProductUse.LINE_INTENSIVE)
    if strength_mg_l is None:
        strength = label if isinstance(label, Gap) else feed_strength_mg_l(label)
        if isinstance(strength, Gap):
            raise Mendable(strength.why, where="strength", mend=said("{mend} Or give the strength in mg/L.", mend=strength.mend))
        strength_mg_l = strength
    if limit_mg_l is None:
        limit_mg_l = None if isinstance(label, Gap) else label.use.residual_limit_mg_l
        if limit_mg_l is None:
            mend = said("Ask the maker, and set residual_limit_mg_l; or give the limit in mg/L.")
            raise Mendable(said("the label in use gives no residual limit"), where="limit", mend=mend)
    if not 0.0 < limit_mg_l < strength_mg_l < math.inf:
        seen = said(
            "a limit of {limit_mg_l:g} mg/L and a strength of {strength_mg_l:g} mg/L", limit_mg_l=limit_mg_l, strength_mg_l=strength_mg_l
        )
        raise Mendable(seen, where="limit, strength", mend=said("Give both in mg/L; the limit lies above 0 and under the strength."))
    groups = outlet_groups(chair, chair.outlets)
    water_c = practice.practice.water_temperature_c
    needs = line_needs(chair, groups, limit_mg_l / strength_mg_l, water_c=water_c, last_hose_only=False, method="exact")
    if isinstance(needs, Gap):
        raise Mendable(needs.why, where=chair.id, mend=needs.mend)
    need = next(n for n in needs if n.outlet == outlet_id)
    computed_s = need.rinse_s
    if isinstance(label, Gap) or not is_peroxide(label):
        # How fast this solute diffuses isn't known: the fitted stretch bears it, but the time without strips is the bound.
        bounds = line_needs(chair, groups, limit_mg_l / strength_mg_l, water_c=water_c, last_hose_only=False, method="safe bound")
        if isinstance(bounds, Gap):
            raise Mendable(bounds.why, where=chair.id, mend=bounds.mend)
        computed_s = next(n for n in bounds if n.outlet == outlet_id).rinse_s
    rinses = _rinses(practice, rulebook, chair, outlet_id)
    label_s = 0 if isinstance(label, Gap) else label.use.rinse_s or 0
    rules_s = [s.seconds or 0 for d in rulebook.duties for s in d.steps if s.computes is Computed.RINSE and s.exists_on(chair)]
    return LineUnderTest(
        chair=chair.id,
        outlet=outlet_id,
        together=next(tuple(o.id for o in g) for g in groups if outlet_id in [o.id for o in g]),
        curve=line_curve(_Left(_delays(chair, need, water_c)), need.nominal_s),
        strength_mg_l=strength_mg_l,
        limit_mg_l=limit_mg_l,
        flow_ml_min=need.flow_ml_min,
        computed_s=computed_s,
        floor_s=float(max([label_s, *rules_s])),
        rinses=rinses,
    )


def held_against(line: LineUnderTest, dipped: Sequence[StripReading], strip: Strip) -> Calibration:
    """Return how the line stands against strip readings."""
    return calibrate(
        dipped,
        line.curve,
        strip=strip,
        strength_mg_l=line.strength_mg_l,
        limit_mg_l=line.limit_mg_l,
        computed_s=line.computed_s,
        floor_s=line.floor_s,
    )


class _Left:
    """Share left over volume changes, for a path of one or several parts."""

    def __init__(self, delays: Sequence[Delay]) -> None:
        self.delays = tuple(delays)
        self.nominal_s = sum(d.residence_s for d in self.delays)

    def __call__(self, volume_changes: NDArray[np.float64]) -> NDArray[np.float64]:
        time_s = volume_changes * self.nominal_s
        if len(self.delays) == 1:
            only = self.delays[0]
            return np.exp(-volume_changes) if only.kind == "stirred" else residual_fraction(volume_changes, only.tau_d)
        end_s = seconds(self.delays, [10.0 * LEAST])[0][0]
        return np.where(time_s > end_s, 0.0, curve(self.delays, end_s, _CELLS).residual_at(time_s))


def _delays(chair: Chair, need: OutletSeconds, water_c: float) -> tuple[Delay, ...]:
    """Return the outlet's path as delays, in the joint reading that sets its rinse."""
    length_m = {s.id: s.length_m for s in chair.segments}
    diffusivity = float(peroxide_diffusivity_m2_s(water_c))
    delays = tuple(
        Delay("stirred", part.residence_s)
        if part.kind == "stirred"
        else Delay("tube", part.residence_s, math.pi * diffusivity * length_m[part.id] / (part.flow_ml_min * M3_S_PER_ML_MIN))
        for part in need.path
    )
    return coherent(delays) if need.rinse_reading == "coherent" else delays


def _rinses(practice: Practice, rulebook: Rulebook, chair: Chair, outlet_id: str) -> tuple[tuple[RunningTime, int | None], ...]:
    steps = {s.id for d in rulebook.duties for s in d.steps if s.computes is Computed.RINSE}
    found = [t for t in running_times(practice, rulebook) if t.chair == chair.id and t.step_id in steps]
    return tuple((t, next((g.seconds for g in t.groups if outlet_id in g.outlets), None)) for t in found)
