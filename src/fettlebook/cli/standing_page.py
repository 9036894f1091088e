"""What `fettlebook standing` and `fettlebook due` print: shape and word of each verdict, every condition with rule, evidence and end."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterable, Iterator
from typing import Any, Final
from zoneinfo import ZoneInfo

from fettlebook.book.kinds import from_ms
from fettlebook.rules.model import Origin
from fettlebook.rules.rows import COMMON_PRACTICE
from fettlebook.rules.words import FORCE, SURE
from fettlebook.standing.asking import minutes, name_of, said_at
from fettlebook.standing.basis import Basis
from fettlebook.standing.model import SHAPES, Condition, Owed, Standing, Verdict, WayToFit
from fettlebook.standing.standings import View

WIDTH: Final = 80
LAST: Final = (
    "A verdict says what the book proves, no more. People decide and release; instructions for use, labels and local rules come first."
)


def sign(verdict: Verdict) -> str:
    """Return shape and word."""
    return f"{SHAPES[verdict]} {verdict.value.upper()}"


def standing_page(standing: Standing, basis: Basis, *, full: bool) -> Iterator[str]:
    """Yield the lines of one subject: verdict, conditions, way to fit."""
    zone, until = basis.zone, standing.valid_until_ms
    yield f"{sign(standing.verdict)}  {name_of(standing.subject)}" + (f"  until {_when(until, zone)}" if until is not None else "")
    yield ""
    holding = [c for c in standing.conditions if c.verdict is Verdict.FIT]
    for condition in (*standing.failing, *holding):
        yield from _condition(condition, zone, full=full)
    yield from way_page(standing.way_to_fit, basis)
    yield ""
    yield from _wrap(LAST, 0)


def _condition(condition: Condition, zone: ZoneInfo, *, full: bool) -> Iterator[str]:
    yield from _wrap(f"{SHAPES[condition.verdict]} {condition.verdict.value}: {condition.what}", 0, hang=2)
    ends = f"; holds until {_when(condition.expires_ms, zone)}" if condition.expires_ms is not None else ""
    yield from _wrap(f"{condition.why}{ends}", 4)
    yield from _wrap(f"rule      {rule_words(condition.origin)}", 4, hang=14)
    for number, entry in enumerate(condition.evidence):
        if number and not full:
            yield f"{'':14}and {len(condition.evidence) - 1} more: --full shows them"
            break
        yield f"    {'' if number else 'evidence':<10}{entry}"
    if not condition.evidence:
        yield "    evidence  none" if condition.verdict is not Verdict.FIT else "    evidence  none needed: nothing is said against it"


def rule_words(origin: Origin) -> str:
    """Return a rule as it is shown: id, force, source and how sure."""
    if origin.source == COMMON_PRACTICE:
        return f"{origin.rule_id}, {COMMON_PRACTICE}"
    sure = "UNCHECKED: from memory, look it up" if origin.sure == "memory" else SURE[origin.sure]
    known = "" if origin.sure == "practice" else f" ({sure})"
    force = "" if origin.force in ("practice", "own") else f", {FORCE[origin.force]}"
    return f"{origin.rule_id}{force}: {origin.source}{known}"


def way_page(way: WayToFit, basis: Basis) -> Iterator[str]:
    """Yield the way to fit: each duty with its minutes, and what no duty mends."""
    if not way.duties and not way.stuck:
        return
    yield ""
    yield from _wrap(f"Way to fit: {minutes(way.attended_s, way.unattended_s)}", 0)
    for number, owed in enumerate(way.duties, 1):
        yield from _owed(owed, basis, f"{number:>2} ")
    for stuck in way.stuck:
        yield from _wrap(f"No duty mends this: {stuck}", 3, hang=5)


def _owed(owed: Owed, basis: Basis, lead: str) -> Iterator[str]:
    cost = minutes(owed.attended_s, owed.unattended_s) if owed.attended_s or owed.unattended_s else ""
    if owed.missing_time:
        cost = f"{cost or 'some time'} at least" if cost else "its time can't be said"
    wait = f"then wait {owed.wait_h / 24:g} days" if owed.wait_h else ""
    told = "; ".join(part for part in (owed.name, cost, wait) if part)
    yield from _wrap(f"{lead}{told}", 0, hang=len(lead))
    names = [basis.steps[step][1].name for step in owed.steps if step in basis.steps]
    duty = next((d for d in basis.rulebook.duties if d.id == owed.duty_id), None)
    chair = basis.chairs.get(owed.subject.partition(":")[2])
    if duty is not None and len(names) < len(duty.steps_on(chair) if chair else duty.steps):
        for name in names:  # a part of the duty: which
            yield from _wrap(f"- {name}", len(lead), hang=len(lead) + 2)


def overview(view: View, zone: ZoneInfo) -> Iterator[str]:
    """Yield one line a subject: the practice, chairs, machines, products; sets by type; loads that aren't fit."""
    sets: dict[str, Counter[Verdict]] = {}
    for subject in view.subjects():
        kind = subject.partition(":")[0]
        standing = view.standing(subject)
        if kind == "unit":
            sets.setdefault(subject.partition(":")[2].partition("#")[0], Counter())[standing.verdict] += 1
            continue
        if kind == "outlet":
            continue  # told with its chair
        if kind == "load" and standing.verdict is Verdict.FIT:
            continue
        yield from _row(standing, zone)
        if kind == "chair":
            yield from _lines(view, subject)
    if sets:
        yield ""
        yield "Sets and handpieces"
    for name, counts in sets.items():
        told = ", ".join(f"{SHAPES[v]} {counts[v]} {v.value}" for v in Verdict if counts[v])
        yield f"  {name:<24}{told}"
    yield ""
    yield from _wrap(LAST, 0)


