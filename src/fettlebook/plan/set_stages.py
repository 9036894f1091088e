"""Where each set is through the day: on the shelf, in use, used, in the washer, to be packed, in the sterilizer.

Comes in: an instance and its plan. Goes out: for each unit its stages in order, and for each type how many are where at
each minute at which something changes, with the first moment at which too few lie sterile. Pure.
"""

from collections import Counter
from dataclasses import dataclass
from typing import Final, Literal

from fettlebook.plan.instance import Instance, Plan

Stage = Literal["sterile", "in use", "used", "in the washer", "to be packed", "in the sterilizer"]
STAGES: Final[tuple[Stage, ...]] = ("sterile", "in use", "used", "in the washer", "to be packed", "in the sterilizer")


@dataclass(frozen=True, slots=True)
class Level:
    """How many units of a type are at which stage from a minute on; together they are all that is owned."""

    at: int
    counts: dict[Stage, int]


@dataclass(frozen=True, slots=True)
class Short:
    """The first moment at which a visit is booked and fewer units lie sterile than it needs; `waits`: minutes until it starts."""

    at: int
    visit: str
    needed: int
    sterile: int
    waits: int | None  # None: the visit is not served in this plan


@dataclass(frozen=True, slots=True)
class SetLevels:
    """One type of set through the day."""

    kind: str
    owned: int
    levels: tuple[Level, ...]
    short: Short | None

    def at(self, minute: int) -> Level:
        """Return the level that holds at a minute."""
        return next((x for x in reversed(self.levels) if x.at <= minute), self.levels[0])

    @property
    def lowest(self) -> int:
        """The fewest that lie sterile at any time."""
        return min(x.counts["sterile"] for x in self.levels)


def stages_of(day: Instance, plan: Plan) -> dict[str, tuple[tuple[int, Stage], ...]]:
    """Return unit -> (minute, stage from then on), in order; every unit is sterile as the day starts."""
    found: dict[str, list[tuple[int, Stage]]] = {
        f"{t.id}#{n}": [(day.day_start, "sterile")] for t in day.set_types for n in range(1, t.owned + 1)
    }
    cleared = cleared_at(day, plan)
    for v in plan.visits:
        for u in v.units:
            found[u].append((v.start, "in use"))
            if v.id in cleared:
                found[u].append((cleared[v.id], "used"))
    sterilizers = {m.id for m in day.sterilizers}
    baths = {m.id for m in day.baths}
    r = day.reprocess
    for b in plan.batches:
        inside: Stage = "in the sterilizer" if b.machine in sterilizers else "in the washer"
        out = None if b.unload_start is None else b.unload_start + r.unload_minutes
        for u in b.units:
            found[u].append((b.load_start, inside))
            if out is None or b.machine in baths:  # from the bath it goes on into the washer
                continue
            found[u].append((out + r.cool_minutes, "sterile") if b.machine in sterilizers else (out, "to be packed"))
    return {u: tuple(sorted(stages, key=lambda s: s[0])) for u, stages in found.items()}


def cleared_at(day: Instance, plan: Plan) -> dict[str, int]:
    """Return visit -> the minute at which its sets are cleared away: the end of the first step after it."""
    chairs = {c.id: c for c in day.chairs}
    return {
        s.after: s.start + chairs[s.chair].procedure(s.procedure)[0].minutes for s in plan.steps if s.after is not None and s.index == 0
    }


def levels_of(day: Instance, plan: Plan) -> tuple[SetLevels, ...]:
    """Return the levels of each type of set that is owned or asked for, in the order of the instance."""
    stages = stages_of(day, plan)
    out = []
    for t in day.set_types:
        units = [stages[f"{t.id}#{n}"] for n in range(1, t.owned + 1)]
        levels = _levels(day, units)
        out.append(SetLevels(t.id, t.owned, levels, _short(day, plan, t.id, levels)))
    return tuple(out)


def _levels(day: Instance, units: list[tuple[tuple[int, Stage], ...]]) -> tuple[Level, ...]:
    moves: dict[int, Counter[Stage]] = {}
    for stages in units:
        was: Stage | None = None
        for minute, stage in stages:
            change = moves.setdefault(minute, Counter())
            change[stage] += 1
            if was is not None:
                change[was] -= 1
            was = stage
    now: Counter[Stage] = Counter()
    out = []
    for minute in sorted({day.day_start, *moves}):
        now.update(moves.get(minute, {}))
        out.append(Level(minute, {s: now[s] for s in STAGES}))
    return tuple(out)


def _short(day: Instance, plan: Plan, kind: str, levels: tuple[Level, ...]) -> Short | None:
    """Find the first visit that at its booked minute has not got its sets and finds too few on the shelf."""
    starts = {v.id: v.start for v in plan.visits}
    shelf = SetLevels(kind, 0, levels, None)
    for v in sorted(day.visits, key=lambda v: v.booked):
        needed, start = v.needs().get(kind, 0), starts.get(v.id)
        if not needed or (start is not None and start <= v.booked):
            continue
        sterile = shelf.at(v.booked).counts["sterile"]
        if sterile < needed:
            return Short(v.booked, v.id, needed, sterile, None if start is None else start - v.booked)
    return None
