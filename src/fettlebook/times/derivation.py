"""A line's need in words, with the numbers: an assistant can follow it, an engineer can recompute it."""

import math
from collections.abc import Iterable
from functools import lru_cache

from fettlebook.practice.model import Outlet
from fettlebook.science.hydraulics import M3_S_PER_ML_MIN
from fettlebook.science.paths import PathPart
from fettlebook.science.water import peroxide_diffusivity_m2_s
from fettlebook.times.dosing import Level
from fettlebook.times.frame import Frame
from fettlebook.times.label import Gap
from fettlebook.times.model import OutletTime
from fettlebook.times.sure import AIMS, BORE_MM, LENGTH_SHARE, Aim, LineNeed, flow_share
from fettlebook.times.words import CARRIED, READING, clock, listed, part_line, part_size, share


def group_words(frame: Frame, aim: Aim, outlets: Iterable[tuple[OutletTime, LineNeed]], *, head: str, way: str) -> list[str]:
    """Say what each part of one group's line holds and how long each outlet needs, so that it can be recomputed."""
    found = tuple(outlets)
    times = tuple(t for t, _ in found)
    flows = listed(tuple(f"{t.outlet} {t.flow_ml_min:g}{'' if t.measured else ' (not measured)'}" for t in times))
    words = [f"{head}, opened {'together' if len(times) > 1 else 'alone'}: {flows} mL/min."]
    sizes = {p.id: part_size(p) for p in frame.chair.segments} | {p.id: part_size(p) for p in frame.chair.stirred}
    parts = {p.id: p for _, n in found for p in n.best.path}
    words += [f"{part_line(p, sizes[p.id])}{_tau(frame, p)}" for p in parts.values()]
    by_id = {o.id: o for o in frame.chair.outlets}
    for time, need in found:
        change_s = need.best.nominal_s
        told = f"{time.outlet}: one volume change of {way} takes {change_s:.1f} s. Down to {share(time.residual)}: {time.nominal_s:.1f} s"
        joints = READING[time.reading] if len(need.best.path) > 1 or time.reading == "bound" else "one straight piece"
        told += f", {time.nominal_s / change_s:.1f} volume changes ({joints}{CARRIED[need.best.flush_carried] if aim == 'flush' else ''}"
        told += ")" if time.reading == "bound" else f"; safe bound {time.bound_s:.1f} s)"
        words.append(
            f"{told}. With bore ±{BORE_MM:g} mm, length ±{LENGTH_SHARE * 100:g} %, flow ±{flow_share(by_id[time.outlet]) * 100:.3g} %: "
            f"{_computed_s(time, need, aim):.1f} s in 95 of 100 cases; {time.measure_first} matters most."
        )
    if len(times) > 1:
        slowest = max(times, key=lambda t: t.seconds)
        words.append(f"The slowest, {slowest.outlet}, sets what the line needs: {clock(slowest.seconds)}.")
    return words


def _computed_s(time: OutletTime, need: LineNeed, aim: Aim) -> float:
    """Return what is computed, where strips asked for more."""
    return time.seconds if time.strips_s is None or time.strips_s < time.seconds else need.sure_s[AIMS.index(aim)]


def common_words(frame: Frame, aim: Aim, water_c: float, groups: int) -> list[str]:
    """Say what holds for every outlet of the step."""
    words = []
    if frame.method == "exact":
        diffusivity = _diffusivity(water_c)
        about = ", known within 15 %, which counts in the 95 of 100" if aim == "rinse" else ""
        words.append(
            f"tau_D = pi D L/Q, with D = {diffusivity * 1e9:.2f}e-9 m2/s: hydrogen peroxide at {water_c:g} degC{about}. "
            + {
                "flush": "Old water carries cells, which do not diffuse, larger molecules, which do a little, and small ones: the slowest "
                "counts.",
                "fill": "Additives that spread more slowly can need as long as the safe bound says; the strip shows the peroxide only.",
                "rinse": "Additives that spread more slowly can need as long as the safe bound says; the strip shows the peroxide only.",
            }[aim]
        )
    if aim == "fill":
        words.append(
            "A fill is judged by the outlet and by what the line still holds on the way, whichever takes longer. It is reckoned from a "
            "line full of old water: purging with air leaves water on the walls and in bends, and bubbles."
        )
    if groups > 1:
        words.append(
            "Each group is computed as if the common parts still held old water (the safe side), and the rule and the label are counted "
            "for each group, since every outlet must run that long."
        )
    return words


def level_words(
    level: Level | Gap, opened: tuple[tuple[Outlet, ...], ...], dosed: dict[str, LineNeed]
) -> tuple[list[str], tuple[str, ...]]:
    """Say when the dosed level is at the last outlet, and on which conditions it is held."""
    if isinstance(level, Gap) or not dosed:
        return [f"Dosed level: {level}"] if isinstance(level, Gap) else [], ("the dosed level can't be relied on: see the reason",)
    at_s = sum(max(dosed[o.id].sure("fill") for o in group) for group in opened)
    words = [
        f"Dosed water: the label of {level.label.product.name} asks for {level.asked_mg_l:g} mg/L, the dosing keeps "
        f"{level.kept_mg_l:g} mg/L. {share(1 - level.missing)} of that is at every outlet and in the line after {clock(at_s)}.",
        "The level holds while the dosing works and water is drawn. It falls in standing water, and growth in the lines eats it: not "
        "reckoned. A strip at the last outlet decides.",
    ]
    return words, (f"dosed level at the last outlet after {clock(at_s)}",)


def _tau(frame: Frame, part: PathPart) -> str:
    length_m = next((s.length_m for s in frame.chair.segments if s.id == part.id), None)
    if length_m is None or frame.method != "exact":
        return ""
    diffusivity = _diffusivity(frame.practice.practice.water_temperature_c)
    return f" tau_D {math.pi * diffusivity * length_m / (part.flow_ml_min * M3_S_PER_ML_MIN):.2g}."


@lru_cache(maxsize=16)
def _diffusivity(water_c: float) -> float:
    return float(peroxide_diffusivity_m2_s(water_c))
