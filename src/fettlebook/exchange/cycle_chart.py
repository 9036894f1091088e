"""A cycle drawn (SVG): temperatures with the saturation curve, the band with its margins, the plateau close up, the pressure, the phases.

Every curve has a dash of its own beside its shade, so that it reads in grey; whatever isn't fit has a number on the graph and under it.
"""

from collections.abc import Sequence
from html import escape
from typing import Final

import numpy as np

from fettlebook.exchange.chart_axes import Panel, wrapped
from fettlebook.science.cycles.criteria import Criteria
from fettlebook.science.cycles.log import CycleLog, Real, Sensors
from fettlebook.science.cycles.outcome import Judgement, Outcome, Phase
from fettlebook.science.lethality import A0_FLOOR_C
from fettlebook.science.steam import LEAST_KPA, MOST_KPA, saturation_temperature_c

WIDTH: Final = 960
LEFT, RIGHT = 64, 24
STYLES: Final = (("#1f4e79", ""), ("#a8480a", "7 3"), ("#2f6b2f", "2 3"), ("#6a3d7c", "9 3 2 3"))  # of the sensors, in order
STEAM: Final = ("#111", "1.5 4")
MARKS: Final = {"fit": "●", "unfit": "■", "unproven": "▲"}


def cycle_chart(log: CycleLog, judged: Judgement, criteria: Criteria, sensors: Sensors, title: str) -> str:
    """Return the drawing of a judged cycle as SVG text; `title` stands over it."""
    t = log.time_s
    odd = [o for o in judged.outcomes if o.verdict != "fit"]
    numbered = {id(o): n for n, o in enumerate(sorted(odd, key=lambda o: o.verdict != "unfit"), start=1)}
    notes = _notes(odd, numbered)
    steam = _steam(log) if criteria.has("saturation_k") else None
    parts: list[str] = []
    top = 78
    if np.isfinite(t).any():
        whole = Panel(LEFT, top + 22, WIDTH - LEFT - RIGHT, 250, _span(t), _heat_range(log, steam))
        parts += _strip(whole, judged)
        parts += _heat(whole, log, steam, criteria, sensors)
        parts += _flags(whole, odd, numbered)
        parts += _legend(log, steam, top - 14, band=criteria.has("band_c"))
        top = whole.bottom + 46
        for phase in (p for p in judged.phases if p.name in ("plateau", "wet hold", "measuring") and p.to_s > p.from_s):
            about = max(15.0, 0.08 * (phase.to_s - phase.from_s))
            span = (phase.from_s - about, phase.to_s + about)
            parts.append(f'<text x="{LEFT}" y="{top + 8}" font-weight="bold">{escape(phase.name)}, close up</text>')
            if phase.name == "measuring":
                close, drawn = _rise(log, judged, criteria, phase, top + 22)
            else:
                close = Panel(LEFT, top + 22, WIDTH - LEFT - RIGHT, 220, span, _close_range(log, steam, span, criteria))
                drawn = [*_heat(close, log, steam, criteria, sensors), *_hold(close, judged)]
            low_s, high_s = close.x_range
            seen = [o for o in odd if o.moment_s is not None and low_s <= o.moment_s <= high_s]
            parts += [*drawn, *_flags(close, seen, numbered)]
            top = close.bottom + 46
        if log.pressure_kpa is not None and criteria.kind != "washer":
            low = Panel(LEFT, top + 22, WIDTH - LEFT - RIGHT, 150, _span(t), (0.0, _nice_top(log.pressure_kpa)))
            parts.append(f'<text x="{LEFT}" y="{top + 8}" font-weight="bold">pressure, kPa absolute</text>')
            parts += low.frame("kPa")
            if (ambient := judged.values.get("ambient_kpa")) is not None:
                parts += low.level(ambient, "#666", "5 4", f"air {ambient:.0f} kPa")
            parts.append(low.curve(t, log.pressure_kpa, "#1f4e79", ""))
            top = low.bottom + 46
    for line in notes:
        parts.append(f'<text x="{LEFT}" y="{top}">{escape(line)}</text>')
        top += 17
    top += 6
    for said in (*judged.cannot_show[:1], "Drawn by fettlebook for trained staff; a person releases, instructions for use come first."):
        for line in wrapped(said, 140):
            parts.append(f'<text x="{LEFT}" y="{top}" fill="#444" font-size="11">{escape(line)}</text>')
            top += 15
    verdict = f"{MARKS[judged.verdict]} {judged.verdict}"
    head = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {top + 10}" width="{WIDTH}" height="{top + 10}" role="img"'
        ' font-family="sans-serif" font-size="12">',
        f"<title>{escape(title)}: {judged.verdict}</title>",
        f'<rect width="{WIDTH}" height="{top + 10}" fill="white"/>',
        f'<text x="{LEFT}" y="26" font-size="17" font-weight="bold">{escape(verdict)}</text>',
        f'<text x="{LEFT + 130}" y="26" font-size="14">{escape(title)}</text>',
        f'<text x="{LEFT}" y="46" fill="#333">{escape(judged.criteria_name)}</text>',
    ]
    return "\n".join([*head, *parts, "</svg>", ""])


