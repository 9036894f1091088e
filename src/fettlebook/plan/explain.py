"""A solved day in words: one line for all of it, why a visit is late, what is short and what would mend it.

Comes in: an instance, what `solve` found, a way to say minutes, names and chairs. Goes out: text. A mend is only named
when planning the mended day again serves every visit.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

from fettlebook.plan.apart import solve_apart
from fettlebook.plan.bound import Reason, Search, circulation_bound
from fettlebook.plan.day import DayVerdict, Shortage
from fettlebook.plan.instance import Instance, Plan, Visit
from fettlebook.plan.solve import Hopeless, Solved
from fettlebook.said import joined, said, said_count

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
    closed = said("last chair closed {end_of_day}", end_of_day=words.minute(f.end_of_day))
    if verdict is DayVerdict.NOTHING_BOOKED:
        return said("nothing booked")
    if verdict is DayVerdict.FITS:
        text = said(
            "fits: {booked} on time, {closed}",
            booked=said("the one visit") if booked == 1 else said("all {booked} visits", booked=booked),
            closed=closed,
        )
    elif verdict is DayVerdict.LATE:
        text = said("{visits_late} late, {solved}; {closed}", visits_late=_visits(f.visits_late), solved=_late(day, solved), closed=closed)
    else:
        left = booked - len(solved.plan.visits)
        why = (
            said(": {what}, {when}", what=shortages[0].what, when=shortages[0].when)
            if shortages and shortages[0].when
            else said(": {what}", what=shortages[0].what)
            if shortages
            else ""
        )
        text = said("does not fit{why}; {left} of {booked} not served", why=why, left=_visits(left), booked=booked)
        if f.visits_late:
            text += said(", {visits_late} late", visits_late=_visits(f.visits_late))
    if unknown_steps:
        text += said(
            "; counts on {unknown_steps} {unknown_steps2} of unknown length",
            unknown_steps=unknown_steps,
            unknown_steps2=said("step") if unknown_steps == 1 else said("steps"),
        )
    return text


def _visits(n: int) -> str:
    return said_count("{n} visit", "{n} visits", n=n)


def _late(day: Instance, solved: Solved) -> str:
    """Say how late in all, and how much of it no plan can take away."""
    minutes = minutes_late(day, solved.plan)
    weights = {v.weight for v in day.visits if minutes.get(v.id)}
    total, weighted, bound = sum(minutes.values()), solved.weighted_minutes_late, solved.bound
    told = said("{total} min in all", total=total)
    if bound >= weighted:
        return said("{told}, which no plan can better", told=told)
    if bound <= 0:
        return told
    if len(weights) == 1:
        return said("{told}; {pop} min of it can't be planned away", told=told, pop=-(-bound // weights.pop()))
    share = 100 * bound // weighted
    return said("{told}; at least {share} % of it can't be planned away", told=told, share=share) if share else told


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
        return said("the chair is ready at {ready}; waits for {visit}", ready=words.minute(ready), visit=_scarce(day, plan, words, visit))
    left = start[before.id] + before.minutes if before else day.day_start
    waited = [b[0] - (a[0] + a[1]) for a, b in pairwise([(left, 0), *steps])]
    needed = sum(m for _, m in steps)
    hands = sum(waited)
    parts = []
    if before and start[before.id] > before.booked:
        parts.append(said("the visit before starts {booked} min late", booked=start[before.id] - before.booked))
    if before and visit.booked - (before.booked + before.minutes) < needed:
        parts.append(
            said(
                "the book leaves {minutes} min, the turnover takes {needed}",
                minutes=max(0, visit.booked - before.booked - before.minutes),
                needed=needed,
            )
        )
    if before is None and not hands:
        parts.append(said("opening the chair takes {needed} min", needed=needed))
    if hands and before:
        parts.append(said("the turnover waits {hands} min for somebody free", hands=hands))
    if before is None and hands:
        parts.append(said("nobody is free to open the chair in time; it begins at {steps}", steps=words.minute(steps[0][0])))
    return joined("; ", parts)


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
        return said("a set")
    ready, kind = max(back)
    return said("a set: {kind}, back at {ready}", kind=words.set_name(kind), ready=words.minute(ready))


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
        mend = said("Own more of them, or book the visit elsewhere.") if h.reason.kind == "set type" else said("Move the visit.")
        out.append(Shortage(said("a visit {why}", why=why), where, said("at {booked}", booked=words.minute(v.booked)), mend))
    left = [visits[v] for v in solved.plan.left_out if v not in {h.visit for h in solved.hopeless}]
    if left:
        rest = day.without(h.visit for h in solved.hopeless)
        search = Search(min(1.0, limit_s), seed, 2, deterministic)
        mends = _tried_mends(rest, solved.core, words, limit_s=limit_s, seed=seed, deterministic=deterministic)
        together = (
            " ".join(mends)
            or said("Move one or more of the visits that are not served: ")
            + joined(", ", [f"{words.minute(v.booked)} {v.chair}" for v in left[:4]])
            + "."
        )
        reasons = solved.core or (Reason(said("no plan found")),)
        out += [replace(_reason(rest, r, reasons, words, search), mend=together) for r in reasons]
    return tuple(out)


def hopeless_words(h: Hopeless, words: Words) -> str:
    """Return why a visit can't be served, with sets by their names: 'needs 2 of Filling set, 1 owned'."""
    return h.why.replace(h.reason.id, words.set_name(h.reason.id)) if h.reason.id else h.why