def _lines(view: View, chair: str) -> Iterator[str]:
    """Yield how a chair's lines stand, in one line: which water may be used where the chair as a whole may not."""
    outlets = view.look.basis.chairs[chair.partition(":")[2]].outlets
    by_verdict: dict[Verdict, list[str]] = {}
    for outlet in outlets:
        by_verdict.setdefault(view.standing(f"outlet:{chair.partition(':')[2]}/{outlet.id}").verdict, []).append(outlet.id)
    told = "; ".join(f"{SHAPES[v]} {v.value}: {', '.join(by_verdict[v])}" for v in Verdict if v in by_verdict)
    yield from _wrap(f"lines {told}", 12, hang=14)


def _row(standing: Standing, zone: ZoneInfo) -> Iterator[str]:
    until = standing.valid_until_ms
    name = name_of(standing.subject)
    yield f"{sign(standing.verdict):<11} {name:<26}".rstrip() + (f"  until {_when(until, zone)}" if until is not None else "")
    if standing.failing:
        first, more = standing.failing[0], len(standing.failing) - 1
        told = first.told + (f" (and {more} more)" if more else "")
        yield from _wrap(told, 12, hang=14)


def due_page(duties: Iterable[Owed], basis: Basis) -> Iterator[str]:
    """Yield the duties due, the overdue ones first, each with moment, minutes and rule."""
    heading = ""
    for owed in duties:
        word = "Overdue" if owed.overdue else "Due today"
        if word != heading:
            heading = word
            yield ""
            yield word
        by = f"by {_when(owed.due_ms, basis.zone)}" if owed.due_ms is not None else "as soon as there is time"
        yield f"  {'!' if owed.overdue else '-'} {name_of(owed.subject)}: {by}"
        yield from _owed(owed, basis, "      ")
        yield from _wrap(f"rule {rule_words(owed.origin)}", 6, hang=11)


def _when(ms: int | None, zone: ZoneInfo) -> str:
    return "" if ms is None else from_ms(ms, str(zone)).strftime("%a %d %b %Y %H:%M")


def _wrap(text: str, indent: int, hang: int | None = None) -> list[str]:
    space = " " * indent
    return textwrap.wrap(text, WIDTH, initial_indent=space, subsequent_indent=" " * (hang if hang is not None else indent)) or [space]


def standing_data(standing: Standing, zone: ZoneInfo) -> dict[str, Any]:
    """Return one standing for JSON."""
    return {
        "subject": standing.subject,
        "verdict": standing.verdict.value,
        "valid_until": said_at(standing.valid_until_ms, zone),
        "conditions": [
            {
                "what": c.what,
                "verdict": c.verdict.value,
                "why": c.why,
                "rule": c.origin.rule_id,
                "source": c.origin.source,
                "sure": c.origin.sure,
                "evidence": list(c.evidence),
                "since": said_at(c.since_ms, zone),
                "expires_at": said_at(c.expires_ms, zone),
            }
            for c in standing.conditions
        ],
        "way_to_fit": {
            "attended_min": round(standing.way_to_fit.attended_s / 60, 2),
            "unattended_min": round(standing.way_to_fit.unattended_s / 60, 2),
            "duties": [owed_data(owed, zone) for owed in standing.way_to_fit.duties],
            "stuck": list(standing.way_to_fit.stuck),
        },
    }


def owed_data(owed: Owed, zone: ZoneInfo) -> dict[str, Any]:
    """Return one duty owed for JSON."""
    return {
        "subject": owed.subject,
        "duty": owed.duty_id,
        "name": owed.name,
        "steps": list(owed.steps),
        "attended_min": round(owed.attended_min, 2),
        "unattended_min": round(owed.unattended_min, 2),
        "time_unknown": list(owed.missing_time),
        "wait_h": owed.wait_h,
        "due": said_at(owed.due_ms, zone),
        "overdue": owed.overdue,
        "rule": owed.origin.rule_id,
        "source": owed.origin.source,
        "sure": owed.origin.sure,
    }
