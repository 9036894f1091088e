"""How much may be left: the shares that a flush and a fill aim at.

No authority read so far names a share of old water; they name seconds. The general rulebook carries the shares as
fettlebook's own choice (docs/assistant/running-times.md says why), so that a practice can set its own; a rulebook without
them gets the same figures from here.
"""

from dataclasses import dataclass
from typing import Final

from fettlebook.rules.model import Origin, Rulebook, When
from fettlebook.said import said
from fettlebook.times.label import Gap

FLUSH_WHOLE: Final = "times.flush_share_left"
FLUSH_LAST_HOSE: Final = "times.flush_share_left_between"
FILL_MISSING: Final = "times.fill_share_missing"
OWN_CHOICE: Final = said("fettlebook's own choice; no authority states a share")

_DEFAULTS: Final = {
    FLUSH_WHOLE: (0.05, said("share of the standing water that may still come out after a flush of the whole line")),
    FLUSH_LAST_HOSE: (0.05, said("share of the last hose's water that may still come out after a flush between visits")),
    FILL_MISSING: (0.05, said("share of the feed strength that may still be missing at the last outlet")),
}


@dataclass(frozen=True, slots=True)
class Target:
    """A share that is aimed at, above 0 and below 1, with where it comes from."""

    share: float
    origin: Origin


def target(rulebook: Rulebook, limit_id: str) -> Target | Gap:
    """Return the share that the rulebook sets under `limit_id`, else the default; a share that nothing can reach is a gap."""
    limit = rulebook.limit(limit_id)
    if limit is None or not limit.value:
        share, meaning = _DEFAULTS[limit_id]
        return Target(share, Origin("fettlebook", limit_id, OWN_CHOICE, "practice", "practice", note=meaning))
    share = limit.value[0] / 100 if limit.unit == "%" else limit.value[0]
    if not 0.0 < share < 1.0:
        never = said("no fill ever reaches the whole strength") if limit_id == FILL_MISSING else said("no flush ever leaves nothing")
        return Gap(
            said('"{limit_id}" is {it:g} {unit}, and {never}', limit_id=limit_id, it=limit.value[0], unit=limit.unit, never=never)
            if share <= 0.0
            else said('"{limit_id}" is {share:g} %', limit_id=limit_id, share=share * 100),
            said("Set it above 0 and below 100 %, in own_rules of the practice file."),
        )
    return Target(share, limit.origin)


def share_or_default(rulebook: Rulebook, limit_id: str) -> float:
    """Return the share, or the default where the rulebook's can't be used; the step that needs it tells the gap."""
    found = target(rulebook, limit_id)
    return found.share if isinstance(found, Target) else _DEFAULTS[limit_id][0]


def flush_target_id(when: When) -> str:
    """Return which share a flush aims at: the last hose between visits, the whole line at any other moment."""
    return FLUSH_LAST_HOSE if when is When.BETWEEN_VISITS else FLUSH_WHOLE
