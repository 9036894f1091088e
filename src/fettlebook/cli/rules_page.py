"""The list that `fettlebook rules` prints: short lines, sources numbered and told once at the end."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from fettlebook.errors import Finding
from fettlebook.rules.model import Duty, Limit, Origin, Overridden, Requirement, Rulebook, Step
from fettlebook.rules.rows import COMMON_PRACTICE
from fettlebook.rules.words import FORCE, SURE, length_in_words, limit_in_words

LAST = "Instructions for use, product labels and local rules come first, and licensed professionals decide. This list is no legal advice."


@dataclass(frozen=True, slots=True)
class Line:
    """One printed line."""

    text: str
    heading: bool = False


@dataclass(slots=True)
class _Sources:
    """Numbers each source once, in the order in which the reader meets it."""

    numbers: dict[tuple[str, str, str], int] = field(default_factory=dict)

    def cite(self, origin: Origin) -> str:
        if origin.force == "own":
            return f"own rule ({origin.source.removeprefix('practice file, ')})"
        if origin.source == COMMON_PRACTICE:
            return "common practice"
        key = (origin.source, FORCE[origin.force], SURE[origin.sure])
        number = self.numbers.setdefault(key, len(self.numbers) + 1)
        unchecked = "" if origin.checked else " UNCHECKED"
        return f"{origin.layer} {FORCE[origin.force]} [{number}]{unchecked}"


def page(title: str, book: Rulebook, refused: Sequence[Finding], *, width: int, duties: bool, limits: bool, full: bool) -> Iterator[Line]:
    """Give the lines of the list.

    Parameters
    ----------
    width
        Columns of the terminal; from 60 on the list stays readable.
    full
        Also evidence, cautions, notes, and the rows without a number.
    """
    width = max(width, 60)
    sources = _Sources()
    day = f" on {book.on.isoformat()}" if book.on else ""
    yield Line(f"{title}: rules in force{day}", heading=True)
    yield from _wrap(f"Layers, lowest first: {', '.join(book.layers)}", width, 0, 2)
    yield from _first_of_all(book, refused, width)
    for duty in book.duties if duties else ():
        yield from _duty(duty, sources, width, full=full)
    if limits:
        yield from _limits(book, sources, width, full=full)
    if full and duties and limits:
        yield from _without_number(book, sources, width)
    yield from _sources(sources, width)
    yield Line("")
    unchecked = sum(not row.origin.checked for row in book.requirements)
    steps = sum(len(duty.steps) for duty in book.duties)
    told = f"{len(book.duties)} duties with {steps} steps; {len(book.requirements)} rows of documents, {unchecked} of them UNCHECKED."
    yield from _wrap(told + ("" if full else " --full shows evidence, cautions, notes and rules without a number."), width, 0, 0)
    yield from _wrap(LAST, width, 0, 0)


def _first_of_all(book: Rulebook, refused: Sequence[Finding], width: int) -> Iterator[Line]:
    if refused:
        yield Line("")
        yield Line("Refused; the layer below stays in force", heading=True)
    for finding in refused:
        yield from _wrap(f"{finding.where}", width, 2, 4)
        yield from _wrap(f"{finding.what}.", width, 4, 4)
        yield from _wrap(f"Mend: {finding.mend}", width, 4, 4)
    if book.notes:
        yield Line("")
        yield Line("Look at these", heading=True)
    for note in book.notes:
        yield from _wrap(f"- {note}", width, 2, 4)


def _duty(duty: Duty, sources: _Sources, width: int, *, full: bool) -> Iterator[Line]:
    idle = f" from {duty.after_idle_h:g} h on" if duty.after_idle_h is not None else ""
    yield Line("")
    yield Line(f"{duty.name} ({duty.id})", heading=True)
    yield from _wrap(f"{duty.subject}, {duty.when}{idle}, {sources.cite(duty.origin)}", width, 2, 4)
    if duty.covers:
        yield from _wrap(f"done with it: {', '.join(duty.covers)}", width, 2, 4)
    for step in duty.steps:
        yield from _wrap(f"{step.id:<22}  {length_in_words(step)}; {_who_says(step, sources)}", width, 2, 26)
        yield from _wrap(_what(step), width, 6, 6)
        yield from _more(step.origin, step.overrides, sources, width, full=full)
        if full:
            yield from _wrap(f"leaves {', '.join(step.evidence)}", width, 6, 8)
        if full and step.caution:
            yield from _wrap(f"Caution: {step.caution}", width, 6, 8)


def _who_says(step: Step, sources: _Sources) -> str:
    """Say who gives the figure, and apart from it who asks for the step: usual minutes are nobody's rule."""
    figure = sources.cite(step.origin)
    asked = sources.cite(step.asked_by) if step.asked_by else figure
    if step.length == "computed" and step.seconds is not None:
        return figure
    return figure if asked == figure else f"asked for by {asked}"


