"""The practice file's map from calendar entries to chairs and visit kinds.

Letters are compared without regard to case, to the number of spaces, and to how an accent is stored. Nothing is
guessed: an entry that no rule names, or that rules give to two chairs, is told and not planned.
"""

import unicodedata
from dataclasses import dataclass

from fettlebook.exchange.calendar_entries import texts
from fettlebook.exchange.calendar_lines import RawEntry
from fettlebook.practice.model import Practice


@dataclass(frozen=True, slots=True)
class Mapped:
    """What the rules say of an entry."""

    ignore: bool
    chairs: tuple[str, ...]  # one, if all is well
    kinds: tuple[str, ...]  # in the order of the rules; the first counts
    named: tuple[str, ...]  # which properties the entry has


def fold(text: str) -> str:
    """Return a text as it is compared."""
    return " ".join(unicodedata.normalize("NFKC", text).casefold().split())


class CalendarRules:
    """The rules of one practice file, ready to be asked many times."""

    def __init__(self, practice: Practice) -> None:
        self.practice = practice
        chairs, kinds = {chair.id for chair in practice.chairs}, {kind.id for kind in practice.visit_kinds}
        self.rules = [
            (
                rule.property,
                fold(rule.equals),
                rule.chair if rule.chair in chairs else None,  # `check` tells a rule with an unknown chair or kind
                rule.visit_kind if rule.visit_kind in kinds else None,
                rule.ignore,
            )
            for rule in practice.calendar.rules
        ]
        default = practice.calendar.default_visit_kind
        self.default = default if default in kinds else None
        self.out_of_service = {chair.id for chair in practice.chairs if chair.out_of_service}

    def map(self, entry: RawEntry, master: RawEntry | None = None) -> Mapped:
        """Return what the rules say of an entry.

        A change of one instance that names no room of its own stays where its series is.
        """
        values = {name: self._values(entry, name) or (self._values(master, name) if master else set()) for name in _PROPERTIES}
        hits = [rule for rule in self.rules if rule[1] in values[rule[0]]]
        return Mapped(
            ignore=any(rule[4] for rule in hits),
            chairs=tuple(dict.fromkeys(rule[2] for rule in hits if rule[2])),
            kinds=tuple(dict.fromkeys(rule[3] for rule in hits if rule[3])) or ((self.default,) if self.default else ()),
            named=tuple(name for name in _PROPERTIES if values[name]),
        )

    def _values(self, entry: RawEntry, name: str) -> set[str]:
        if name == "calendar":
            return {fold(text) for text in entry.calendar.names if text.strip()}
        return {folded for text in texts(entry, name.upper()) if (folded := fold(text))}


_PROPERTIES = ("calendar", "location", "resources", "categories")
