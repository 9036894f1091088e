"""Running times as plain data: the JSON form, and the rows of a table file. docs/assistant/running-times.md is the reference."""

import csv
import io
from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any, Final

from fettlebook.practice.model import Practice
from fettlebook.rules.model import Origin, Rulebook
from fettlebook.science.circuits import Method
from fettlebook.times.findings import stray_measurements
from fettlebook.times.model import Candidate, DutyTotal, RunningTime, SetBy
from fettlebook.times.words import clock

FORM: Final = 1
COLUMNS: Final = (
    "chair", "in_service", "when", "duty_id", "duty", "step_id", "step", "seconds", "time", "set_by", "margin_s", "runner_up",
    "attended", "rule_s", "label_s", "line_s", "line_best_s", "other_s", "flow_measured", "source_checked", "water_ml", "product_ml",
    "waste_ml", "bottle_fills", "missing", "notes",
)  # fmt: skip


def as_data(
    practice: Practice,
    rulebook: Rulebook,
    times: Sequence[RunningTime],
    totals: Sequence[DutyTotal],
    *,
    on: date,
    method: Method = "exact",
) -> dict[str, Any]:
    """Return running times as JSON-able data; `seconds` is null where it can't be said, and `missing` says why.

    `totals` are of whole duties, also where `times` are a choice of their steps.
    """
    return {
        "form": FORM,
        "practice": {"id": practice.practice.id, "name": practice.practice.name, "invented": practice.practice.invented},
        "on": on.isoformat(),
        "rulebooks": list(rulebook.layers),
        "method": method,
        "complete": all(t.seconds is not None for t in times),
        "times": [_time(t) for t in times],
        "totals": [
            {
                "chair": t.chair,
                "duty": {"id": t.duty_id, "name": t.duty_name, "when": str(t.when)},
                "attended_s": t.attended_s,
                "unattended_s": t.unattended_s,
                "complete": t.complete,
                "missing": list(t.missing),
                "volumes": _volumes(t),
            }
            for t in totals
        ],
        "findings": [
            {"what": f.what, "where": f.where, "mend": f.mend, "weight": f.weight} for f in stray_measurements(practice, rulebook)
        ],
    }


def as_csv(times: Iterable[RunningTime]) -> str:
    """Return running times as comma-separated text with a heading row; an unknown time is an empty cell with its reason.

    A spreadsheet runs a cell that begins with = + - @ as a formula, so such text gets a quote in front.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")  # RFC 4180
    writer.writerow(COLUMNS)
    writer.writerows([_harmless(cell) for cell in _row(t)] for t in times)
    return out.getvalue()


def _harmless(cell: object) -> object:
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(("=", "+", "-", "@", "\t", "\r")) else cell


def _row(time: RunningTime) -> tuple[object, ...]:
    asked: dict[SetBy, float] = {c.set_by: round(c.seconds, 1) for c in time.candidates}
    other = next((asked[k] for k in ("fixed", "measured", "usual") if k in asked), "")
    known = time.seconds is not None
    return (
        time.chair,
        _yes(not time.out_of_service),
        str(time.when),
        time.duty_id,
        time.duty_name,
        time.step_id,
        time.name,
        time.seconds if known else "",
        clock(time.seconds) if time.seconds is not None else "",
        time.set_by or "",
        "" if time.margin_s is None else time.margin_s,
        time.runner_up or "",
        _yes(time.attended),
        asked.get("rule", ""),
        asked.get("label", ""),
        asked.get("line", ""),
        "" if time.nominal_s is None else round(time.nominal_s, 1),
        other,
        _yes(not time.unmeasured) if time.outlets else "",
        _yes(not time.unchecked),
        round(time.water_ml) if known else "",
        round(time.product_ml) if known else "",
        round(time.waste_ml) if known else "",
        time.bottle_fills if known else "",
        time.missing,
        "; ".join(time.notes),
    )


def _yes(fact: bool) -> str:
    return "yes" if fact else "no"


def _time(time: RunningTime) -> dict[str, Any]:
    return {
        "chair": time.chair,
        "out_of_service": time.out_of_service,
        "duty": {"id": time.duty_id, "name": time.duty_name, "when": str(time.when)},
        "step": {"id": time.step_id, "name": time.name, "attended": time.attended},
        "seconds": time.seconds,
        "set_by": time.set_by,
        "margin_s": time.margin_s,
        "runner_up": time.runner_up,
        "missing": time.missing or None,
        "candidates": [_candidate(c) for c in time.candidates],
        "groups": [{"group": g.group, "outlets": list(g.outlets), "seconds": g.seconds, "set_by": g.set_by} for g in time.groups],
        "outlets": [
            {
                "outlet": o.outlet,
                "group": o.group,
                "line_s": round(o.seconds, 3),
                "nominal_s": round(o.nominal_s, 3),
                "bound_s": round(o.bound_s, 3),
                "strips_s": None if o.strips_s is None else round(o.strips_s, 3),
                "reading": o.reading or None,
                "measure_first": o.measure_first or None,
                "share_left": o.residual,
                "flow_ml_min": o.flow_ml_min,
                "flow_measured": o.measured,
            }
            for o in time.outlets
        ],
        "nominal_s": None if time.nominal_s is None else round(time.nominal_s, 3),
        "p95_s": None if time.p95_s is None else round(time.p95_s, 3),
        "measure_first": time.measure_first or None,
        "volumes": _volumes(time),
        "unchecked": time.unchecked,
        "notes": list(time.notes),
        "cautions": list(time.cautions),
        "derivation": list(time.derivation),
    }


def _volumes(of: RunningTime | DutyTotal) -> dict[str, float]:
    return {
        "water_ml": round(of.water_ml, 1),
        "product_ml": round(of.product_ml, 1),
        "waste_ml": round(of.waste_ml, 1),
        "bottle_fills": of.bottle_fills,
    }


def _candidate(candidate: Candidate) -> dict[str, Any]:
    return {
        "set_by": candidate.set_by,
        "seconds": round(candidate.seconds, 3),
        "why": candidate.why,
        "origin": None if candidate.origin is None else _origin(candidate.origin),
    }


def _origin(origin: Origin) -> dict[str, Any]:
    return {
        "layer": origin.layer,
        "rule_id": origin.rule_id,
        "source": origin.source,
        "sure": origin.sure,
        "checked": origin.checked,
        "force": origin.force,
        "note": origin.note,
        "reason": origin.reason,
    }
