"""One thing that was looked at, and what was seen."""

from dataclasses import dataclass
from enum import StrEnum

from fettlebook.errors import Finding


class Seen(StrEnum):
    """How it stands with one thing."""

    GOOD = "good"
    LOOK = "look"  # works now, and will not for long; or nobody can tell
    BAD = "bad"


SIGNS = {Seen.GOOD: "●", Seen.LOOK: "▲", Seen.BAD: "■"}


@dataclass(frozen=True, slots=True)
class Looked:
    """What was looked at, how it stands, in words, and how to mend it (empty where nothing is to be done)."""

    thing: str
    seen: Seen
    line: str
    mend: str = ""


def of_finding(thing: str, finding: Finding) -> Looked:
    """Return a finding as something that was looked at."""
    return Looked(thing, Seen.BAD if finding.weight == "error" else Seen.LOOK, finding.what, finding.mend)
