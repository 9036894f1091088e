"""The live policy: what people really do when visits run over, minute by minute, by the list scheduler's own dispatcher.

Comes in: an instance, the plan's guidance and how long each visit truly takes. Goes out: what happened. A visit's true
length is seen only when it ends: no decision of the dispatcher looks at the end of something that still runs, so living
a day through with true lengths is deciding as the day goes. From any state (`now`, `done`) and always the same answer.

The plan guides: whom it names for a step goes first if free, scarce sets go to visits in the order that it promised, and
a load waits for the sets that the plan puts into it, though only some minutes beyond its planned start. Nobody waits for
an order that the day has overtaken. Which way suits a day is found by rehearsal: the same days lived through with each.
"""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from fettlebook.plan.day_state import NEVER, Job, MachineState
from fettlebook.plan.dispatch import Run
from fettlebook.plan.instance import Instance, Plan, PlannedStep, PlannedVisit
from fettlebook.plan.manner import Manner

STAY_MIN = 60  # a visit is begun only if, as booked, its chair can be closed this long after the day's end
WORST_SHARE = 0.98  # of the plain manner's cost on its worst days
KEPT = 4  # rivals that are rehearsed to the end
UNTIL_CLOSED_MIN = 1440  # those whose shift ends last stay until every chair is closed: that is not what a plan may ask

_StepKey = tuple[str, str, str | None, int]
_Use = tuple[str, str]  # visit, set type: what a load's member was used for


@dataclass(frozen=True, slots=True)
class GuidingLoad:
    """A load of the plan: when it was to begin, and with the sets of which visits."""

    start: int
    uses: frozenset[_Use]


@dataclass(frozen=True, slots=True)
class Policy:
    """How to decide as the day goes: the dispatcher's manner, whom the plan names for each step, and its loads.

    `patience_min`: so long beyond its planned start does a load wait for a set that the plan puts into it.
    """

    manner: Manner = field(default_factory=Manner)
    named: Mapping[_StepKey, str] = field(default_factory=dict)
    washes: tuple[GuidingLoad, ...] = ()
    sterilizations: tuple[GuidingLoad, ...] = ()
    patience_min: int = 15


@dataclass(frozen=True, slots=True)
class Lived:
    """What came of a day. `never`: visits that were not served; `late`: minutes late of the others."""

    plan: Plan
    late: dict[str, int]
    never: tuple[str, ...]
    closed: int  # when the last chair was closed
    weighted_minutes_late: int


def policy_of(day: Instance, plan: Plan, manner: Manner | None = None, *, patience_min: int = 15) -> Policy:
    """Return the policy that a plan stands for."""
    booked = {v.id: v.booked for v in day.visits}
    promised = tuple((v.id, float(v.start - booked[v.id])) for v in plan.visits if v.start > booked.get(v.id, v.start))
    washers = {m.id for m in day.washers}
    loads: dict[bool, list[GuidingLoad]] = {True: [], False: []}
    baths = {m.id for m in day.baths}
    for b in sorted((b for b in plan.batches if b.machine not in baths), key=lambda b: b.load_start):
        loads[b.machine in washers].append(GuidingLoad(b.load_start, frozenset(_uses(plan.visits, b.units, b.load_start))))
    return Policy(
        manner=replace(manner or Manner(), visits=promised),
        named={_key(s): s.person for s in plan.steps if s.person is not None},
        washes=tuple(loads[True]),
        sterilizations=tuple(loads[False]),
        patience_min=patience_min,
    )


def _uses(visits: Iterable[PlannedVisit], units: Iterable[str], before: int) -> Iterator[_Use]:
    """Return for each unit the last visit before a minute that it was used for, and its type."""
    ordered = [v for v in sorted(visits, key=lambda v: -v.start) if v.start < before]
    for u in units:
        user = next((v.id for v in ordered if u in v.units), None)
        if user is not None:
            yield user, u.rpartition("#")[0]


