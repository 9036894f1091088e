"""The least lateness of a tiny day of version 2 by trying every order of all work: slow, and nothing of fettlebook's scheduling.

As `exhaustive`, for what version 2 adds: lateness never falls when something ends later, so some best plan starts each
piece of work as early as the pieces before it allow. Each piece is tried with every person, machine and content.
"""

from dataclasses import dataclass, replace
from itertools import product

from exhaustive import TooManyError

from fettlebook.plan.instance import Instance, Machine

MOST_STATES = 6_000
LAID_OUT = -(10**6)
Units = tuple[tuple[str, str, int], ...]  # type, stage, from when


@dataclass(frozen=True)
class State:
    """How far a day has come; no later piece starts before `at`."""

    at: int
    chairs: tuple[tuple[int, int], ...]  # place in the chair's row, free from
    people: tuple[int, ...]
    machines: tuple[tuple[int, int, tuple[str, ...]], ...]  # free from (or done at), tests begun, content
    units: Units
    late: int


def least_lateness(day: Instance, below: int) -> int | None:
    """Return the least weighted lateness under `below` of a plan that serves every visit; None where there is none."""
    best = None
    choices = [(v.chair, *v.may_move) for v in day.visits]
    for chosen in product(*choices):
        visits = tuple(v.model_copy(update={"chair": c}) for v, c in zip(day.visits, chosen, strict=True))
        found = _Search(day.model_copy(update={"visits": visits}), below if best is None else best).least()
        best = found if found is not None else best
    return best


