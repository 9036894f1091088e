"""What stands beside the counts' verdict as evidence: what each treatment achieved, high results in a row, a rise of all chairs at once."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from fettlebook.errors import Mendable
from fettlebook.exchange.laboratory.from_book import BookWater, limit_cfu_ml
from fettlebook.exchange.laboratory.shared import Shared, shared_things
from fettlebook.practice.model import ProductUse
from fettlebook.rules.model import Limit, Requirement
from fettlebook.said import said
from fettlebook.science.trends.achieved import Reduction, reduction_of
from fettlebook.science.trends.cause import RiseCause, cause_of
from fettlebook.science.trends.supply import CommonRise, expected_before, rise_of
from fettlebook.standing.basis import DAY_MS
from fettlebook.standing.look import Look
from fettlebook.standing.water_history import ChairWater, Intensive, WaterResult

BEFORE_DAYS: Final = 60  # a result older than that says little of what a treatment met
AFTER_DAYS: Final = 45
ROUND_DAYS: Final = 21  # results this near to the newest one are one round
AFTER_HIGH: Final = "time from treatment to the next sample"
_LOG10: Final = re.compile(r"(\d+(?:[.,]\d+)?)\s*(?:-\s*)?log", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Achieved:
    """What a treatment took away, by the results before and after; how long no result was over the limit; what its label claims.

    `good_days`: days to the last result within the limit before anything else happened; `over_after_days`: to the first over it.
    """

    chair: str
    treatment: Intensive
    before: WaterResult | None
    after: WaterResult | None
    reduction: Reduction | None
    good_days: float | None
    over_after_days: float | None
    claim_log10: float | None


@dataclass(frozen=True, slots=True)
class HighInARow:
    """The newest results of a chair that are over a limit, one after the other; `treated` times in between."""

    chair: str
    results: tuple[WaterResult, ...]
    treated: int
    limit: Limit
    asked: Requirement | None

    @property
    def repeats(self) -> bool:
        """Whether it is the second at least: then the rules go on to the next step."""
        return len(self.results) > 1


@dataclass(frozen=True, slots=True)
class WaterBeside:
    """All of it; `no_rise` says why a common rise can't be told, where it can't.

    `cause` weighs what chairs share (`shared`) against each other; None where there is nothing to hold the round against.
    """

    achieved: tuple[Achieved, ...]
    high: tuple[HighInARow, ...]
    rise: CommonRise | None
    no_rise: str
    cause: RiseCause | None = None
    shared: tuple[Shared, ...] = ()


def water_beside(look: Look, water: BookWater) -> WaterBeside:
    """Return the evidence beside the verdict."""
    limit = water.limits[0] if water.limits else None
    achieved = tuple(one for chair in water.chairs for one in _achieved(look, water, chair, limit))
    high = tuple(found for chair in water.chairs if limit is not None and (found := _high(look, chair, limit)) is not None)
    rise, why, cause, shared = _rise(look, water)
    return WaterBeside(achieved, high, rise, why, cause, shared)


def claim_log10(look: Look) -> float | None:
    """Return the reduction that the label of the product for intensive treatment claims; None where it names none."""
    in_use = look.basis.practice.in_use.line_intensive
    claims = [u.claim for p in look.basis.practice.products if p.id == in_use for u in p.uses if u.use is ProductUse.LINE_INTENSIVE]
    found = next((match for claim in claims if (match := _LOG10.search(claim))), None)
    return float(found.group(1).replace(",", ".")) if found else None


def _over(result: WaterResult, limit: Limit) -> bool:
    return result.mark == "above" or (result.per_ml is not None and result.mark != "below" and result.per_ml > limit_cfu_ml(limit))


def _achieved(look: Look, water: BookWater, chair: ChairWater, limit: Limit | None) -> Iterator[Achieved]:
    claim, between = claim_log10(look), water.judged.trend.shared["s"][0]
    for number, one in enumerate(chair.whole):
        begun = one.began_ms if one.began_ms is not None else one.done_ms
        since = chair.whole[number - 1].done_ms if number else 0
        until = (chair.whole[number + 1].began_ms or chair.whole[number + 1].done_ms) if number + 1 < len(chair.whole) else look.at
        usable = [r for r in chair.results if not r.doubts and r.seen is not None]
        before = [r for r in usable if max(since, begun - BEFORE_DAYS * DAY_MS) <= r.taken_ms < begun]
        later = [r for r in usable if one.done_ms <= r.taken_ms <= until]
        after = next((r for r in later if r.taken_ms <= one.done_ms + AFTER_DAYS * DAY_MS), None)
        met, left = (before[-1].seen if before else None), (after.seen if after else None)
        reduction = reduction_of(met, left, between) if met is not None and left is not None else None
        over = next((r for r in later if limit is not None and _over(r, limit)), None)
        good = [r for r in later if limit is not None and not _over(r, limit) and (over is None or r.taken_ms < over.taken_ms)]
        yield Achieved(
            chair.chair, one, before[-1] if before else None, after, reduction,
            (good[-1].taken_ms - one.done_ms) / DAY_MS if good else None,
            (over.taken_ms - one.done_ms) / DAY_MS if over else None,
            claim,
        )  # fmt: skip


def _high(look: Look, chair: ChairWater, limit: Limit) -> HighInARow | None:
    row: list[WaterResult] = []
    for result in reversed(chair.results):
        if not _over(result, limit):
            break
        row.insert(0, result)
    if not row:
        return None
    treated = sum(row[0].taken_ms < one.done_ms <= row[-1].taken_ms for one in chair.whole)
    return HighInARow(chair.chair, tuple(row), treated, limit, look.basis.asks(AFTER_HIGH))


def _rise(look: Look, water: BookWater) -> tuple[CommonRise | None, str, RiseCause | None, tuple[Shared, ...]]:
    used = water.judged.used
    if not used:
        return None, said("no result that can be used"), None, ()
    newest = max(row.sampled_on for row, _ in used)
    last = {row.chair: (row, sample) for row, sample in used if (newest - row.sampled_on).days <= ROUND_DAYS}
    round_of = {id(sample) for _, sample in last.values()}
    starts = min(row.sampled_on for row, _ in last.values())
    earlier = [(row.sampled_on, s) for row, s in used if id(s) not in round_of and row.sampled_on < starts]
    try:
        trend, held = expected_before([s for _, s in earlier], [sample for _, sample in last.values()], water.judged.priors)
    except Mendable:
        return None, f"fewer than three chairs were sampled within {ROUND_DAYS} days and before", None, ()
    shared = shared_things(look, water, max(day for day, _ in earlier), held)
    return rise_of(trend, held), "", cause_of(trend, held, {one.name: one.chairs for one in shared}), shared
