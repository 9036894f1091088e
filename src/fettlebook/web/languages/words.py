"""Texts that pages show and that stand in no template and no call: words of enumerations, and names of the bundled rulebooks."""

import tomllib
from collections.abc import Iterator
from enum import StrEnum
from importlib.resources import files
from typing import Any, Final

from fettlebook.plan.set_stages import STAGES
from fettlebook.rules.model import Computed, Subject, When
from fettlebook.rules.words import FORCE, SURE
from fettlebook.standing.model import Verdict

ENUMERATIONS: Final[tuple[type[StrEnum], ...]] = (Verdict, When, Subject, Computed)


def words_shown() -> Iterator[tuple[str, str]]:
    """Yield each text, and where it comes from."""
    for enumeration in ENUMERATIONS:
        for member in enumeration:
            yield member.value, enumeration.__name__
    for table, words in (("stage of a set", STAGES), ("how sure", SURE.values()), ("force of a rule", FORCE.values())):
        for word in words:
            yield word, table
    for pack in sorted(
        (p for p in files("fettlebook.rules").joinpath("packs").iterdir() if p.name.endswith(".toml")), key=lambda p: p.name
    ):
        yield from _names(tomllib.loads(pack.read_text("utf-8")), pack.name.removesuffix(".toml"))


def _names(pack: dict[str, Any], name: str) -> Iterator[tuple[str, str]]:
    """Yield the names of a pack's duties and their steps; a source's own words stay as they are."""
    for duty in pack.get("duty", ()):
        if "name" in duty:
            yield duty["name"], f"rulebook {name}, duty {duty['id']}"
        for step in duty.get("step", duty.get("steps", ())):
            if isinstance(step, dict) and "name" in step:
                yield step["name"], f"rulebook {name}, step {step['id']}"