class LiveRun(Run):
    """The list scheduler's day, with the plan's guidance, machines out of order and visits that are given up."""

    def __init__(self, day: Instance, policy: Policy, blocked: Mapping[str, int] | None = None) -> None:
        self.policy = policy
        self.given_up: list[str] = []
        self.used_for: dict[str, _Use] = {}  # unit -> its last use
        self.loaded: dict[str, set[_Use]] = {"bath": set(), "wash": set(), "sterilize": set()}
        self.blocked = dict(blocked or {})
        super().__init__(day, policy.manner)
        for until in self.blocked.values():
            if until < NEVER:
                self.wake(until)
        for v in day.visits:
            if v.latest is not None:
                self.wake(v.latest + 1)
        self.note_uses(sorted(self.visits, key=lambda v: v.start))
        kind_of = {s.machine.id: s.kind for s in self.machines}
        for b in day.done.batches if day.done else ():
            self.loaded[kind_of[b.machine]].update(_uses(self.visits, b.units, b.load_start))

    def jobs(self, t: int) -> Iterator[Job]:
        """Offer the list scheduler's jobs; whom the plan names for a step goes first at its chair."""
        at = {s.chair.id: s for s in self.chairs}
        for job in super().jobs(t):
            state = at.get(job.place)
            if state is not None and state.procedure is not None:
                name = self.policy.named.get((state.chair.id, state.procedure, state.after, state.index))
                if name is not None:
                    self.last_at[job.place] = name
            yield job

    def give_up_late_ones(self, t: int) -> None:
        """Send away a visit whose latest start has passed; its chair goes on with the next, or is closed."""
        for state in self.chairs:
            if state.procedure is not None or state.closed or state.ready > t:
                continue
            while state.at < len(state.visits) and (latest := state.visits[state.at].latest) is not None and latest < t:
                gone = state.visits[state.at]
                self.given_up.append(gone.id)
                state.visits = state.visits[: state.at] + state.visits[state.at + 1 :]
                for k, n in gone.needs().items():
                    for _ in range(n):
                        self.stock[k].wanted.remove(gone.booked)
            if state.at == len(state.visits):
                if state.at == 0:
                    state.closed = True
                    continue
                state.procedure, state.index, state.after = "closing", 0, None  # the sets are cleared already
                self.skip_unattended(state)
                self.wake(state.ready)

    def begin_visits(self, t: int) -> None:
        """Begin the visits whose chair, sets and hour have come."""
        self.give_up_late_ones(t)
        before = len(self.visits)
        super().begin_visits(t)
        self.note_uses(self.visits[before:])

    def note_uses(self, visits: Iterable[PlannedVisit]) -> None:
        """Remember for which visit each unit was used last."""
        for v in visits:
            for u in v.units:
                self.used_for[u] = (v.id, u.rpartition("#")[0])

    def is_time(self, state: MachineState, units: tuple[str, ...], latest: float, t: int) -> bool:
        """Let a load wait for the sets that the plan puts into it, but not long beyond its planned start."""
        if t < self.blocked.get(state.machine.id, 0):
            return False
        here = {self.used_for[u] for u in units}
        loads = {"bath": (), "wash": self.policy.washes, "sterilize": self.policy.sterilizations}[state.kind]
        guiding = next((x for x in loads if x.uses & here), None)
        if guiding is None:
            return super().is_time(state, units, latest, t)
        if guiding.uses <= here | self.loaded[state.kind]:
            return True
        if t < guiding.start + self.policy.patience_min:
            self.wake(guiding.start + self.policy.patience_min)
            return False
        return super().is_time(state, units, latest, t)

    def loader(self, state: MachineState, units: tuple[str, ...], t: int) -> Callable[[str], None]:
        """Load, and remember what was loaded."""
        load = super().loader(state, units, t)

        def do(person: str) -> None:
            self.loaded[state.kind].update(self.used_for[u] for u in units)
            load(person)

        return do


def live(
    day: Instance,
    policy: Policy | None = None,
    *,
    truly: Mapping[str, int] | None = None,
    blocked: Mapping[str, int] | None = None,
    stay_min: int = STAY_MIN,
) -> Lived:
    """Return what comes of a day when visits take as long as they truly take.

    Parameters
    ----------
    day
        The instance; from `now` on, where it has one.
    policy
        How to decide; left out, the list scheduler's plain manner.
    truly
        Visit -> minutes that it truly takes; others take what is booked.
    blocked
        Machine -> minute until which it can't be used.
    stay_min
        A visit is not begun if by its booked length its chair could not be closed this long after the end of the
        day [min]. Those whose shift ends last stay until what was begun is done and closed.

    Returns
    -------
    Lived
        What happened. Where every visit was served, `plan` holds every rule of the day with the true lengths.
    """
    run = LiveRun(with_stay(with_minutes(day, truly or {}, stay_min), UNTIL_CLOSED_MIN), policy or Policy(), blocked)
    run.last_hand = min(run.last_hand, max((p.to for p in day.people if "chairs" in p.does), default=day.day_end))
    run.live()
    booked = {v.id: v for v in day.visits}
    late = {v.id: v.start - booked[v.id].booked for v in run.visits}
    never = tuple(v.id for v in day.visits if v.id not in late)
    ends = [s.ready for s in run.chairs if s.closed and s.at]
    plan = run.plan().model_copy(update={"left_out": never})
    return Lived(plan, late, never, max(ends, default=0), sum(booked[v].weight * m for v, m in late.items()))


