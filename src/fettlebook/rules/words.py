"""A rulebook's values in words, the same on every screen: where a value comes from, how sure it is, how long a step is."""

from typing import Final

from fettlebook.rules.model import Limit, Origin, Overridden, Step
from fettlebook.rules.rows import COMMON_PRACTICE
from fettlebook.rules.strictness import Bound, in_words

SURE: Final[dict[str, str]] = {
    "read": "source read",
    "secondary": "known from a text that quotes it",
    "memory": "UNCHECKED: from memory, look it up before you rely on it",
    "practice": "common practice",
}
FORCE: Final[dict[str, str]] = {
    "law": "law",
    "guidance": "guidance",
    "standard": "standard",
    "body": "professional body",
    "paper": "published study",
    "practice": "common practice",
    "own": "own rule",
}


def origin_in_words(origin: Origin) -> str:
    """Return where a value comes from: layer, force, source, how sure."""
    if origin.force == "own":
        return f"own rule: {origin.source}"
    if origin.source == COMMON_PRACTICE:
        return f"{origin.layer}: {origin.source}"
    sure = f"; {SURE[origin.sure]}" if origin.sure != "practice" else ""
    return f"{origin.layer}, {FORCE[origin.force]}: {origin.source}{sure}"


def overridden_in_words(overridden: Overridden) -> str:
    """Return a replaced value with its origin."""
    return f"{overridden.value} ({origin_in_words(overridden.origin)})"


def limit_in_words(limit: Limit) -> str:
    """Return a limit as it is printed: `at most 500 CFU/mL`."""
    return in_words(Bound(limit.compare, limit.value, limit.unit, limit.stricter))


def length_in_words(step: Step) -> str:
    """Return how long a step is as far as the rulebook knows: its floor, its usual figure, or what computes it."""
    if step.length == "measured":
        return f"usually {span(step.seconds or 0)}"
    if step.length == "fixed":
        return span(step.seconds or 0)
    if step.seconds is None:
        return "computed"
    if step.floor_range_s is not None:
        low, high = step.floor_range_s
        return f"computed, at least {span(step.seconds)} (source: {low:g} to {high:g} s, upper end held)"
    return f"computed, at least {span(step.seconds)}"


def span(length_s: float) -> str:
    """Return a length of time as a person says it: `45 s`, `2 min`, `2 min 30 s`."""
    minutes, rest = divmod(round(length_s, 3), 60)
    parts = [f"{minutes:.0f} min"] * bool(minutes) + [f"{rest:g} s"] * bool(rest or not minutes)
    return " ".join(parts)
