"""A solved day in words: one line for all of it, why a visit is late, what is short and what would mend it.

Comes in: an instance, what `solve` found, a way to say minutes, names and chairs. Goes out: text. A mend is only named
when planning the mended day again serves every visit.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

from fettlebook.plan.bound import Reason, Search, circulation_bound
from fettlebook.plan.day import DayVerdict, Shortage
from fettlebook.plan.instance import Instance, Plan, Visit
from fettlebook.plan.solve import Hopeless, Solved, solve

MOST_EXTRA_SETS = 8
EXTRA_MINUTES = (30, 60, 120)


@dataclass(frozen=True, slots=True)
class Words:
    """How to say a minute, a set type and a visit."""

    minute: Callable[[int], str]
    sets: Mapping[str, str]

    def set_name(self, kind: str) -> str:
        """Return the name of a set type."""
        return self.sets.get(kind, kind)


def verdict_of(solved: Solved, *, booked: int) -> DayVerdict:
    """Return what the plan says of the day; `booked` counts every visit in the book, planned or refused."""
    if booked == 0:
        return DayVerdict.NOTHING_BOOKED
    if len(solved.plan.visits) < booked:
        return DayVerdict.DOES_NOT_FIT
    return DayVerdict.LATE if solved.figures.visits_late else DayVerdict.FITS


def line(day: Instance, solved: Solved, words: Words, *, booked: int, shortages: tuple[Shortage, ...], unknown_steps: int = 0) -> str:
    """Return the verdict of the day in one line."""
    verdict, f = verdict_of(solved, booked=booked), solved.figures
    closed = f"last chair closed {words.minute(f.end_of_day)}"
    if verdict is DayVerdict.NOTHING_BOOKED:
        return "nothing booked"
    if verdict is DayVerdict.FITS:
        text = f"fits: {'the one visit' if booked == 1 else f'all {booked} visits'} on time, {closed}"
    elif verdict is DayVerdict.LATE:
        text = f"{_visits(f.visits_late)} late, {_late(day, solved)}; {closed}"
    else:
        left = booked - len(solved.plan.visits)
        why = (
            f": {shortages[0].what}, {shortages[0].when}"
            if shortages and shortages[0].when
            else f": {shortages[0].what}"
            if shortages
            else ""
        )
        text = f"does not fit{why}; {_visits(left)} of {booked} not served"
        if f.visits_late:
            text += f", {_visits(f.visits_late)} late"
    if unknown_steps:
        text += f"; counts on {unknown_steps} {'step' if unknown_steps == 1 else 'steps'} of unknown length"
    return text


def _visits(n: int) -> str:
    return "1 visit" if n == 1 else f"{n} visits"


def _late(day: Instance, solved: Solved) -> str:
    """Say how late in all, and how much of it no plan can take away."""
    minutes = minutes_late(day, solved.plan)
    weights = {v.weight for v in day.visits if minutes.get(v.id)}
    total, weighted, bound = sum(minutes.values()), solved.weighted_minutes_late, solved.bound
    said = f"{total} min in all"
    if bound >= weighted:
        return f"{said}, which no plan can better"
    if bound <= 0:
        return said
    if len(weights) == 1:
        return f"{said}; {-(-bound // weights.pop())} min of it can't be planned away"
    share = 100 * bound // weighted
    return f"{said}; at least {share} % of it can't be planned away" if share else said


def minutes_late(day: Instance, plan: Plan) -> dict[str, int]:
    """Return visit -> minutes late, of the visits that are served."""
    start = {v.id: v.start for v in plan.visits}
    return {v.id: start[v.id] - v.booked for v in day.visits if v.id in start}


def why_late(day: Instance, plan: Plan, words: Words) -> dict[str, str]:
    """Return, for each late visit, what it waits for at the moment before it starts."""
    return {ref: _why(day, plan, words, ref) for ref, late in minutes_late(day, plan).items() if late > 0}


def _why(day: Instance, plan: Plan, words: Words, ref: str) -> str:
    visit = next(v for v in day.visits if v.id == ref)
    start = {v.id: v.start for v in plan.visits}
    chair = next(c for c in day.chairs if c.id == visit.chair)
    own = [v for v in day.visits_of(visit.chair) if v.id in start]
    at = next(i for i, v in enumerate(own) if v.id == ref)
    before = own[at - 1] if at else None
    steps = sorted(
        (s.start, chair.procedure(s.procedure)[s.index].minutes)
        for s in plan.steps
        if (s.chair, s.after) == (chair.id, before and before.id)
    )
    ready = max((a + m for a, m in steps), default=day.day_start)
    if start[ref] > ready:
        return f"the chair is ready at {words.minute(ready)}; waits for {_scarce(day, plan, words, visit)}"
    left = start[before.id] + before.minutes if before else day.day_start
    waited = [b[0] - (a[0] + a[1]) for a, b in pairwise([(left, 0), *steps])]
    needed = sum(m for _, m in steps)
    hands = sum(waited)
    parts = []
    if before and start[before.id] > before.booked:
        parts.append(f"the visit before starts {start[before.id] - before.booked} min late")
    if before and visit.booked - (before.booked + before.minutes) < needed:
        parts.append(f"the book leaves {max(0, visit.booked - before.booked - before.minutes)} min, the turnover takes {needed}")
    if before is None and not hands:
        parts.append(f"opening the chair takes {needed} min")
    if hands and before:
        parts.append(f"the turnover waits {hands} min for somebody free")
    if before is None and hands:
        parts.append(f"nobody is free to open the chair in time; it begins at {words.minute(steps[0][0])}")
    return "; ".join(parts)


def _scarce(day: Instance, plan: Plan, words: Words, visit: Visit) -> str:
    """Name the set that comes back last before a visit."""
    sterilizers = {m.id for m in day.sterilizers}
    units = next(v.units for v in plan.visits if v.id == visit.id)
    start = next(v.start for v in plan.visits if v.id == visit.id)
    r = day.reprocess
    back = [
        (b.unload_start + r.unload_minutes + r.cool_minutes, u.rpartition("#")[0])
        for b in plan.batches
        if b.machine in sterilizers and b.unload_start is not None
        for u in b.units
        if u in units and b.unload_start < start
    ]
    if not back:
        return "a set"
    ready, kind = max(back)
    return f"a set: {words.set_name(kind)}, back at {words.minute(ready)}"


def shortages_of(
    day: Instance, solved: Solved, words: Words, *, limit_s: float, seed: int = 0, deterministic: float | None = None
) -> tuple[Shortage, ...]:
    """Return what is short, where and when, and what would mend it.

    Parameters
    ----------
    day
        The instance.
    solved
        What `solve` found for it.
    words
        How to say things.
    limit_s, seed, deterministic
        Limits for trying each mend.
    """
    out: list[Shortage] = []
    visits = {v.id: v for v in day.visits}
    for h in solved.hopeless:
        v = visits[h.visit]
        where = words.set_name(h.reason.id) if h.reason.kind == "set type" else v.chair
        why = hopeless_words(h, words)
        mend = "Own more of them, or book the visit elsewhere." if h.reason.kind == "set type" else "Move the visit."
        out.append(Shortage(f"a visit {why}", where, f"at {words.minute(v.booked)}", mend))
    left = [visits[v] for v in solved.plan.left_out if v not in {h.visit for h in solved.hopeless}]
    if left:
        rest = day.without(h.visit for h in solved.hopeless)
        search = Search(min(1.0, limit_s), seed, 2, deterministic)
        mends = _tried_mends(rest, solved.core, words, limit_s=limit_s, seed=seed, deterministic=deterministic)
        together = (
            " ".join(mends)
            or "Move one of the visits that are not served: " + ", ".join(f"{words.minute(v.booked)} {v.chair}" for v in left[:4]) + "."
        )
        reasons = solved.core or (Reason("no plan found"),)
        out += [replace(_reason(rest, r, reasons, words, search), mend=together) for r in reasons]
    return tuple(out)


def hopeless_words(h: Hopeless, words: Words) -> str:
    """Return why a visit can't be served, with sets by their names: 'needs 2 of Filling set, 1 owned'."""
    return h.why.replace(h.reason.id, words.set_name(h.reason.id)) if h.reason.id else h.why


