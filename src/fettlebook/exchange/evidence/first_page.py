"""The first page: is it in order, and what is not? One line for each area, with its numbers and what they are of."""

from collections.abc import Sequence
from typing import Any, Final

from fettlebook.exchange.evidence.blocks import Clock, sign
from fettlebook.exchange.evidence.figures import Figures
from fettlebook.exchange.evidence.gathered import Gathered
from fettlebook.exchange.evidence.seals import Seals
from fettlebook.said import joined, said, said_count, term
from fettlebook.standing.asking import name_of
from fettlebook.standing.compliance import Came
from fettlebook.standing.model import SHAPES, Verdict, worst

WORST_MOST: Final = 8
NAMED_EACH: Final = 3
STATE: Final = {"closed": said("closed"), "open": said("open"), "nothing done": said("nothing done")}
WORDS: Final = {Verdict.FIT: said("In order"), Verdict.UNPROVEN: said("Not proven"), Verdict.UNFIT: said("Not in order")}
TOLD: Final = {
    Verdict.FIT: said("Every area below is in order, and its evidence is in the bundle."),
    Verdict.UNPROVEN: said("Nothing below is known to be bad, but not everything is proven. What is missing is named; it was not guessed."),
    Verdict.UNFIT: said("Something below is not in order. What was done about it, and for what nothing was done, stands in the chapters."),
}
Area = tuple[str, Verdict, str]


def first_page(found: Gathered, figures: Figures, seals: Seals, clock: Clock) -> dict[str, Any]:
    """Return the first page as plain data."""
    areas = areas_of(found, figures, seals)
    verdict = worst(one for _, one, _ in areas)
    return {
        "answer": {"sign": SHAPES[verdict], "word": WORDS[verdict], "told": TOLD[verdict], "alarms": list(seals.alarms)},
        "areas": {
            "head": [said("Area"), said("Answer"), said("Figures")],
            "widths": [1.4, 1.7, 4.9],
            "rows": [[area, joined(" ", (SHAPES[one], WORDS[one])), told] for area, one, told in areas],
        },
        "worst": _worst(found, clock),
        "named": _named(found, figures, clock),
    }


def areas_of(found: Gathered, figures: Figures, seals: Seals) -> Sequence[Area]:
    """Return each area with its answer and its figures."""
    value, share = figures.value, figures.share
    unfit = [s for s in found.standings if s.verdict is Verdict.UNFIT]
    unproven = [s for s in found.standings if s.verdict is Verdict.UNPROVEN]
    bad_open = any(d.verdict is Verdict.UNFIT for d in found.open)
    missing = sum(m.last - m.first + 1 for m in found.missing)
    return (
        (
            said("Chairs, machines"),
            worst(s.verdict for s in found.standings),
            said(
                "at the end of these days {fit} of {all} fit, {unfit} unfit, {unproven} unproven",
                fit=len(found.standings) - len(unfit) - len(unproven),
                all=len(found.standings),
                unfit=len(unfit),
                unproven=len(unproven),
            ),
        ),
        (
            said("Deviations"),
            Verdict.UNFIT if bad_open else Verdict.UNPROVEN if found.open else Verdict.FIT,
            said(
                "{open} open; for {untouched:,} of these nothing was done that the book shows",
                open=share("deviations.open"),
                untouched=value("deviations.untouched"),
            ),
        ),
        (
            said("Duties"),
            _two(value("duties.missed"), value("duties.not_provable"), value("duties")),
            said(
                "owed {owed:,} times: {in_time:,} in time, {late:,} late, {missed:,} missed, {not_provable:,} not provable",
                owed=value("duties"),
                in_time=value("duties.in_time"),
                late=value("duties.late"),
                missed=value("duties.missed"),
                not_provable=value("duties.not_provable"),
            ),
        ),
        (
            said("Water"),
            _two(0, value("counts.unproven"), value("counts")) if not _open(found, "water count") else Verdict.UNFIT,
            said("no result in these days")
            if not value("counts")
            else said(
                "{over} results over a limit ({open} not followed by a good one), {unproven:,} that prove nothing",
                over=share("counts.over"),
                open=_open(found, "water count"),
                unproven=value("counts.unproven"),
            ),
        ),
        (
            said("Cycles"),
            _two(_open(found, "cycle"), value("cycles.unproven"), value("cycles")),
            said(
                "{failed} failed ({open} open), {unproven:,} not proven good",
                failed=share("cycles.failed"),
                open=_open(found, "cycle"),
                unproven=value("cycles.unproven"),
            ),
        ),
        (
            said("Tests of machines"),
            _two(_open(found, "test"), value("tests.unproven"), value("tests")),
            said(
                "{failed} failed ({open} open), {unproven:,} that prove nothing",
                failed=share("tests.failed"),
                open=_open(found, "test"),
                unproven=value("tests.unproven"),
            ),
        ),
        (
            said("Loads"),
            _two(_open(found, "release"), value("loads.undecided"), value("loads")),
            said(
                "{undecided} never decided on, {aside:,} put aside or called back, {open} released against or before the evidence and open",
                undecided=share("loads.undecided"),
                aside=value("loads.aside"),
                open=_open(found, "release"),
            ),
        ),
        (
            said("The book"),
            Verdict.UNFIT if not seals.whole else Verdict.UNPROVEN if missing or not seals.signed or found.doubts else Verdict.FIT,
            joined(
                ", ",
                (
                    said("whole") if seals.whole else said_count("NOT WHOLE: {n} fault", "NOT WHOLE: {n} faults", n=len(seals.faults)),
                    said("signed") if seals.signed else said("NOT SIGNED"),
                    joined(
                        "; ",
                        (
                            said_count(
                                "held against {n:,} earlier checkpoint", "held against {n:,} earlier checkpoints", n=seals.held_against
                            ),
                            said_count("{n:,} entry of devices did not arrive", "{n:,} entries of devices did not arrive", n=missing),
                        ),
                    ),
                ),
            ),
        ),
    )