def _what(step: Step) -> str:
    parts = [] if step.outlets == "none" else [f"outlets {step.outlets}"]
    parts += [f"handpieces {step.handpieces}"] if step.handpieces != "either" and step.outlets != "none" else []
    parts += [step.medium] if step.medium != "none" and step.outlets != "none" else []
    parts += [] if step.attended else ["runs by itself"]
    parts += {"bottle": ["chairs with a bottle"], "suction": ["chairs with suction"]}.get(step.only, [])
    return step.name + (f" ({', '.join(parts)})" if parts else "")


def _limits(book: Rulebook, sources: _Sources, width: int, *, full: bool) -> Iterator[Line]:
    rows = {row.id: row for row in book.requirements}
    group = ""
    for limit in sorted(book.limits, key=lambda limit: list(dict.fromkeys(row.group for row in rows.values())).index(rows[limit.id].group)):
        if rows[limit.id].group != group:
            group = rows[limit.id].group
            yield Line("")
            yield Line(f"Limits: {group}", heading=True)
        yield from _limit(limit, rows[limit.id].reading, sources, width, full=full)


def _limit(limit: Limit, reading: str, sources: _Sources, width: int, *, full: bool) -> Iterator[Line]:
    role = {"": "", "context": " (background, binds nobody)"}.get(limit.role, f" ({limit.role})")
    yield from _wrap(f"{limit.id:<22}  {limit_in_words(limit)}{role}; {sources.cite(limit.origin)}", width, 2, 26)
    yield from _wrap(limit.name + (f"; {limit.trigger}" if limit.trigger else ""), width, 6, 6)
    if limit.yields_to:
        yield from _wrap(f"yields to {limit.yields_to}", width, 6, 8)
    if reading:
        yield from _wrap(f"read here as: {reading}", width, 6, 8)
    yield from _more(limit.origin, limit.overrides, sources, width, full=full)


def _more(origin: Origin, overrides: Iterable[Overridden], sources: _Sources, width: int, *, full: bool) -> Iterator[Line]:
    if origin.reason:
        yield from _wrap(f"REASON of the practice: {origin.reason}", width, 6, 8)
    for entry in overrides:
        yield from _wrap(f"overrides {entry.value}; {sources.cite(entry.origin)}", width, 6, 8)
    if origin.note and full:
        yield from _wrap(f"note: {origin.note}", width, 6, 8)


def _without_number(book: Rulebook, sources: _Sources, width: int) -> Iterator[Line]:
    numbered = {limit.id for limit in book.limits}
    group = ""
    for row in book.requirements:
        if row.id in numbered:
            continue
        if row.group != group:
            group = row.group
            yield Line("")
            yield Line(f"Asked for without a number: {group}", heading=True)
        yield from _requirement(row, sources, width)


def _requirement(row: Requirement, sources: _Sources, width: int) -> Iterator[Line]:
    due = f"{row.trigger}; " if row.trigger else ""
    yield from _wrap(f"{row.id:<22}  {due}{sources.cite(row.origin)}", width, 2, 26)
    yield from _wrap(row.topic, width, 6, 6)
    if row.reading:
        yield from _wrap(f"read here as: {row.reading}", width, 6, 8)
    if row.origin.note:
        yield from _wrap(f"note: {row.origin.note}", width, 6, 8)


def _sources(sources: _Sources, width: int) -> Iterator[Line]:
    if not sources.numbers:
        return
    yield Line("")
    yield Line("Sources", heading=True)
    for (source, force, sure), number in sources.numbers.items():
        known = "" if sure == SURE["practice"] else f". {force[0].upper()}{force[1:]}; {sure}"
        yield from _wrap(f"[{number}] {source}{known}", width, 2, 6)


def _wrap(text: str, width: int, indent: int, hang: int) -> Iterator[Line]:
    wrapped = textwrap.wrap(
        text, width, initial_indent=" " * indent, subsequent_indent=" " * hang, break_long_words=False, break_on_hyphens=False
    )
    yield from (Line(part) for part in wrapped)