def _reason(day: Instance, r: Reason, reasons: tuple[Reason, ...], words: Words, search: Search) -> Shortage:
    others = [x for x in reasons if x != r]
    if r.kind == "set type":
        owned, needed = day.owned()[r.id], _sets_needed(day, r.id, search)
        more = f"{needed} needed" if needed is not None else "too few"
        until = _by_when(day, search)
        return Shortage(f"{words.set_name(r.id)}: {owned} owned, {more}", "sets", f"by {words.minute(until)}", "")
    if r.kind == "people":
        return Shortage("not enough hands for the chairs", "people", f"by {words.minute(_by_when(day, search))}", "")
    if r.kind == "end of day":
        also = "" if others else ": opening, visits and closing don't fit before it"
        return Shortage(f"the last shift ends at {words.minute(day.day_end)}{also}", "people", "", "")
    if r.kind == "chair":
        return Shortage(f"{r.id}: its visits and turnovers alone don't fit into the day", r.id, "", "")
    if r.kind == "latest start":
        return Shortage("visits that must start by a given minute", "visits", "", "")
    if r.kind == "everything together":
        return Shortage("chairs, people, sets and machines together leave no room for all visits", "whole day", "", "")
    return Shortage("no plan with all visits was found in the time given", "whole day", "", "")


