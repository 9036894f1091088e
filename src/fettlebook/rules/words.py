"""A rulebook's values in words, the same on every screen: where a value comes from, how sure it is, how long a step is."""

from typing import Final

from fettlebook.rules.model import Limit, Origin, Overridden, Step
from fettlebook.rules.rows import COMMON_PRACTICE
from fettlebook.rules.strictness import Bound, in_words
from fettlebook.said import joined, said, term

SURE: Final[dict[str, str]] = {
    "read": said("source read"),
    "secondary": said("known from a text that quotes it"),
    "memory": said("UNCHECKED: from memory, look it up before you rely on it"),
    "practice": said("common practice"),
}
FORCE: Final[dict[str, str]] = {
    "law": said("law"),
    "guidance": said("guidance"),
    "standard": said("standard"),
    "body": said("professional body"),
    "paper": said("published study"),
    "practice": said("common practice"),
    "own": said("own rule"),
}


def origin_in_words(origin: Origin) -> str:
    """Return where a value comes from: layer, force, source, how sure."""
    if origin.force == "own":
        return said("own rule: {source}", source=term(origin.source))
    if origin.source == COMMON_PRACTICE:
        return said("{layer}: {source}", layer=term(origin.layer), source=term(origin.source))
    told = said("{layer}, {force}: {source}", layer=term(origin.layer), force=FORCE[origin.force], source=term(origin.source))
    return joined("; ", (told, SURE[origin.sure])) if origin.sure != "practice" else told


def overridden_in_words(overridden: Overridden) -> str:
    """Return a replaced value with its origin."""
    return said("{value} ({origin})", value=overridden.value, origin=origin_in_words(overridden.origin))


def limit_in_words(limit: Limit) -> str:
    """Return a limit as it is printed: `at most 500 CFU/mL`."""
    return in_words(Bound(limit.compare, limit.value, limit.unit, limit.stricter))


def length_in_words(step: Step) -> str:
    """Return how long a step is as far as the rulebook knows: its floor, its usual figure, or what computes it."""
    if step.length == "measured":
        return said("usually {seconds}", seconds=span(step.seconds or 0))
    if step.length == "fixed":
        return span(step.seconds or 0)
    if step.seconds is None:
        return said("computed")
    if step.floor_range_s is not None:
        low, high = step.floor_range_s
        return said(
            "computed, at least {seconds} (source: {low:g} to {high:g} s, upper end held)", seconds=span(step.seconds), low=low, high=high
        )
    return said("computed, at least {seconds}", seconds=span(step.seconds))


def span(length_s: float) -> str:
    """Return a length of time as a person says it: `45 s`, `2 min`, `2 min 30 s`."""
    minutes, rest = divmod(round(length_s, 3), 60)
    parts = [said("{minutes:.0f} min", minutes=minutes)] * bool(minutes) + [said("{rest:g} s", rest=rest)] * bool(rest or not minutes)
    return joined(" ", parts)
