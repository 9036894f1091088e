"""A chair that can't be used for a while: where its visits go instead, and which wait or are not served.

A visit goes where it waits and pushes least by the bookings of the other chairs alone, and only where that is little;
whether hands and sets are there for it the new plan shows.
"""

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from fettlebook.plan.instance import Instance, Visit
from fettlebook.said import joined, said

if TYPE_CHECKING:
    from fettlebook.plan.events import ChairOut, Moment

MOST_COST_MIN = 30  # a visit moves only where it and the next one there are at most so late by it


def chair_out(m: "Moment", event: "ChairOut", minute: Callable[[int], str]) -> "Moment":
    """Return the day with a chair's visits moved, waiting for its return, or not served.

    A visit that waits counts as booked for the chair's return: how late it is against its own hour, `changes` say.
    """
    begun = {v.id for v in m.done.visits}
    waiting = [v for v in m.day.visits_of(event.chair) if v.id not in begun and (event.until is None or v.booked < event.until)]
    day, never, moved = m.day, set(m.never), list[str]()
    for v in waiting:
        chair = _where(day, m.now, v, event, begun)
        if chair is not None:
            day = _with(day, v.model_copy(update={"chair": chair, "booked": max(v.booked, m.now), "may_move": ()}))
            moved.append(said("{id} to {chair}", id=v.id, chair=chair))
        elif event.until is None:
            never.add(v.id)
        else:
            day = _with(day, v.model_copy(update={"booked": max(v.booked, event.until), "latest": None}))
    back = said("for the rest of the day") if event.until is None else said("until {until}", until=minute(event.until))
    m = replace(m, day=day, never=frozenset(never), shut=m.shut | {event.chair})
    m = m.noting(said("no visit begins on {chair} {back}; what has begun there is finished", chair=event.chair, back=back))
    return m.noting(said("moved to another chair: {moved}", moved=joined(", ", moved))) if moved else m


def _with(day: Instance, visit: Visit) -> Instance:
    return day.model_copy(update={"visits": tuple(visit if v.id == visit.id else v for v in day.visits)})


def _where(day: Instance, now: int, visit: Visit, event: "ChairOut", begun: set[str]) -> str | None:
    """Return the chair on which a visit waits and pushes least; None: nowhere, or the chair is back sooner."""
    started = {v.id: v.start for v in day.done.visits} if day.done else {}
    best: tuple[int, str] | None = None
    for chair in day.chairs:
        if chair.id not in event.onto or chair.id == event.chair:
            continue
        turnover = sum(s.minutes for s in chair.turnover)
        own = day.visits_of(chair.id)
        before = [v for v in own if v.id in begun or v.booked <= visit.booked]
        free = max([now, *(started.get(v.id, v.booked) + v.minutes + turnover for v in before)])
        start = max(visit.booked, free)
        following = min((v.booked for v in own if v not in before), default=day.day_end)
        cost = start - visit.booked + max(0, start + visit.minutes + turnover - following)
        if best is None or (cost, chair.id) < best:
            best = cost, chair.id
    if best is None or best[0] > MOST_COST_MIN:
        return None
    if event.until is not None and event.until - visit.booked <= best[0]:
        return None
    return best[1]
