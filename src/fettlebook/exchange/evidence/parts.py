"""Chapters of chairs, machines, deviations and loads: what became of each in these days, with its entries."""

from collections import Counter
from collections.abc import Iterable

from fettlebook.exchange.evidence.blocks import Chapter, Clock, short, sign
from fettlebook.exchange.evidence.gathered import Gathered
from fettlebook.practice.model import Chair, Machine, MachineKind
from fettlebook.said import joined, said, said_count, term
from fettlebook.standing.asking import name_of
from fettlebook.standing.deviations import SERVICE, Deviation, treatment_words
from fettlebook.standing.model import Verdict
from fettlebook.standing.streams import Fact

HISTORY = {said("When"): 1.3, said("What"): 5.2, said("By"): 0.8, said("Entry"): 1.4}


def chairs(found: Gathered, clock: Clock) -> Chapter:
    """Return the chapter of the chairs."""
    chapter = Chapter(
        said("Chairs"),
        said("Each chair at the end of these days, and what happened to it. Its duties and water stand in their own chapters."),
    )
    rooms = {room.id: room.name for room in found.practice.rooms}
    for chair in found.practice.chairs:
        if found.span.chairs and chair.id not in found.span.chairs:
            continue
        chapter.heading(f"{chair.id}, {rooms.get(chair.room, chair.room)}")
        visits = sum(one[1] == chair.id for one in found.visits)
        outlets = ", ".join(outlet.id for outlet in chair.outlets)
        told = [
            said_count("{n:,} visit.", "{n:,} visits.", n=visits),
            said("Water from {supply}; outlets: {outlets}.", supply=term(str(chair.supply.kind)), outlets=outlets),
        ]
        chapter.text(joined(" ", (*told, *_off(chair))))
        _standing(chapter, found, f"chair:{chair.id}")
        treated = next((w.treatments for w in found.water.chairs if w.chair == chair.id), ())
        rows = [*_service(found, f"chair:{chair.id}", clock)]
        rows += [
            (
                t.done_ms,
                (
                    clock.at(t.done_ms),
                    treatment_words(whole=t.whole, why=t.why),
                    "",
                    short(t.evidence[0] if t.evidence else ""),
                ),
            )
            for t in treated
            if found.span.since <= t.done_ms < found.at
        ]
        chapter.table(
            HISTORY, [row for _, row in sorted(rows)], empty=said("No fault, repair, treatment or time out of service in these days.")
        )
    return chapter


def machines(found: Gathered, clock: Clock) -> Chapter:
    """Return the chapter of the machines: their cycles, tests and history."""
    chapter = Chapter(
        said("Machines"), said("Each machine at the end of these days: cycles, tests with their outcomes, faults and repairs.")
    )
    for machine in found.practice.machines:
        chapter.heading(joined("", (machine.id, " (", term(machine.kind.value), ")")))
        for told in _off(machine):
            chapter.text(told)
        _standing(chapter, found, f"machine:{machine.id}")
        runs = Counter((r.fact.says.cycle, r.verdict) for r in found.runs if r.machine == machine.id)
        cycles = sorted({cycle for cycle, _ in runs})
        rows = [
            (cycle, sum(runs[cycle, v] for v in Verdict), *(runs[cycle, v] for v in (Verdict.FIT, Verdict.UNFIT, Verdict.UNPROVEN)))
            for cycle in cycles
        ]
        chapter.table(
            {said("Cycle"): 3, said("Ran"): 1, said("Good"): 1, said("Failed"): 1, said("Not proven"): 1},
            rows,
            empty=said("No cycle in these days."),
        )
        tests = Counter((t.name, t.verdict) for t in found.tests if t.machine == machine.id)
        last = {t.name: t for t in found.tests if t.machine == machine.id}
        outcomes = [
            (term(name), sum(tests[name, v] for v in Verdict), *(tests[name, v] for v in (Verdict.FIT, Verdict.UNFIT, Verdict.UNPROVEN)),
             joined(" ", (clock.at(last[name].fact.happened), sign(last[name].verdict))))
            for name in sorted(last)
        ]  # fmt: skip
        chapter.table(
            {said("Test"): 2.6, said("Run"): 0.9, said("Passed"): 1, said("Failed"): 1.2, said("Proves nothing"): 1.2, said("Last"): 2},
            outcomes,
            empty=said("No test in these days."),
        )
        chapter.table(
            HISTORY,
            [row for _, row in _service(found, f"machine:{machine.id}", clock)],
            empty=said("No fault, repair or time out of service."),
        )
    return chapter


