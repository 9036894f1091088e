"""What a first calendar file calls rooms and kinds of visits. Only the properties that may ever be read are looked at: no names."""

import secrets
from collections import Counter
from dataclasses import dataclass
from typing import Final, Literal

from fettlebook.exchange.calendar_entries import texts
from fettlebook.exchange.calendar_fhir import looks_like_fhir, read_fhir
from fettlebook.exchange.calendar_lines import read_lines
from fettlebook.exchange.calendar_map import fold
from fettlebook.exchange.key import KEY_BYTES

MOST: Final = 40  # different values; a property with more names no rooms
Property = Literal["location", "resources", "calendar"]


@dataclass(frozen=True, slots=True)
class Seen:
    """The property that names the rooms, its values, and the categories; the commonest first."""

    property: Property
    values: tuple[str, ...]
    categories: tuple[str, ...]
    entries: int


def seen_in(data: bytes, file: str) -> Seen:
    """Return what a calendar file calls rooms and kinds.

    Raises
    ------
    Mendable
        It is no calendar, too large or empty.
    """
    raw = (read_fhir if looks_like_fhir(data) else read_lines)(data, file, secrets.token_bytes(KEY_BYTES))
    counted: dict[str, Counter[str]] = {name: Counter() for name in ("location", "resources", "calendar", "categories")}
    spelt: dict[str, str] = {}
    for entry in raw.entries:
        for name, found in counted.items():
            words = entry.calendar.names if name == "calendar" else texts(entry, name.upper())
            for word in {" ".join(w.split()) for w in words}:
                # a comma would part an answer in two, and what can't be shown can't be chosen
                if word and word.isprintable() and "," not in word and len(word) <= 80:
                    found[fold(word)] += 1
                    spelt.setdefault(fold(word), word)
    which: Property = "calendar"
    for name in ("location", "resources", "calendar"):
        if 1 <= len(counted[name]) <= MOST:
            which = name  # type: ignore[assignment]  # one of the three
            break
    values, categories = ([spelt[w] for w, _ in counted[name].most_common(MOST)] for name in (which, "categories"))
    return Seen(which, tuple(sorted(values)), tuple(sorted(categories)), len(raw.entries))
