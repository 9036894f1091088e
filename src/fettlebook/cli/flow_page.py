"""A measured flow as a person reads it in a terminal, held against the practice file."""

import textwrap
from collections.abc import Iterable
from typing import Any

from fettlebook.said import listed
from fettlebook.science.flow import CupPlan, Flow, Tools
from fettlebook.times.against import Meant, Place
from fettlebook.times.flow_words import (
    AS_IN_USE,
    aim_words,
    compared_words,
    open_together,
    promised_words,
    rests_words,
    result_words,
    way_words,
)
from fettlebook.times.words import clock

WIDTH = 80


def page(found: Flow, tools: Tools, aim_pct: float, meant: Meant | None, *, explain: bool, wrote: bool, refused: bool) -> str:
    """Return the whole answer as text of 80 columns."""
    rows = [result_words(found)]
    if explain:
        rows += [f"  {'what makes it unsure':<28}{'standard, mL/min':>18}"]
        rows += [f"  {cause.name:<28}{cause.standard:>18.2f}" for cause in found.causes]
        u = found.uncertainty
        rows += wrapped([f"  together {u.standard:.2f}, times {u.factor:.2f} for 95 % (t factor, {_dof(u.dof)})"])
    rows += wrapped(line for odd in found.odd for line in (f"Look: {odd.what}.", f"  {odd.mend}"))
    rows += wrapped(filter(None, [aim_words(found, tools, aim_pct)]))
    if meant:
        place = meant.place
        invented = " (invented)" if place.practice.practice.invented else ""
        head = f"{place.practice.practice.name}{invented}, {place.chair.id}, {place.outlet.id}"
        rows += ["", *wrapped([head, open_together(place), compared_words(found, place)]), *wrapped(promised_words(meant))]
        rows += [*changes(meant), *wrapped(file_words(meant, wrote=wrote, refused="the readings look odd" if refused else ""))]
    rows += ["", *wrapped([AS_IN_USE])]
    return "\n".join(rows)


def way_page(way: CupPlan | None, about: float, aim_pct: float, place: Place | None) -> str:
    """Return how to measure, before anything was."""
    rows = list(way_words(way, about, aim_pct))
    if place:
        rows += [f"Open together: {listed(place.together)}, as {place.chair.id} runs them.", rests_words(place)]
    return "\n".join(wrapped(rows))


def _dof(dof: float) -> str:
    return f"{int(dof + 1e-9)} degrees of freedom" if dof < 1000 else "many degrees of freedom"


def changes(meant: Meant) -> Iterable[str]:
    """Say which running times change, before and after."""
    if not meant.changes:
        yield f"No running time of {meant.place.chair.id} changes."
        return
    yield f"Running times of {meant.place.chair.id} that change:"
    for change in meant.changes:
        before, after = ("unknown" if s is None else clock(s) for s in (change.before_s, change.after_s))
        name = textwrap.shorten(f"{change.duty_name}: {change.name}", 50, placeholder=" ...")
        yield f"  {name:<52}{before:>7} -> {after:>7}  {change.set_by or ''}".rstrip()


def file_words(meant: Meant, *, wrote: bool, refused: str) -> Iterable[str]:
    """Say what belongs into the file, and whether it was put there."""
    name, line = meant.place.loaded.file, meant.place.line
    if wrote:
        yield f"Written to {name} line {line}: {meant.said}. Nothing else in it was touched."
        return
    yield f"For {name} line {line}: {meant.said}"
    if refused:
        yield f"Not written, since {refused}. Measure again, or add --even-so."
    else:
        yield "To put it there: the same command with --write."


def wrapped(rows: Iterable[str]) -> list[str]:
    """Return rows of at most 80 columns; what a row is indented by, its further lines are indented by two more."""
    found: list[str] = []
    for row in rows:
        indent = " " * (len(row) - len(row.lstrip()))
        found += textwrap.wrap(row, WIDTH, subsequent_indent=indent + "  ", break_on_hyphens=False) or [""]
    return found


def as_data(found: Flow, meant: Meant | None, *, wrote: bool) -> dict[str, Any]:
    """Return the answer as JSON data."""
    data: dict[str, Any] = {
        "form": 1,
        "flow_ml_min": found.flow_ml_min,
        "low_ml_min": found.low_ml_min,
        "high_ml_min": found.high_ml_min,
        "confidence": 0.95,
        "standard_ml_min": found.uncertainty.standard,
        "degrees_of_freedom": None if found.uncertainty.dof == float("inf") else found.uncertainty.dof,
        "factor": found.uncertainty.factor,
        "causes": [{"name": c.name, "standard_ml_min": c.standard} for c in found.causes],
        "readings": [{"volume_ml": r.volume_ml, "seconds": r.seconds, "flow_ml_min": r.flow_ml_min} for r in found.readings],
        "odd": [{"what": f.what, "where": f.where, "mend": f.mend} for f in found.odd],
    }
    if meant and meant.assumed:
        place, assumed = meant.place, meant.assumed
        data["practice_file"] = {
            "practice": place.practice.practice.id,
            "invented": place.practice.practice.invented,
            "chair": place.chair.id,
            "outlet": place.outlet.id,
            "line": place.line,
            "was_ml_min": place.outlet.flow_ml_min,
            "was_measured_on": place.outlet.measured_on.isoformat() if place.outlet.measured_on else None,
            "new_ml_min": float(meant.values["flow_ml_min"]),
            "measured_on": meant.values["measured_on"],
            "within_pct": float(meant.values["flow_within_pct"]),
            "differs": found.differs_from(place.outlet.flow_ml_min),
            "wrote": wrote,
            "assumed_ml_min": [assumed.low, assumed.high],
            "stands": assumed.stands,
            "promises": promises_data(meant),
            "changes": changes_data(meant),
        }
    return data


def promises_data(meant: Meant) -> list[dict[str, Any]]:
    """Return which times were promised, and whether they are long enough by the measurement."""
    return [
        {"duty": p.duty_name, "step": p.step_id, "promised_s": p.promised_s, "set_by": p.set_by, "needs_s": p.needs_s, "holds": p.holds}
        for p in meant.promises
    ]


def changes_data(meant: Meant) -> list[dict[str, Any]]:
    """Return which running times the file would give after writing."""
    return [
        {"duty": c.duty_name, "step": c.step_id, "before_s": c.before_s, "after_s": c.after_s, "set_by": c.set_by} for c in meant.changes
    ]