def with_minutes(day: Instance, truly: Mapping[str, int], stay_min: int = STAY_MIN) -> Instance:
    """Return the day with true lengths; each visit with the last minute at which, as booked, it still makes sense to begin."""
    closing = {c.id: sum(s.minutes for s in c.closing) for c in day.chairs}
    visits = []
    for v in day.visits:
        last = max(v.booked, day.day_end + stay_min - v.minutes - closing[v.chair])
        latest = last if v.latest is None else min(last, v.latest)
        visits.append(v.model_copy(update={"minutes": truly.get(v.id, v.minutes), "latest": latest}))
    return day.model_copy(update={"visits": tuple(visits)})


def with_stay(day: Instance, stay_min: int, away: Collection[str] = ()) -> Instance:
    """Return the day with those staying on whose shift ends last, of each kind of work; who is away can't stay."""
    if not stay_min or not (stays := who_stays(day, away)):
        return day
    people = tuple(p.model_copy(update={"to": p.to + stay_min}) if p.id in stays else p for p in day.people)
    chairs = tuple(c if c.closed_by is None else c.model_copy(update={"closed_by": c.closed_by + stay_min}) for c in day.chairs)
    return day.model_copy(update={"people": people, "chairs": chairs, "day_end": max(day.day_end, *(p.to for p in day.people)) + stay_min})


def who_stays(day: Instance, away: Collection[str] = ()) -> tuple[str, ...]:
    """Return whose shift ends last: of those who do chairs, and of those who do instruments."""
    there = [p for p in day.people if p.id not in away]
    last = {w: max(p.to for p in there if w in p.does) for p in there for w in p.does}
    return tuple(p.id for p in there if any(p.to == last[w] for w in p.does))


def _key(step: PlannedStep) -> _StepKey:
    return step.chair, step.procedure, step.after, step.index


# Manners that differ in what matters under overruns: how full a load waits to be, how early, and who goes first.
FAMILY = (
    Manner(wash_share=0.75, sterilize_share=0.75, lead=30),
    Manner(wash_share=0.25, sterilize_share=0.25),
    Manner(wash_share=1.0, sterilize_share=1.0, lead=40),
    Manner(wash_share=1.0, sterilize_share=0.5, lead=60, instruments=20),
    Manner(wash_share=0.75, sterilize_share=0.1, instruments=40, pull=10, own_order=False, calm=15),
    Manner(wash_share=0.75, sterilize_share=1.0, lead=70, instruments=20, pull=5, closing=-120, calm=15),
)


def rehearse(day: Instance, days: Sequence[Mapping[str, int]], plan: Plan | None = None) -> Policy:
    """Return the policy that comes out best when the same days are lived through with each.

    Parameters
    ----------
    day
        The instance.
    days
        True lengths of invented days, at least 8; take others than those with which the policy is judged afterwards.
    plan
        A plan of the day, to be tried as guidance.

    Returns
    -------
    Policy
        The list scheduler's plain manner, unless another is better by more than chance would make it (by twice the
        standard error of the paired difference), and its bad days are better too.
    """
    rivals = [Policy()] + [Policy(m) for m in FAMILY]
    if plan is not None:
        rivals += [policy_of(day, plan, m, patience_min=p) for m in (Manner(), FAMILY[0]) for p in (0, 15, 40)]
    few, rest = days[:8], days[8:]
    known = [_costs(day, p, few) for p in rivals]
    # Most of the rivals go after a few days; only the others live through them all.
    keep = sorted(range(1, len(rivals)), key=lambda i: sum(known[i]))[:KEPT]
    for i in (0, *keep):
        known[i] += _costs(day, rivals[i], rest)
    # A rival must not buy its mean with worse bad days: not on the day that one in ten is worse than, and clearly less in
    # the mean of the worst fifth, which moves less from sample to sample.
    bad_day, worst = len(days) * 9 // 10, max(1, len(days) // 5)
    ordered = {i: sorted(known[i]) for i in (0, *keep)}
    tail = {i: sum(ordered[i][-worst:]) for i in ordered}
    keep = [i for i in keep if ordered[i][bad_day] <= ordered[0][bad_day] and tail[i] <= WORST_SHARE * tail[0]]
    best = min(keep, key=lambda i: sum(known[i]), default=0)
    gains = [a - b for a, b in zip(known[0], known[best], strict=True)]
    mean = sum(gains) / len(gains)
    error = (sum((g - mean) ** 2 for g in gains) / max(1, len(gains) - 1) / len(gains)) ** 0.5
    return rivals[best if mean > 2 * error else 0]


def _costs(day: Instance, policy: Policy, days: Sequence[Mapping[str, int]]) -> list[float]:
    """Return what each day costs: weighted minutes late, a visit never served as if it were two hours late."""
    weight = {v.id: v.weight for v in day.visits}
    out: list[float] = []
    for truly in days:
        lived = live(day, policy, truly=truly)
        out.append(lived.weighted_minutes_late + 120.0 * sum(weight[v] for v in lived.never))
    return out
