"""From the practice, its running times and the booked visits to a day instance, and the way back to steps and machines.

Seconds become whole minutes block by block: consecutive attended steps are summed and rounded up once, and what runs
alone after them starts at the second at which the hands are done, so that a step of 20 s costs no minute of its own.
A step whose length can't be said holds a stand-in of time and is named in a finding; it is never planned as if it took
none.

What is due by the book (weekly and rarer tests, samples, releases) is in it where the standing is given; what no plan
could know is said in a finding.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from zoneinfo import ZoneInfo

from fettlebook.errors import Finding, Mendable
from fettlebook.plan.blocks import Block, blocks_of, longest_known, part_of
from fettlebook.plan.day_detail import moves_of, owing_tests, placed, set_types, with_what_is_owed, with_what_stood_still
from fettlebook.plan.dayclock import DayClock
from fettlebook.plan.detail import Transport
from fettlebook.plan.hands import closed_for, crew_of
from fettlebook.plan.instance import LONGEST_DAY_MIN, Chair, Instance, Procedure, Reprocess, Step
from fettlebook.plan.instance import Visit as DayVisit
from fettlebook.plan.owed import Owing
from fettlebook.practice.model import MachineKind, Practice
from fettlebook.practice.visit import Visit
from fettlebook.rules.model import When
from fettlebook.times.model import RunningTime

_WHEN: dict[Procedure, When] = {"opening": When.BEFORE_FIRST_VISIT, "turnover": When.BETWEEN_VISITS, "closing": When.END_OF_DAY}


@dataclass(frozen=True, slots=True)
class Maps:
    """What the instance does not say: which steps a block holds, visits, and what could not be planned."""

    clock: DayClock
    blocks: dict[tuple[str, Procedure, int], Block]
    visits: dict[str, Visit]
    refused: dict[str, str]  # visit -> why it is not in the instance
    cycles: dict[str, str]  # machine -> its cycle of the day
    findings: tuple[Finding, ...]

    @property
    def unknown_steps(self) -> int:
        """How many steps hold a stand-in."""
        return sum(p.unknown for block in self.blocks.values() for p in block.parts)


def day_instance(
    practice: Practice, times: tuple[RunningTime, ...], visits: tuple[Visit, ...], day: date, owing: Owing | None = None
) -> tuple[Instance, Maps]:
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
    owing
        What the standing says is due that day; left out, nothing is known of it and a finding says so.

    Raises
    ------
    Mendable
        The rulebooks ask nothing between visits or at the end of the day, so that no turnover could be planned.
    """
    clock = DayClock(day, ZoneInfo(practice.practice.time_zone))
    findings: list[Finding] = []
    kept, refused = _sort_out(practice, visits, clock, findings)
    moves = moves_of(practice, kept)
    used_chairs = {v.chair for v in kept} | {c for chairs in moves.values() for c in chairs}
    chairs, blocks = _chairs(practice, with_what_stood_still(times, owing), used_chairs, findings)
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
        chairs=tuple(placed(practice, c, clock) for c in chairs),
        visits=tuple(
            DayVisit(
                id=v.ref,
                chair=v.chair,
                booked=clock.minute_up(v.start),
                minutes=max(1, clock.minute_up(v.end) - clock.minute_up(v.start)),
                uses=dict(kinds[v.visit_kind].uses),
                weight=kinds[v.visit_kind].weight,
                may_move=moves[v.ref],
            )
            for v in kept
        ),
        set_types=set_types(practice, crew),
        washers=tuple(owing_tests(m, owing) for m in crew.washers),
        sterilizers=tuple(owing_tests(m, owing) for m in crew.sterilizers),
        baths=tuple(owing_tests(m, owing) for m in crew.baths),
        apart=r.apart,
        store=r.store if r.ways else None,
        transport=tuple(Transport(from_=w.from_, to=w.to, minutes=w.minutes) for w in r.ways),
        reprocess=Reprocess(
            load_minutes=r.load_minutes, unload_minutes=r.unload_minutes, pack_minutes=r.pack_minutes, cool_minutes=r.cool_minutes
        ),
    )
    instance, said = with_what_is_owed(practice, times, instance, clock, owing)
    findings += said
    findings += _not_planned(practice, times, used_chairs, owing)
    cycles = {m.id: m.day_cycle for m in practice.machines}
    return instance, Maps(clock, blocks, {v.ref: v for v in visits}, refused, cycles, tuple(dict.fromkeys(findings)))


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
    longest = longest_known(times)
    for chair in practice.chairs:
        if chair.id not in used:
            continue
        procedures: dict[Procedure, tuple[Step, ...]] = {}
        for procedure, when in _WHEN.items():
            own = [t for t in times if t.chair == chair.id and t.when is when]
            steps: list[Step] = []
            for step, block in blocks_of([part_of(t, longest[t.step_id], findings) for t in own]):
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


def _not_planned(practice: Practice, times: tuple[RunningTime, ...], used: set[str], owing: Owing | None) -> Iterable[Finding]:
    """Say once what is owed beside the plan, so that a full timetable is not mistaken for all the work there is."""
    minutes: dict[tuple[str, When], int] = {}
    elsewhere = (*_WHEN.values(), When.AFTER_STANDING_STILL, When.END_OF_SESSION)
    for t in times if owing is None else ():
        if t.when not in elsewhere and t.chair in used:
            minutes[t.duty_name or t.duty_id, t.when] = minutes.get((t.duty_name or t.duty_id, t.when), 0) + (t.seconds or 0)
    owed = [f"{name} ({when.value}, about {-(-s // 60 // max(1, len(used)))} min a chair)" for (name, when), s in minutes.items()]
    if not any(s.bath for s in practice.sets):
        owed += [
            f"{m.id} (no set type goes through it)" for m in practice.machines if m.kind is MachineKind.ULTRASONIC and not m.out_of_service
        ]
    if owed:
        yield Finding(
            "the timetable gives these no time yet: " + "; ".join(owed),
            "day plan",
            "Do them where the timetable leaves room; with --book, what is due stands in it. Sets that need the bath: `bath = true`.",
            "warning",
        )
