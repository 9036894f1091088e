"""Rules of chairs and visits: order, hours, outages, who stands by."""

from collections import Counter
from itertools import pairwise

from fettlebook.plan.check_diary import Diaries, Line
from fettlebook.plan.instance import Chair, Procedure, Visit


class ChairRules(Diaries):
    """What must hold on each chair."""

    def moves(self) -> None:
        """A visit is served on its own chair, or on one to which it may move."""
        may = {v.id: v for v in self.given.visits}
        for v in self.plan.visits:
            if v.chair not in (None, may[v.id].chair, *may[v.id].may_move):
                self.say(f"moved to {v.chair}, which it may not", f"visit {v.id}")

    def chairs(self) -> None:
        """Each chair is opened, turned over and closed, one thing after the other, inside its hours."""
        planned = {v.id: v for v in self.plan.visits}
        count = Counter((s.chair, s.procedure, s.after, s.index) for s in self.plan.steps)
        expected: set[tuple[str, str, str | None, int]] = set()
        for chair in self.day.chairs:
            served = [v for v in self.day.visits_of(chair.id) if v.id in planned]
            if not served:
                continue
            diary = self.procedure(chair, "opening", None, expected)
            for visit in served:
                start = planned[visit.id].start
                self.visit_start(visit, start)
                diary.append(Line(start, start + visit.minutes, f"visit {visit.id}"))
                after = self.procedure(chair, "closing" if visit is served[-1] else "turnover", visit.id, expected)
                if after:
                    self.cleared_at[visit.id] = after[0].end
                diary += after
            self.subject_diary[chair.id] += diary
            # The diary is in the order in which things must happen, so each must end before the next begins.
            for a, b in pairwise(diary):
                if b.start < a.end:
                    self.say(f"{b.what} at {b.start} begins before {a.what} ends at {a.end}", chair.id)
            if diary[0].start < self.day.day_start:
                self.say(f"begins at {diary[0].start}, before the day starts at {self.day.day_start}", chair.id)
            if diary[-1].end > self.day.day_end:
                self.say(f"closed at {diary[-1].end}, after the day ends at {self.day.day_end}", chair.id)
            if chair.closed_by is not None and diary[-1].end > chair.closed_by:
                self.say(f"closed at {diary[-1].end}, must be by {chair.closed_by}", chair.id)
            for line in diary:
                if any(a < line.end and line.start < b for a, b in chair.out):
                    self.say(f"{line.what} at {line.start}, while the chair is out of service", chair.id)
        for key, n in count.items():
            if n != 1 or key not in expected:
                self.say("planned twice" if key in expected else "not a step of this day", f"step {key}")

    def visit_start(self, visit: Visit, start: int) -> None:
        """A visit starts neither before it is booked nor after its latest start."""
        if start < visit.booked:
            self.say(f"starts at {start}, booked for {visit.booked}", f"visit {visit.id}")
        if visit.latest is not None and start > visit.latest:
            self.say(f"starts at {start}, must start by {visit.latest}", f"visit {visit.id}")

    def procedure(self, chair: Chair, name: Procedure, after: str | None, expected: set[tuple[str, str, str | None, int]]) -> list[Line]:
        """Return the steps of a procedure as lines, each attended by somebody who may."""
        diary = []
        for i, step in enumerate(chair.procedure(name)):
            expected.add((chair.id, name, after, i))
            what = f"{chair.id} {name} step {i} ({step.name}) after {after}"
            found = self.step_of.get((chair.id, name, after, i))
            if found is None:
                self.say("is missing", what)
                continue
            start, person = found.start, found.person
            diary.append(Line(start, start + step.minutes, what))
            if step.attended:
                self.book(person, start, step.minutes, what, "chairs")
            elif person is not None:
                self.say(f"unattended, but {person} is named", what)
        return diary
