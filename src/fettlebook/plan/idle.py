"""Minute by minute, who and what a plan leaves free: people, machines, chairs.

Comes in: an instance and a valid plan of it. Goes out: questions such as "who is free for these minutes", and the same
after more was taken.
"""

from collections.abc import Iterable
from itertools import count

from fettlebook.plan.instance import Instance, Plan, Procedure

_TAKEN = 1


class Idle:
    """What a plan leaves free; `take` and `hold` use it up."""

    def __init__(self, day: Instance, plan: Plan) -> None:
        day = day.moved(plan)
        self.day, r = day, day.reprocess
        self.end = max([p.to for p in day.people], default=0)
        self.people = {p.id: bytearray([_TAKEN]) * (self.end + 1) for p in day.people}
        self.instruments = {p.id for p in day.people if "instruments" in p.does}
        for p in day.people:
            for a, b in p.windows():
                self.people[p.id][a:b] = bytearray(b - a)
        machines = {m.id: m for m in (*day.baths, *day.washers, *day.sterilizers)}
        self.places = {x: bytearray(max(self.end, day.day_end) + 1) for x in (*machines, *(c.id for c in day.chairs))}
        self.last = ""
        steps: dict[tuple[str, Procedure], tuple[int, ...]] = {
            (c.id, name): tuple(s.minutes for s in c.procedure(name)) for c in day.chairs for name in ("opening", "turnover", "closing")
        }
        for c in day.chairs:
            for a, b in c.out:
                self.hold(c.id, a, b)
        booked = {v.id: v for v in day.visits}
        # From a visit's begin to the end of its turnover or closing a chair is nobody else's, whether a step runs or waits.
        since: dict[tuple[str, str | None], int] = {(booked[v.id].chair, v.id): v.start for v in plan.visits}
        for s in sorted(plan.steps, key=lambda s: s.start):
            minutes = steps[s.chair, s.procedure][s.index]
            self.take(s.person, s.start, minutes)
            self.hold(s.chair, since.setdefault((s.chair, s.after), s.start), s.start + minutes)
        pack = day.pack_minutes()
        for k in plan.packs:
            self.take(k.person, k.start, pack[k.unit.rpartition("#")[0]])
        for load in plan.batches:
            assert load.unload_start is not None
            self.take(load.load_person, load.load_start, r.load_minutes)
            self.take(load.unload_person, load.unload_start, r.unload_minutes)
            self.hold(load.machine, load.load_start, load.unload_start + r.unload_minutes)
        for t in plan.tests:
            test = machines[t.machine].tests[t.index]
            self.take(t.person, t.start, test.attended_minutes)
            self.hold(t.machine, t.start, t.start + test.minutes)
        duties = {d.id: d for d in day.duties}
        for planned in plan.duties:
            duty = duties[planned.id]
            for a, b in duty.hands(planned.start):
                self.take(planned.person, a, b - a)
            if duty.subject is not None:
                self.hold(duty.subject, planned.start, planned.start + duty.minutes)

    def past(self, now: int) -> None:
        """Let nothing be free before a minute."""
        for row in (*self.people.values(), *self.places.values()):
            _fill(row, 0, now)

    def take(self, person: str | None, start: int, minutes: int) -> None:
        """Let a person be busy."""
        if person is not None:
            _fill(self.people[person], start, start + minutes)

    def hold(self, place: str, start: int, end: int) -> None:
        """Let a machine or a chair be taken."""
        _fill(self.places[place], start, end)

    def free(self, place: str, start: int, end: int) -> bool:
        """Whether a machine or a chair is free for all of it."""
        return not any(self.places[place][start:end])

    def free_until(self, place: str, start: int) -> int:
        """Return until when a machine or a chair stays free from a minute on, at most to the last shift's end."""
        taken = self.places[place].find(_TAKEN, start)
        return min(taken, self.end) if taken >= 0 else self.end

    def can(self, person: str, stretches: Iterable[tuple[int, int]]) -> bool:
        """Whether a person is there and free in all stretches."""
        row = self.people[person]
        return all(a >= 0 and b <= self.end and not any(row[a:b]) for a, b in stretches)

    def who(self, start: int, minutes: int) -> str | None:
        """Return somebody who does instruments and is free for all of it; the one of the last job first."""
        if start < 0 or start + minutes > self.end:
            return None
        free = [p for p in self.people if p in self.instruments and not any(self.people[p][start : start + minutes])]
        return self.last if self.last in free else min(free, default=None)

    def first(self, start: int, minutes: int, until: int) -> tuple[int, str] | None:
        """Return the first minute from `start` at which somebody is free; None if that is after `until`."""
        for t in count(max(0, start)):
            if t > until or t + minutes > self.end:
                return None
            if (who := self.who(t, minutes)) is not None:
                return t, who
        return None


def _fill(row: bytearray, start: int, end: int) -> None:
    start, end = max(0, start), min(end, len(row))
    if start < end:
        row[start:end] = bytes([_TAKEN]) * (end - start)