def _off(part: Chair | Machine) -> tuple[str, ...]:
    return (said("The practice file says: out of service."),) if part.out_of_service else ()


def _standing(chapter: Chapter, found: Gathered, subject: str) -> None:
    standing = next((s for s in found.standings if s.subject == subject), None)
    if standing is None:
        return
    chapter.text(said("At the end of these days: {verdict}.", verdict=sign(standing.verdict)))
    rows = [(sign(c.verdict), c.what, c.why) for c in standing.failing]
    if rows:
        chapter.table({said("Verdict"): 1.2, said("Condition"): 2.6, said("Why"): 5}, rows, empty="")


def _service(found: Gathered, subject: str, clock: Clock) -> Iterable[tuple[int, tuple[str, str, str, str]]]:
    for fact in found.look.forward(subject, "service", since=found.span.since, until=found.at - 1):
        yield fact.happened, (clock.at(fact.happened), _service_words(fact), fact.says.by, short(fact.entry))


def _service_words(fact: Fact) -> str:
    of = f" ({', '.join(fact.says.outlets)})" if fact.says.outlets else ""
    opened = joined("", ("; ", said("the water path was opened"))) if fact.says.water_path else ""
    return joined("", (SERVICE[fact.says.sort], of, ": ", fact.says.words, opened))


def deviations(found: Gathered, clock: Clock) -> Chapter:
    """Return the chapter of all deviations, the open ones first."""
    chapter = Chapter(
        said("Deviations"),
        said(
            "Everything that went wrong in these days and what the book shows was done about it. Closed means only that the book "
            "shows what closes it, as named; whether that was enough is for a person to judge. Duties not done in time stand in "
            "their own chapter."
        ),
    )
    untouched, begun = [d for d in found.open if not d.followed], [d for d in found.open if d.followed]
    closed = [d for d in found.deviations if not d.open]
    for title, some in (
        (said("Nothing done that the book shows: {n}", n=len(untouched)), untouched),
        (said("Open: {n}", n=len(begun)), begun),
        (said("Closed: {n}", n=len(closed)), closed),
    ):
        chapter.heading(title)
        head = {said("When"): 1.2, said("Of what"): 1.1, said("What"): 2.8, said("What was done"): 4.2, said("Closed by"): 1.4}
        chapter.table(head, [_deviation(d, clock) for d in some], empty=said("None."))
    return chapter


def _deviation(one: Deviation, clock: Clock) -> tuple[str, ...]:
    steps = [joined("", (clock.at(f.at_ms), " ", f.what, f" ({f.by})" if f.by else "")) for f in one.followed]
    done = joined("\n", steps) if steps else said("nothing in the book")
    closed = short(one.closed_by) if one.closed_by else said("open: {closes}", closes=one.closes)
    what = joined("", (sign(one.verdict), " ", one.what, "\n", short(one.entry)))
    return clock.at(one.at_ms), name_of(one.subject), what, done, closed


def loads(found: Gathered, clock: Clock) -> Chapter:
    """Return the chapter of the loads and what was decided on each."""
    chapter = Chapter(
        said("Loads"), said("How many loads were let go, put aside or never decided on. A person decides; the program releases nothing.")
    )
    machine_of = {r.fact.says.load: r.machine for r in found.runs if r.fact.says.load is not None}
    counts = Counter((machine_of.get(load, "?"), meaning) for load, meaning, _, _ in found.decided)
    sterilizers = {m.id for m in found.practice.machines if m.kind is MachineKind.STERILIZER}
    ran = Counter(r.machine for r in found.runs if r.fact.says.load is not None and r.machine in sterilizers)
    rows = [(machine, n, *(counts[machine, m] for m in ("released", "rejected", "recalled"))) for machine, n in sorted(ran.items())]
    chapter.table(
        {said("Machine"): 3, said("Loads"): 1, said("Released"): 1, said("Rejected"): 1, said("Recalled"): 1},
        rows,
        empty=said("No load ran in a sterilizer in these days."),
    )
    aside = [
        (load, machine_of.get(load, "?"), term(meaning), clock.at(ms), short(entry))
        for load, meaning, ms, entry in found.decided
        if meaning != "released"
    ]
    chapter.heading(said("Put aside or called back"))
    chapter.table(
        {said("Load"): 2, said("Machine"): 2, said("What"): 1.5, said("When"): 2, said("Entry"): 2},
        sorted(aside, key=lambda r: str(r[3])),
        empty=said("None."),
    )
    return chapter
