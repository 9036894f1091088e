"""Is a plan valid? Every rule of a day held against a finished plan, by code that shares nothing with what made it.

Comes in: an instance and a plan. Goes out: each broken rule as a finding, and the plan's figures. It searches nothing
and repairs nothing. It reads the plan as a diary: first each diary is written (person, chair, machine, unit), then each
is read from morning to night.
"""

from collections import Counter, defaultdict
from dataclasses import dataclass
from itertools import pairwise

from fettlebook.errors import Finding
from fettlebook.plan.detail import Duty, PlannedDuty
from fettlebook.plan.instance import Batch, Chair, Instance, Machine, Plan, Procedure, Visit, Work


@dataclass(frozen=True, slots=True)
class Figures:
    """What a plan is judged by, in this order."""

    weight_left_out: int
    weighted_minutes_late: int
    visits_late: int
    end_of_day: int
    attended_minutes: dict[str, int]

    @property
    def rank(self) -> tuple[int, int, int, int]:
        """Smaller is better: left out, late, end of day, spread of work between people."""
        work = self.attended_minutes.values()
        return self.weight_left_out, self.weighted_minutes_late, self.end_of_day, max(work, default=0) - min(work, default=0)


@dataclass(frozen=True, slots=True)
class _Line:
    """One line of a diary."""

    start: int
    end: int
    what: str


def figures(instance: Instance, plan: Plan) -> Figures:
    """Return the figures of a plan that is valid."""
    starts = {v.id: v.start for v in plan.visits}
    late = [(starts[v.id] - v.booked, v.weight) for v in instance.visits if v.id in starts]
    chairs = {c.id: c for c in instance.chairs}
    ends = [s.start + chairs[s.chair].closing[s.index].minutes for s in plan.steps if s.procedure == "closing"]
    work: Counter[str] = Counter({p.id: 0 for p in instance.people})
    for s in plan.steps:
        if s.person is not None:
            work[s.person] += chairs[s.chair].procedure(s.procedure)[s.index].minutes
    packing = instance.pack_minutes()
    for k in plan.packs:
        work[k.person] += packing[k.unit.rpartition("#")[0]]
    for b in plan.batches:
        work[b.load_person] += instance.reprocess.load_minutes
        if b.unload_person is not None:
            work[b.unload_person] += instance.reprocess.unload_minutes
    tests = {m.id: m.tests for m in (*instance.baths, *instance.washers, *instance.sterilizers)}
    for t in plan.tests:
        if t.person is not None:
            work[t.person] += tests[t.machine][t.index].attended_minutes
    duties = {d.id: d for d in instance.duties}
    for d in plan.duties:
        if d.person is not None:
            work[d.person] += sum(b - a for a, b in duties[d.id].hands(d.start))
    return Figures(
        weight_left_out=sum(v.weight for v in instance.visits if v.id not in starts),
        weighted_minutes_late=sum(m * w for m, w in late),
        visits_late=sum(m > 0 for m, _ in late),
        end_of_day=max(ends, default=0),
        attended_minutes=dict(work),
    )


def check_plan(instance: Instance, plan: Plan) -> tuple[Finding, ...]:
    """Return every rule that the plan breaks; empty when it is valid."""
    return _Check(instance, plan).run()


