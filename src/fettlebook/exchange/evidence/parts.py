"""Chapters of chairs, machines, deviations and loads: what became of each in these days, with its entries."""

from collections import Counter
from collections.abc import Iterable

from fettlebook.exchange.evidence.blocks import Chapter, Clock, short, sign
from fettlebook.exchange.evidence.gathered import Gathered
from fettlebook.practice.model import Chair, Machine, MachineKind
from fettlebook.standing.asking import name_of
from fettlebook.standing.deviations import Deviation
from fettlebook.standing.model import Verdict
from fettlebook.standing.streams import Fact

HISTORY = {"When": 1.3, "What": 5.2, "By": 0.8, "Entry": 1.4}
SORTS = {"fault": "fault", "stop": "taken out of service", "repair": "repaired", "returned": "returned to service"}


def chairs(found: Gathered, clock: Clock) -> Chapter:
    """Return the chapter of the chairs."""
    chapter = Chapter(
        "Chairs", "Each chair at the end of these days, and what happened to it. Its duties and water stand in their own chapters."
    )
    rooms = {room.id: room.name for room in found.practice.rooms}
    for chair in found.practice.chairs:
        if found.span.chairs and chair.id not in found.span.chairs:
            continue
        chapter.heading(f"{chair.id}, {rooms.get(chair.room, chair.room)}")
        visits = sum(one[1] == chair.id for one in found.visits)
        outlets = ", ".join(outlet.id for outlet in chair.outlets)
        chapter.text(f"{visits:,} visits. Water from {str(chair.supply.kind).replace('_', ' ')}; outlets: {outlets}.{_off(chair)}")
        _standing(chapter, found, f"chair:{chair.id}")
        treated = next((w.treatments for w in found.water.chairs if w.chair == chair.id), ())
        rows = [*_service(found, f"chair:{chair.id}", clock)]
        rows += [
            (
                t.done_ms,
                (
                    clock.at(t.done_ms),
                    f"intensive treatment{'' if t.whole else f', not whole: {t.why}'}",
                    "",
                    short(t.evidence[0] if t.evidence else ""),
                ),
            )
            for t in treated
            if found.span.since <= t.done_ms < found.at
        ]
        chapter.table(HISTORY, [row for _, row in sorted(rows)], empty="No fault, repair, treatment or time out of service in these days.")
    return chapter


def machines(found: Gathered, clock: Clock) -> Chapter:
    """Return the chapter of the machines: their cycles, tests and history."""
    chapter = Chapter("Machines", "Each machine at the end of these days: cycles, tests with their outcomes, faults and repairs.")
    for machine in found.practice.machines:
        chapter.heading(f"{machine.id} ({machine.kind.value})")
        if _off(machine):
            chapter.text(_off(machine).strip())
        _standing(chapter, found, f"machine:{machine.id}")
        runs = Counter((r.fact.says.cycle, r.verdict) for r in found.runs if r.machine == machine.id)
        cycles = sorted({cycle for cycle, _ in runs})
        rows = [
            (cycle, sum(runs[cycle, v] for v in Verdict), *(runs[cycle, v] for v in (Verdict.FIT, Verdict.UNFIT, Verdict.UNPROVEN)))
            for cycle in cycles
        ]
        chapter.table({"Cycle": 3, "Ran": 1, "Good": 1, "Failed": 1, "Not proven": 1}, rows, empty="No cycle in these days.")
        tests = Counter((t.name, t.verdict) for t in found.tests if t.machine == machine.id)
        last = {t.name: t for t in found.tests if t.machine == machine.id}
        outcomes = [
            (name, sum(tests[name, v] for v in Verdict), *(tests[name, v] for v in (Verdict.FIT, Verdict.UNFIT, Verdict.UNPROVEN)),
             f"{clock.at(last[name].fact.happened)} {sign(last[name].verdict)}")
            for name in sorted(last)
        ]  # fmt: skip
        chapter.table(
            {"Test": 3, "Run": 0.8, "Passed": 0.8, "Failed": 0.8, "Proves nothing": 1.1, "Last": 2},
            outcomes,
            empty="No test in these days.",
        )
        chapter.table(
            HISTORY, [row for _, row in _service(found, f"machine:{machine.id}", clock)], empty="No fault, repair or time out of service."
        )
    return chapter


