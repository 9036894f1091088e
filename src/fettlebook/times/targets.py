"""How much may be left: the shares that a flush and a fill aim at.

No authority read so far names a share of old water; they name seconds. The two shares here are fettlebook's own choice
(docs/assistant/running-times.md says why), marked so wherever they are shown, and a rulebook's limit of the same id
replaces them.
"""

from dataclasses import dataclass
from typing import Final

from fettlebook.rules.model import Origin, Rulebook, When

FLUSH_WHOLE: Final = "times.flush_share_left"
FLUSH_LAST_HOSE: Final = "times.flush_share_left_between"
FILL_MISSING: Final = "times.fill_share_missing"

_DEFAULTS: Final = {
    FLUSH_WHOLE: (0.05, "share of the standing water that may still come out after a flush of the whole line"),
    FLUSH_LAST_HOSE: (0.05, "share of the last hose's water that may still come out after a flush between visits"),
    FILL_MISSING: (0.05, "share of the feed strength that may still be missing at the last outlet"),
}


@dataclass(frozen=True, slots=True)
class Target:
    """A share that is aimed at, 0 to 1, with where it comes from."""

    share: float
    origin: Origin

    @property
    def own_choice(self) -> bool:
        """Whether nobody but this program chose the figure."""
        return self.origin.layer == "fettlebook"


def target(rulebook: Rulebook, limit_id: str) -> Target:
    """Return the share that the rulebook sets under `limit_id`, or this program's own default."""
    limit = rulebook.limit(limit_id)
    if limit is not None and limit.value:
        return Target(limit.value[0] / 100 if limit.unit == "%" else limit.value[0], limit.origin)
    share, meaning = _DEFAULTS[limit_id]
    return Target(
        share, Origin("fettlebook", limit_id, "fettlebook's own choice: no authority gives a share", "practice", "practice", note=meaning)
    )


def flush_target_id(when: When) -> str:
    """Return which share a flush aims at: the last hose between visits, the whole line at any other moment."""
    return FLUSH_LAST_HOSE if when is When.BETWEEN_VISITS else FLUSH_WHOLE