class _Check:
    def __init__(self, instance: Instance, plan: Plan) -> None:
        self.given, self.day, self.plan = instance, instance.moved(plan), plan
        self.broken: list[Finding] = []
        self.person_diary: dict[str, list[_Line]] = defaultdict(list)
        self.subject_diary: dict[str, list[_Line]] = defaultdict(list)  # chair or machine -> what takes it
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
        self.broken.append(Finding(what, where, mend))

    def run(self) -> tuple[Finding, ...]:
        if self.visits_are_all_accounted_for():
            self.moves()
            self.chairs()
            self.machines()
            self.tests()
            self.duties()
            self.units()
            self.people()
            self.what_was_done_stays()
        return tuple(self.broken)

    def visits_are_all_accounted_for(self) -> bool:
        named = Counter([v.id for v in self.plan.visits] + list(self.plan.left_out))
        asked = {v.id for v in self.day.visits}
        for ref in sorted(asked | set(named)):
            if ref not in asked:
                self.say("no such visit in the instance", f"visit {ref}")
            elif named[ref] != 1:
                self.say(f"planned or left out {named[ref]} times, not once", f"visit {ref}")
        return not self.broken

    def moves(self) -> None:
        """A visit is served on its own chair, or on one to which it may move."""
        may = {v.id: v for v in self.given.visits}
        for v in self.plan.visits:
            if v.chair not in (None, may[v.id].chair, *may[v.id].may_move):
                self.say(f"moved to {v.chair}, which it may not", f"visit {v.id}")

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
        self.person_diary[who.id].append(_Line(start, start + minutes, what))

    def chairs(self) -> None:
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
                diary.append(_Line(start, start + visit.minutes, f"visit {visit.id}"))
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
        if start < visit.booked:
            self.say(f"starts at {start}, booked for {visit.booked}", f"visit {visit.id}")
        if visit.latest is not None and start > visit.latest:
            self.say(f"starts at {start}, must start by {visit.latest}", f"visit {visit.id}")

    def procedure(self, chair: Chair, name: Procedure, after: str | None, expected: set[tuple[str, str, str | None, int]]) -> list[_Line]:
        diary = []
        for i, step in enumerate(chair.procedure(name)):
            expected.add((chair.id, name, after, i))
            what = f"{chair.id} {name} step {i} ({step.name}) after {after}"
            found = self.step_of.get((chair.id, name, after, i))
            if found is None:
                self.say("is missing", what)
                continue
            start, person = found.start, found.person
            diary.append(_Line(start, start + step.minutes, what))
            if step.attended:
                self.book(person, start, step.minutes, what, "chairs")
            elif person is not None:
                self.say(f"unattended, but {person} is named", what)
        return diary

    def machines(self) -> None:
        r = self.day.reprocess
        by_id = {m.id: m for kind in self.machines_of.values() for m in kind}
        for b in self.plan.batches:
            what = f"load on {b.machine} at {b.start}"
            if b.machine not in by_id:
                self.say("no such machine", what)
                continue
            self.batch(b, by_id[b.machine], what)
            self.book(b.load_person, b.load_start, r.load_minutes, f"{what}, loading", "instruments")
            if b.unload_start is None:
                self.say("never unloaded", what)
                continue
            self.book(b.unload_person, b.unload_start, r.unload_minutes, f"{what}, unloading", "instruments")
            self.subject_diary[b.machine].append(_Line(b.load_start, b.unload_start + r.unload_minutes, what))
        for k in self.plan.packs:
            self.book(k.person, k.start, self.packing.get(k.unit.rpartition("#")[0], 0), f"packing {k.unit}", "instruments")

    def batch(self, b: Batch, machine: Machine, what: str) -> None:
        types = [u.rpartition("#")[0] for u in b.units]
        taken = sum(self.type_of[t].places if t in self.type_of else 1 for t in types)
        if taken > machine.capacity or len(set(b.units)) != len(b.units):
            self.say(f"{len(b.units)} sets take {taken} places, or one rides twice; {machine.capacity} fit", what)
        if b.load_start + self.day.reprocess.load_minutes != b.start:
            self.say("loading must end as the cycle starts", what)
        if b.start < machine.not_before:
            self.say(f"runs before {machine.not_before}, when it is first ready", what)
        if b.unload_start is not None and b.unload_start < b.start + self.cycle(b, machine, types, what):
            self.say("unloaded before its end", what)
        for one, other in self.day.apart:
            if types.count(one) and types.count(other) > (one == other):
                self.say(f"{one} and {other} ride together", what)

    def cycle(self, b: Batch, machine: Machine, types: list[str], what: str) -> int:
        """Return how long a load's cycle takes; it must be one that all inside may ride."""
        if not machine.cycles:
            if b.cycle is not None:
                self.say(f"{machine.id} has no cycle {b.cycle!r} to choose", what)
            return machine.minutes
        chosen = next((c for c in machine.cycles if c.id == b.cycle), None)
        if chosen is None:
            self.say(f"{machine.id} has no cycle {b.cycle!r}", what)
            return machine.minutes
        for t in set(types) & set(self.type_of):
            if self.type_of[t].rides and chosen.kind not in self.type_of[t].rides:
                self.say(f"{t} may not ride {chosen.id} ({chosen.kind})", what)
        return chosen.minutes

    def tests(self) -> None:
        """A machine's tests come in order, after it is ready and before its first load."""
        by_id = {m.id: m for kind in self.machines_of.values() for m in kind}
        lines: dict[str, dict[int, _Line]] = defaultdict(dict)
        for t in self.plan.tests:
            machine, what = by_id.get(t.machine), f"test {t.index} of {t.machine}"
            if machine is None or t.index >= len(machine.tests) or t.index in lines[t.machine]:
                self.say("is not owed, or stands twice", what)
                continue
            test = machine.tests[t.index]
            if test.attended_minutes:
                self.book(t.person, t.start, test.attended_minutes, what, "instruments")
            elif t.person is not None:
                self.say(f"needs nobody, but {t.person} is named", what)
            if t.start < machine.not_before:
                self.say(f"at {t.start}, before the machine is ready at {machine.not_before}", what)
            lines[t.machine][t.index] = _Line(t.start, t.start + test.minutes, what)
        for m in by_id.values():
            own = [lines[m.id][k] for k in sorted(lines[m.id])]
            self.subject_diary[m.id] += own
            loads = [b.load_start for b in self.plan.batches if b.machine == m.id]
            if loads and (len(own) < len(m.tests) or any(x.end > min(loads) for x in own)):
                self.say(f"loaded at {min(loads)} before its tests are over", m.id)
            for a, b in pairwise(own):
                if b.start < a.end:
                    self.say(f"{b.what} begins before {a.what} ends", m.id)

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
                self.subject_diary[d.subject].append(_Line(p.start, p.start + d.minutes, what))
                chair = next((c for c in self.day.chairs if c.id == d.subject), None)
                if chair is not None and any(a < p.start + d.minutes and p.start < b for a, b in chair.out):
                    self.say(f"at {p.start}, while {chair.id} is out of service", what)
        self.one_at_a_time(self.subject_diary)

    def duty_hands(self, p: PlannedDuty, d: Duty, what: str) -> None:
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
            self.person_diary[who.id].append(_Line(a, b, what))

    def lag(self, a: str | None, b: str | None) -> int:
        """Return the minutes on the way between two rooms."""
        return 0 if a == b else self.way.get((a, b), 0)

    def units(self) -> None:
        """Follow each unit through the day: used, cleared, (bath,) washed, packed, sterilized, cooled, used again."""
        visits = {v.id: v for v in self.day.visits}
        owned = {f"{t.id}#{k}" for t in self.day.set_types for k in range(1, t.owned + 1)}
        life: dict[str, list[tuple[int, int, str, str | None]]] = defaultdict(list)  # begins, ends, stage, room
        for p in self.plan.visits:
            need = visits[p.id].needs()
            have = Counter(u.rpartition("#")[0] for u in p.units)
            if dict(have) != need or len(set(p.units)) != len(p.units):
                self.say(f"has {dict(have)}, needs {need}", f"visit {p.id}")
            for u in p.units:
                life[u].append((p.start, self.cleared_at.get(p.id, self.day.day_end), "use", self.chair_room.get(visits[p.id].chair)))
        self.rides_in_life(life)
        for k in self.plan.packs:
            life[k.unit].append((k.start, k.start + self.packing.get(k.unit.rpartition("#")[0], 0), "pack", self.day.store))
        for unit, stages in life.items():
            if unit not in owned:
                self.say("is not owned", f"unit {unit}")
                continue
            bath = self.type_of[unit.rpartition("#")[0]].bath
            order = ("use", "bath", "wash", "pack", "sterilize") if bath else ("use", "wash", "pack", "sterilize")
            stages.sort(key=lambda x: x[:3])
            for i, (begins, _, stage, room) in enumerate(stages):
                asked = order[i % len(order)]
                if stage != asked:
                    self.say(f"{stage} at {begins}, {asked} must come first", f"unit {unit}")
                    break
                if i and begins < (ready := self.ready(unit, stages[i - 1], room)):
                    self.say(f"{stage} at {begins}, after {stages[i - 1][2]} it is ready there at {ready}", f"unit {unit}")

    def ready(self, unit: str, before: tuple[int, int, str, str | None], room: str | None) -> int:
        """Return when a unit can begin its next stage in a room. A sterilized set goes to the store before it goes to a chair."""
        _, end, stage, there = before
        if stage == "sterilize":
            return end + self.lag(there, self.day.store) + self.lag(self.day.store, room)
        dry = self.type_of[unit.rpartition("#")[0]].dry_minutes if stage == "wash" else 0
        return end + dry + self.lag(there, room)

    def rides_in_life(self, life: dict[str, list[tuple[int, int, str, str | None]]]) -> None:
        r = self.day.reprocess
        stage_of = {m.id: kind for kind, machines in self.machines_of.items() for m in machines}
        for b in self.plan.batches:
            if b.unload_start is not None and b.machine in stage_of:
                stage = stage_of[b.machine]
                out = b.unload_start + r.unload_minutes + (r.cool_minutes if stage == "sterilize" else 0)
                for u in b.units:
                    life[u].append((b.load_start, out, stage, self.rooms[b.machine]))

    def people(self) -> None:
        self.one_at_a_time(self.person_diary)

    def one_at_a_time(self, diaries: dict[str, list[_Line]]) -> None:
        for who, lines in diaries.items():
            for a, b in pairwise(sorted(lines, key=lambda x: (x.start, x.end))):
                if b.start < a.end:
                    self.say(f"{a.what} and {b.what} overlap", who)

    def what_was_done_stays(self) -> None:
        now, done, plan = self.day.now, self.day.done, self.plan
        if now is None or done is None:
            return
        pairs = (
            (done.visits, plan.visits),
            (done.steps, plan.steps),
            (done.packs, plan.packs),
            (done.tests, plan.tests),
            (done.duties, plan.duties),
        )
        for old, new in pairs:
            for x in old:
                if x not in new:
                    self.say("was done, but the plan lacks or changes it", str(x))
            for x in new:
                if x.start < now and x not in old:
                    self.say(f"starts before now ({now})", str(x))
        begun = {_begun(b): b for b in done.batches}
        for b in plan.batches:
            old_batch = begun.pop(_begun(b), None)
            if old_batch is None and b.load_start < now:
                self.say(f"loaded before now ({now})", str(b))
            if old_batch is not None and old_batch.unload_start is not None and old_batch != b:
                self.say("was unloaded otherwise", str(b))
            if old_batch is not None and old_batch.unload_start is None and (b.unload_start or 0) < now:
                self.say(f"unloaded before now ({now})", str(b))
        for b in begun.values():
            self.say("was done, but the plan lacks or changes it", str(b))


def _begun(b: Batch) -> tuple[object, ...]:
    """Return what can't change any more once a load has begun."""
    return b.machine, b.units, b.load_start, b.load_person, b.start, b.cycle
