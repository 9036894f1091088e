"""Texts that pages show and that stand in no template and no call: words of enumerations, and names of the bundled rulebooks."""

import tomllib
from collections.abc import Iterator
from enum import StrEnum
from importlib.resources import files
from typing import Any, Final

from fettlebook.plan.set_stages import STAGES
from fettlebook.practice import model as practice
from fettlebook.rules.model import Computed, Subject, When
from fettlebook.rules.words import FORCE, SURE
from fettlebook.standing.model import Verdict
from fettlebook.web.board import WORD

ENUMERATIONS: Final[tuple[type[StrEnum], ...]] = (Verdict, When, Subject, Computed, practice.Role, practice.Skill)
# Words that entries, rows of rulebooks and tasks of a plan carry as data; who shows them calls `term` or the filter `say`.
CARRIED: Final = {
    "outcome": ("passed", "failed", "aborted", "nothing", "done", "broken off", "unproven", "not needed", "open", "not yet"),
    "decision": ("released", "released before its spore result", "rejected", "recalled", "returned"),
    "seen at a pack": ("wet", "torn", "opened", "indicator not turned", "solid", "porous", "hollow"),
    "control of a spore test": ("as it should", "not as it should", "none"),
    "test": ("spore test", "air-removal test", "leak test", "Spore test", "Air-removal test", "Leak test"),
    "how often": ("day", "week", "quarter", "year"),
    "role of a limit": ("aim", "alert", "action", "limit", "context"),
    "what is counted": ("water count", "Legionella"),
    "water": ("hot", "cold", "mixed", "opened"),
    "part with a life": ("water filter", "water bottle", "suction filter", "separator", "other", "changed", "cleaned"),
    "work": tuple(WORD) + tuple(WORD.values()) + ("packing", "program"),
    "lane": ("chair", "person", "machine"),
    "machine": ("washers", "sterilizers", "ultrasonic baths", "set type", "set types", "people"),
    "how a plan was made": ("list scheduler", "exact model", "neighbourhood search"),
    "how a time was set": ("rule", "label", "line", "fixed", "measured", "usual", "computed"),
}


def words_shown() -> Iterator[tuple[str, str]]:
    """Yield each text, and where it comes from."""
    for enumeration in ENUMERATIONS:
        for member in enumeration:
            yield member.value, enumeration.__name__
    for table, words in (("stage of a set", STAGES), ("how sure", SURE.values()), ("force of a rule", FORCE.values())):
        for word in words:
            yield word, table
    for place, carried in CARRIED.items():
        for word in carried:
            yield word, place
    for pack in sorted(
        (p for p in files("fettlebook.rules").joinpath("packs").iterdir() if p.name.endswith(".toml")), key=lambda p: p.name
    ):
        yield from _names(tomllib.loads(pack.read_text("utf-8")), pack.name.removesuffix(".toml"))


def _names(pack: dict[str, Any], name: str) -> Iterator[tuple[str, str]]:
    """Yield the names of a pack's duties and their steps; a source's own words stay as they are."""
    for duty in pack.get("duty", ()):
        if "name" in duty:
            yield duty["name"], f"rulebook {name}, duty {duty['id']}"
        for step in duty.get("steps", ()):
            if "name" in step:
                yield step["name"], f"rulebook {name}, step {step['id']}"
            if step.get("caution"):
                yield step["caution"], f"rulebook {name}, caution at step {step['id']}"
            for word in step.get("evidence", ()):
                yield word, "evidence of a step"
