"""The page for an inspector that lists every row of every pack with its source and how sure it is.

`python -m fettlebook.rules.sources_page` prints it; a test holds docs/inspector/sources.md against it.
"""

from collections import Counter
from collections.abc import Iterator

from fettlebook.rules.pack import Pack, RequirementRow
from fettlebook.rules.rows import FORCE_RANK
from fettlebook.rules.shelf import bundled_pack, order_layers, pack_names
from fettlebook.rules.strictness import Bound, in_words
from fettlebook.rules.words import FORCE


def sources_page() -> str:
    """Return the page as Markdown text."""
    return "\n".join(_lines()) + "\n"


def _lines() -> Iterator[str]:
    packs = [bundled_pack(name) for name in order_layers(pack_names())]
    rows = [row for pack in packs for row in pack.requirement]
    sure = Counter(row.sure for row in rows)
    yield "# Where every duty and limit comes from"
    yield "Made from the rulebook packs by `python -m fettlebook.rules.sources_page`; a test fails where this page and the packs differ."
    yield ""
    yield (
        f"{len(rows)} rows in {len(packs)} packs: {sure['read']} read, {sure['secondary']} secondary, {sure['memory']} memory, "
        f"{sure['practice']} practice. Requirements are in our own words; the documents, product labels and instructions for use rule. "
        "None of this is legal advice."
    )
    yield ""
    yield "| sure | what it means |"
    yield "| --- | --- |"
    yield "| read | seen in the source's own page or in a copy of the document |"
    yield "| secondary | another text quotes it |"
    yield "| memory | not looked up yet: the program shows it as UNCHECKED |"
    yield "| practice | a habit of the trade, without a source |"
    yield ""
    yield f"Force, strongest first: {', '.join(sorted((w for k, w in FORCE.items() if k != 'own'), key=_rank, reverse=True))}."
    yield ""
    yield "## To be looked up: rows from memory"
    yield from (f"- `{row.id}`: {row.source}" for row in rows if row.sure == "memory")
    for pack in packs:
        yield from _pack(pack)


def _pack(pack: Pack) -> Iterator[str]:
    head = pack.pack
    yield ""
    yield f"## {head.id}: {head.name}"
    beneath = f" Builds on {', '.join(head.builds_on)}." if head.builds_on else ""
    yield f"Edition {head.edition} of {head.date.isoformat()}.{beneath} {head.scope}"
    yield ""
    yield "| id | asked for, in our words | value | due | force | source | sure | steps |"
    yield "| --- | --- | --- | --- | --- | --- | --- | --- |"
    for row in pack.requirement:
        yield f"| {' | '.join(_cell(text) for text in _cells(row))} |"
    own = [(duty.id, step) for duty in pack.duty for step in duty.steps] + [(step.duty, step) for step in pack.added_step]
    asked = {name for other in pack_names() for row in bundled_pack(other).requirement for name in row.steps}
    free = [f"`{step.id}`" for _, step in own if step.id not in asked]
    if free:
        yield ""
        yield f"Steps of this pack that only common practice asks for, without a source: {', '.join(free)}."


def _cells(row: RequirementRow) -> tuple[str, ...]:
    told = [row.topic, f"note: {row.note}" if row.note else "", f"read here as: {row.reading}" if row.reading else ""]
    since = f" (from {row.valid_from.isoformat()})" if row.valid_from else ""
    value = in_words(Bound(row.compare or "", row.values, row.unit, row.stricter or "none")) if row.compare else "-"
    role = f", {row.role}" if row.role else ""
    steps = ", ".join(row.steps) or "-"
    return (
        row.id,
        "; ".join(part for part in told if part),
        value + role,
        row.trigger or "-",
        FORCE[row.force] + since,
        row.source,
        row.sure,
        steps,
    )


def _cell(text: str) -> str:
    return text.replace("|", "\\|").replace("\n", " ")


def _rank(word: str) -> int:
    return next(rank for force, rank in FORCE_RANK.items() if FORCE[force] == word)


if __name__ == "__main__":
    print(sources_page(), end="")  # the one way to make the page anew