def _off(part: Chair | Machine) -> str:
    return " The practice file says: out of service." if part.out_of_service else ""


def _standing(chapter: Chapter, found: Gathered, subject: str) -> None:
    standing = next((s for s in found.standings if s.subject == subject), None)
    if standing is None:
        return
    chapter.text(f"At the end of these days: {sign(standing.verdict)}.")
    rows = [(sign(c.verdict), c.what, c.why) for c in standing.failing]
    if rows:
        chapter.table({"Verdict": 1, "Condition": 2.6, "Why": 5}, rows, empty="")


def _service(found: Gathered, subject: str, clock: Clock) -> Iterable[tuple[int, tuple[str, str, str, str]]]:
    for fact in found.look.forward(subject, "service", since=found.span.since, until=found.at - 1):
        yield fact.happened, (clock.at(fact.happened), _service_words(fact), fact.says.by, short(fact.entry))


def _service_words(fact: Fact) -> str:
    of = f" ({', '.join(fact.says.outlets)})" if fact.says.outlets else ""
    opened = "; the water path was opened" if fact.says.water_path else ""
    return f"{SORTS[fact.says.sort]}{of}: {fact.says.words}{opened}"


def deviations(found: Gathered, clock: Clock) -> Chapter:
    """Return the chapter of all deviations, the open ones first."""
    chapter = Chapter(
        "Deviations",
        "Everything that went wrong in these days and what the book shows was done about it. Closed means only that the book shows what "
        "closes it, as named; whether that was enough is for a person to judge. Duties not done in time stand in their own chapter.",
    )
    for title, some in (
        ("Nothing done that the book shows", [d for d in found.open if not d.followed]),
        ("Open", [d for d in found.open if d.followed]),
        ("Closed", [d for d in found.deviations if not d.open]),
    ):
        chapter.heading(f"{title}: {len(some)}")
        head = {"When": 1.2, "Of what": 1.1, "What": 2.8, "What was done": 4.2, "Closed by": 1.4}
        chapter.table(head, [_deviation(d, clock) for d in some], empty="None.")
    return chapter


def _deviation(one: Deviation, clock: Clock) -> tuple[str, ...]:
    done = "\n".join(f"{clock.at(f.at_ms)} {f.what}{f' ({f.by})' if f.by else ''}" for f in one.followed) or "nothing in the book"
    closed = short(one.closed_by) if one.closed_by else f"open: {one.closes}"
    return clock.at(one.at_ms), name_of(one.subject), f"{sign(one.verdict)} {one.what}\n{short(one.entry)}", done, closed


def loads(found: Gathered, clock: Clock) -> Chapter:
    """Return the chapter of the loads and what was decided on each."""
    chapter = Chapter("Loads", "How many loads were let go, put aside or never decided on. A person decides; the program releases nothing.")
    machine_of = {r.fact.says.load: r.machine for r in found.runs if r.fact.says.load is not None}
    counts = Counter((machine_of.get(load, "?"), meaning) for load, meaning, _, _ in found.decided)
    sterilizers = {m.id for m in found.practice.machines if m.kind is MachineKind.STERILIZER}
    ran = Counter(r.machine for r in found.runs if r.fact.says.load is not None and r.machine in sterilizers)
    rows = [(machine, n, *(counts[machine, m] for m in ("released", "rejected", "recalled"))) for machine, n in sorted(ran.items())]
    chapter.table(
        {"Machine": 3, "Loads": 1, "Released": 1, "Rejected": 1, "Recalled": 1}, rows, empty="No load ran in a sterilizer in these days."
    )
    aside = [
        (load, machine_of.get(load, "?"), meaning, clock.at(ms), short(entry))
        for load, meaning, ms, entry in found.decided
        if meaning != "released"
    ]
    chapter.heading("Put aside or called back")
    chapter.table({"Load": 2, "Machine": 2, "What": 1.5, "When": 2, "Entry": 2}, sorted(aside, key=lambda r: str(r[3])), empty="None.")
    return chapter
