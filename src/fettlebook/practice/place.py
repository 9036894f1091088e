"""Where a thing stands in the practice file, in words: line 41, chair "chair 2", segment "feed", bore_mm."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from fettlebook.practice.lines import KeyPath, line_of

# One entry of a list of tables, as it is called in a message.
SINGULAR: Mapping[str, str] = {
    "opening": "opening", "holidays": "holiday", "rooms": "room", "chairs": "chair", "segments": "segment",
    "stirred": "stirred volume", "second_feeds": "second feed",
    "outlets": "outlet", "suction": "suction line", "machines": "machine", "cycles": "cycle",
    "tests": "test", "sets": "set type", "people": "person", "shifts": "shift", "products": "product", "uses": "label use",
    "visit_kinds": "visit kind", "rules": "rule", "own_rules": "own rule", "measured": "measured step",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong at a key path, before it has a line."""

    path: KeyPath
    what: str
    mend: str
    weight: Literal["error", "warning"] = "error"


def name_place(data: object, path: KeyPath) -> str:
    """Return `path` in words, with the ids that stand in `data`; empty for the whole file.

    Parameters
    ----------
    data
        The file's content as tomllib gave it (lists may be tuples); need not be valid.
    """
    words: list[str] = []
    here: object = data
    for number, part in enumerate(path):
        here = _into(here, part)
        before = path[number - 1] if number else None
        if isinstance(part, str):
            # a list of tables is named by its entry, which comes next
            if isinstance(here, list | tuple) and number + 1 < len(path) and isinstance(_into(here, path[number + 1]), dict):
                continue
            words.append(f"[{part}]" if number == 0 and isinstance(here, dict) else part)
        elif isinstance(here, dict) and isinstance(before, str):
            key = next((here[k] for k in ("id", "step") if isinstance(here.get(k), str)), None)
            words.append(f'{SINGULAR.get(before, before)} "{_short(key)}"' if key else f"{SINGULAR.get(before, before)} {part + 1}")
        else:
            words.append(f"entry {part + 1}")
    return ", ".join(words)


def where(file: str, lines: Mapping[KeyPath, int], data: object, path: KeyPath) -> str:
    """Return file, line and place of `path` as one text."""
    place = name_place(data, path)
    return f"{file} line {line_of(lines, path)}" + (f", {place}" if place else "")


def look_up(data: object, path: KeyPath) -> object:
    """Return what stands at `path` in `data`, or None."""
    for part in path:
        data = _into(data, part)
    return data


def _into(data: object, part: str | int) -> object:
    if isinstance(data, dict):
        return data.get(part)
    if isinstance(data, list | tuple) and isinstance(part, int) and part < len(data):
        return data[part]
    return None


def _short(text: str) -> str:
    return text if len(text) <= 60 else text[:57] + "..."
