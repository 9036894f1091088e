"""The practice file of a draft: readable, with comments, in the order in which a person would look for things."""

import json
from collections.abc import Iterable, Mapping
from datetime import date, time
from typing import Any, Final

from fettlebook.exchange.setup.draft import Draft

HEAD: Final = """\
# Made by fettlebook setup on {day}. What each key means: docs/assistant/practice-file.md. After a change: fettlebook check.
# "typical" marks what nobody measured here: its times are longer until it is measured (fettlebook flow --write).
schema = 1
"""
PARTS: Final = (
    ("opening", "Opening hours"), ("holidays", "Closed days"), ("rooms", "Rooms"),
    ("chairs", "Chairs with their water lines, from the supply to the outlets"), ("machines", "Machines and the cycles in use"),
    ("sets", "Instrument sets and handpieces"), ("people", "People, by initials or a short name"),
    ("products", "Products, as their labels say"),
    ("visit_kinds", "Kinds of visits, and the sets that one visit uses"),
)  # fmt: skip


def practice_text(draft: Draft, day: date) -> str:
    """Return the practice file of a draft as TOML text."""
    parts = [HEAD.format(day=day), *_comments([f"left out: {str(one)[:1].upper()}{str(one)[1:]}" for one in draft.left_out])]
    parts.append(_table("[practice]", draft.head, "practice", draft.comments))
    for name, what in PARTS:
        entries = getattr(draft, name)
        if name == "people":
            parts.append(_table("[reprocessing]", draft.reprocessing, "reprocessing", draft.comments))
        if entries:
            parts.append(f"# {what}\n")
        parts += [_table(f"[[{name}]]", entry, f"{name}.{n}", draft.comments) for n, entry in enumerate(entries)]
        if name == "products":
            parts.append(_table("[in_use]", draft.in_use, "in_use", draft.comments))
    parts.append(_table("[calendar]", draft.calendar, "calendar", draft.comments))
    return "\n".join(part.rstrip("\n") + "\n" for part in parts)


def _table(header: str, table: Mapping[str, Any], at: str, comments: Mapping[str, str]) -> str:
    rows = [header + _comment(comments.get(at))]
    for key, value in table.items():
        if value == [] and key not in ("rules",):
            continue
        told = _comment(comments.get(f"{at}.{key}"))
        if isinstance(value, list) and value and isinstance(value[0], dict):
            rows += [f"{key} = [{told}", *(f"  {_inline(one)}," for one in value), "]"]
        else:
            rows.append(f"{key} = {_inline(value)}{told}")
    return "\n".join(rows) + "\n"


def _comment(told: str | None) -> str:
    return f" # {told}" if told else ""


def _comments(lines: Iterable[str]) -> list[str]:
    told = [f"# {line}\n" for line in lines]
    return ["".join(told)] if told else []


def _inline(value: Any) -> str:
    """Return a value as TOML writes it on one line: its basic strings are those of JSON."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, time):
        return value.isoformat("seconds")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(key)} = {_inline(one)}" for key, one in value.items()) + " }" if value else "{}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_inline(one) for one in value) + "]"
    return json.dumps(value, ensure_ascii=False)


def _key(key: str) -> str:
    plain = key.replace("_", "").replace("-", "")
    return key if plain.isascii() and plain.isalnum() else json.dumps(key, ensure_ascii=False)
