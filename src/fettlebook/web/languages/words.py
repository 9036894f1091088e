"""Texts that pages show and that stand in no template and no call: words of enumerations, and names of the bundled rulebooks."""

import tomllib
from collections.abc import Iterator
from enum import StrEnum
from importlib.resources import files
from typing import Any, Final

from fettlebook.plan.set_stages import STAGES
from fettlebook.practice import model as practice
from fettlebook.rules.model import Computed, Subject, When
from fettlebook.rules.rows import COMMON_PRACTICE
from fettlebook.rules.words import FORCE, SURE
from fettlebook.science.cycles.drift import CHARTED
from fettlebook.standing.basis import BOOK
from fettlebook.standing.failure import E5, E8
from fettlebook.standing.model import Verdict
from fettlebook.standing.parts import LABEL
from fettlebook.standing.treatments import Held
from fettlebook.times.through import LINE_ORIGIN
from fettlebook.web.board import WORD

ENUMERATIONS: Final[tuple[type[StrEnum], ...]] = (Verdict, When, Subject, Computed, practice.Role, practice.Skill, practice.SupplyKind)
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
    "how sure, in short": ("read", "secondary"),
    "measured first": ("flow", "bore", "length"),
    "flow": ("laminar", "turbulent", "transitional"),
    "layer": ("practice file", "label", "book"),
    # A rule's own source stays in its language; these are the program's words where it stands on no rule.
    "source of the program's own": (
        COMMON_PRACTICE,
        BOOK.source,
        E5.source,
        E8.source,
        LABEL.source,
        LINE_ORIGIN.source,
        "its instructions for use, as the practice file holds them",
        "the product's label, as the practice file holds it",
        "the practice's own list of tests, by the machine's IFU",
        "common practice; IFU",
        "common practice; IFU comes first",
        "common practice, no source (the label of the product in use comes first)",
    ),
    "moment of a strip": ("feed", "after the rinse", "dose in the water", "feed of a treatment", "left after the rinse"),
    "how long a step ran": tuple(held.value for held in Held),
    "check of cleaning": ("mark", "ATP"),
    "quantity of a cycle": tuple(name for name, _, _ in CHARTED.values()),
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
    for step in (*(step for duty in pack.get("duty", ()) for step in duty.get("steps", ())), *pack.get("added_step", ())):
        if "name" in step:
            yield step["name"], f"rulebook {name}, step {step['id']}"
        if step.get("caution"):
            yield step["caution"], f"rulebook {name}, caution at step {step['id']}"
        for word in step.get("evidence", ()):
            yield word, "evidence of a step"
    for row in pack.get("requirement", ()):
        if ".neutraliser_" in row["id"]:  # what goes into a sample's bottle stands on the sampling sheet
            yield row["topic"], f"rulebook {name}, {row['id']}"
            if row.get("note"):
                yield row["note"], f"rulebook {name}, note of {row['id']}"
