"""A line's need in words, with the numbers: an assistant can follow it, an engineer can recompute it."""

import math
from collections.abc import Iterable
from functools import lru_cache

from fettlebook.practice.model import Outlet
from fettlebook.said import joined, listed, said, said_number, term
from fettlebook.science.hydraulics import M3_S_PER_ML_MIN
from fettlebook.science.paths import PathPart
from fettlebook.science.water import peroxide_diffusivity_m2_s
from fettlebook.times.dosing import Level
from fettlebook.times.frame import Frame
from fettlebook.times.label import Gap
from fettlebook.times.model import OutletTime
from fettlebook.times.sure import AIMS, Aim, LineNeed, bore_and_length, flow_share
from fettlebook.times.words import CARRIED, READING, clock, part_line, part_size, share


def group_words(frame: Frame, aim: Aim, outlets: Iterable[tuple[OutletTime, LineNeed]], *, head: str, way: str) -> list[str]:
    """Say what each part of one group's line holds and how long each outlet needs, so that it can be recomputed."""
    found = tuple(outlets)
    times = tuple(t for t, _ in found)
    flows = listed(
        tuple(joined("", (f"{t.outlet} ", said_number(t.flow_ml_min, "g"), "" if t.measured else said(" (not measured)"))) for t in times)
    )
    words: list[str] = [
        said("{head}, opened {times}: {flows} mL/min.", head=head, times=said("together") if len(times) > 1 else said("alone"), flows=flows)
    ]
    sizes = {p.id: part_size(p) for p in frame.chair.segments} | {p.id: part_size(p) for p in frame.chair.stirred}
    parts = {p.id: p for _, n in found for p in n.best.path}
    words += [joined("", (part_line(p, sizes[p.id]), _tau(frame, p))) for p in parts.values()]
    by_id = {o.id: o for o in frame.chair.outlets}
    bore_mm, length_share = bore_and_length(frame.chair)
    for time, need in found:
        change_s = need.best.nominal_s
        told = said(
            "{outlet}: one volume change of {way} takes {change_s:.1f} s. Down to {residual}: {nominal_s:.1f} s",
            outlet=time.outlet,
            way=way,
            change_s=change_s,
            residual=share(time.residual),
            nominal_s=time.nominal_s,
        )
        joints = READING[time.reading] if len(need.best.path) > 1 or time.reading == "bound" else said("one straight piece")
        told += said(
            ", {change_s:.1f} volume changes ({joints}{aim}",
            change_s=time.nominal_s / change_s,
            joints=joints,
            aim=CARRIED[need.best.flush_carried] if aim == "flush" else "",
        )
        told += ")" if time.reading == "bound" else said("; safe bound {bound_s:.1f} s)", bound_s=time.bound_s)
        words.append(
            said(
                "{told}. With bore ±{BORE_MM:g} mm, length ±{LENGTH_SHARE:g} %, flow ±{outlet:.3g} %: {aim:.1f} s in "
                "95 of 100 cases; {measure_first} matters most.",
                told=told,
                BORE_MM=bore_mm,
                LENGTH_SHARE=length_share * 100,
                outlet=flow_share(by_id[time.outlet]) * 100,
                aim=_computed_s(time, need, aim),
                measure_first=term(time.measure_first),
            )
        )
    if len(times) > 1:
        slowest = max(times, key=lambda t: t.seconds)
        words.append(
            said("The slowest, {outlet}, sets what the line needs: {seconds}.", outlet=slowest.outlet, seconds=clock(slowest.seconds))
        )
    return words


def _computed_s(time: OutletTime, need: LineNeed, aim: Aim) -> float:
    """Return what is computed, where strips asked for more."""
    return time.seconds if time.strips_s is None or time.strips_s < time.seconds else need.sure_s[AIMS.index(aim)]


def common_words(frame: Frame, aim: Aim, water_c: float, groups: int) -> list[str]:
    """Say what holds for every outlet of the step."""
    words: list[str] = []
    if frame.method == "exact":
        diffusivity = _diffusivity(water_c)
        about = said(", known within 15 %, which counts in the 95 of 100") if aim == "rinse" else ""
        words.append(
            said(
                "tau_D = pi D L/Q, with D = {diffusivity:.2f}e-9 m2/s: hydrogen peroxide at {water_c:g} degC{about}. ",
                diffusivity=diffusivity * 1000000000.0,
                water_c=water_c,
                about=about,
            )
            + {
                "flush": said(
                    "Old water carries cells, which do not diffuse, larger molecules, which do a little, and small "
                    "ones: the slowest counts."
                ),
                "fill": said(
                    "Additives that spread more slowly can need as long as the safe bound says; the strip shows the peroxide only."
                ),
                "rinse": said(
                    "Additives that spread more slowly can need as long as the safe bound says; the strip shows the peroxide only."
                ),
            }[aim]
        )
    if aim == "fill":
        words.append(
            said(
                "A fill is judged by the outlet and by what the line still holds on the way, whichever takes longer. "
                "It is reckoned from a line full of old water: purging with air leaves water on the walls and in "
                "bends, and bubbles."
            )
        )
    if groups > 1:
        words.append(
            said(
                "Each group is computed as if the common parts still held old water (the safe side), and the rule and "
                "the label are counted for each group, since every outlet must run that long."
            )
        )
    return words


def level_words(
    level: Level | Gap, opened: tuple[tuple[Outlet, ...], ...], dosed: dict[str, LineNeed]
) -> tuple[list[str], tuple[str, ...]]:
    """Say when the dosed level is at the last outlet, and on which conditions it is held."""
    if isinstance(level, Gap) or not dosed:
        return [said("Dosed level: {level}", level=level.said)] if isinstance(level, Gap) else [], (
            said("the dosed level can't be relied on: see the reason"),
        )
    at_s = sum(max(dosed[o.id].sure("fill") for o in group) for group in opened)
    words: list[str] = [
        said(
            "Dosed water: the label of {name} asks for {asked_mg_l:g} mg/L, the dosing keeps {kept_mg_l:g} mg/L. "
            "{missing} of that is at every outlet and in the line after {at_s}.",
            name=level.label.product.name,
            asked_mg_l=level.asked_mg_l,
            kept_mg_l=level.kept_mg_l,
            missing=share(1 - level.missing),
            at_s=clock(at_s),
        ),
        said(
            "The level holds while the dosing works and water is drawn. It falls in standing water, and growth in the "
            "lines eats it: not reckoned. A strip at the last outlet decides."
        ),
    ]
    return words, (said("dosed level at the last outlet after {at_s}", at_s=clock(at_s)),)


def _tau(frame: Frame, part: PathPart) -> str:
    length_m = next((s.length_m for s in frame.chair.segments if s.id == part.id), None)
    if length_m is None or frame.method != "exact":
        return ""
    diffusivity = _diffusivity(frame.practice.practice.water_temperature_c)
    return said(" tau_D {M3_S_PER_ML_MIN:.2g}.", M3_S_PER_ML_MIN=math.pi * diffusivity * length_m / (part.flow_ml_min * M3_S_PER_ML_MIN))


@lru_cache(maxsize=16)
def _diffusivity(water_c: float) -> float:
    return float(peroxide_diffusivity_m2_s(water_c))
