"""How the list scheduler decides, as a handful of numbers; drawn wide, or a little away from a good one."""

import random
from dataclasses import dataclass, replace

from fettlebook.plan.instance import Instance, Plan


@dataclass(frozen=True, slots=True)
class Manner:
    """How the list scheduler decides; any values give a valid plan, some a better one.

    Shares are of a machine's capacity, the others minutes: a negative shift makes a kind of job more urgent.
    """

    wash_share: float = 0.5  # a washer starts without waiting once this much of it is full
    sterilize_share: float = 0.5
    lead: float = 20.0  # a part load starts when its most urgent set has no more than this to spare
    instruments: float = 0.0
    closing: float = 0.0
    pull: float = 0.0  # minutes that each unit of weight beyond 1 pulls a visit forward
    own_order: bool = True  # scarce sets go to the earlier booked visit
    calm: float = 30.0  # with more than this to spare, one person packs at a time instead of all who are free
    chairs: tuple[tuple[str, float], ...] = ()
    types: tuple[tuple[str, float], ...] = ()
    visits: tuple[tuple[str, float], ...] = ()


def wide(draw: random.Random) -> Manner:
    """Return a manner drawn from all that may suit some day."""
    return Manner(
        wash_share=draw.choice((0.1, 0.25, 0.5, 0.75, 1.0)),
        sterilize_share=draw.choice((0.1, 0.25, 0.5, 0.75, 1.0)),
        lead=draw.uniform(-5, 90),
        instruments=draw.uniform(-60, 60),
        closing=draw.uniform(-240, 0),
        pull=draw.choice((0.0, 2.0, 5.0, 10.0)),
        own_order=draw.random() < 0.5,
        calm=draw.choice((0.0, 15.0, 30.0, 60.0, 240.0)),
    )


def near(draw: random.Random, m: Manner, day: Instance, best: Plan) -> Manner:
    """Return a manner a little away from `m`, mostly where the best plan so far is in trouble."""
    kind = draw.randrange(16)
    if kind >= 8 and day.visits:
        # Half of the time: one visit, mostly a late one or one not served, becomes more or less urgent than booked.
        start = {v.id: v.start for v in best.visits}
        troubled = [v for v in day.visits if start.get(v.id, v.booked + 1) > v.booked]
        visit = draw.choice(troubled if troubled and draw.random() < 0.6 else day.visits)
        visits = dict(m.visits)
        visits[visit.id] = visits.get(visit.id, 0.0) + draw.gauss(0, 12)
        return replace(m, visits=tuple(visits.items()))
    if kind == 0:
        return replace(m, wash_share=min(1.0, max(0.05, m.wash_share + draw.gauss(0, 0.2))))
    if kind == 1:
        return replace(m, sterilize_share=min(1.0, max(0.05, m.sterilize_share + draw.gauss(0, 0.2))))
    if kind == 2:
        return replace(m, lead=m.lead + draw.gauss(0, 15))
    if kind == 3:
        calm = max(0.0, m.calm + draw.gauss(0, 20))
        return replace(m, instruments=m.instruments + draw.gauss(0, 15), own_order=draw.random() < 0.5, calm=calm)
    if kind == 4:
        return replace(m, closing=m.closing + draw.gauss(0, 40), pull=max(0.0, m.pull + draw.gauss(0, 2)))
    if kind in {5, 6}:
        shift = dict(m.chairs)
        chair = draw.choice(day.chairs).id
        shift[chair] = shift.get(chair, 0.0) + draw.gauss(0, 10)
        return replace(m, chairs=tuple(shift.items()))
    if not day.set_types:
        return m
    types = dict(m.types)
    kind_id = draw.choice(day.set_types).id
    types[kind_id] = types.get(kind_id, 0.0) + draw.gauss(0, 30)
    return replace(m, types=tuple(types.items()))
