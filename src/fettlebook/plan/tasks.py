"""From the practice, its running times and the booked visits to a day instance, and the way back to steps and machines.

Seconds become whole minutes block by block: consecutive attended steps are summed and rounded up once, and what runs
alone after them starts at the second at which the hands are done, so that a step of 20 s costs no minute of its own.
A step whose length can't be said holds a stand-in of time and is named in a finding; it is never planned as if it took
none.

Not in this plan: the ultrasonic bath, machine tests other than the daily ones, who releases a load, and duties other
than before the first visit, between visits and at the end of the day. What is left out this way is said in a finding.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from itertools import groupby, pairwise
from zoneinfo import ZoneInfo

from fettlebook.errors import Finding, Mendable
from fettlebook.plan.dayclock import DayClock
from fettlebook.plan.hands import MachineTest, closed_for, crew_of
from fettlebook.plan.instance import LONGEST_DAY_MIN, Chair, Instance, Procedure, Reprocess, SetType, Step
from fettlebook.plan.instance import Visit as DayVisit
from fettlebook.practice.model import MachineKind, Practice
from fettlebook.practice.visit import Visit
from fettlebook.rules.model import When
from fettlebook.times.model import RunningTime

STAND_IN_S = 600  # held for a step of unknown length that no other chair knows either
_WHEN: dict[Procedure, When] = {"opening": When.BEFORE_FIRST_VISIT, "turnover": When.BETWEEN_VISITS, "closing": When.END_OF_DAY}


@dataclass(frozen=True, slots=True)
class StepPart:
    """One step of a duty inside a block of the instance."""

    step_id: str
    name: str
    seconds: int
    attended: bool
    unknown: bool = False  # the seconds are a stand-in


@dataclass(frozen=True, slots=True)
class Block:
    """What one step of the instance stands for: the steps of a duty, and the second of its first minute at which they begin.

    `begins` is negative where unattended steps begin before the block, in the last minute of the hands before them.
    """

    parts: tuple[StepPart, ...]
    begins: int = 0


@dataclass(frozen=True, slots=True)
class Maps:
    """What the instance does not say: which steps a block holds, visits, tests, and what could not be planned."""

    clock: DayClock
    blocks: dict[tuple[str, Procedure, int], Block]
    visits: dict[str, Visit]
    tests: tuple[MachineTest, ...]
    refused: dict[str, str]  # visit -> why it is not in the instance
    cycles: dict[str, str]  # machine -> its cycle of the day
    findings: tuple[Finding, ...]

    @property
    def unknown_steps(self) -> int:
        """How many steps hold a stand-in."""
        return sum(p.unknown for block in self.blocks.values() for p in block.parts)


def day_instance(practice: Practice, times: tuple[RunningTime, ...], visits: tuple[Visit, ...], day: date) -> tuple[Instance, Maps]:
    """Return the day as an instance, and the maps that lead back.

    Parameters
    ----------
    practice
        The practice file.
    times
        Its running times.
    visits
        The visits of the day. One that can't be planned at all (chair out of service, unknown kind) is refused with a
        reason, never dropped in silence.
    day
        The day, in the practice's zone.

    Raises
    ------
    Mendable
        The rulebooks ask nothing between visits or at the end of the day, so that no turnover could be planned.
    """
    clock = DayClock(day, ZoneInfo(practice.practice.time_zone))
    findings: list[Finding] = []
    kept, refused = _sort_out(practice, visits, clock, findings)
    used_chairs = {v.chair for v in kept}
    chairs, blocks = _chairs(practice, times, used_chairs, findings)
    crew = crew_of(practice, clock)
    if closed := closed_for(practice, day):
        findings.append(Finding(f"the practice is closed ({closed})", f"{day}", "Move the visits, or mend the practice file.", "warning"))
    kinds = {k.id: k for k in practice.visit_kinds}
    start = min((p.from_ for p in crew.people), default=0)
    end = max([start + 1, *(p.to for p in crew.people)])
    r = practice.reprocessing
    instance = Instance(
        name=f"{practice.practice.id} {day}",
        day_start=start,
        day_end=end,
        people=crew.people,
        chairs=chairs,
        visits=tuple(
            DayVisit(
                id=v.ref,
                chair=v.chair,
                booked=clock.minute_up(v.start),
                minutes=max(1, clock.minute_up(v.end) - clock.minute_up(v.start)),
                uses=dict(kinds[v.visit_kind].uses),
                weight=kinds[v.visit_kind].weight,
            )
            for v in kept
        ),
        set_types=tuple(SetType(id=s.id, owned=s.owned, places=s.places) for s in practice.sets),
        washers=crew.washers,
        sterilizers=crew.sterilizers,
        reprocess=Reprocess(
            load_minutes=r.load_minutes, unload_minutes=r.unload_minutes, pack_minutes=r.pack_minutes, cool_minutes=r.cool_minutes
        ),
    )
    findings += _not_planned(practice, times, used_chairs)
    cycles = {m.id: m.day_cycle for m in practice.machines}
    return instance, Maps(clock, blocks, {v.ref: v for v in visits}, crew.tests, refused, cycles, tuple(findings))


def _sort_out(
    practice: Practice, visits: tuple[Visit, ...], clock: DayClock, findings: list[Finding]
) -> tuple[list[Visit], dict[str, str]]:
    chairs, kinds = {c.id: c for c in practice.chairs}, {k.id: k for k in practice.visit_kinds}
    types = {s.id for s in practice.sets}
    refused: dict[str, str] = {}
    kept: list[Visit] = []

    def refuse(v: Visit, why: str, mend: str) -> None:
        refused[v.ref] = why
        findings.append(Finding(f"not planned: {why}", f"visit at {v.start:%H:%M} on {v.chair}", mend))

    for v in sorted(visits, key=lambda v: (v.start, v.chair)):
        if any(v.ref == k.ref for k in kept):
            refuse(v, "it stands in the book twice", "Take one of the two out of the book.")
        elif v.chair not in chairs:
            refuse(v, f"there is no chair {v.chair!r}", "Mend the calendar's map in the practice file.")
        elif chairs[v.chair].out_of_service:
            refuse(v, f"{v.chair} is out of service", "Move the visit to another chair.")
        elif v.visit_kind not in kinds:
            refuse(v, f"there is no visit kind {v.visit_kind!r}", "Mend the calendar's map in the practice file.")
        elif unknown := [t for t in kinds[v.visit_kind].uses if t not in types]:
            refuse(v, f"it uses {unknown[0]!r}, which is no set of the practice", "Add the set to the practice file.")
        elif v.end <= v.start or not 0 <= clock.minute_up(v.start) <= clock.minute_up(v.end) <= LONGEST_DAY_MIN:
            refuse(v, "it ends before it begins, or lies outside the day", "Mend the entry in the book.")
        else:
            kept.append(v)
    for chair in {v.chair for v in kept}:
        for a, b in pairwise(v for v in kept if v.chair == chair):
            if b.start < a.end:
                what = f"booked over the visit at {a.start:%H:%M}, which ends at {a.end:%H:%M}"
                findings.append(Finding(what, f"visit at {b.start:%H:%M} on {chair}", "Move one of them."))
    return kept, refused


def _chairs(
    practice: Practice, times: tuple[RunningTime, ...], used: set[str], findings: list[Finding]
) -> tuple[tuple[Chair, ...], dict[tuple[str, Procedure, int], Block]]:
    chairs: list[Chair] = []
    blocks: dict[tuple[str, Procedure, int], Block] = {}
    longest: dict[str, int] = {}
    for t in times:
        longest[t.step_id] = max(longest.get(t.step_id, 0), t.seconds or 0)
    for chair in practice.chairs:
        if chair.id not in used:
            continue
        procedures: dict[Procedure, tuple[Step, ...]] = {}
        for procedure, when in _WHEN.items():
            own = [t for t in times if t.chair == chair.id and t.when is when]
            steps: list[Step] = []
            for step, block in _blocks([_part(t, longest[t.step_id], findings) for t in own]):
                blocks[chair.id, procedure, len(steps)] = block
                steps.append(step)
            procedures[procedure] = tuple(steps)
            if not steps and procedure != "opening":
                raise Mendable(
                    f"the rulebooks ask nothing of {chair.id} {when.value}",
                    where="practice.rulebooks",
                    mend='Add "general": without a turnover no chair is safe for the next patient.',
                )
        chairs.append(Chair(id=chair.id, opening=procedures["opening"], turnover=procedures["turnover"], closing=procedures["closing"]))
    return tuple(chairs), blocks


def _blocks(parts: list[StepPart]) -> Iterable[tuple[Step, Block]]:
    """Cut a procedure into blocks of whole minutes.

    Hands for `a` seconds take ceil(a) minutes of a person. What runs alone for `u` seconds after them needs nobody to
    start it later, so it ends by ceil(a + u); where that is the hands' own last minute, it is part of their block.
    """
    runs = [tuple(run) for _, run in groupby(parts, key=lambda p: p.attended)]
    spare = 0  # seconds of the hands' last minute that are left
    k = 0
    while k < len(runs):
        run, seconds = runs[k], sum(p.seconds for p in runs[k])
        if not run[0].attended:
            minutes = -(-max(0, seconds - spare) // 60)
            yield Step(name=_block_name(run), minutes=max(1, minutes), attended=False), Block(run, -spare)
            spare, k = 0, k + 1
            continue
        minutes = max(1, -(-seconds // 60))
        spare = minutes * 60 - seconds
        k += 1
        if k < len(runs) and sum(p.seconds for p in runs[k]) <= spare:
            run, spare, k = run + runs[k], 0, k + 1
        yield Step(name=_block_name(run), minutes=minutes, attended=True), Block(run)


def _part(t: RunningTime, elsewhere: int, findings: list[Finding]) -> StepPart:
    if t.seconds is not None:
        return StepPart(t.step_id, t.name, t.seconds, t.attended)
    held = elsewhere or STAND_IN_S
    source = "as long as on another chair" if elsewhere else "a stand-in"
    findings.append(
        Finding(
            f"its length can't be said ({t.missing}); the plan holds {-(-held // 60)} min for it, {source}",
            f"{t.chair}, {t.step_id}",
            "Mend what is missing before anyone relies on this time: it is no proof that the step is long enough.",
        )
    )
    return StepPart(t.step_id, t.name, held, t.attended, unknown=True)


def _block_name(parts: tuple[StepPart, ...]) -> str:
    return "; ".join(p.name or p.step_id for p in parts)[:200]


def _not_planned(practice: Practice, times: tuple[RunningTime, ...], used: set[str]) -> Iterable[Finding]:
    """Say once what is owed beside the plan, so that a full timetable is not mistaken for all the work there is."""
    minutes: dict[tuple[str, When], int] = {}
    for t in times:
        if t.when not in _WHEN.values() and t.when is not When.AFTER_STANDING_STILL and t.chair in used:
            minutes[t.duty_name or t.duty_id, t.when] = minutes.get((t.duty_name or t.duty_id, t.when), 0) + (t.seconds or 0)
    owed = [f"{name} ({when.value}, about {-(-s // 60 // max(1, len(used)))} min a chair)" for (name, when), s in minutes.items()]
    owed += [f"{m.id} (bath)" for m in practice.machines if m.kind is MachineKind.ULTRASONIC and not m.out_of_service]
    if owed:
        yield Finding(
            "the timetable gives these no time yet: " + "; ".join(owed),
            "day plan",
            "Do them where the timetable leaves room.",
            "warning",
        )
