"""A rulebook as plain data for JSON and as a table for spreadsheets."""

import csv
import io
from dataclasses import asdict
from datetime import date
from typing import Any, Final

from fettlebook.rules.model import Limit, Origin, Overridden, Rulebook, Step
from fettlebook.rules.words import length_in_words, limit_in_words, overridden_in_words

COLUMNS: Final = (
    "kind", "group", "id", "name", "in words", "value", "unit", "role", "yields to", "when", "subject", "attended", "length",
    "outlets", "handpieces", "medium", "evidence", "caution", "layer", "rule", "force", "source", "sure", "checked", "reason",
    "note", "overrides", "asked for by",
)  # fmt: skip


def as_data(rulebook: Rulebook) -> dict[str, Any]:
    """Return the rulebook as JSON-ready data; every origin also says whether it was checked."""
    data: dict[str, Any] = _plain(asdict(rulebook))
    return data


def as_csv(rulebook: Rulebook) -> str:
    """Return one row per step, limit and requirement without a number, with heading; lines end as spreadsheets want them."""
    out = io.StringIO()
    table = csv.DictWriter(out, COLUMNS, restval="")
    table.writeheader()
    for duty in rulebook.duties:
        for step in duty.steps:
            table.writerow(_inert({"group": duty.id, "when": duty.when, "subject": duty.subject, **_step(step)}))
    limits = {limit.id for limit in rulebook.limits}
    groups = {row.id: row.group for row in rulebook.requirements}
    for limit in rulebook.limits:
        table.writerow(_inert({"group": groups.get(limit.id, ""), **_limit(limit)}))
    for row in rulebook.requirements:
        if row.id not in limits:
            named = {"kind": "requirement", "group": row.group, "id": row.id, "name": row.topic, "when": row.trigger}
            table.writerow(_inert({**named, **_origin(row.origin)}))
    return out.getvalue()


def _step(step: Step) -> dict[str, str]:
    return {
        "kind": "step",
        "id": step.id,
        "name": step.name,
        "in words": length_in_words(step),
        "value": "" if step.seconds is None else f"{step.seconds:g}",
        "unit": "" if step.seconds is None else "s",
        "attended": "yes" if step.attended else "no",
        "length": step.length if step.computes is None else f"{step.length}: {step.computes}",
        "outlets": step.outlets,
        "handpieces": step.handpieces,
        "medium": step.medium,
        "evidence": ", ".join(step.evidence),
        "caution": step.caution,
        "asked for by": ", ".join(step.rules),
        **_origin(step.origin, step.overrides),
    }


def _limit(limit: Limit) -> dict[str, str]:
    return {
        "kind": "limit",
        "id": limit.id,
        "name": limit.name,
        "in words": limit_in_words(limit),
        "value": " ".join(f"{value:.10g}" for value in limit.value),
        "unit": limit.unit,
        "role": limit.role,
        "yields to": limit.yields_to,
        "when": limit.trigger,
        **_origin(limit.origin, limit.overrides),
    }


def _origin(origin: Origin, overrides: tuple[Overridden, ...] = ()) -> dict[str, str]:
    return {
        "layer": origin.layer,
        "rule": origin.rule_id,
        "force": origin.force,
        "source": origin.source,
        "sure": origin.sure,
        "checked": "yes" if origin.checked else "no",
        "reason": origin.reason,
        "note": origin.note,
        "overrides": "; ".join(overridden_in_words(entry) for entry in overrides),
    }


def _inert(row: dict[str, str]) -> dict[str, str]:
    """Keep a spreadsheet from reading text of the practice file as a formula."""
    return {key: f"'{text}" if text[:1] in tuple("=+-@\t") and not text[1:2].isdigit() else text for key, text in row.items()}


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        plain = {key: _plain(item) for key, item in value.items()}
        if "sure" in plain and "layer" in plain:
            plain["checked"] = plain["sure"] != "memory"
        return plain
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    return value.isoformat() if isinstance(value, date) else value
