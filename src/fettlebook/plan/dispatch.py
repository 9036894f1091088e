"""The list scheduler: live through the day minute by minute and give each free person the most urgent job.

Comes in: an instance, from the morning or from any moment (`now`, `done`), and a `Manner`: how eager to be. Goes out: a
plan that serves every visit it can and names the others.
"""

import heapq
from collections import defaultdict
from collections.abc import Callable, Iterator

from fettlebook.plan.day_state import ChairState, Job
from fettlebook.plan.instance import Chair, Instance, Plan, PlannedStep, PlannedVisit, Visit
from fettlebook.plan.instruments import InstrumentRoom
from fettlebook.plan.manner import Manner
from fettlebook.plan.resume import take_over
from fettlebook.plan.rows import after_outages


class Run(InstrumentRoom):
    """One day lived through; `plan()` gives what was done and `stuck` the visits that could not be served."""

    def __init__(self, day: Instance, manner: Manner) -> None:
        if day.done is not None:
            day = day.moved(day.done)
        super().__init__(day, manner)
        self.steps: list[PlannedStep] = []
        self.free = {p.id: p.from_ for p in day.people}
        self.windows = {p.id: p.windows() for p in day.people}
        self.does = {p.id: p.does for p in day.people}
        self.worked = {p.id: 0 for p in day.people}
        self.last_at: dict[str, str] = {}  # chair or machine -> who worked there last, in this procedure or load
        self.chair_shift, self.visit_shift = dict(manner.chairs), dict(manner.visits)
        self.chairs = [ChairState(c, own, ready=day.day_start) for c in day.chairs if (own := day.visits_of(c.id))]
        self.last_hand = min(day.day_end, max((p.to for p in day.people if "chairs" in p.does), default=day.day_end))
        self.clock = [day.day_start]
        self.clock += [a for w in self.windows.values() for a, _ in w] + [v.booked for v in day.visits]
        self.clock += [m.not_before - (0 if m.tests else self.r.load_minutes) for m in day.washers + day.sterilizers + day.baths]
        self.out_lag = {c.id: self.ways.to_chair(c.room) for c in day.chairs}  # minutes from the store
        self.taken = {c.id: list(c.out) for c in day.chairs}  # when nothing can happen on a chair
        if day.now is not None:
            take_over(self, day.now)
        heapq.heapify(self.clock)

    def chair_of(self, chair: str) -> Chair:
        """Return the chair of a name."""
        return next(c for c in self.day.chairs if c.id == chair)

    def busy(self, person: str | None, start: int, minutes: int) -> None:
        """Let a person be taken for a job."""
        if person is not None:
            self.free[person] = max(self.free[person], start + minutes)
            self.worked[person] += minutes
            self.wake(self.free[person])

    # --- the day -------------------------------------------------------------------------------------------------

    def live(self) -> None:
        """Go through the day, from one moment at which something changes to the next."""
        start = self.day.day_start if self.day.now is None else self.day.now
        for state in self.chairs:
            if self.day.now is None:
                self.skip_unattended(state)
                self.wake(state.ready)
        while self.clock:
            t = heapq.heappop(self.clock)
            while self.clock and self.clock[0] <= t:
                heapq.heappop(self.clock)
            t = max(t, start)
            if t > self.day.day_end + 1:
                return
            self.receive(t)
            self.run_alone(t)
            self.begin_visits(t)
            self.give_out(t)

    def begin_visits(self, t: int) -> None:
        """Begin the visits whose chair, sets and hour have come."""
        waiting = [
            (self.wish(v), i, s, v)
            for i, s in enumerate(self.chairs)
            if s.procedure is None
            and not s.closed
            and s.ready <= t
            and (v := s.visits[s.at]).booked <= t
            and (v.latest is None or t <= v.latest)  # too late: it is never begun, and is then left out
            and self.is_free(s, t, v.minutes)
        ]
        promised: dict[str, int] = defaultdict(int)
        for _, _, state, visit in sorted(waiting, key=lambda w: w[:2]):
            need = visit.needs()
            if any(len(self.stock[k].clean) - promised[k] < n for k, n in need.items()) or not self.are_there(state, need, t):
                if self.manner.own_order:
                    for k, n in need.items():
                        promised[k] += n
                continue
            units = tuple(u for k, n in need.items() for u in self.take(state, k, n, t))
            for k, n in need.items():
                wanted = self.stock[k].wanted
                for _ in range(n):
                    wanted.remove(visit.booked)
            self.visits.append(PlannedVisit.model_construct(id=visit.id, start=t, units=units))
            state.at += 1
            state.after, state.index, state.ready = visit.id, 0, t + visit.minutes
            state.procedure = "closing" if state.at == len(state.visits) else "turnover"
            self.skip_unattended(state)
            self.wake(state.ready)

    def are_there(self, state: ChairState, need: dict[str, int], t: int) -> bool:
        """Whether enough clean sets have had the time to come to a chair by `t`; looks again when the next has."""
        lag = self.out_lag[state.chair.id]
        if not lag:
            return True
        there = True
        for k, n in need.items():
            came = sorted(self.in_store.get(f"{k}#{u}", -lag) + lag for u in self.stock[k].clean)
            if came[n - 1] > t:
                there = False
                self.wake(came[n - 1])
        return there

    def take(self, state: ChairState, type_id: str, count: int, t: int) -> list[str]:
        """Take clean sets to a chair: of those that can be there by `t`, the ones with the lowest numbers."""
        clean = self.stock[type_id].clean
        lag = self.out_lag[state.chair.id]
        if not lag:
            return [f"{type_id}#{heapq.heappop(clean)}" for _ in range(count)]
        there = [u for u in sorted(clean) if self.in_store.get(f"{type_id}#{u}", -lag) + lag <= t][:count]
        for u in there:
            clean.remove(u)
        heapq.heapify(clean)
        return [f"{type_id}#{u}" for u in there]

    def is_free(self, state: ChairState, t: int, minutes: int) -> bool:
        """Whether nothing stands against using a chair for so long from `t`; looks again when that is over."""
        if not self.taken[state.chair.id]:
            return True
        clear = self.clear_from(state, t, minutes)
        if clear > t:
            self.wake(clear)
        return clear == t

    def clear_from(self, state: ChairState, t: int, minutes: int) -> int:
        """Return the first minute from `t` at which a chair is not out of service for so long."""
        return after_outages(self.taken[state.chair.id], t, minutes)

    def wish(self, visit: Visit) -> float:
        """Return the minute at which a visit is taken to want to start: booked, pulled forward by weight and manner."""
        return visit.booked - self.manner.pull * (visit.weight - 1) + self.visit_shift.get(visit.id, 0.0)

    def skip_unattended(self, state: ChairState) -> None:
        """Let unattended steps run as soon as they can; stop at the next attended step or the end."""
        while state.procedure is not None:
            steps = state.steps()
            if state.index < len(steps):
                if steps[state.index].attended:
                    return
                self.note_step(state, self.clear_from(state, state.ready, steps[state.index].minutes), None)
            else:
                self.finish_procedure(state)

    def note_step(self, state: ChairState, start: int, person: str | None) -> None:
        """Write down a step; its chair goes on to the next."""
        assert state.procedure is not None
        step = state.steps()[state.index]
        self.steps.append(
            PlannedStep.model_construct(
                chair=state.chair.id, procedure=state.procedure, after=state.after, index=state.index, start=start, person=person
            )
        )
        state.ready = start + step.minutes
        if state.index == 0 and state.after is not None:
            used = next(v for v in reversed(self.visits) if v.id == state.after)
            for u in used.units:
                on_the_way = self.ways.to_first_stage(state.chair.room, u.rpartition("#")[0]) if self.ways.between else 0
                self.arrive(state.ready + on_the_way, "dirty", u)
        state.index += 1

    @staticmethod
    def finish_procedure(state: ChairState) -> None:
        """End what was under way on a chair."""
        state.closed = state.procedure == "closing"
        state.procedure = None

    def give_out(self, t: int) -> None:
        """Give each free person the most urgent job that fits before the break or the end of the shift."""
        while True:
            hands = [(p, end) for p, f in self.free.items() if f <= t for a, end in self.windows[p] if a <= t < end]
            if not hands:
                return
            given = False
            for job in sorted(self.jobs(t)):
                able = [p for p, end in hands if t + job.minutes <= end and job.work in self.does[p]]
                if not able:
                    continue
                stays = self.last_at.get(job.place)
                person = stays if stays in able else min(able, key=lambda p: (len(self.does[p]), self.worked[p]))
                self.last_at[job.place] = person
                self.busy(person, t, job.minutes)
                job.do(person)
                given = True
                break
            if not given:
                return

    def jobs(self, t: int) -> Iterator[Job]:
        """Offer every job that could begin at minute `t`."""
        tie = 0
        for state in self.chairs:
            if state.procedure is not None and state.ready <= t:
                tie += 1
                step = state.steps()[state.index]
                if self.taken[state.chair.id] and not self.is_free(state, t, step.minutes):
                    continue
                rest = sum(s.minutes for s in state.steps()[state.index :])
                due: float = min(self.last_hand, state.closed_by) + self.manner.closing
                if state.procedure != "closing":
                    due = self.wish(state.visits[state.at])
                latest = due - rest + self.chair_shift.get(state.chair.id, 0.0)
                if state.index == 0 and state.after is not None:
                    latest = min(latest, self.dirty_latest(state.after))
                yield Job(latest, tie, step.minutes, "chairs", self.step_doer(state, t), state.chair.id)
        yield from self.instrument_jobs(t, tie)

    def step_doer(self, state: ChairState, t: int) -> Callable[[str], None]:
        """Return what a person does to begin the next step of a chair at `t`."""

        def do(person: str) -> None:
            self.note_step(state, t, person)
            self.skip_unattended(state)
            self.wake(state.ready)

        return do

    # --- what came of it -----------------------------------------------------------------------------------------

    def stuck(self) -> list[str]:
        """Return one visit a chair that the day could not serve to the end; empty when all went well."""
        out = []
        for s in self.chairs:
            if not s.closed or s.ready > min(self.day.day_end, s.closed_by):
                # Waiting for sets: the visit that waits. Waiting for people, or closed too late: the chair's last visit.
                waits = s.procedure is None and not s.closed and s.ready <= self.day.day_end
                out.append((s.visits[s.at] if waits else s.visits[-1]).id)
        return out

    def plan(self) -> Plan:
        """Return what was done."""
        return Plan.model_construct(
            instance=self.day.name,
            visits=tuple(self.visits),
            steps=tuple(self.steps),
            packs=tuple(self.packs),
            batches=tuple(self.batches),
            left_out=(),
            tests=tuple(self.tests),
            duties=self.day.done.duties if self.day.done else (),
        )


def dispatch(day: Instance, manner: Manner | None = None) -> Plan:
    """Return a plan of the day by the list scheduler; visits that can't be served stand in `left_out`.

    Parameters
    ----------
    day
        The instance; from `now` on, where it has one.
    manner
        How to decide.

    Returns
    -------
    Plan
        Valid whenever `people` can at least do what has begun; empty of visits in the worst case.
    """
    manner = manner or Manner()
    begun = {v.id for v in day.done.visits} if day.done else set()
    left: list[str] = []
    rest = day
    weight = {v.id: v.weight for v in day.visits}
    while True:
        run = Run(rest, manner)
        run.live()
        stuck = [v for v in run.stuck() if v not in begun]
        if not stuck:
            return run.plan().model_copy(update={"left_out": tuple(left)})
        # A few at a time, the lightest first: the others may fit once they are gone.
        gone = sorted(stuck, key=lambda v: weight[v])[: max(1, len(stuck) // 4)]
        left += gone
        rest = rest.without(gone)