def _two(bad: int, unproven: int, of: int) -> Verdict:
    """Unfit where any is bad, unproven where any isn't proven or there is nothing at all."""
    return Verdict.UNFIT if bad else Verdict.UNPROVEN if unproven or not of else Verdict.FIT


def _open(found: Gathered, kind: str) -> int:
    return sum(d.kind == kind for d in found.open)


def _named(found: Gathered, figures: Figures, clock: Clock) -> dict[str, Any]:
    """What else is not in order or not proven, by name: of each sort the newest, and how many more there are."""
    rows: list[list[str]] = []
    for standing in found.standings:
        if standing.verdict is not Verdict.FIT:
            why = joined("; ", [joined(": ", (c.what, c.why)) for c in standing.failing[:NAMED_EACH]])
            rows.append([clock.at(found.at - 1), name_of(standing.subject), joined(" ", (sign(standing.verdict), why))])
    duties = [o for row in figures.rows for o in row.occasions if o.came is Came.MISSED]
    for o in sorted(duties, key=lambda o: -o.owed_ms)[:NAMED_EACH]:
        missed = said("{duty}, missed: {why}", duty=term(o.name), why=o.why)
        rows.append([clock.at(o.owed_ms), name_of(o.subject), joined(" ", (SHAPES[Verdict.UNFIT], missed))])
    for load, machine, ms, _ in found.undecided[-NAMED_EACH:]:
        rows.append([clock.at(ms), machine, joined(" ", (SHAPES[Verdict.UNPROVEN], said("load {load}: nobody decided", load=load)))])
    for run in [r for r in found.runs if r.verdict is Verdict.UNPROVEN][-NAMED_EACH:]:
        rows.append([clock.at(run.fact.happened), run.machine, joined(" ", (sign(run.verdict), run.reason))])
    for m in found.missing[:NAMED_EACH]:
        told = said_count("{n} entry of this device did not arrive", "{n} entries of this device did not arrive", n=m.last - m.first + 1)
        rows.append([clock.at(m.before), m.device, joined(" ", (SHAPES[Verdict.UNPROVEN], told))])
    return {
        "title": said("What is not in order or not proven, by name (the newest {most} of each sort; all in the chapters)", most=NAMED_EACH),
        "head": [said("When"), said("Of what"), said("What")],
        "widths": [1.3, 1.4, 6.0],
        "rows": rows,
    }


def _worst(found: Gathered, clock: Clock) -> dict[str, Any]:
    """The open deviations that weigh most; where there are more, how many."""
    some = sorted(found.open, key=lambda d: (d.verdict is not Verdict.UNFIT, bool(d.followed), -d.at_ms))
    title = said("Open deviations")
    if len(some) > WORST_MOST:
        title = said("Open deviations: the {most} that weigh most of {all}", most=WORST_MOST, all=len(some))
    return {
        "title": title,
        "head": [said("When"), said("Of what"), said("What"), said("State"), said("What closes it")],
        "widths": [1.3, 1.2, 3.2, 1.0, 2.0],
        "rows": [
            [clock.at(d.at_ms), name_of(d.subject), joined(" ", (sign(d.verdict), d.what)), STATE[d.state], d.closes]
            for d in some[:WORST_MOST]
        ],
    }
