"""The map from calendar entries to chairs and visit kinds says one thing of each entry."""

import unicodedata
from collections.abc import Iterator

from fettlebook.practice.lines import KeyPath
from fettlebook.practice.model import MapRule
from fettlebook.practice.parts import Parts
from fettlebook.practice.place import Fault
from fettlebook.practice.relations.unknown import unknown


def check_calendar(parts: Parts) -> Iterator[Fault]:
    """Yield rules that name nothing known, do nothing, or contradict each other, and chairs that no rule reaches."""
    kinds, default = parts.ids["visit_kinds"], parts.default_visit_kind
    if default is not None and default not in kinds:
        yield unknown(("calendar", "default_visit_kind"), "visit kind", default, kinds)
    known: dict[tuple[str, str], list[MapRule]] = {}
    for number, rule in parts.map_rules:
        at: KeyPath = ("calendar", "rules", number)
        yield from _rule(rule, at, parts)
        same = known.setdefault((rule.property, _compared(rule.equals)), [])
        if any(_contradict(rule, other) for other in same):
            yield Fault(at, f'it contradicts an earlier rule on {rule.property} "{rule.equals}"', "Keep one of the two.")
        elif rule in same:
            yield Fault(at, "the same rule stands twice", "Take one out.", "warning")
        same.append(rule)
    reached = {rule.chair for _, rule in parts.map_rules if rule.chair is not None}
    if "rules" in parts.whole and reached and reached <= parts.ids["chairs"]:  # a mistyped chair is told once, above
        for number, chair in parts.chairs:
            if chair.id not in reached and not chair.out_of_service:
                yield Fault(
                    ("chairs", number),
                    "no calendar rule leads to this chair, so the appointment book never has a visit for it",
                    f'Add a rule to [calendar] with chair = "{chair.id}".',
                    "warning",
                )


def _rule(rule: MapRule, at: KeyPath, parts: Parts) -> Iterator[Fault]:
    if rule.chair is not None and rule.chair not in parts.ids["chairs"]:
        yield unknown((*at, "chair"), "chair", rule.chair, parts.ids["chairs"])
    if rule.visit_kind is not None and rule.visit_kind not in parts.ids["visit_kinds"]:
        yield unknown((*at, "visit_kind"), "visit kind", rule.visit_kind, parts.ids["visit_kinds"])
    if rule.ignore and (rule.chair or rule.visit_kind):
        yield Fault(at, "it ignores the entry and gives it a chair or kind as well", "Keep ignore = true alone, or take it out.")
    elif not rule.ignore and not rule.chair and not rule.visit_kind:
        yield Fault(at, "the rule does nothing", "Add chair, visit_kind or ignore = true.")


def _contradict(rule: MapRule, other: MapRule) -> bool:
    if rule.ignore != other.ignore:
        return True
    pairs = ((rule.chair, other.chair), (rule.visit_kind, other.visit_kind))
    return any(one is not None and two is not None and one != two for one, two in pairs)


def _compared(text: str) -> str:
    """Return a text as the appointment book's reader compares it: case, spaces and the storing of accents don't count."""
    return " ".join(unicodedata.normalize("NFKC", text).casefold().split())
