"""Which part of a day to plan better next: around a visit that starts later than its chair alone would make it.

Four kinds, each of a size that grows while parts are searched to the end and shrinks while they are not:
times only (long stretches, every set keeps its loads), loads (all sets that ride in a stretch may ride a neighbouring
load), chain (the loads by which the late visit's sets came, with all that rode along), type (one set type's circulation).
"""

import random
from collections.abc import Callable
from dataclasses import dataclass

from fettlebook.plan.around import Frame, Part
from fettlebook.plan.instance import Visit

GROW, SHRINK = 1.3, 0.7
LEAST_MIN, LEAST_TRIPS = 45, 4
NODES, TRIPS = 260, 40  # what a part holds to begin with
LEAD_SHARE = 0.8  # of a stretch lies before the late visit: what makes it late has come before


@dataclass(slots=True)
class _Kind:
    name: str
    choose: Callable[[Visit], Part]
    size: float  # minutes, or trips
    tried: int = 0
    won: int = 0

    @property
    def worth(self) -> float:
        """How likely it is to be chosen: by what it has brought, never nothing."""
        return (self.won + 1) / (self.tried + 2) + 0.05


class Parts:
    """Chooses parts, and learns from what came of them."""

    def __init__(self, frame: Frame, draw: random.Random, first: int, last: int) -> None:
        self.f, self.draw, self.first, self.last_min = frame, draw, first, last
        day = frame.day
        self.length = max(1, last - first)
        per_minute = max(0.1, len(frame.start) / max(1, day.day_end - day.day_start))
        riding = sum(t.whole for t in frame.trips)
        minutes = min(float(self.length), NODES / per_minute)
        trips = float(min(riding, TRIPS))
        self.kinds = [
            _Kind("times", self.times, minutes),
            _Kind("loads", self.loads, trips),
            _Kind("chain", self.chain, minutes),
            _Kind("type", self.one_type, trips),
        ]
        if not riding:
            self.kinds = self.kinds[:1]
        self.minutes = minutes
        self.last = self.kinds[0]

    def next(self) -> Part | None:
        """Return the next part to try; None where no visit is late above what its chair forces."""
        visit = self.late_visit()
        if visit is None:
            return None
        untried = [k for k in self.kinds if not k.tried]
        self.last = untried[0] if untried else self.draw.choices(self.kinds, [k.worth for k in self.kinds])[0]
        return self.last.choose(visit)

    def learn(self, *, better: bool, exhausted: bool, frame: Frame) -> None:
        """Take in what the last part brought."""
        self.f = frame
        self.last.tried += 1
        self.last.won += better
        if not better:
            least = LEAST_MIN if self.last.name in {"times", "chain"} else LEAST_TRIPS
            most = self.length if self.last.name in {"times", "chain"} else len(frame.trips)
            self.last.size = min(max(least, self.last.size * (GROW if exhausted else SHRINK)), most)

    def late_visit(self) -> Visit | None:
        """Return a visit, the likelier the later it is above what its chair alone forces."""
        start = {v.id: v.start for v in self.f.plan.visits}
        earliest = {n.visit: n.earliest for row in self.f.rows for n in row.nodes if n.procedure is None}
        late = [v for v in self.f.day.visits if self.last_min > start[v.id] > max(earliest[v.id], self.first)]
        if not late:
            return None
        return self.draw.choices(late, [v.weight * (start[v.id] - earliest[v.id]) for v in late])[0]

    def around(self, visit: Visit, minutes: float) -> tuple[int, int]:
        """Return a stretch of the day around a visit, most of it before."""
        at = next(v.start for v in self.f.plan.visits if v.id == visit.id)
        end = min(self.last_min, int(at + minutes * self.draw.uniform(1 - LEAD_SHARE, 0.6)) + 1)
        begin = max(self.first, int(end - minutes))
        return begin, max(end, min(self.last_min, int(begin + minutes)))

    def times(self, visit: Visit) -> Part:
        """Only times move."""
        return Part(*self.around(visit, self.last.size))

    def loads(self, visit: Visit) -> Part:
        """The sets that ride about the time at which the late visit's sets did may ride a neighbouring load."""
        begin, end = self.around(visit, self.minutes)
        middle = next(v.start for v in self.f.plan.visits if v.id == visit.id) - 60
        near = sorted(self.inside(begin, end), key=lambda i: abs(self.washed_at(i) - middle))
        return Part(begin, end, frozenset(near[: int(self.last.size)]), self.draw.choice((1, 1, 2)))

    def chain(self, visit: Visit) -> Part:
        """The loads that brought the late visit's sets, and those before them in time, are filled anew."""
        begin, end = self.around(visit, self.last.size)
        units = next(v.units for v in self.f.plan.visits if v.id == visit.id)
        start = next(v.start for v in self.f.plan.visits if v.id == visit.id)
        inside = self.inside(begin, end)
        brought = {n for i in inside for n in self.f.trips[i].loads.values() if self.f.trips[i].unit in units and self.washed_at(i) < start}
        riding = {i for i in inside if brought & set(self.f.trips[i].loads.values())}
        return Part(begin, end, frozenset(riding), 2)

    def one_type(self, visit: Visit) -> Part:
        """All sets of one type ride anew."""
        begin, end = self.around(visit, 1.5 * self.minutes)
        kinds = sorted({t.kind for t in self.f.trips if t.visit == visit.id}) or [self.draw.choice(self.f.trips).kind]
        kind = self.draw.choice(kinds)
        own = [i for i in self.inside(begin, end, whole=False) if self.f.trips[i].kind == kind]
        at = self.draw.randrange(max(1, len(own) - int(self.last.size) + 1))
        return Part(begin, end, frozenset(own[at : at + int(self.last.size)]), 2)

    def inside(self, begin: int, end: int, *, whole: bool = True) -> list[int]:
        """Return the trips whose loads lie in a stretch of the day; with those that stay used, if asked."""
        out = []
        for i, t in enumerate(self.f.trips):
            if "bath" in t.loads or (not t.whole and t.loads):
                continue
            if t.whole:
                wash, sterilize = (self.f.plan.batches[t.loads[kind]].load_start for kind in ("wash", "sterilize"))
                if begin <= wash and sterilize < end:
                    out.append(i)
            elif not whole and not self.f.ways.types[t.kind].bath:
                start = next(v.start for v in self.f.plan.visits if v.id == t.visit)
                if begin <= start < end:
                    out.append(i)
        return out

    def washed_at(self, trip: int) -> int:
        """Return when a set that came back was put into the washer."""
        return self.f.plan.batches[self.f.trips[trip].loads["wash"]].load_start
