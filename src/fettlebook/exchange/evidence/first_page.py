"""The first page: is it in order, and what is not? One line for each area, with its numbers and what they are of."""

from collections.abc import Sequence
from typing import Any, Final

from fettlebook.exchange.evidence.blocks import Clock, sign, some
from fettlebook.exchange.evidence.figures import Figures
from fettlebook.exchange.evidence.gathered import Gathered
from fettlebook.exchange.evidence.seals import Seals
from fettlebook.said import said
from fettlebook.standing.asking import name_of
from fettlebook.standing.model import SHAPES, Verdict, worst

WORST_MOST: Final = 8
WORDS: Final = {Verdict.FIT: said("In order"), Verdict.UNPROVEN: said("Not proven"), Verdict.UNFIT: said("Not in order")}
TOLD: Final = {
    Verdict.FIT: "Every area below is in order, and its evidence is in the bundle.",
    Verdict.UNPROVEN: "Nothing below is known to be bad, but not everything is proven. What is missing is named; it was not guessed.",
    Verdict.UNFIT: "Something below is not in order. What was done about it, and for what nothing was done, stands in the chapters.",
}
Area = tuple[str, Verdict, str]


def first_page(found: Gathered, figures: Figures, seals: Seals, clock: Clock) -> dict[str, Any]:
    """Return the first page as plain data."""
    areas = areas_of(found, figures, seals)
    verdict = worst(one for _, one, _ in areas)
    return {
        "answer": {"sign": SHAPES[verdict], "word": WORDS[verdict], "told": TOLD[verdict], "alarms": list(seals.alarms)},
        "areas": {
            "head": ["Area", "Answer", "Figures"],
            "widths": [1.5, 1.3, 5.2],
            "rows": [[area, f"{SHAPES[one]} {WORDS[one].lower()}", told] for area, one, told in areas],
        },
        "worst": _worst(found, clock),
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
            "Chairs, machines",
            worst(s.verdict for s in found.standings),
            f"at the end of these days {len(found.standings) - len(unfit) - len(unproven)} of {len(found.standings)} fit, "
            f"{len(unfit)} unfit, {len(unproven)} unproven",
        ),
        (
            "Deviations",
            Verdict.UNFIT if bad_open else Verdict.UNPROVEN if found.open else Verdict.FIT,
            f"{share('deviations.open')} open; for {value('deviations.untouched'):,} of these nothing was done that the book shows",
        ),
        (
            "Duties",
            _two(value("duties.missed"), value("duties.not_provable"), value("duties")),
            f"owed {value('duties'):,} times: {value('duties.in_time'):,} in time, {value('duties.late'):,} late, "
            f"{value('duties.missed'):,} missed, {value('duties.not_provable'):,} not provable",
        ),
        (
            "Water",
            _two(0, value("counts.unproven"), value("counts")) if not _open(found, "water count") else Verdict.UNFIT,
            "no result in these days"
            if not value("counts")
            else f"{share('counts.over')} results over a limit ({_open(found, 'water count')} not followed by a good one), "
            f"{value('counts.unproven'):,} that prove nothing",
        ),
        (
            "Cycles",
            _two(_open(found, "cycle"), value("cycles.unproven"), value("cycles")),
            f"{share('cycles.failed')} failed ({_open(found, 'cycle')} open), {value('cycles.unproven'):,} not proven good",
        ),
        (
            "Tests of machines",
            _two(_open(found, "test"), value("tests.unproven"), value("tests")),
            f"{share('tests.failed')} failed ({_open(found, 'test')} open), {value('tests.unproven'):,} that prove nothing",
        ),
        (
            "Loads",
            _two(_open(found, "release"), value("loads.undecided"), value("loads")),
            f"{share('loads.undecided')} never decided on, {value('loads.aside'):,} put aside or called back, "
            f"{_open(found, 'release')} released against or before the evidence and open",
        ),
        (
            "The book",
            Verdict.UNFIT if not seals.whole else Verdict.UNPROVEN if missing or not seals.signed or found.doubts else Verdict.FIT,
            f"{'whole' if seals.whole else f'NOT WHOLE: {len(seals.faults)} faults'}, {'signed' if seals.signed else 'NOT SIGNED'}, "
            f"held against {some(seals.held_against, 'earlier checkpoint', 'earlier checkpoints')}; "
            f"{some(missing, 'entry', 'entries')} of devices did not arrive",
        ),
    )


def _two(bad: int, unproven: int, of: int) -> Verdict:
    """Unfit where any is bad, unproven where any isn't proven or there is nothing at all."""
    return Verdict.UNFIT if bad else Verdict.UNPROVEN if unproven or not of else Verdict.FIT


def _open(found: Gathered, kind: str) -> int:
    return sum(d.kind == kind for d in found.open)


def _worst(found: Gathered, clock: Clock) -> dict[str, Any]:
    """The open deviations that weigh most; where there are more, how many."""
    some = sorted(found.open, key=lambda d: (d.verdict is not Verdict.UNFIT, bool(d.followed), -d.at_ms))
    more = f": the {WORST_MOST} that weigh most of {len(some)}" if len(some) > WORST_MOST else ""
    return {
        "title": f"Open deviations{more}",
        "head": ["When", "Of what", "What", "State", "What closes it"],
        "widths": [1.3, 1.2, 3.2, 1.0, 2.0],
        "rows": [[clock.at(d.at_ms), name_of(d.subject), f"{sign(d.verdict)} {d.what}", d.state, d.closes] for d in some[:WORST_MOST]],
    }