def _rise(log: CycleLog, judged: Judgement, criteria: Criteria, phase: Phase, top: int) -> tuple[Panel, list[str]]:
    """The closed chamber of a leak test: its pressure, and the steepest rise that would pass from where the measuring begins."""
    begin = next((p.from_s for p in judged.phases if p.name == "settling"), phase.from_s)
    pressure = log.pressure_kpa if log.pressure_kpa is not None else np.zeros(log.time_s.size)
    settled = judged.values.get("settled_kpa", 0.0)
    most = settled + criteria.number("leak_kpa_min") * (phase.to_s - phase.from_s) / 60.0
    seen = pressure[(log.time_s >= begin) & (log.time_s <= phase.to_s) & np.isfinite(pressure)]
    high = float(np.ceil(max(most, float(np.percentile(seen, 99)) if seen.size else most) + 0.5))
    panel = Panel(LEFT, top, WIDTH - LEFT - RIGHT, 200, (begin, phase.to_s + 15.0), (0.0, high))
    drawn = [*panel.frame("kPa"), panel.curve(log.time_s, pressure, "#1f4e79", "")]
    drawn.append(panel.curve(np.array([phase.from_s, phase.to_s]), np.array([settled, most]), "#7a1f1f", "7 3"))
    said = f"steepest rise that passes: {criteria.number('leak_kpa_min'):g} kPa/min"
    drawn.append(f'<text x="{panel.x(phase.from_s) + 6:.1f}" y="{panel.y(most) - 4:.1f}" fill="#7a1f1f">{said}</text>')
    return panel, drawn


def _steam(log: CycleLog) -> Real | None:
    if log.pressure_kpa is None:
        return None
    p = np.where(np.isfinite(log.pressure_kpa), log.pressure_kpa, LEAST_KPA)
    return np.where(np.isfinite(log.pressure_kpa), saturation_temperature_c(np.clip(p, LEAST_KPA, MOST_KPA)), np.nan)


def _span(t: Real) -> tuple[float, float]:
    known = t[np.isfinite(t)]
    low, high = float(known.min()), float(known.max())
    return low, max(high, low + 1.0)


def _heat_range(log: CycleLog, steam: Real | None) -> tuple[float, float]:
    rows = [v[np.isfinite(v)] for v in (*log.temperatures_c.values(), steam) if v is not None and np.isfinite(v).any()]
    if not rows:
        return 0.0, 150.0
    high = max(float(np.percentile(v, 99.9)) for v in rows)
    low = min(float(np.percentile(v, 0.1)) for v in rows)
    return 10.0 * np.floor(low / 10.0), 10.0 * np.ceil((high + 3.0) / 10.0)


def _close_range(log: CycleLog, steam: Real | None, span: tuple[float, float], criteria: Criteria) -> tuple[float, float]:
    inside = (log.time_s >= span[0] + 5.0) & (log.time_s <= span[1] - 5.0)
    rows = [v[inside & np.isfinite(v)] for v in (*log.temperatures_c.values(), steam) if v is not None and np.isfinite(v[inside]).any()]
    low = min((float(np.percentile(v, 2)) for v in rows), default=0.0)
    high = max((float(np.percentile(v, 98)) for v in rows), default=100.0)
    if criteria.has("band_c"):
        low, high = min(low, criteria.band_c[0] - 1.5), max(high, criteria.band_c[1] + 1.5)
        low = max(low, criteria.band_c[0] - 12.0)
    return float(np.floor(low)), float(np.ceil(high + 0.5))


def _nice_top(p: Real) -> float:
    top = float(p[np.isfinite(p)].max(initial=0.0)) or 100.0
    return float(50.0 * np.ceil((top + 5.0) / 50.0))


def _heat(panel: Panel, log: CycleLog, steam: Real | None, criteria: Criteria, sensors: Sensors) -> list[str]:
    out: list[str] = []
    if criteria.has("band_c"):
        low, high = criteria.band_c
        within = float(max(sensors.temperature_within_k(tuple(log.temperatures_c)), default=0.0))
        out.append(panel.band(low, high, "#dfe9df"))
        out.append(panel.band(low, low + within, "#f3e3b8"))
        out.append(panel.band(high - within, high, "#f3e3b8"))
    out += panel.frame("temperature, °C")
    if criteria.has("band_c"):
        low, high = criteria.band_c
        apart = panel.y(low) - panel.y(high) > 20.0  # else the two would stand over each other
        out += panel.level(low, "#444", "", f"{low:g} °C" if apart else "")
        out += panel.level(high, "#444", "", f"{high:g} °C" if apart else f"{low:g} to {high:g} °C")
    if criteria.kind == "washer":
        out += panel.level(A0_FLOOR_C, "#444", "5 4", f"A0 counts from {A0_FLOOR_C:g} °C")
    for (colour, dash), values in zip(_styles(len(log.temperatures_c)), log.temperatures_c.values(), strict=True):
        out.append(panel.curve(log.time_s, values, colour, dash))
    if steam is not None:
        out.append(panel.curve(log.time_s, steam, *STEAM))
    return out


