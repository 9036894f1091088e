"""The diaries that a plan is checked by: of each person, and of each chair and machine.

Shares nothing with what makes plans.
"""

from collections import defaultdict
from dataclasses import dataclass
from itertools import pairwise

from fettlebook.errors import Finding
from fettlebook.plan.instance import Instance, Plan, Work


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a diary."""

    start: int
    end: int
    what: str


class Diaries:
    """A plan being read; what is broken is said in `broken`."""

    def __init__(self, instance: Instance, plan: Plan) -> None:
        self.given, self.day, self.plan = instance, instance.moved(plan), plan
        self.broken: list[Finding] = []
        self.person_diary: dict[str, list[Line]] = defaultdict(list)
        self.subject_diary: dict[str, list[Line]] = defaultdict(list)  # chair or machine -> what takes it
        self.machines_of = {"bath": instance.baths, "wash": instance.washers, "sterilize": instance.sterilizers}
        self.rooms = {m.id: m.room for m in (*instance.baths, *instance.washers, *instance.sterilizers)}
        self.chair_room = {c.id: c.room for c in instance.chairs}
        self.way = instance.ways()
        self.packing = instance.pack_minutes()
        self.type_of = {t.id: t for t in instance.set_types}
        self.cleared_at: dict[str, int] = {}
        self.person_of = {p.id: p for p in instance.people}
        self.windows_of = {p.id: p.windows() for p in instance.people}
        self.step_of = {(s.chair, s.procedure, s.after, s.index): s for s in reversed(plan.steps)}  # the first of equals

    def say(self, what: str, where: str, mend: str = "Plan the day again; this plan must not be used.") -> None:
        """Note a broken rule."""
        self.broken.append(Finding(what, where, mend))

    def book(self, person: str | None, start: int, minutes: int, what: str, work: Work) -> None:
        """Write attended work into a person's diary."""
        who = self.person_of.get(person) if person is not None else None
        if who is None:
            self.say(f"attended, but done by {person!r}, whom nobody knows", what)
            return
        if work not in who.does:
            self.say(f"{who.id} does not do {work}", what)
        if not any(a <= start and start + minutes <= b for a, b in self.windows_of[who.id]):
            self.say(f"{start} to {start + minutes} is outside the shift of {who.id} or in a break", what)
        self.person_diary[who.id].append(Line(start, start + minutes, what))

    def one_at_a_time(self, diaries: dict[str, list[Line]]) -> None:
        """Say where two lines of one diary overlap."""
        for who, lines in diaries.items():
            for a, b in pairwise(sorted(lines, key=lambda x: (x.start, x.end))):
                if b.start < a.end:
                    self.say(f"{a.what} and {b.what} overlap", who)

    def lag(self, a: str | None, b: str | None) -> int:
        """Return the minutes on the way between two rooms."""
        return 0 if a == b else self.way.get((a, b), 0)