def _sets_needed(day: Instance, kind: str, search: Search) -> int | None:
    for more in range(1, MOST_EXTRA_SETS + 1):
        if circulation_bound(_with_sets(day, kind, more), search, only_possible=True).possible is not False:
            return day.owned()[kind] + more
    return None


def _by_when(day: Instance, search: Search) -> int:
    """Return when the first visit is booked with which the visits so far can't all be served."""
    order = sorted({v.booked for v in day.visits})
    low, high = 0, len(order) - 1
    while low < high:
        middle = (low + high) // 2
        early = day.without(v.id for v in day.visits if v.booked > order[middle])
        if circulation_bound(early, search, only_possible=True).possible is False:
            high = middle
        else:
            low = middle + 1
    return order[low]


def _tried_mends(
    day: Instance, reasons: tuple[Reason, ...], words: Words, *, limit_s: float, seed: int, deterministic: float | None
) -> list[str]:
    """Try the mends that the reasons suggest, the smallest first; return those that let the whole day fit."""
    tried: list[tuple[str, Instance]] = []
    for r in reasons:
        if r.kind == "set type":
            tried += [(f"{n} more of {words.set_name(r.id)}", _with_sets(day, r.id, n)) for n in (1, 2)]
    if day.people:
        last = max(day.people, key=lambda p: p.to)
        tried += [(f"{last.id} stays {m} min longer", _longer(day, last.id, m)) for m in EXTRA_MINUTES]
    out = []
    kinds_done: set[str] = set()
    for text, mended in tried:
        kind = text.split(" ", 1)[1] if text[0].isdigit() else "longer"
        if kind in kinds_done:
            continue
        found = solve(mended, limit_s=limit_s / max(1, len(tried)), seed=seed, deterministic=deterministic)
        if not found.plan.left_out:
            kinds_done.add(kind)
            late = found.figures.visits_late
            out.append(f"Tried: {text}, and all visits fit{f', {_visits(late)} late' if late else ''}.")
    return out


def _with_sets(day: Instance, kind: str, more: int) -> Instance:
    types = tuple(t.model_copy(update={"owned": t.owned + more}) if t.id == kind else t for t in day.set_types)
    return day.model_copy(update={"set_types": types})


def _longer(day: Instance, person: str, minutes: int) -> Instance:
    people = tuple(p.model_copy(update={"to": p.to + minutes}) if p.id == person else p for p in day.people)
    return day.model_copy(update={"people": people, "day_end": max(day.day_end, *(p.to for p in people))})


def dirty_at_night(day: Instance, plan: Plan) -> dict[str, int]:
    """Return set type -> units that this plan leaves unsterile at the end of the day."""
    sterilizers = {m.id for m in day.sterilizers}
    used = [u for v in plan.visits for u in v.units]
    back = [u for b in plan.batches if b.machine in sterilizers for u in b.units]
    out: dict[str, int] = {}
    for t in day.set_types:
        n = sum(u.rpartition("#")[0] == t.id for u in used) - sum(u.rpartition("#")[0] == t.id for u in back)
        if n > 0:
            out[t.id] = n
    return out
