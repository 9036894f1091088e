"""Rules of machines and sets: loads, cycles, tests before the first load, each unit on its way back to sterile."""

from collections import Counter, defaultdict
from itertools import pairwise

from fettlebook.plan.check_diary import Diaries, Line
from fettlebook.plan.instance import Batch, Machine


class InstrumentRules(Diaries):
    """What must hold of each load and each unit."""

    def machines(self) -> None:
        """Loads are put in and taken out by hands; packing too."""
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
            self.subject_diary[b.machine].append(Line(b.load_start, b.unload_start + r.unload_minutes, what))
        for k in self.plan.packs:
            self.book(k.person, k.start, self.packing.get(k.unit.rpartition("#")[0], 0), f"packing {k.unit}", "instruments")

    def batch(self, b: Batch, machine: Machine, what: str) -> None:
        """A load fits, is loaded as it starts, and comes out after its cycle."""
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
        lines: dict[str, dict[int, Line]] = defaultdict(dict)
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
            lines[t.machine][t.index] = Line(t.start, t.start + test.minutes, what)
        for m in by_id.values():
            own = [lines[m.id][k] for k in sorted(lines[m.id])]
            self.subject_diary[m.id] += own
            loads = [b.load_start for b in self.plan.batches if b.machine == m.id]
            if loads and (len(own) < len(m.tests) or any(x.end > min(loads) for x in own)):
                self.say(f"loaded at {min(loads)} before its tests are over", m.id)
            for a, b in pairwise(own):
                if b.start < a.end:
                    self.say(f"{b.what} begins before {a.what} ends", m.id)

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
        """Add to the life of each unit the loads that it rode."""
        r = self.day.reprocess
        stage_of = {m.id: kind for kind, machines in self.machines_of.items() for m in machines}
        for b in self.plan.batches:
            if b.unload_start is not None and b.machine in stage_of:
                stage = stage_of[b.machine]
                out = b.unload_start + r.unload_minutes + (r.cool_minutes if stage == "sterilize" else 0)
                for u in b.units:
                    life[u].append((b.load_start, out, stage, self.rooms[b.machine]))