def _reason(day: Instance, r: Reason, reasons: tuple[Reason, ...], words: Words, search: Search) -> Shortage:
    others = [x for x in reasons if x != r]
    if r.kind == "set type":
        owned, needed = day.owned()[r.id], _sets_needed(day, r.id, search)
        more = said("{needed} needed", needed=needed) if needed is not None else said("too few")
        until = _by_when(day, search)
        return Shortage(
            said("{id}: {owned} owned, {more}", id=words.set_name(r.id), owned=owned, more=more),
            "sets",
            said("by {until}", until=words.minute(until)),
            "",
        )
    if r.kind == "people":
        return Shortage(
            said("not enough hands for the chairs"), "people", said("by {search}", search=words.minute(_by_when(day, search))), ""
        )
    if r.kind == "end of day":
        also = "" if others else said(": opening, visits and closing don't fit before it")
        return Shortage(said("the last shift ends at {day_end}{also}", day_end=words.minute(day.day_end), also=also), "people", "", "")
    if r.kind == "chair":
        return Shortage(said("{id}: its visits and turnovers alone don't fit into the day", id=r.id), r.id, "", "")
    if r.kind == "latest start":
        return Shortage(said("visits that must start by a given minute"), "visits", "", "")
    if r.kind == "everything together":
        return Shortage(said("chairs, people, sets and machines together leave no room for all visits"), "whole day", "", "")
    return Shortage(said("no plan with all visits was found in the time given"), "whole day", "", "")


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
            tried += [(said("{n} more of {id}", n=n, id=words.set_name(r.id)), _with_sets(day, r.id, n)) for n in (1, 2)]
    if day.people:
        last = max(day.people, key=lambda p: p.to)
        tried += [(said("{id} stays {m} min longer", id=last.id, m=m), _longer(day, last.id, m)) for m in EXTRA_MINUTES]
    out: list[str] = []
    kinds_done: set[str] = set()
    for text, mended in tried:
        kind = text.split(" ", 1)[1] if text[0].isdigit() else "longer"
        if kind in kinds_done:
            continue
        found = solve_apart(mended, limit_s=limit_s / max(1, len(tried)), seed=seed, deterministic=deterministic)
        if not found.plan.left_out:
            kinds_done.add(kind)
            late = found.figures.visits_late
            out.append(
                said("Tried: {text}, and all visits fit{late}.", text=text, late=said(", {late} late", late=_visits(late)) if late else "")
            )
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