def _styles(count: int) -> list[tuple[str, str]]:
    return [STYLES[i % len(STYLES)] for i in range(count)]


def _legend(log: CycleLog, steam: Real | None, y: int, *, band: bool) -> list[str]:
    entries = list(zip(log.temperatures_c, _styles(len(log.temperatures_c)), strict=True))
    if steam is not None:
        entries.append(("saturated steam at this pressure", STEAM))
    out: list[str] = []
    x = LEFT
    for name, (colour, dash) in entries:
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        out.append(f'<line x1="{x}" x2="{x + 34}" y1="{y}" y2="{y}" stroke="{colour}" stroke-width="2"{dashed}/>')
        out.append(f'<text x="{x + 40}" y="{y + 4}">{escape(name)}</text>')
        x += 58 + 7 * len(name)
    if not band:
        return out
    out.append(f'<rect x="{x}" y="{y - 6}" width="14" height="12" fill="#dfe9df" stroke="#999"/><text x="{x + 20}" y="{y + 4}">band</text>')
    x += 66
    out.append(f'<rect x="{x}" y="{y - 6}" width="14" height="12" fill="#f3e3b8" stroke="#999"/>')
    out.append(f'<text x="{x + 20}" y="{y + 4}">within the sensors\' uncertainty</text>')
    return out


def _strip(panel: Panel, judged: Judgement) -> list[str]:
    """The phases over the curve, each with its name where there is room for it."""
    out: list[str] = []
    for n, phase in enumerate(judged.phases):
        x1, x2 = panel.x(phase.from_s), panel.x(phase.to_s)
        shade = "#e9e9e9" if n % 2 else "#f6f6f6"
        out.append(f"<g><title>{escape(phase.name)}: {phase.from_s:.0f} to {phase.to_s:.0f} s</title>")
        out.append(f'<rect x="{x1:.1f}" y="{panel.top - 18}" width="{max(0.5, x2 - x1):.1f}" height="16" fill="{shade}" stroke="#bbb"/>')
        if x2 - x1 > 6.4 * len(phase.name):
            out.append(f'<text x="{(x1 + x2) / 2:.1f}" y="{panel.top - 6}" text-anchor="middle" font-size="11">{escape(phase.name)}</text>')
        out.append("</g>")
    return out


def _hold(panel: Panel, judged: Judgement) -> list[str]:
    hold = next((o for o in judged.outcomes if o.id == "hold_s" and o.value), None)
    if hold is None or hold.value is None or hold.moment_s is None:
        return []
    x1, x2 = panel.x(hold.moment_s), panel.x(hold.moment_s + hold.value)
    y = panel.bottom - 14
    said = f"hold {hold.value:.0f} s, asked {hold.limit:.0f} s"
    return [
        f'<path d="M{x1:.1f} {y - 6}V{y + 6}M{x1:.1f} {y}H{x2:.1f}M{x2:.1f} {y - 6}V{y + 6}" stroke="#111" fill="none"/>',
        f'<text x="{(x1 + x2) / 2:.1f}" y="{y - 5}" text-anchor="middle" paint-order="stroke" stroke="white"'
        f' stroke-width="4">{said}</text>',
    ]


def _flags(panel: Panel, odd: Sequence[Outcome], numbered: dict[int, int]) -> list[str]:
    """A number at the moment of each outcome that isn't fit; those that fall together stand one under the other."""
    out: list[str] = []
    used: list[float] = []
    for o in sorted(odd, key=lambda o: numbered[id(o)]):
        if o.moment_s is None:
            continue
        x = panel.x(o.moment_s)
        row = sum(1 for seen in used if abs(seen - x) < 20)
        used.append(x)
        y = panel.top + 14 + 20 * row
        fill, colour = ("#7a1f1f", "white") if o.verdict == "unfit" else ("white", "#111")
        out.append(f"<g><title>{escape(o.name)}: {escape(o.why)}</title>")
        out.append(f'<line x1="{x:.1f}" x2="{x:.1f}" y1="{panel.top}" y2="{panel.bottom}" stroke="#7a1f1f" stroke-width="0.7"/>')
        out.append(f'<circle cx="{x:.1f}" cy="{y}" r="9" fill="{fill}" stroke="#7a1f1f" stroke-width="1.3"/>')
        out.append(f'<text x="{x:.1f}" y="{y + 4}" text-anchor="middle" fill="{colour}" font-weight="bold">{numbered[id(o)]}</text></g>')
    return out


def _notes(odd: Sequence[Outcome], numbered: dict[int, int]) -> list[str]:
    lines: list[str] = []
    for o in sorted(odd, key=lambda o: numbered[id(o)]):
        first, *rest = wrapped(f"{numbered[id(o)]}  {MARKS[o.verdict]} {o.name}: {o.why}", 132)
        lines += [first, *(f"      {line}" for line in rest)]
    return lines
