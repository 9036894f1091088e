"""A judgement as a person reads it, and as JSON."""

import math
import textwrap
from typing import Any

from fettlebook.cli.judge_read import Judged
from fettlebook.science.cycles.outcome import Outcome

WIDTH = 80
MARKS = {"fit": "●", "unproven": "▲", "unfit": "■"}


def page(judged: Judged) -> str:
    """Return the answer as text of 80 columns: verdict and reasons first, then every criterion, then what a log can't show."""
    j = judged.judgement
    rows = [f"{MARKS[j.verdict]} {j.verdict}  {judged.title}", *_wrapped(j.criteria_name, "  ")]
    for reason in j.reasons:
        rows += _wrapped(f"  - {reason}", "    ")
    numbers = [o for o in j.outcomes if o.value is not None and o.limit is not None]
    if numbers:
        rows += ["", f"  {'criterion':<34}{'value':>10}{'asked':>11}{'margin':>10}{'±':>9}"]
        for o in numbers:
            rows += _row(o)
    if j.values:
        rows += ["", "Measured:"]
        rows += _wrapped("  " + ", ".join(f"{key} {value:.4g}" for key, value in j.values.items()), "  ")
    if j.phases:
        rows += ["", "Phases:"]
        rows += _wrapped("  " + ", ".join(f"{p.name} {p.from_s:.0f}-{p.to_s:.0f} s" for p in j.phases), "  ")
    for remark in j.remarks:
        rows += _wrapped(f"Look: {remark}", "  ")
    unchecked = sorted({o.source for o in numbers if o.sure == "memory"})
    if unchecked:
        rows += ["", *_wrapped(f"Unchecked (not seen in the source): {'; '.join(unchecked)}.", "  ")]
    rows += _wrapped(f"Sensors: {_sensors(judged)}", "  ")
    rows += [""]
    for said in j.cannot_show:
        rows += _wrapped(said, "  ")
    rows += _wrapped("A person releases a load; instructions for use and validation come first.", "  ")
    return "\n".join(rows)


def _row(o: Outcome) -> list[str]:
    name = textwrap.wrap(f"{o.name}{f', {o.unit}' if o.unit else ''}", 33, break_on_hyphens=False)
    value, limit = f"{o.value:.4g}", f"{o.compare} {o.limit:.4g}"
    margin = f"{o.margin:+.3g}" if o.margin is not None else ""
    out = f"{o.uncertainty:.2g}" if o.uncertainty is not None else ""
    first = f"{MARKS[o.verdict]} {name[0]:<34}{value:>10}{limit:>11}{margin:>10}{out:>9}"
    return [first, *(f"  {line}" for line in name[1:])]


def _sensors(judged: Judged) -> str:
    s = judged.sensors
    channels = tuple(judged.log.temperatures_c)
    each = ", ".join(f"{c} ± {k:g} K" for c, k in zip(channels, s.temperature_within_k(channels).tolist(), strict=True))
    pressure = (
        f"pressure ± {100 * s.pressure_share:g} %, at least {s.pressure_kpa:g} kPa"
        if s.pressure_share
        else f"pressure ± {s.pressure_kpa:g} kPa"
    )
    return f"{each or 'none'}; {pressure}. {s.source}."


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, subsequent_indent=indent, break_on_hyphens=False) or [""]


def as_data(judged: Judged) -> dict[str, Any]:
    """Return the answer as JSON data: `verdict`, `reasons`, `values` with units in the names, and all that they rest on."""
    j = judged.judgement
    return {
        "form": 1,
        "verdict": j.verdict,
        "reasons": list(j.reasons),
        "values": {key: value for key, value in j.values.items() if math.isfinite(value)},
        "criteria": {"id": j.criteria_id, "name": j.criteria_name},
        "outcomes": [
            {
                "id": o.id,
                "name": o.name,
                "verdict": o.verdict,
                "value": o.value if o.value is not None and math.isfinite(o.value) else None,
                "unit": o.unit,
                "compare": o.compare,
                "limit": o.limit,
                "margin": o.margin if o.margin is not None and math.isfinite(o.margin) else None,
                "uncertainty": o.uncertainty if o.uncertainty is not None and math.isfinite(o.uncertainty) else None,
                "source": o.source,
                "sure": o.sure,
                "checked": o.sure != "memory",
                "moment_s": o.moment_s,
                "why": o.why,
            }
            for o in j.outcomes
        ],
        "phases": [{"name": p.name, "from_s": p.from_s, "to_s": p.to_s} for p in j.phases],
        "remarks": list(j.remarks),
        "against_past": [
            {
                "id": c.key,
                "value": c.value,
                "mean": c.mean,
                "low": c.low,
                "high": c.high,
                "average": c.average,
                "average_low": c.average_low,
                "average_high": c.average_high,
                "cycles": len(c.past),
                "odd": c.odd,
            }
            for c in judged.charts
        ],
        "cannot_show": list(j.cannot_show),
        "machine": judged.machine,
        "cycle": judged.cycle,
        "log": {
            "file": judged.file,
            "sha256": judged.sha256,
            "readings": int(judged.log.time_s.size),
            "columns": dict(judged.read.taken),
            "units": dict(judged.read.units),
            "left_aside": list(judged.read.left_aside),
            "findings": [{"weight": f.weight, "where": f.where, "what": f.what, "mend": f.mend} for f in judged.log.findings],
        },
    }
