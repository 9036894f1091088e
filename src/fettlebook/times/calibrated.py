"""What strips at an outlet once said of its line, and what was measured before the lines were changed.

Strips can only lengthen. They say how many times as slow as computed the line is, and how much water mixes at its end; the
line is reckoned so too, and the longer time counts. Strips that are older than the unit's last change, or than a flow of
their group, are named as old: they still lengthen, since nothing newer says otherwise.
"""

import json
import math
from dataclasses import replace
from functools import lru_cache
from typing import Any, Final

from fettlebook.errors import Mendable
from fettlebook.practice.model import Chair, Outlet, Strips
from fettlebook.said import listed
from fettlebook.science.circuits import Method, OutletSeconds, outlet_seconds
from fettlebook.science.tree import VOLUME_ML
from fettlebook.times.line import circuit_of
from fettlebook.times.model import OutletTime
from fettlebook.times.sure import AIMS, DAY_SHARE, FLOW_SHARE, Aim, Aims, LineNeed, flow_share

_DAY_LOG: Final = -math.log(1.0 - DAY_SHARE)


def known_now(chair: Chair) -> Chair:
    """Return the chair with every flow that was measured before its last change taken as not measured."""
    old = old_flows(chair)
    if not old:
        return chair
    # a range wider than that of a flow that was typed in stays: nothing gets surer by growing old
    blank = {"measured_on": None, "flow_within_pct": None}
    outlets = tuple(o.model_copy(update=blank) if o.id in old and flow_share(o) <= FLOW_SHARE else o for o in chair.outlets)
    return chair.model_copy(update={"outlets": outlets})


def old_flows(chair: Chair) -> tuple[str, ...]:
    """Return the outlets whose flow was measured before the lines were changed."""
    changed = chair.changed_on
    return tuple(o.id for o in chair.outlets if changed and o.measured_on and o.measured_on < changed)


def why_old(chair: Chair, outlet: Outlet, group: tuple[Outlet, ...]) -> str:
    """Return why the outlet's strips are older than what they were held against; empty where they are not, or there are none."""
    if outlet.strips is None:
        return ""
    dipped = outlet.strips.dipped_on
    if chair.changed_on and dipped < chair.changed_on:
        return f"the lines were changed on {chair.changed_on}"
    later = tuple(o.id for o in group if o.measured_on and dipped < o.measured_on)
    return f"flow measured since: {listed(later)}" if later else ""


def with_strips(
    chair: Chair,
    groups: tuple[tuple[Outlet, ...], ...],
    needs: tuple[LineNeed, ...],
    aims: Aims,
    *,
    water_c: float,
    last_hose_only: bool,
    method: Method,
) -> tuple[LineNeed, ...]:
    """Return what each outlet needs, with what strips at it ask for; parameters as for `sure_needs`."""
    said = {o.id: o.strips for g in groups for o in g if o.strips}
    if not said:
        return needs
    circuit = circuit_of(chair, groups, water_c=water_c, last_hose_only=last_hose_only)
    for outlet in circuit["outlets"]:
        strips = said.get(outlet["id"])
        if strips and strips.mixing_ml >= VOLUME_ML[0]:
            behind = f"{outlet['id']} (strips)"  # no id of a practice file has brackets
            circuit["parts"].append({"id": behind, "from": outlet["part"], "kind": "stirred", "volume_ml": strips.mixing_ml})
            outlet["part"] = behind
    try:
        mixing = _reckoned(json.dumps(circuit, sort_keys=True), aims, method)
    except Mendable:
        return needs  # a line that can't be reckoned was refused before this
    return tuple(
        replace(need, strips_s=_asked(strips, mixed)) if (strips := said.get(need.best.outlet)) else need
        for need, mixed in zip(needs, mixing, strict=True)
    )


def slower_at_most(strips: Strips) -> float:
    """Return how many times as slow as computed the line is taken to be: the upper end of the range, with the days' own 5 %."""
    return strips.slower * math.exp(math.hypot(math.log(strips.slower_to / strips.slower), _DAY_LOG))


def strips_words(chair: Chair, group: tuple[Outlet, ...], times: tuple[OutletTime, ...]) -> tuple[list[str], tuple[str, ...]]:
    """Say of one group what its outlets' strips ask for and whether it counts; and, short, what must be seen beside the time."""
    words: list[str] = []
    notes: list[str] = []
    for outlet, time in zip(group, times, strict=True):
        strips = outlet.strips
        if strips is None or time.strips_s is None:
            continue
        counts = time.strips_s >= time.seconds
        mixing = f", with {strips.mixing_ml:g} mL that mixes at its end" if strips.mixing_ml else ""
        told = "longer than computed, so it counts" if counts else "no longer than computed, so it changes nothing: strips never shorten"
        words.append(
            f"{outlet.id}: strips of {strips.dipped_on} showed the line {strips.slower:g} times as slow as computed (95 %: "
            f"{strips.slower_from:g} to {strips.slower_to:g}){mixing}. At the upper end, with {DAY_SHARE * 100:g} % from day to day: "
            f"{time.strips_s:.1f} s, {told}."
        )
        if counts:
            notes.append(f"strips of {strips.dipped_on} lengthen {outlet.id}")
        if old := why_old(chair, outlet, group):
            notes.append(f"strips at {outlet.id} are old, dip again: {old}")
            words.append(f"{outlet.id}: the strips of {strips.dipped_on} are old ({old}). They still count where they lengthen.")
    return words, tuple(notes)


@lru_cache(maxsize=256)
def _reckoned(circuit_text: str, aims: Aims, method: Method) -> tuple[OutletSeconds, ...]:
    circuit: dict[str, Any] = json.loads(circuit_text)
    return outlet_seconds(circuit, flush_share=aims.flush, fill_share=1.0 - aims.fill_missing, rinse_share=aims.rinse, method=method)


def _asked(strips: Strips, mixed: OutletSeconds) -> tuple[float, float, float]:
    seconds: dict[Aim, float] = {"flush": mixed.flush_s, "fill": mixed.fill_s, "rinse": mixed.rinse_s}
    flush_s, fill_s, rinse_s = (seconds[aim] * slower_at_most(strips) for aim in AIMS)
    return flush_s, fill_s, rinse_s
