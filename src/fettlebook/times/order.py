"""In which order groups of outlets are best opened: a hint beside the running time, which counts every group from full lines.

The hint credits what earlier groups have cleared of the common parts. It is a best estimate, and no running time is ever
shortened by it: whoever wants to use it opens the groups without a pause and lets the strip decide.
"""

import json
from functools import lru_cache

from fettlebook.errors import Mendable
from fettlebook.practice.model import Practice
from fettlebook.rules.model import Computed, Rulebook, When
from fettlebook.said import joined, listed, said
from fettlebook.science.groups import InTurn, best_order
from fettlebook.times.line import circuit_of
from fettlebook.times.model import RunningTime
from fettlebook.times.words import clock, millilitres, share

MOST_GROUPS = 5  # beyond, the answer takes too long for a page


def order_hint(practice: Practice, rulebook: Rulebook, time: RunningTime) -> str:
    """Return the quickest order of a step's groups in words; empty where there is nothing to gain.

    Parameters
    ----------
    practice
        The step's practice.
    rulebook
        What is in force for it.
    time
        The running time of a flush or a rinse. Between visits only the last hoses are meant, and they share nothing.
    """
    step = rulebook.step(time.step_id)
    if step is None or step.computes not in (Computed.FLUSH, Computed.RINSE):
        return ""
    own = all(o.reading != "bound" for o in time.outlets)
    by_line = any(g.set_by == "line" for g in time.groups)
    if not (own and by_line and 1 < len(time.groups) <= MOST_GROUPS) or time.when is When.BETWEEN_VISITS:
        return ""
    chair = next(c for c in practice.chairs if c.id == time.chair)
    if chair.second_feeds or any(o.strips_s is not None for o in time.outlets):
        return ""  # what strips or a second feed ask for is not in the best estimate of an order
    by_id = {o.id: o for o in chair.outlets}
    groups = tuple(tuple(by_id[name] for name in g.outlets) for g in time.groups)
    circuit = circuit_of(chair, groups, water_c=practice.practice.water_temperature_c, last_hose_only=False)
    left = time.outlets[0].residual
    try:
        best = _best(json.dumps(circuit, sort_keys=True), left, step.computes is Computed.RINSE)
    except Mendable:
        return ""  # the step itself says what is wrong with the line
    if best.total_s > 0.95 * best.from_full_s:
        return ""
    names = [listed(time.groups[g].outlets) for g in best.order]
    return said(
        "Quickest order: {names}, without a pause. By best estimate {total_s} and {water_ml} then bring every outlet "
        "to {left}, since the first clears the common parts. The time shown counts every group from full lines "
        "({from_full_s} by best estimate) and holds in any order; rule and label hold for each group.",
        names=joined(", then ", names),
        total_s=clock(best.total_s),
        water_ml=millilitres(best.water_ml),
        left=share(left),
        from_full_s=clock(best.from_full_s),
    )


@lru_cache(maxsize=64)
def _best(circuit: str, left: float, solute_only: bool) -> InTurn:
    return best_order(json.loads(circuit), left, solute_only=solute_only)
