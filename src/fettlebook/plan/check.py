"""Is a plan valid? Every rule of a day held against a finished plan, by code that shares nothing with what made it.

Comes in: an instance and a plan. Goes out: each broken rule as a finding, and the plan's figures. It searches nothing
and repairs nothing. It reads the plan as a diary: first each diary is written (person, chair, machine, unit), then each
is read from morning to night.
"""

from collections import Counter
from dataclasses import dataclass

from fettlebook.errors import Finding
from fettlebook.plan.check_chairs import ChairRules
from fettlebook.plan.check_instruments import InstrumentRules
from fettlebook.plan.check_owed import DutyRules
from fettlebook.plan.instance import Batch, Instance, Plan


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


class _Check(ChairRules, InstrumentRules, DutyRules):
    def run(self) -> tuple[Finding, ...]:
        if self.visits_are_all_accounted_for():
            self.moves()
            self.chairs()
            self.machines()
            self.tests()
            self.duties()
            self.units()
            self.one_at_a_time(self.person_diary)
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
            was, planned = set(old), set(new)
            for x in old:
                if x not in planned:
                    self.say("was done, but the plan lacks or changes it", str(x))
            for x in new:
                if x.start < now and x not in was:
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