class _Search:
    def __init__(self, day: Instance, below: int) -> None:
        self.day, self.r, self.below = day, day.reprocess, below
        self.used = [c for c in day.chairs if day.visits_of(c.id)]
        self.rows = []
        for c in self.used:
            own = day.visits_of(c.id)
            row: list[tuple[str, object]] = [("step", s) for s in c.opening]
            for v in own:
                row.append(("visit", v))
                row += [("step" if i else "clear", s) for i, s in enumerate(c.closing if v is own[-1] else c.turnover)]
            self.rows.append(row)
        self.machines = [("bath", m) for m in day.baths] + [("wash", m) for m in day.washers] + [("sterilize", m) for m in day.sterilizers]
        self.types = {t.id: t for t in day.set_types}
        self.ways = {frozenset((t.from_, t.to)): t.minutes for t in day.transport}
        self.seen: set[State] = set()
        self.found: int | None = None

    def lag(self, a: str | None, b: str | None) -> int:
        return 0 if a == b else self.ways.get(frozenset((a or "", b or "")), 0)

    def least(self) -> int | None:
        units = tuple(sorted((t.id, "clean", LAID_OUT) for t in self.day.set_types for _ in range(t.owned)))
        self.go(
            State(
                self.day.day_start,
                tuple((0, self.day.day_start) for _ in self.rows),
                tuple(0 for _ in self.day.people),
                tuple((0, 0, ()) for _ in self.machines),
                units,
                0,
            )
        )
        return self.found

    def hands(self, s: State, earliest: int, minutes: int, work: str, out: tuple[tuple[int, int], ...] = ()) -> list[tuple[int, int]]:
        found = []
        for k, p in enumerate(self.day.people):
            if work not in p.does:
                continue
            t = max(earliest, s.at, s.people[k])
            stops = sorted([*out, *p.breaks])
            t = max(t, p.from_)
            for _ in stops:
                for a, b in stops:
                    if a < t + minutes and t < b:
                        t = b
            if t + minutes <= p.to:
                found.append((k, t))
        return found

    def go(self, s: State) -> None:
        if s in self.seen or s.late >= (self.below if self.found is None else self.found):
            return
        if len(self.seen) > MOST_STATES:
            raise TooManyError
        self.seen.add(s)
        if all(at == len(row) for (at, _), row in zip(s.chairs, self.rows, strict=True)):
            self.found = s.late
            return
        for c in range(len(self.rows)):
            if s.chairs[c][0] < len(self.rows[c]):
                self.advance(s, c)
        for k in range(len(self.machines)):
            self.machine(s, k)
        self.pack(s)

    def advance(self, s: State, c: int) -> None:
        at, free = s.chairs[c]
        kind, what = self.rows[c][at]
        chair = self.used[c]
        last = self.day.day_end if chair.closed_by is None else min(self.day.day_end, chair.closed_by)

        def clear(t: int, minutes: int) -> int:
            for _ in chair.out:
                for a, b in chair.out:
                    if a < t + minutes and t < b:
                        t = b
            return t

        def moved(until: int) -> tuple[tuple[int, int], ...]:
            return tuple((at + 1, until) if i == c else x for i, x in enumerate(s.chairs))

        if kind == "visit":
            v = what
            t, units = max(free, v.booked, s.at), list(s.units)  # type: ignore[attr-defined]
            for name, n in v.needs().items():  # type: ignore[attr-defined]
                have = sorted(u for u in units if u[:2] == (name, "clean"))
                if len(have) < n:
                    return
                for u in have[:n]:
                    t = max(t, u[2] + self.lag(self.day.store, chair.room))
                    units.remove(u)
            t = clear(t, v.minutes)  # type: ignore[attr-defined]
            late = s.late + v.weight * (t - v.booked)  # type: ignore[attr-defined]
            self.go(replace(s, at=t, chairs=moved(t + v.minutes), units=tuple(units), late=late))  # type: ignore[attr-defined]
            return
        minutes = what.minutes  # type: ignore[attr-defined]
        if what.attended:  # type: ignore[attr-defined]
            starts = [
                (t, tuple(t + minutes if i == p else f for i, f in enumerate(s.people)))
                for p, t in self.hands(s, free, minutes, "chairs", chair.out)
            ]
        else:
            starts = [(clear(max(free, s.at), minutes), s.people)]
        for t, people in starts:
            if t + minutes > last:
                continue
            units = list(s.units)
            if kind == "clear":
                v = self.rows[c][at - 1][1]
                for name, n in v.needs().items():  # type: ignore[attr-defined]
                    first = next(m for k, m in self.machines if k == ("bath" if self.types[name].bath else "wash"))
                    units += [(name, "dirty", t + minutes + self.lag(chair.room, first.room))] * n
            self.go(replace(s, at=t, chairs=moved(t + minutes), people=people, units=tuple(sorted(units))))

    def machine(self, s: State, k: int) -> None:
        kind, m = self.machines[k]
        free, tested, content = s.machines[k]

        def after(machine: tuple[int, int, tuple[str, ...]]) -> tuple[tuple[int, int, tuple[str, ...]], ...]:
            return tuple(machine if i == k else x for i, x in enumerate(s.machines))

        def busy(p: int, until: int) -> tuple[int, ...]:
            return tuple(until if i == p else f for i, f in enumerate(s.people))

        if content:
            for p, t in self.hands(s, free, self.r.unload_minutes, "instruments"):
                out = t + self.r.unload_minutes
                units = sorted([*s.units, *(self.came(kind, m, name, out) for name in content)])
                self.go(replace(s, at=t, people=busy(p, out), machines=after((out, tested, ())), units=tuple(units)))
            return
        if tested < len(m.tests):
            test = m.tests[tested]
            starts = [(None, max(s.at, free, m.not_before))]
            if test.attended_minutes:
                starts = self.hands(s, max(free, m.not_before), test.attended_minutes, "instruments")  # type: ignore[assignment]
            for p, t in starts:
                people = s.people if p is None else busy(p, t + test.attended_minutes)
                self.go(replace(s, at=t, people=people, machines=after((t + test.minutes, tested + 1, ()))))
            return
        waiting = [u for u in s.units if self.waits(u) == kind and self.wanted(s, u[0])]
        for mask in range(1, 1 << len(waiting)):
            load = [u for i, u in enumerate(waiting) if mask >> i & 1]
            minutes = self.cycle(m, [u[0] for u in load])
            if minutes is None:
                continue
            units = list(s.units)
            for u in load:
                units.remove(u)
            earliest = max(free, m.not_before - self.r.load_minutes, *(u[2] for u in load))
            for p, t in self.hands(s, earliest, self.r.load_minutes, "instruments"):
                begin = t + self.r.load_minutes
                names = tuple(u[0] for u in load)
                self.go(replace(s, at=t, people=busy(p, begin), machines=after((begin + minutes, tested, names)), units=tuple(units)))

    def came(self, kind: str, m: Machine, name: str, out: int) -> tuple[str, str, int]:
        store = self.day.store
        if kind == "bath":
            return name, "bathed", out + self.lag(m.room, self.day.washers[0].room)
        if kind == "wash":
            return name, "washed", out + self.types[name].dry_minutes + self.lag(m.room, store)
        return name, "clean", out + self.r.cool_minutes + self.lag(m.room, store)

    def waits(self, unit: tuple[str, str, int]) -> str | None:
        name, stage, _ = unit
        if stage == "dirty":
            return "bath" if self.types[name].bath else "wash"
        return {"bathed": "wash", "packed": "sterilize"}.get(stage)

    def wanted(self, s: State, name: str) -> bool:
        """Whether a visit to come uses the type: work for nothing makes nothing earlier."""
        return any(
            what.needs().get(name)  # type: ignore[attr-defined]
            for (at, _), row in zip(s.chairs, self.rows, strict=True)
            for kind, what in row[at:]
            if kind == "visit"
        )

    def cycle(self, m: Machine, names: list[str]) -> int | None:
        """Return the minutes of the quickest cycle in which these may ride together; None where they may not."""
        if sum(self.types[n].places for n in names) > m.capacity:
            return None
        for a, b in self.day.apart:
            if (a == b and names.count(a) > 1) or (a != b and a in names and b in names):
                return None
        kinds = [self.types[n].rides for n in names if self.types[n].rides]
        if not m.cycles:
            return m.minutes
        return min((c.minutes for c in m.cycles if all(c.kind in k for k in kinds)), default=None)

    def pack(self, s: State) -> None:
        for u in dict.fromkeys(u for u in s.units if u[1] == "washed" and self.wanted(s, u[0])):
            minutes = self.r.pack_minutes + self.types[u[0]].lubricate_minutes
            for p, t in self.hands(s, u[2], minutes, "instruments"):
                units = list(s.units)
                units.remove(u)
                on = self.lag(self.day.store, self.day.sterilizers[0].room)
                units.append((u[0], "packed", t + minutes + on))
                people = tuple(t + minutes if i == p else f for i, f in enumerate(s.people))
                self.go(replace(s, at=t, people=people, units=tuple(sorted(units))))
