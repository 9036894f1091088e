"""Rules of duties: their window, their person, their subject."""

from fettlebook.plan.check_diary import Diaries, Line
from fettlebook.plan.detail import Duty, PlannedDuty


class DutyRules(Diaries):
    """What must hold of each duty."""

    def duties(self) -> None:
        """What is owed beside the visits stays in its window; it takes its person and its subject."""
        duty_of: dict[str, Duty] = {d.id: d for d in self.day.duties}
        minutes = {v.id: v.minutes for v in self.day.visits}
        seen: set[str] = set()
        for p in self.plan.duties:
            what, d = f"duty {p.id}", duty_of.get(p.id)
            if d is None or p.id in seen:
                self.say("is not owed, or stands twice", what)
                continue
            seen.add(p.id)
            if p.start < d.earliest or p.start + d.minutes > d.latest:
                self.say(f"{p.start} to {p.start + d.minutes} is outside {d.earliest} to {d.latest}", what)
            self.duty_hands(p, d, what)
            before = next((v for v in self.plan.visits if v.id == d.after), None)
            if before is not None and p.start < (end := before.start + minutes[before.id]):
                self.say(f"at {p.start}, while visit {before.id} lasts until {end}", what)
            if d.subject is not None:
                self.subject_diary[d.subject].append(Line(p.start, p.start + d.minutes, what))
                chair = next((c for c in self.day.chairs if c.id == d.subject), None)
                if chair is not None and any(a < p.start + d.minutes and p.start < b for a, b in chair.out):
                    self.say(f"at {p.start}, while {chair.id} is out of service", what)
        self.one_at_a_time(self.subject_diary)

    def duty_hands(self, p: PlannedDuty, d: Duty, what: str) -> None:
        """Its person may do it, and is there and free for each attended step."""
        who = self.person_of.get(p.person) if p.person is not None else None
        if not d.attended:
            if p.person is not None:
                self.say(f"needs nobody, but {p.person} is named", what)
            return
        if who is None or (d.who and who.id not in d.who):
            self.say(f"done by {p.person!r}, who may not", what)
            return
        for a, b in d.hands(p.start):
            if not any(x <= a and b <= y for x, y in self.windows_of[who.id]):
                self.say(f"{a} to {b} is outside the shift of {who.id} or in a break", what)
            self.person_diary[who.id].append(Line(a, b, what))
